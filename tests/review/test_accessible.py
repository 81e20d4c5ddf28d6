"""The page in a real browser: WCAG 2.2 AA by an accessibility engine, AAA contrast, a phone, paper, filters."""

import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader

from prompter.journal import read
from prompter.review import build, render

axe_module = pytest.importorskip(
    "axe_playwright_python.sync_playwright", reason="axe-playwright-python (extra 'test') is not installed"
)
from playwright.sync_api import Browser, Error, Page, sync_playwright

WCAG_22_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")


def path_of_a_browser() -> str | None:
    """A browser of the system's; None leaves playwright to look for its own."""
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    inside = Path("/usr/lib/chromium/chromium")  # Debian wraps it in a script
    return str(inside) if found and inside.exists() else found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        try:
            opened = play.chromium.launch(executable_path=path_of_a_browser(), args=["--no-sandbox"])
        except Error as error:
            pytest.skip(f"no browser to look with: {str(error).splitlines()[0]}")
        yield opened
        opened.close()


@pytest.fixture
def damaged(journal_file):
    path = journal_file.with_name("damaged.jsonl")
    path.write_bytes(journal_file.read_bytes().replace(b'"text":"Stay close', b'"text":"Stay cloze'))
    return build(read(path), "damaged")


def show(browser: Browser, html: str, width: int, folder: Path, offline: bool = True) -> Page:
    path = folder / f"page-{width}.html"
    path.write_text(html, encoding="utf-8")
    context = browser.new_context(viewport={"width": width, "height": 800}, offline=offline, bypass_csp=True)
    page = context.new_page()
    page.goto(path.as_uri())
    return page


@pytest.mark.parametrize(("which", "width"), [("incident", 1280), ("damaged", 360)])
def test_the_engine_finds_nothing(browser, tmp_path, request, width, which):
    page = show(browser, render(request.getfixturevalue(which)), width, tmp_path)
    page.locator("label[for=show-all]").click()
    rules = {rule: {"enabled": True} for rule in ("color-contrast-enhanced", "target-size")}
    found = axe_module.Axe().run(page, options={"runOnly": WCAG_22_AA, "rules": rules}).response
    told = [f"{v['id']}: {v['nodes'][0]['html'][:200]}" for v in found["violations"]]
    assert told == []
    passed = {rule["id"] for rule in found["passes"]}
    assert {"color-contrast", "color-contrast-enhanced", "document-title", "html-has-lang", "label"} <= passed
    page.context.close()


def test_the_engine_would_find_something(browser, incident, tmp_path):
    broken = render(incident).replace("--ink-soft: #3a4a52", "--ink-soft: #8a9a9f").replace('lang="en"', "")
    page = show(browser, broken, 1280, tmp_path)
    found = axe_module.Axe().run(page, options={"runOnly": WCAG_22_AA}).response
    assert {"color-contrast", "html-has-lang"} <= {v["id"] for v in found["violations"]}
    page.context.close()


def test_nothing_is_wider_than_a_phone_or_a_page_magnified_four_times(browser, incident, tmp_path):
    # WCAG 2.2, 1.4.10 reflow: 320 CSS px, which is 1280 at 400%
    for width in (360, 320):
        page = show(browser, render(incident), width, tmp_path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.context.close()


def test_the_filters_work_offline_with_keys_and_words(browser, incident, tmp_path):
    page = show(browser, render(incident), 1000, tmp_path)
    rows = page.locator(".events tbody tr:visible")
    matters = rows.count()
    page.locator("#show-main").focus()
    page.keyboard.press("ArrowRight")
    assert rows.count() > matters
    page.locator("label[for=show-unsure]").click()
    hows = {text.strip().split()[-1] for text in page.locator(".events tbody tr:visible td:last-child").all_inner_texts()}
    assert hows == {"assumed", "believed"}
    page.locator("label[for=show-all]").click()
    page.locator("#words").fill("It's BLOCKED")
    assert 0 < rows.count() < 6
    assert re.fullmatch(rf"{rows.count()} of \d+ rows", page.locator("#count").inner_text())
    page.context.close()


def test_each_mark_is_drawn_whole(browser, incident, tmp_path):
    page = show(browser, render(incident), 1000, tmp_path)
    marks = page.locator(".legend svg.mark")
    assert marks.count() == 6
    for number in range(marks.count()):
        boxes = marks.nth(number).evaluate(
            "svg => [svg, svg.querySelector('use')].map(e => e.getBoundingClientRect().toJSON())"
        )
        outside, inside = boxes
        middle = inside["x"] + inside["width"] / 2 - outside["x"] - outside["width"] / 2
        assert abs(middle) < 1
        assert 11 <= inside["width"] <= outside["width"] == 18
    page.context.close()


def test_it_prints_on_a4_with_every_row_that_is_shown(browser, incident, tmp_path):
    page = show(browser, render(incident), 1000, tmp_path)
    paper = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    # ISO 216: A4 is 210 x 297 mm
    size = paper.pages[0].mediabox
    assert (round(float(size.width) * 25.4 / 72), round(float(size.height) * 25.4 / 72)) == (210, 297)
    text = " ".join(" ".join(p.extract_text() for p in paper.pages).split())
    assert "What matters first" in text
    assert "they have taken over" in text
    assert "With the words" not in text
    page.context.close()
