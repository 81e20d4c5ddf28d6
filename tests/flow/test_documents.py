"""A bad flow is refused with file, line, what is wrong and how to mend it; and each fault is found, not only the first."""

from collections.abc import Callable
from pathlib import Path

import pytest

from prompter.errors import CannotDo
from prompter.flow.reading import FlowProblems, load_flow
from prompter.resources import flow_file

GOOD = flow_file("breathing-trouble").read_text("utf-8")

Spoil = tuple[str, str]

SPOILT: dict[str, tuple[Spoil, str, str]] = {
    # name: (text replaced by text), what is said of it, how to mend it
    "unknown word": (("    title: Is the tube in?\n", "    titel: Is the tube in?\n    title: x\n"), "`titel` is not a word", "Did you mean `title`?"),
    "unknown word in an arm": (("      done: suction\n", "      done: { goe: suction }\n"), "`goe` is not a word", "Did you mean `go`?"),
    "unknown step": (("    after: in-hand\n", "    after: in-hnd\n"), "no step or way is called `in-hnd`", "Did you mean `in-hand`?"),
    "unknown step of a gap": (("    gap: last-bag\n", "    gap: last-bog\n"), "no step or way is called `last-bog`", "Did you mean `last-bag`?"),
    "unknown start": (("start: tube-check", "start: tube-chek"), "no step or way is called `tube-chek`", "Did you mean `tube-check`?"),
    "a mark misspelt where it is cleared": (('"Inner tube out.", clear: [inner back]', '"Inner tube out.", clear: [inner bak]'), "nothing ever sets `inner bak`", "Did you mean `inner back`?"),
    "breaths that are due lead nowhere": (("    gap: vent-look\n", "    gap: vent-lok\n"), "no step or way is called `vent-lok`", "Did you mean `vent-look`?"),
    "unknown condition": (("    only_if: [inner tube]\n", "    only_if: [iner tube]\n"), "nothing ever sets `iner tube`", "Did you mean `inner tube`?"),
    "unknown count": (("    - { if: [rescued >= 1, rise is yes]", "    - { if: [rescud >= 1, rise is yes]"), "nothing ever counts `rescud`", "Did you mean `rescued`?"),
    "impossible fact": (("    only_if: [breathing is not no]\n", "    only_if: [breathing is not gone]\n"), "'breathing' is never 'gone'", "Correct this value."),
    "unknown fact": (("  - { if: [passed is yes], say: \"The catheter passed.\" }", "  - { if: [pased is yes], say: \"The catheter passed.\" }"), "'pased' is nothing that can be learned", "Correct this value."),
    "learned nonsense": (("  the chest rises: { learn: { tube: proven open,", "  the chest rises: { learn: { tube: proven shut,"), "`tube` is never `proven shut`", "One of: unknown, proven open, out."),
    "unknown effect": (("      rising: { do: the chest rises, go: saline }", "      rising: { do: the chest rizes, go: saline }"), "no effect is called `the chest rizes`", "Did you mean `the chest rises`?"),
    "unknown answer": (("      tube ready: cuff-empty\n", "      tube redy: cuff-empty\n"), "`tube redy` has no wordings", "Did you mean `tube ready`?"),
    "duplicate wording": (("wordings: [handed over now,", "wordings: [looking better, handed over now,"), "`looking better` stands for `better` too", "A wording means one thing."),
    "duplicate key": (("key: f }", "key: t }"), "the key `t` is taken by `taken over`", "Choose another."),
    "answer that neither goes nor stays": (("      still on: valve-off-now\n", "      still on: { set: [valve asked] }\n"), "`still on` must either go somewhere or stay", "Give `go: STEP` or `stay: true`."),
    "missing silence": (("      done: ties\n    silent: { repeat_s: 6, act_s: 10, go: ties }\n", "      done: ties\n"), "silence at `cuff-empty` leads nowhere", "Add `silent:` with its times, or `after:`."),
    "silence without a time": (("    silent: { repeat_s: 6, act_s: 10, go: ties }\n", "    silent: { repeat_s: 6, go: ties }\n"), "silence has no time", "Give act_s or every_s."),
    "silence that acts but leads nowhere": (("    silent: { repeat_s: 6, act_s: 10, go: ties }\n", "    silent: { repeat_s: 6, act_s: 10 }\n"), "silence acts but leads nowhere", "Give go, stay or as."),
    "silence not always answered": (("    silent: { repeat_s: 6, act_s: 10, go: ties }\n", "    silent: { if: [helper], repeat_s: 6, act_s: 10, go: ties }\n"), "is not always answered", "End with an entry without `if`."),
    "as no answer": (("act_s: 8, as: in place }", "act_s: 8, as: stuck }"), "`as: stuck` is no answer of this step", "Use a name"),
    "too long prompt": (('    say: ["Ties off."]\n', '    say: ["Take the ties off now with one hand while the other one holds it."]\n'), "has more than 12 words", "Split it into two prompts."),
    "forbidden words": (('    say: ["Ties off."]\n', '    say: ["Hurry, ties off."]\n'), "says 'hurry', which no prompt may", "Say what to do instead."),
    "unknown brace in the call": (("  remind: \"Emergency call, on speaker: {number}.\"\n", "  remind: \"Emergency call: {numbr}.\"\n"), "the plan has no word {numbr}", "Did you mean `number`?"),
    "mouth in how do I": (("    how: \"Curve down. Gentle push.\"\n", "    how: \"Chin up. Gentle push.\"\n"), "may be heard by a neck-only patient", "Add `if:"),
    "unknown brace": (('    say: ["Fill the cuff: {cuff_ml}."]\n', '    say: ["Fill the cuff: {cuf_ml}."]\n'), "the plan has no word {cuf_ml}", "Did you mean `cuff_ml`?"),
    "mouth for the neck-only": (('    say: ["Ties off."]\n', '    say: ["Wipe the mouth."]\n'), "may be heard by a neck-only patient", "Add `if:"),
    "only_if without otherwise": (("    only_if: [on tube]\n    otherwise: inner-out\n", "    only_if: [on tube]\n"), "says not where else to go", "Add `otherwise: STEP`."),
    "otherwise back": (("    only_if: [on tube]\n    otherwise: inner-out\n", "    only_if: [on tube]\n    otherwise: back\n"), "no step or way is called `back`", "Did you mean"),
    "way that may lead nowhere": (("    - { if: [ventilated, not on vent again], go: bag-or-vent }\n    - { go: watch }\n", "    - { if: [ventilated, not on vent again], go: bag-or-vent }\n"), "the way `watch-way` may lead nowhere", "End it with a line without `if`."),
    "circle": (("    - { if: [ventilated, not on vent again], go: bag-or-vent }\n    - { go: watch }\n", "    - { if: [ventilated, not on vent again], go: bag-or-vent }\n    - { go: watch-way }\n"), "the way `watch-way` leads to itself", "Break the circle."),
    "goes back but is no visit": (("  suction-visit-out:\n    visit: true\n", "  suction-visit-out:\n"), "goes back but is no visit", "Add `visit: true`."),
    "goes back in silence but is no visit": (("change it.\", go: tube-out }", "change it.\", go: back }"), "`ties` goes back but is no visit", "Add `visit: true`."),
    "takes a tube out without a reason": (("    title: Tube part way out\n    needs_reason: true\n", "    title: Tube part way out\n"), "takes a tube out without `needs_reason: true`", "silence never takes a tube out"),
    "wrong type": (("  hold_s: 30 ", "  hold_s: long "), "`rules.hold_s`", "Write a number here."),
    "wrong choice": (("    beat: { breaths: endless }\n    ask: \"Lips", "    beat: { breaths: many }\n    ask: \"Lips"), "breaths`", "Write a number here."),
    "impossible time": (("repeat_s: 6, act_s: 10, go: ties", "repeat_s: -6, act_s: 10, go: ties"), "repeat_s`", "Choose a number within that."),
    "missing part": (("  remind_without_phone: \"Find any phone.\"\n", ""), "`call.remind_without_phone` is missing", "Add `remind_without_phone`."),
    "a number for a condition": (("    - { if: [ventilated], go: vent-off }\n", "    - { if: [3.7], go: vent-off }\n"), "a condition is written in words", "Correct this value."),
    "a list for a condition": (("    - { if: [ventilated], go: vent-off }\n", "    - { if: [[]], go: vent-off }\n"), "a condition is written in words", "Correct this value."),
    "nothing for a condition": (("    only_if: [cuffed]\n    otherwise: ties\n", "    only_if: [~]\n    otherwise: ties\n"), "a condition is written in words", "Correct this value."),
    "an answer that leads nowhere": (("      tube ready: cuff-empty\n", "      tube ready:\n"), "it leads nowhere", "Correct this value."),
    "words for a list": (("enter: { set: [cuff emptied], clear: [refill said] }", "enter: { set: cuff emptied, clear: [refill said] }"), "enter.set`", "Write a list: [one, two]."),
    "duplicate step": (("  ties:\n    title: Ties off\n", "  cuff-empty:\n    title: Ties off\n"), "`cuff-empty` is written twice", "Keep one of the two."),
    "tab": (("    title: Ties off\n", "\ttitle: Ties off\n"), "there is a tab here", "Use spaces instead of tabs."),
    "no yaml": (("    title: Ties off\n", "    title: [Ties off\n"), "this line cannot be understood", "Write `name: value`"),
}  # fmt: skip


