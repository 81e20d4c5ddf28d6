"""Compares a flow with the clinical tables, where somebody has written them down a second time."""

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import zip_longest
from pathlib import Path
from typing import Any

from prompter.care.reading import Sort, read_yaml
from prompter.flow.document import Arm, Beat, Effects, Flow, Silent, Step
from prompter.proof.properties.property import Property
from prompter.proof.watch import Findings

BRIEF = "the clinical brief, sections 3 to 7"
ROWS = Property("the rows of the clinical tables", "what is written down twice shows a slip in one of them", BRIEF)
TIMES = Property("the seconds of the clinical tables", "repeated and assumed by the step's own times", BRIEF)
SAYS = Property("the words of the clinical tables", "each step says what the brief says, in that order", BRIEF)
CALLS = Property("the calls of the clinical tables", "what asks for the call, and what must be said twice", BRIEF)
WAYS = Property("the turnings of the clinical tables", "on what it depends where a step leads", BRIEF)
MARKS = Property("the marks of the clinical tables", "what an answer leaves behind steers steps long after it", BRIEF)
PROPERTIES = (ROWS, TIMES, SAYS, CALLS, WAYS, MARKS)
_NOT_ANSWERS = frozenset({"says", "silence", "act", "every", "silent", "silent says", "after", "beat", "only", "calls", "twice", "reason", "gap", "ask at", "if"})


_TABLES = Sort("list of clinical tables", "Install the program again.", 20_000, 12)


@cache
def _written() -> dict[str, Any]:
    return read_yaml(Path(__file__).with_name("clinical.yaml"), _TABLES).data


def tables() -> dict[str, dict[str, dict[str, Any]]]:
    """By flow and step."""
    return _written()["steps"]


def look_at_rows(flow: Flow, found: Findings) -> None:
    """Each row of the tables of the flows it covers, where they have one."""
    for name, row in _of(tables(), flow):
        step = flow.steps.get(name)
        if step is None:
            found.check(ROWS.name, False, f"there is no step {name!r}")
            continue
        _rows(name, step, row, found)
        _times(name, step, row, found)
        _says(name, step, row, found)
        _calls(name, step, row, found)
    for part in flow.covers:
        _marks_and_conditions(part, flow, found)
    for name, lines in _of(_written()["ways"], flow):
        have = [[line.go, *line.when] for line in flow.ways.get(name, [])]
        found.check(WAYS.name, have == lines, f"the way {name!r} is {have}, not {lines}")
    for answer, arms in _of(_written()["everywhere"], flow):
        have = [_turning(arm) for arm in flow.everywhere.get(answer, [])]
        found.check(WAYS.name, have == arms, f"{answer!r} at any time leads to {have}, not {arms}")
    gaps = [[line.go, line.after_s, *([f"since {line.since}"] if line.since else []), *line.when] for line in flow.rules.breath_gap]
    wanted = _written()["breath gaps"]
    apart = [pair for pair in zip_longest(gaps, wanted) if pair[0] != pair[1]]
    found.check(WAYS.name, not apart, "; ".join(f"breaths that are due: {have}, not {want}" for have, want in apart))


def _of(written: Mapping[str, Mapping[str, Any]], flow: Flow) -> Iterator[tuple[str, Any]]:
    for part in flow.covers:
        yield from written.get(part, {}).items()


