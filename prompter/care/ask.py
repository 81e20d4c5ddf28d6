"""Asks for a plan in plain words, one answer at a time, and loses none of them."""

import json
from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from prompter.care.contradictions import Contradiction, contradictions
from prompter.care.place import write_private
from prompter.care.plan import Plan
from prompter.care.problems import MAY_BE_ABSENT, adapter, explain, leaves
from prompter.care.questions import QUESTIONS, Question
from prompter.care.writing import shown
from prompter.errors import Bug

_FIELDS = dict(leaves(Plan))
_ALL = [question for _, questions in QUESTIONS for question in questions]
_TITLES = {question.path: title for title, questions in QUESTIONS for question in questions}

# What stands for a question that does not arise, where the plan has no default of its own.
_UNASKED: dict[str, Any] = {
    "ventilator": False,
    "rescue.mouth_to_tube_trained": False,
    "rescue.bleeding_cuff_air_ml": None,
    "approval.approved_on": None,
    "approval.review_due": None,
}

Ask = Callable[[str, str | None], str]
Show = Callable[[str], None]


class Refused(Exception):
    """An answer that cannot stand: what is wrong, and how to mend it."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(f"{what[:1].upper()}{what[1:]} {mend}")


def check_answer(path: str, text: str) -> Any:
    """The value of a typed answer for the field at this path. Raises Refused."""
    if path in MAY_BE_ABSENT:
        # Whether there is one; asked like any yes-or-no field.
        return _yes_no(text)
    first: Any = None
    for candidate in _readings(text.strip()):
        try:
            return _adapter(path).validate_python(candidate)
        except ValidationError as error:
            detail = error.errors(include_url=False)[0]
            # A number out of range says more than "this text is no number".
            if first is None or first["type"].endswith("_type"):
                first = detail
    where = tuple(path.split("."))
    _, mend = explain({**first, "loc": where}, Plan)
    what, _ = explain({**first, "loc": ("your answer",)}, Plan)
    raise Refused(what.replace("`your answer`", "your answer"), mend)


@cache
def _adapter(path: str) -> TypeAdapter[Any]:
    return adapter(_FIELDS[path])


def _yes_no(text: str) -> bool:
    word = text.strip().lower()
    if word not in ("yes", "no"):
        raise Refused(f"your answer is '{text.strip()}'.", "Write yes or no.")
    return word == "yes"


def _readings(text: str) -> list[Any]:
    """What the text could mean: itself, in small letters, a number, a day, a list."""
    found: list[Any] = [text, text.lower(), text.upper()]
    for read in (int, float, date.fromisoformat):
        try:
            found.append(read(text))
        except ValueError:
            continue
    pieces = [piece.strip() for piece in text.split(",") if piece.strip()]
    nothing = text.lower() in ("nothing", "none")
    return [*found, [] if nothing else pieces, [piece.lower() for piece in pieces]]


class Interview:
    """The answers so far: given one by one, kept in a draft, made into a plan at the end."""

    def __init__(self, draft: Path, old: Plan | None = None) -> None:
        self._draft = draft
        self._old = old
        self._texts: dict[str, str] = self._kept()
        self.resumed = bool(self._texts)

    def _kept(self) -> dict[str, str]:
        try:
            kept = json.loads(self._draft.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        if not isinstance(kept, dict):
            return {}
        texts = {}
        for question in _ALL:
            text = kept.get(question.path)
            if isinstance(text, str):
                try:
                    check_answer(question.path, text)
                except Refused:
                    continue
                texts[question.path] = text
        return texts

    def values(self) -> dict[str, Any]:
        """Path -> value of the answers that count (a cuff's volume without a cuff does not)."""
        values: dict[str, Any] = {}
        for question in _ALL:
            if question.path in self._texts and question.when(values):
                values[question.path] = check_answer(question.path, self._texts[question.path])
        return values

    def run(self, ask: Ask, show: Show, again: bool = False) -> Plan:
        """Asks all that is open, or all once more with the answers so far as suggestions (`again`).

        `ask(words, suggestion)` may raise to interrupt: the answers are kept.
        """
        index, title = 0, ""
        settled = set() if again else set(self._texts)
        while index < len(_ALL):
            question = _ALL[index]
            if not question.when(self.values()) or (
                # A changed earlier answer may have unsettled this one.
                question.path in settled and not self._clash(question.path)
            ):
                index += 1
                continue
            if _TITLES[question.path] != title:
                title = _TITLES[question.path]
                show(f"\n== {title} ==")
            show(f"\n{question.why}")
            text = ask(question.words, self._suggestion(question))
            if text.strip().lower() == "back":
                index = self._previous(index)
                settled.discard(_ALL[index].path)
                continue
            if self._take(question, text, show):
                settled.add(question.path)
                index += 1
        return self.plan()

    def _previous(self, index: int) -> int:
        values = self.values()
        earlier = [i for i in range(index) if _ALL[i].when(values)]
        return earlier[-1] if earlier else index

    def _suggestion(self, question: Question) -> str | None:
        if question.path in self._texts:
            return self._texts[question.path]
        if self._old is not None:
            known = self._old.values()
            if question.path in known:
                return shown(known[question.path])
        return question.usual

    def _take(self, question: Question, text: str, show: Show) -> bool:
        try:
            check_answer(question.path, text)
        except Refused as refused:
            show(str(refused))
            return False
        before = self._texts.get(question.path)
        self._texts[question.path] = text
        if clash := self._clash(question.path):
            show(f"{clash.what[:1].upper()}{clash.what[1:]} {clash.mend}")
            show("Answer again, or write 'back' to change an earlier answer.")
            self._texts.pop(question.path)
            if before is not None:
                self._texts[question.path] = before
            return False
        write_private(self._draft, json.dumps(self._texts, indent=1, ensure_ascii=False))
        return True

    def _clash(self, path: str) -> Contradiction | None:
        """A contradiction with an earlier answer; one with a later answer is asked there again."""
        order = [question.path for question in _ALL]
        known = {
            key: value
            for key, value in self.values().items()
            if order.index(key) <= order.index(path)
        }
        return next(iter(contradictions(known, at=path)), None)

    def plan(self) -> Plan:
        """The plan made of the answers. Raises Bug if they do not make one."""
        values = self.values()
        values = _UNASKED | values
        if values.get("tube"):
            values.setdefault("tube.who_may_change_it", None)
        data: dict[str, Any] = {"demonstration": bool(self._old and self._old.demonstration)}
        data |= {name: None for name in MAY_BE_ABSENT if not values.pop(name)}
        for path, value in values.items():
            group, _, key = path.partition(".")
            if key:
                data.setdefault(group, {})[key] = value
            else:
                data[group] = value
        try:
            return Plan.model_validate(data)
        except ValidationError as error:
            raise Bug(f"the answers do not make a plan: {error}") from None

    def forget(self) -> None:
        """Removes the draft, once the plan is written."""
        self._draft.unlink(missing_ok=True)
