"""Rehearsal scripts: every one that comes with the program is sound, and a bad one gets a clear line."""

from pathlib import Path

import pytest

from prompter.errors import CannotDo
from prompter.flow.reading import load_flow
from prompter.practise.script import answer_of, load_script, script_path, scripts
from prompter.resources import data_folder, flow_file, shared_file

FLOW = load_flow(flow_file("breathing-trouble"))
GOOD = """\
script: test
title: A test
does:
  tube-check: in place
  passed: [won't pass, { silent: true }]
  number: { number: 95 }
expect:
  outcome: better
  path: [tube-check, watch]
"""


@pytest.mark.parametrize("path", scripts(), ids=lambda path: path.stem)
def test_each_script_that_comes_with_the_program_is_sound(path: Path) -> None:
    script = load_script(path, FLOW)
    assert script.script == path.stem
    folder = data_folder("shared")
    assert (folder / f"{script.plan}.yaml").exists() or (folder / "plans" / f"{script.plan}.yaml").exists()


def test_the_emergencies_that_must_be_rehearsed_are_there() -> None:
    names = {path.stem for path in scripts()}
    assert names >= {
        "suction-clears-it", "came-out-put-back", "blocked-change-works", "smaller-tube-needed", "nothing-goes-in",
        "neck-only", "ventilator-at-fault", "wrong-place", "alone-and-silent", "noisy-room", "change-of-mind",
        "limp-until-taken-over", "bleeding",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "says", "line"),
    [
        ("tube-check: in place", "tube-chek: in place", "Did you mean `tube-check`?", 4),
        ("in place\n", "in plaice\n", "Did you mean `in place`?", 4),
        ("won't pass, {", "won't pass, { say: done, ", "exactly one thing", 5),
        ("outcome: better", "outcme: better", "expect", 8),
        ("path: [tube-check, watch]", "path: []", "expect.path", 9),
        ("title: A test", "title: A test\n\tx: 1", "tab", 3),
        ("number: 95", "number: many", "number", 6),
    ],
)
def test_a_bad_script_says_where_and_how_to_mend_it(tmp_path: Path, old: str, new: str, says: str, line: int) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(GOOD.replace(old, new), "utf-8")
    with pytest.raises(CannotDo) as caught:
        load_script(path, FLOW)
    text = caught.value.one_line()
    assert says in text and "Mend:" in text and "\n" not in text
    assert f"bad.yaml:{line}" in text


@pytest.mark.parametrize("content", [b"", b"\x00\x01\xff", b"- a\n- b\n", b"script: [", "ä".encode("latin-1")])
def test_what_is_no_script_is_refused_in_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "odd.yaml"
    path.write_bytes(content)
    with pytest.raises(CannotDo) as caught:
        load_script(path, FLOW)
    assert "odd.yaml" in caught.value.one_line() and "\n" not in caught.value.one_line()


def test_a_name_that_is_not_there_is_answered_with_the_nearest() -> None:
    with pytest.raises(CannotDo, match="suction-clears-it"):
        script_path("suction-clear-it")


def test_a_turn_may_name_an_answer_or_one_of_its_wordings() -> None:
    assert answer_of("in place", FLOW) == "in place"
    assert answer_of("It fell out", FLOW) == "came out"
    assert answer_of("good evening", FLOW) is None


def test_what_is_rehearsed_without_an_approval_is_said_in_one_line() -> None:
    from datetime import date

    from prompter.practise.batch import not_approved

    prepared = [(load_script(path), shared_file("demo-plan.yaml")) for path in scripts() if path.stem in ("bleeding", "came-out-put-back")]
    [line] = not_approved(prepared, date(2026, 3, 1))
    assert "flow breathing-trouble is not approved" in line and "plan demo-plan is an invented demonstration" in line