def _rows(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    for answer in row.keys() - _NOT_ANSWERS:
        wanted = row[answer] if isinstance(row[answer], list) else [row[answer]]
        leads = [_leads(arm) for arm in step.answers.get(answer, [])]
        found.check(ROWS.name, leads == wanted, f"{answer!r} at {name!r} leads to {' or '.join(leads) or 'nothing'}, not {' or '.join(wanted)}")
    for answer, wanted in row.get("if", {}).items():
        have = [arm.when for arm in step.answers.get(answer, [])]
        found.check(ROWS.name, have == wanted, f"where {answer!r} at {name!r} leads depends on {have}, not on {wanted}")
    if "silent" in row:
        silent = step.silent[-1] if step.silent else None
        leads_to = _leads(step.answers[silent.same_as][0]) if silent and silent.same_as else _leads(silent) if silent else "nothing"
        found.check(ROWS.name, leads_to == row["silent"], f"silence at {name!r} leads to {leads_to}, not {row['silent']}")
    if "after" in row:
        found.check(ROWS.name, step.after == row["after"], f"after {name!r} comes {step.after}, not {row['after']}")
    if "beat" in row:
        found.check(ROWS.name, _beat(step.beat) == row["beat"], f"the beat at {name!r} is {_beat(step.beat)}, not {row['beat']}")
    if "only" in row:
        found.check(ROWS.name, step.only_if == row["only"], f"{name!r} is only for {', '.join(row['only'])}")
    if "gap" in row:
        found.check(ROWS.name, step.gap == row["gap"], f"breaths that are due at {name!r} lead to {step.gap}, not {row['gap']}")
    if "reason" in row:
        found.check(ROWS.name, step.needs_reason == row["reason"], f"{name!r} needs a reason somebody said")


def _times(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    silent = step.silent[-1] if step.silent else None
    if "silence" in row:
        several = isinstance(row["silence"][0], list)
        have: list[Any] = [_seconds(s) for s in step.silent] if several else [silent.repeat_s, silent.act_s] if silent else []
        found.check(TIMES.name, have == row["silence"], f"silence at {name!r}: {have} s, not {row['silence']} s")
    for key, value in (("act", silent and silent.act_s), ("every", silent and silent.every_s), ("ask at", step.ask_at_s)):
        if key in row:
            found.check(TIMES.name, value == row[key], f"silence at {name!r}: {key} {value} s, not {row[key]} s")


def _seconds(silent: Silent) -> list[Any]:
    """Repeat, act, every, and on what it depends."""
    return [silent.repeat_s, silent.act_s, silent.every_s, *silent.when]


def _says(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    lines = [line.say.lower() for line in (*step.say, *step.then_say, *step.ask)]
    at = 0
    for words in row.get("says", []):
        where = next((i for i in range(at, len(lines)) if words in lines[i]), None)
        found.check(SAYS.name, where is not None, f"{name!r} does not say {words!r} (or not in its place)")
        at = at if where is None else where + 1
    if words := row.get("silent says"):
        found.check(SAYS.name, any(words in line.say.lower() for s in step.silent for line in s.say), f"silence at {name!r} does not say {words!r}")


def _calls(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    calls = [answer for answer, arms in step.answers.items() if any(arm.call for arm in arms)]
    calls += ["silence"] * any(s.call for s in step.silent) + ["entering"] * bool(step.enter.call)
    found.check(CALLS.name, calls == row.get("calls", []), f"at {name!r} the call is asked for by {calls}, not by {row.get('calls', [])}")
    twice = [answer for answer, arms in step.answers.items() if any(arm.confirm for arm in arms)]
    found.check(CALLS.name, twice == row.get("twice", []), f"at {name!r} {twice} must be said twice, not {row.get('twice', [])}")


def _marks_and_conditions(part: str, flow: Flow, found: Findings) -> None:
    """What is left behind, and which lines are said only on a condition: by step, of one flow's part; and of what holds at any step."""
    steps = {name: flow.steps[name] for name in (flow.joined[part].steps if flow.joined else flow.steps) if name in flow.steps}
    wanted = _written()
    have, written = marks(steps), wanted["marks"].get(part, {})
    for name in [*steps, *(name for name in written if name not in steps)]:
        _same_marks(have.get(name, {}), written.get(name, {}), f"at {name!r}", found)
    conditions, written = said_only_if(steps), wanted["said only if"].get(part, {})
    for name in [*steps, *(name for name in written if name not in steps)]:
        for which, (one, other) in enumerate(zip_longest(conditions.get(name, []), written.get(name, [])), start=1):
            found.check(SAYS.name, one == other, f"line {which} at {name!r} depends on {_told(one)}, not on {_told(other)}")
    if part == flow.base:
        everywhere = wanted["marks everywhere"]
        _same_marks(_by_arm(flow.everywhere), everywhere["answers"], "at any step", found)
        _same_marks({name: _left_behind(effects) for name, effects in flow.effects.items()}, everywhere["effects"], "among the effects", found)


def _same_marks(have: Mapping[str, list[Any]], wanted: Mapping[str, list[Any]], where: str, found: Findings) -> None:
    for what in [*have, *(what for what in wanted if what not in have)] or ["nothing"]:
        one, other = have.get(what), wanted.get(what)
        found.check(MARKS.name, one == other, f"what {what!r} {where} leaves behind is {_told(one)}, not {_told(other)}")


def _told(told: list[Any] | None) -> str:
    """[a, b] as 'a, b'; several lists, one for each case, with a stroke between them."""
    if not told:
        return "nothing"
    return " / ".join(map(_told, told)) if isinstance(told[0], list) else ", ".join(told)


def marks(steps: Mapping[str, Step]) -> dict[str, dict[str, list[Any]]]:
    """By step: what entering it, each of its answers, silence and its lines leave behind, of those that leave something."""
    found = {}
    for name, step in steps.items():
        lines = [mark for line in (*step.say, *step.then_say, *step.ask) for mark in (*line.set, *(f"not {name}" for name in line.clear))]
        rows = {"entering": _left_behind(step.enter), **_by_arm(step.answers), "silence": _of_arms(step.silent), "saying it": lines}
        if told := {key: row for key, row in rows.items() if row}:
            found[name] = told
    return found


def said_only_if(steps: Mapping[str, Step]) -> dict[str, list[list[str]]]:
    """By step with such a line: each line's conditions, those that silence says at the end."""
    found = {}
    for name, step in steps.items():
        silent = [line for silence in step.silent for line in silence.say]
        conditions = [line.when for line in (*step.say, *step.then_say, *step.ask, *silent)]
        if any(conditions):
            found[name] = conditions
    return found


def _by_arm(answers: Mapping[str, list[Arm]]) -> dict[str, list[Any]]:
    rows = {answer: _of_arms(arms) for answer, arms in answers.items()}
    return {answer: row for answer, row in rows.items() if row}


def _of_arms(arms: list[Any]) -> list[Any]:
    """Of one arm its own; of several a list for each; nothing if none leaves anything."""
    rows = [_left_behind(arm) for arm in arms]
    return [] if not any(rows) else rows[0] if len(rows) == 1 else rows


def _left_behind(effects: Effects) -> list[str]:
    return [
        *(f"{fact} is {value}" for fact, value in effects.learn.items()), *effects.set, *(f"not {mark}" for mark in effects.clear),
        *(f"one more of {count}" for count in effects.count), *(f"no more {count}" for count in effects.reset),
        *([f"as in {effects.do}"] if effects.do else []), *([f"the call is {effects.call_is}"] if effects.call_is else []),
    ]  # fmt: skip


def _turning(arm: Arm) -> list[str]:
    """Where it leads, whether it calls or must be said twice, and on what it depends."""
    return [_leads(arm), *(["calls"] if arm.call else []), *(["twice"] if arm.confirm else []), *arm.when]


def _leads(arm: Arm) -> str:
    return "stay" if arm.stay else arm.go or "nothing"


def _beat(beat: Beat | None) -> object:
    if beat is None:
        return None
    return "pushes" if beat.pushes else "suction" if beat.suction else beat.breaths
