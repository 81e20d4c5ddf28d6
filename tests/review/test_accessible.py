"""The page in a real browser: WCAG 2.2 AA by an accessibility engine, AAA contrast, a phone, paper, filters."""

import re

import pytest

from prompter.journal import read
from prompter.review import build, render


@pytest.fixture
def damaged(journal_file):
    path = journal_file.with_name("damaged.jsonl")
    path.write_bytes(journal_file.read_bytes().replace(b'"text":"Stay close', b'"text":"Stay cloze'))
    return build(read(path), "damaged")


@pytest.mark.parametrize(("which", "width"), [("incident", 1280), ("damaged", 360)])
def test_the_engine_finds_nothing(browser, show, engine, tmp_path, request, width, which):
    page = show(browser, render(request.getfixturevalue(which)), width, tmp_path)
    page.locator("label[for=show-all]").click()
    found = engine(page)
    assert list(found.violated.values()) == []
    passed = found.passed
    assert {"color-contrast", "color-contrast-enhanced", "document-title", "html-has-lang", "label"} <= passed
    page.context.close()


def test_the_engine_would_find_something(browser, show, engine, incident, tmp_path):
    broken = render(incident).replace("--ink-soft: #3a4a52", "--ink-soft: #8a9a9f").replace('lang="en"', "")
    page = show(browser, broken, 1280, tmp_path)
    assert {"color-contrast", "html-has-lang"} <= engine(page).violated.keys()
    page.context.close()


def test_nothing_is_wider_than_a_phone_or_a_page_magnified_four_times(browser, show, incident, tmp_path):
    # WCAG 2.2, 1.4.10 reflow: 320 CSS px, which is 1280 at 400%
    for width in (360, 320):
        page = show(browser, render(incident), width, tmp_path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.context.close()


def test_the_filters_work_offline_with_keys_and_words(browser, show, incident, tmp_path):
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


def test_each_mark_is_drawn_whole(browser, show, incident, tmp_path):
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


def test_it_prints_on_a4_with_every_row_that_is_shown(browser, show, printed, incident, tmp_path):
    page = show(browser, render(incident), 1000, tmp_path)
    paper = printed(page)
    assert set(paper.sheets_mm) == {(210, 297)}  # ISO 216: A4
    assert "What matters first" in paper.text
    assert "they have taken over" in paper.text
    assert "With the words" not in paper.text
    page.context.close()
