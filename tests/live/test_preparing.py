"""The plan there is, or none."""

from pathlib import Path

import pytest

from prompter.live.preparing import prepare
from prompter.resources import shared_file


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def test_without_a_plan_it_begins_without_numbers() -> None:
    prepared = prepare(None)
    assert prepared.plan is None and "plan.yaml" in prepared.plan_trouble
    assert prepared.table.variant.words["depth"] == "to your measured depth"  # CONTRACTS, respond
    assert prepared.table.variant.words["number"] == "your emergency number"


def test_the_plan_of_the_users_own_place_is_found(plan_file: Path, own_home: Path) -> None:
    own_home.mkdir()
    (own_home / "plan.yaml").write_text(plan_file.read_text(encoding="utf-8"), encoding="utf-8")
    prepared = prepare(None)
    assert prepared.plan is not None and not prepared.plan_trouble
    assert prepared.table.variant.words["depth"] == "9 centimetres"


def test_the_demonstration_plan_is_never_used() -> None:
    prepared = prepare(shared_file("demo-plan.yaml"))
    assert prepared.plan is None and "demonstration" in prepared.plan_trouble


@pytest.mark.parametrize("content", [b"", b"\x00\xff", b"patient: [", b"a: &a [*a]", b"- 1", "patient: {name: Jun\u00f6}".encode()])
def test_a_broken_plan_is_no_reason_to_stop(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.yaml"
    path.write_bytes(content)
    prepared = prepare(path)
    assert prepared.plan is None and "broken.yaml" in prepared.plan_trouble
    assert "\n" not in prepared.plan_trouble


def test_a_folder_that_cannot_be_made_is_no_reason_to_stop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path / "file"))
    assert prepare(None).cache is None


def test_how_the_approval_stands_is_journalled_and_stops_nothing(plan_file: Path) -> None:
    prepared = prepare(plan_file)
    told = prepared.approval()
    assert prepared.plan is not None and told["flow"] == "not approved by a clinician."
    assert told["plan"].startswith("approved by Doctor Imre Vale") and "nothing seals it" in told["plan"]
    assert set(prepare(None).approval()) == {"flow"}
    assert not any("approv" in text.lower() for text in prepared.table.texts())
