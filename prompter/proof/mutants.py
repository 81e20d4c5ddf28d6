"""Flows with one fault each: fixed operators at every site of the document they apply to. `trying.py` asks whether the check notices."""

import copy
import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

Change = Callable[[Any], None]
_OTHER_PROMPT = "Wait."
_TIMES = ("act_s", "repeat_s", "every_s")


@dataclass(frozen=True)
class Mutant:
    """`what`: the operator and the site, in words; `step`: the step it lies in, if it lies in one."""

    what: str
    operator: str
    change: Change
    step: str = ""

    def of(self, data: Any) -> Any:
        """The document with this one fault. The original is left alone."""
        twin = copy.deepcopy(data)
        self.change(twin)
        return twin


def mutants_of(data: Any) -> Iterator[Mutant]:
    """All, in the order of the document. `data`: the flow as `Flow.model_dump(by_alias=True)` gives it."""
    for name, step in data["steps"].items():
        yield from _of_step(name, step)
    for answer, arms in data["everywhere"].items():
        yield from _of_arms(("everywhere", answer), arms, f"everywhere {answer}")
        yield _removing(("everywhere", answer), f"everywhere {answer}", "drop an answer")
    for name, lines in data["ways"].items():
        for index, line in enumerate(lines):
            site = f"way {name} line {index + 1}"
            if len(lines) > 1 and index < len(lines) - 1:
                yield _removing(("ways", name, index), site, "drop a condition's line")
            for part in range(len(line["if"])):
                yield _removing(("ways", name, index, "if", part), site, "drop a condition")
            if index + 1 < len(lines) and line["go"] != lines[index + 1]["go"]:
                yield _swapping(("ways", name), index, "go", site)
    for name, effects in data["effects"].items():
        yield from _of_effects(("effects", name), effects, f"effect {name}")
    for index, line in enumerate(data["rules"]["breath_gap"]):
        yield _setting(("rules", "breath_gap", index, "after_s"), line["after_s"] * 3, f"breath gap line {index + 1}", "change a time")
    for rule, value in (("confirm_within_s", 0.1), ("pause_while_speaking_s", 40), ("hold_s", 300), ("test_breaths", 5), ("ask_after_beat_s", 1),
                        ("unclear_before_assuming", 20), ("halved_not_below_s", 60)):  # fmt: skip
        yield _setting(("rules", rule), value, f"rule {rule}", "change a number")
    for part in ("reminder_s", "reminder_without_phone_s"):
        yield _setting(("call", part), data["call"][part] * 3, f"call {part}", "change a time")
    for answer, body in data["answers"].items():
        if body["reason"]:
            yield _setting(("answers", answer, "reason"), False, f"answer {answer}", "drop a reason")
        if body["risk"] == "good":
            yield _setting(("answers", answer, "risk"), "plain", f"answer {answer}", "change a risk")


def _of_step(name: str, step: dict[str, Any]) -> Iterator[Mutant]:
    path, site = ("steps", name), f"step {name}"
    for part in ("say", "then_say", "ask"):
        for index, line in enumerate(step[part]):
            yield _removing((*path, part, index), f"{site} {part} {index + 1}", "drop a prompt")
            yield _setting((*path, part, index, "say"), _OTHER_PROMPT, f"{site} {part} {index + 1}", "change a prompt")
            for which in range(len(line["if"])):
                yield _removing((*path, part, index, "if", which), f"{site} {part} {index + 1}", "drop a condition")
            for change in ("set", "clear"):
                for which, mark in enumerate(line[change]):
                    yield _removing((*path, part, index, change, which), f"{site} {part} {index + 1} {change} {mark}", "drop a mark")
    for answer, arms in step["answers"].items():
        yield _removing((*path, "answers", answer), f"{site} answer {answer}", "drop an answer")
        yield from _of_arms((*path, "answers", answer), arms, f"{site} answer {answer}")
    leading = [(answer, arms[-1]["go"]) for answer, arms in step["answers"].items() if arms[-1]["go"]]
    for (one, go), (other, gone) in itertools.pairwise(leading):
        if go != gone:
            yield _swapping_answers(path, one, other, f"{site} answers {one} and {other}")
    for index, silent in enumerate(step["silent"]):
        where = f"{site} silence {index + 1}"
        yield _removing((*path, "silent", index), where, "drop a silent branch")
        for time in _TIMES:
            if silent[time] is not None:
                yield _setting((*path, "silent", index, time), silent[time] * 4, where, "change a time")
        yield from _of_effects((*path, "silent", index), silent, where)
    yield from _of_effects((*path, "enter"), step["enter"], f"{site} on entering")
    for index in range(len(step["only_if"])):
        yield _removing((*path, "only_if", index), site, "drop a condition")
    if step["needs_reason"]:
        yield _setting((*path, "needs_reason"), False, site, "drop a reason")
    if step["beat"]:
        yield _setting((*path, "beat"), None, site, "drop a beat")
    if step["gap"]:
        yield _setting((*path, "gap"), None, site, "drop an edge")


def _of_arms(path: tuple[Any, ...], arms: list[dict[str, Any]], site: str) -> Iterator[Mutant]:
    for index, arm in enumerate(arms):
        where = f"{site} arm {index + 1}" if len(arms) > 1 else site
        if len(arms) > 1:
            yield _removing((*path, index), where, "drop an arm")
        for which in range(len(arm["if"])):
            yield _removing((*path, index, "if", which), where, "drop a condition")
        if arm["confirm"]:
            yield _setting((*path, index, "confirm"), False, where, "drop a confirmation")
        yield from _of_effects((*path, index), arm, where)


def _of_effects(path: tuple[Any, ...], effects: dict[str, Any], site: str) -> Iterator[Mutant]:
    for name in effects["learn"]:
        yield _removing((*path, "learn", name), f"{site} learn {name}", "drop what is learned")
    for part in ("set", "clear", "count"):
        for index, mark in enumerate(effects[part]):
            yield _removing((*path, part, index), f"{site} {part} {mark}", "drop a mark")
    for part in ("do", "call", "call_is"):
        if effects[part]:
            yield _setting((*path, part), None, f"{site} {part}", "drop an effect")


def _at(data: Any, path: tuple[Any, ...]) -> Any:
    for part in path:
        data = data[part]
    return data


def _step_of(path: tuple[Any, ...]) -> str:
    return path[1] if path[0] == "steps" else ""


def _removing(path: tuple[Any, ...], site: str, operator: str) -> Mutant:
    def change(data: Any) -> None:
        del _at(data, path[:-1])[path[-1]]

    return Mutant(f"{operator}: {site}", operator, change, _step_of(path))


def _setting(path: tuple[Any, ...], value: Any, site: str, operator: str) -> Mutant:
    def change(data: Any) -> None:
        _at(data, path[:-1])[path[-1]] = value

    return Mutant(f"{operator}: {site}", operator, change, _step_of(path))


def _swapping(path: tuple[Any, ...], index: int, field_: str, site: str) -> Mutant:
    def change(data: Any) -> None:
        lines = _at(data, path)
        lines[index][field_], lines[index + 1][field_] = lines[index + 1][field_], lines[index][field_]

    return Mutant(f"swap targets: {site}", "swap targets", change, _step_of(path))


def _swapping_answers(path: tuple[Any, ...], one: str, other: str, site: str) -> Mutant:
    def change(data: Any) -> None:
        answers = _at(data, path)["answers"]
        answers[one][-1]["go"], answers[other][-1]["go"] = answers[other][-1]["go"], answers[one][-1]["go"]

    return Mutant(f"swap targets: {site}", "swap targets", change, _step_of(path))
