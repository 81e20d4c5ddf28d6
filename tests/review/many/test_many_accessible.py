"""The page of many in a real browser: WCAG 2.2 AA by an accessibility engine, AAA contrast, a phone, paper."""

import pytest

for library in ("ibis", "duckdb", "msgspec", "pyarrow"):
    pytest.importorskip(library, reason="the extra 'many' is not installed")

from prompter.review.many import summary
from prompter.review.many.run import review_many


@pytest.fixture(scope="module")
def html(group, tmp_path_factory):
    """All sections with bars and rows: what three incidents tell is shown as if it were plenty."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(summary, "FEWEST", 1)
        return review_many(group, tmp_path_factory.mktemp("page"), processes=1).page.read_text("utf-8")


@pytest.mark.parametrize("width", [1280, 360])
def test_the_engine_finds_nothing(browser, show, engine, html, tmp_path, width):
    page = show(browser, html, width, tmp_path)
    assert page.locator("svg.chart").count() >= 6
    found = engine(page)
    assert list(found.violated.values()) == []
    expected = {"color-contrast", "color-contrast-enhanced", "svg-img-alt", "html-has-lang", "document-title", "target-size"}
    assert expected <= found.passed
    page.context.close()


def test_the_engine_would_find_something(browser, show, engine, html, tmp_path):
    broken = html.replace("--ink-soft: #3a4a52", "--ink-soft: #8a9a9f").replace('role="img" aria-labelledby="breath-name"', 'role="img"')
    broken = broken.replace('<title id="breath-name">Time to the first paced breath</title>', "")
    page = show(browser, broken, 1280, tmp_path)
    assert {"color-contrast", "svg-img-alt"} <= engine(page).violated.keys()
    page.context.close()


@pytest.mark.parametrize("width", [360, 320])
def test_nothing_is_wider_than_a_phone_or_a_page_magnified_four_times(browser, show, html, tmp_path, width):
    """WCAG 2.2, 1.4.10 reflow: 320 CSS px, which is 1280 at 400%. Tables may scroll by themselves."""
    page = show(browser, html, width, tmp_path)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    outside = page.evaluate(
        "w => [...document.querySelectorAll('.chart text')].filter(t => t.getBoundingClientRect().right > w"
        " || t.getBoundingClientRect().left < 0).map(t => t.textContent)", width
    )  # fmt: skip
    assert outside == []
    smallest = page.evaluate("Math.min(...[...document.querySelectorAll('.chart text')].map(t => t.getBoundingClientRect().height))")
    assert smallest >= 12  # CSS pixels: words of a picture do not shrink with it
    page.context.close()


def test_it_prints_on_a4_with_every_column(browser, show, printed, html, tmp_path):
    page = show(browser, html, 1000, tmp_path)
    paper = printed(page)
    assert set(paper.sheets_mm) == {(210, 297)}  # ISO 216: A4
    for words in ("Time to the first paced breath", "Nine in ten of those by", "Asked again each", "Longest", "Cautions"):
        assert words in paper.text, words
    page.context.close()
