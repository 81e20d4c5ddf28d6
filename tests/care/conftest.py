"""A demonstration plan to spoil, and a place of one's own."""

from collections.abc import Callable
from pathlib import Path

import pytest

from prompter.resources import shared_file

DEMO = shared_file("demo-plan.yaml")
ALL_PLANS = [DEMO, *sorted(shared_file("plans").glob("*.yaml"))]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "home"
    monkeypatch.setenv("PROMPTER_HOME", str(folder))
    return folder


@pytest.fixture
def spoilt(tmp_path: Path) -> Callable[..., Path]:
    """spoilt(('old text', 'new text'), …, plan='infant-alone'): a changed copy of a plan."""

    def make(*changes: tuple[str, str], plan: str = "") -> Path:
        source = shared_file("plans", f"{plan}.yaml") if plan else DEMO
        text = source.read_text(encoding="utf-8")
        for old, new in changes:
            assert text.count(old) == 1, f"{old!r} is not once in the plan"
            text = text.replace(old, new)
        file = tmp_path / "plan.yaml"
        file.write_text(text, encoding="utf-8")
        return file

    return make


@pytest.fixture(params=ALL_PLANS, ids=lambda file: file.stem)
def any_plan(request: pytest.FixtureRequest) -> Path:
    return request.param