@pytest.fixture
def spoilt(tmp_path: Path) -> Callable[..., Path]:
    def make(*spoils: Spoil) -> Path:
        text = GOOD
        for old, new in spoils:
            assert old in text, f"{old!r} is not in the flow: the test is out of date"
            text = text.replace(old, new, 1)
        file = tmp_path / "flow.yaml"
        file.write_text(text, "utf-8")
        return file

    return make


@pytest.mark.parametrize("name", SPOILT)
def test_a_fault_is_refused_with_its_line_and_how_to_mend_it(spoilt, name):
    spoil, what, mend = SPOILT[name]
    file = spoilt(spoil)
    with pytest.raises(CannotDo) as refused:
        load_flow(file)
    problems = getattr(refused.value, "problems", [refused.value])
    found = [p for p in problems if what in p.what]
    assert found and mend in found[0].mend, [p.one_line() for p in problems]
    where, _, line = found[0].where.rpartition(":")
    assert where == str(file)
    changed = next(i for i, (a, b) in enumerate(zip(GOOD.splitlines(), file.read_text("utf-8").splitlines(), strict=False), start=1) if a != b)
    assert abs(int(line) - changed) <= (400 if name in FAR else 9), (line, changed)
    assert "\n" not in found[0].one_line()


FAR = {"unknown start", "duplicate wording", "missing part", "duplicate step", "no yaml", "tab", "duplicate key"}
"""Found where the other half stands, or where the group begins."""


