"""Shares the sample journal with the tests of this folder, and a browser with an accessibility engine in it."""

import importlib.util
import shutil
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from prompter.journal import read
from prompter.review.incident import Incident, build


def load_sample() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "review_sample", Path(__file__).with_name("sample.py")
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sample() -> ModuleType:
    return load_sample()


@pytest.fixture
def journal_file(sample: ModuleType, tmp_path: Path) -> Path:
    return sample.blocked_tube().write(tmp_path / "night.jsonl")


@pytest.fixture
def incident(journal_file: Path) -> Incident:
    return build(read(journal_file), "night")


WCAG_22_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")


def path_of_a_browser() -> str | None:
    """A browser of the system's; None leaves playwright to look for its own."""
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    inside = Path("/usr/lib/chromium/chromium")  # Debian wraps it in a script
    return str(inside) if found and inside.exists() else found


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    reason = "axe-playwright-python (extra 'test') is not installed"
    play_module = pytest.importorskip("playwright.sync_api", reason=reason)
    with play_module.sync_playwright() as play:
        try:
            opened = play.chromium.launch(executable_path=path_of_a_browser(), args=["--no-sandbox"])
        except play_module.Error as error:
            pytest.skip(f"no browser to look with: {str(error).splitlines()[0]}")
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def show() -> Callable[..., Any]:
    """Opens a page of this HTML, so many CSS pixels wide, without a network."""

    def showing(browser: Any, html: str, width: int, folder: Path) -> Any:
        path = folder / f"page-{width}.html"
        path.write_text(html, encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": 800}, offline=True, bypass_csp=True)
        page = context.new_page()
        page.goto(path.as_uri())
        return page

    return showing


@dataclass(frozen=True)
class Printed:
    """Width and height of each sheet in millimetres, and all words on them."""

    sheets_mm: list[tuple[int, int]]
    text: str


@pytest.fixture(scope="session")
def printed() -> Callable[[Any], Printed]:
    """What the browser puts on paper, read by PDFium."""
    pdfium = pytest.importorskip("pypdfium2", reason="pypdfium2 (extra 'test') is not installed")

    def printing(page: Any) -> Printed:
        paper = pdfium.PdfDocument(page.pdf(prefer_css_page_size=True))
        sheets = [tuple(round(points * 25.4 / 72) for points in sheet.get_size()) for sheet in paper]
        words = " ".join(sheet.get_textpage().get_text_bounded() for sheet in paper)
        return Printed(sheets, unicodedata.normalize("NFKC", " ".join(words.split())))  # no "ﬁ"

    return printing


@dataclass(frozen=True)
class Judged:
    """Rules of the engine: those violated, with where first; those that were looked at and held."""

    violated: dict[str, str]
    passed: set[str]


@pytest.fixture(scope="session")
def engine() -> Callable[[Any], Judged]:
    """WCAG 2.2 AA, and AAA contrast (7:1), by axe-core."""
    axe_module = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python (extra 'test') is not installed"
    )
    rules = {rule: {"enabled": True} for rule in ("color-contrast-enhanced", "target-size")}

    def judge(page: Any) -> Judged:
        found = axe_module.Axe().run(page, options={"runOnly": WCAG_22_AA, "rules": rules}).response
        violated = {v["id"]: f"{v['id']}: {v['nodes'][0]['html'][:200]}" for v in found["violations"]}
        return Judged(violated, {rule["id"] for rule in found["passes"]})

    return judge
