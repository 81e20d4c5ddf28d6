"""Compares a flow with the clinical tables, where somebody has written them down a second time."""

from functools import cache
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from prompter.flow.document import Arm, Beat, Flow, Step
from prompter.proof.properties.property import Property
from prompter.proof.watch import Findings

ROWS = Property("the rows of the clinical tables", "what is written down twice shows a slip in one of them", "the clinical brief, sections 4 to 7")
TIMES = Property("the seconds of the clinical tables", "repeated and assumed by the step's own times", "the clinical brief, sections 4 to 7")
SAYS = Property("the words of the clinical tables", "each step says what the brief says, in that order", "the clinical brief, sections 4 to 7")
PROPERTIES = (ROWS, TIMES, SAYS)
_NOT_ANSWERS = frozenset({"says", "silence", "act", "every", "silent", "silent says", "after", "beat", "only"})


@cache
def tables() -> dict[str, dict[str, dict[str, Any]]]:
    """By flow and step."""
    return YAML(typ="safe").load(Path(__file__).with_name("clinical.yaml"))


def look_at_rows(flow: Flow, found: Findings) -> None:
    """Each row of the tables of the flows it covers, where they have one."""
    for name, row in ((n, r) for part in flow.covers for n, r in tables().get(part, {}).items()):
        step = flow.steps.get(name)
        if step is None:
            found.check(ROWS.name, False, f"there is no step {name!r}")
            continue
        _rows(name, step, row, found)
        _times(name, step, row, found)
        _says(name, step, row, found)


def _rows(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    for answer in row.keys() - _NOT_ANSWERS:
        wanted = row[answer] if isinstance(row[answer], list) else [row[answer]]
        leads = [_leads(arm) for arm in step.answers.get(answer, [])]
        found.check(ROWS.name, leads == wanted, f"{answer!r} at {name!r} leads to {' or '.join(leads) or 'nothing'}, not {' or '.join(wanted)}")
    if "silent" in row:
        silent = step.silent[-1] if step.silent else None
        leads_to = _leads(step.answers[silent.same_as][0]) if silent and silent.same_as else _leads(silent) if silent else "nothing"
        found.check(ROWS.name, leads_to == row["silent"], f"silence at {name!r} leads to {leads_to}, not {row['silent']}")
    if "after" in row:
        found.check(ROWS.name, step.after == row["after"], f"after {name!r} comes {step.after}, not {row['after']}")
    if "beat" in row:
        found.check(ROWS.name, _beat(step.beat) == row["beat"], f"the beat at {name!r} is {_beat(step.beat)}, not {row['beat']}")
    if "only" in row:
        found.check(ROWS.name, set(row["only"]) <= set(step.only_if), f"{name!r} is only for {', '.join(row['only'])}")


def _times(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    silent = step.silent[-1] if step.silent else None
    if "silence" in row:
        have = [silent.repeat_s, silent.act_s] if silent else []
        found.check(TIMES.name, have == row["silence"], f"silence at {name!r}: {have} s, not {row['silence']} s")
    for key, value in (("act", silent and silent.act_s), ("every", silent and silent.every_s)):
        if key in row:
            found.check(TIMES.name, value == row[key], f"silence at {name!r}: {key} {value} s, not {row[key]} s")


def _says(name: str, step: Step, row: dict[str, Any], found: Findings) -> None:
    lines = [line.say.lower() for line in (*step.say, *step.then_say, *step.ask)]
    at = 0
    for words in row.get("says", []):
        where = next((i for i in range(at, len(lines)) if words in lines[i]), None)
        found.check(SAYS.name, where is not None, f"{name!r} does not say {words!r} (or not in its place)")
        at = at if where is None else where + 1
    if words := row.get("silent says"):
        found.check(SAYS.name, any(words in line.say.lower() for s in step.silent for line in s.say), f"silence at {name!r} does not say {words!r}")


def _leads(arm: Arm) -> str:
    return "stay" if arm.stay else arm.go or "nothing"


def _beat(beat: Beat | None) -> object:
    if beat is None:
        return None
    return "pushes" if beat.pushes else "suction" if beat.suction else beat.breaths