def test_all_faults_are_told_in_the_files_order(spoilt):
    file = spoilt(*(SPOILT[n][0] for n in ("unknown step", "too long prompt", "duplicate wording", "unknown brace")))
    with pytest.raises(FlowProblems) as refused:
        load_flow(file)
    lines = [int(p.where.rpartition(":")[2]) for p in refused.value.problems]
    assert len(lines) == 4 and lines == sorted(lines)
    assert len(refused.value.one_line().splitlines()) == 4


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "the file is empty"),
        (b"# only a comment\n", "the file is empty"),
        (b"just words\n", "this is not a flow"),
        (b"- a\n- list\n", "this is not a flow"),
        (b"\x00\x01\xff\xfe binary", "not UTF-8"),
        (b"flow: x\nflow: y\n", "written twice"),
        (b"x" * 300_000, "larger than"),
        (b"flow: " + b"[" * 500 + b"]" * 500, ""),
    ],
    ids=["empty", "comment", "words", "list", "binary", "twice", "large", "deep"],
)
def test_what_is_no_flow_at_all_is_one_clear_line(tmp_path, content, what):
    file = tmp_path / "flow.yaml"
    file.write_bytes(content)
    with pytest.raises(CannotDo) as refused:
        load_flow(file)
    line = refused.value.one_line()
    assert what in line and "Mend:" in line and str(file) in line


def test_missing_files_and_folders_are_refused(tmp_path):
    for path in (tmp_path / "none.yaml", tmp_path):
        with pytest.raises(CannotDo):
            load_flow(path)


def test_a_flow_is_read_the_same_with_windows_line_ends_and_a_byte_order_mark(tmp_path):
    file = tmp_path / "flow.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_flow(file) == load_flow(flow_file("breathing-trouble"))
