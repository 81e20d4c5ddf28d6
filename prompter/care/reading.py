"""Reads a YAML file into plain data and remembers on which line each value stands.

libyaml splits the text into events (PyYAML; its own Python parser, many times slower, where a wheel
came without). What a plain word means is said here, by the core schema of YAML 1.2.2, section 10.3:
`no` is a word, as clinicians write it. Beside it a day, 2031-05-01, is a date.
"""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import yaml
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamStartEvent,
)

from prompter.errors import CannotDo
from prompter.limits import PLAN_BYTES, PLAN_VALUES

Path_ = tuple[str | int, ...]
_GET_A_PLAN = "Make one with: prompter plan new"


class Sort(NamedTuple):
    """What sort of file is expected: its name in messages, how to get one, and its bounds."""

    noun: str
    mend: str
    values: int
    depth: int


PLAN = Sort("plan", _GET_A_PLAN, PLAN_VALUES, 8)


class Document(NamedTuple):
    """`data`: plain dicts, lists and scalars. `lines`: path -> line from 1. `file`: its name."""

    file: str
    data: dict[str, Any]
    lines: dict[Path_, int]

    def where(self, path: Path_) -> str:
        """'file:line' of this path, or of the nearest group around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return f"{self.file}:{self.lines.get(path, 1)}"


def read_yaml(path: str | Path, sort: Sort = PLAN) -> Document:
    """Raises CannotDo for a file that is missing, unreadable, too large, or not a YAML mapping."""
    file = str(path)
    return read_yaml_text(_text(Path(path), file, sort), file, sort)


def read_yaml_text(text: str, file: str, sort: Sort = PLAN) -> Document:
    """The same for a text that is at hand; `file` is how messages call it."""
    try:
        return _Reader(text, file, sort).document()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 1
        where = f"{file}:{line}"
        if "nesting" in (error.problem or ""):
            raise CannotDo("groups are nested too deep.", where, f"Name the {sort.noun}'s file.") from None
        lines = text.splitlines()
        if line <= len(lines) and "\t" in lines[line - 1]:
            raise CannotDo("there is a tab here.", where, "Use spaces instead of tabs.") from None
        raise CannotDo(
            f"this line cannot be understood: {error.problem or 'not YAML'}.",
            where,
            "Write `name: value`, two spaces in for each group, quotes around odd signs; a quote above may not be closed.",
        ) from None
    except (yaml.YAMLError, UnicodeError):  # signs that no text holds; the library tells no line
        line = _bad_line(text)
        where = f"{file}:{line}" if line else file
        raise CannotDo("a value here cannot be understood.", where, "Check odd signs.") from None


def _text(path: Path, file: str, sort: Sort) -> str:
    try:
        # A pipe or device would make us wait for ever.
        if path.exists() and not path.is_file():
            raise CannotDo("this is not a file.", file, f"Name the {sort.noun}'s file.")
        with path.open("rb") as stream:
            content = stream.read(PLAN_BYTES + 1)
    except FileNotFoundError:
        raise CannotDo("there is no such file.", file, sort.mend) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CannotDo(f"cannot be read: {reason}.", file, "Check name and permissions.") from None
    if len(content) > PLAN_BYTES:
        raise CannotDo(
            f"the file is larger than {PLAN_BYTES // 1000} kB; a {sort.noun} is not.",
            file,
            f"Name the {sort.noun}'s file.",
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise CannotDo(
            "this is not UTF-8 text.", f"{file}:{line}", "Save it as plain UTF-8 text."
        ) from None


def _bad_line(text: str) -> int | None:
    """The first line with a sign that YAML does not take."""
    for number, line in enumerate(text.splitlines(), start=1):
        if not all(sign.isprintable() or sign in "\t\r" for sign in line):
            return number
    return None


class _Reader:
    """One text, event by event."""

    def __init__(self, text: str, file: str, sort: Sort) -> None:
        self._events: Iterator[Event] = yaml.parse(text, Loader=_LOADER)
        self._file, self._sort = file, sort
        self._lines: dict[Path_, int] = {}
        self._anchored: dict[str, Any] = {}

    def document(self) -> Document:
        for event in self._events:
            if not isinstance(event, StreamStartEvent | DocumentStartEvent):
                break
        if not isinstance(event, ScalarEvent | AliasEvent | SequenceStartEvent | MappingStartEvent):
            raise CannotDo("the file is empty.", self._file, self._sort.mend)
        root = self._value(event, ())
        if root is None:
            raise CannotDo("the file is empty.", self._file, self._sort.mend)
        if not isinstance(root, dict):
            raise CannotDo(f"this is not a {self._sort.noun}: no `name: value` lines.", f"{self._file}:1", self._sort.mend)
        for event in self._events:
            if isinstance(event, DocumentStartEvent):
                text = "this line cannot be understood: a second document begins."
                raise CannotDo(text, self._where(event), f"Keep one {self._sort.noun} in a file.")
        return Document(self._file, root, self._lines)

    def _value(self, event: Event, path: Path_) -> Any:
        self._check_bounds(path)
        if isinstance(event, AliasEvent):
            if event.anchor not in self._anchored:
                text = f"this line cannot be understood: nothing before it is called `{event.anchor}`."
                raise CannotDo(text, self._where(event), "Write the value itself.")
            return self._again(self._anchored[event.anchor], path, event.start_mark.line + 1)
        if isinstance(event, MappingStartEvent):
            value: Any = self._group(event, path)
        elif isinstance(event, SequenceStartEvent):
            value = self._list(event, path)
        else:
            value = self._scalar(event)
        if event.anchor:
            self._anchored[event.anchor] = value
        return value

    def _group(self, start: MappingStartEvent, path: Path_) -> dict[str, Any]:
        self._check_tag(start, "map")
        found: dict[str, Any] = {}
        for event in self._events:
            if isinstance(event, MappingEndEvent):
                break
            name = self._scalar(event) if isinstance(event, ScalarEvent) else None
            if not isinstance(name, str):
                shown = event.value if isinstance(event, ScalarEvent) else "a list or group"
                raise CannotDo(f"`{shown}` is no name of a field.", self._where(event), "Remove it or quote it.")
            if name in found:
                raise CannotDo(f"`{name}` is written twice in this group.", self._where(event), "Keep one of the two.")
            self._lines[(*path, name)] = event.start_mark.line + 1
            found[name] = self._value(next(self._events), (*path, name))
        return found

    def _list(self, start: SequenceStartEvent, path: Path_) -> list[Any]:
        self._check_tag(start, "seq")
        found: list[Any] = []
        for event in self._events:
            if isinstance(event, SequenceEndEvent):
                break
            at = (*path, len(found))
            self._lines[at] = event.start_mark.line + 1
            found.append(self._value(event, at))
        return found

    def _again(self, value: Any, path: Path_, line: int) -> Any:
        """A value that was written before, once more: counted again, for a few aliases may stand for millions."""
        self._check_bounds(path)
        parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        again = []
        for name, part in parts:
            self._lines[(*path, name)] = line
            again.append((name, self._again(part, (*path, name), line)))
        return dict(again) if isinstance(value, dict) else [part for _, part in again] if isinstance(value, list) else value

    def _scalar(self, event: ScalarEvent) -> Any:
        text = event.value
        if event.tag not in (None, "!"):
            self._check_tag(event, "str")
            return text
        if not event.implicit[0]:  # in quotes, or a block of text
            return text
        for pattern, means in _PLAIN:
            if pattern.fullmatch(text):
                try:
                    return means(text)
                except ValueError:
                    raise CannotDo("a value here cannot be understood.", self._where(event), "Check dates and long numbers.") from None
        if _DAY_AND_TIME.fullmatch(text):
            self._refuse_kind(event)
        return text

    def _check_bounds(self, path: Path_) -> None:
        if len(path) > self._sort.depth or len(self._lines) > self._sort.values:
            deep = "groups are nested too deep: " if len(path) > self._sort.depth else ""
            text = f"{deep}this holds far more than a {self._sort.noun}."
            raise CannotDo(text, self._file, f"Name the {self._sort.noun}'s file.")

    def _check_tag(self, event: Any, kind: str) -> None:
        if event.tag not in (None, "!", f"tag:yaml.org,2002:{kind}"):
            self._refuse_kind(event)

    def _refuse_kind(self, event: Event) -> None:
        text = f"this kind of value has no place in a {self._sort.noun}."
        raise CannotDo(text, self._where(event), "Write a word, a number, or a day such as 2031-05-01.")

    def _where(self, event: Event) -> str:
        return f"{self._file}:{event.start_mark.line + 1}"


_LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)

_PLAIN: list[tuple[re.Pattern[str], Any]] = [
    (re.compile(pattern, re.ASCII), means)
    for pattern, means in (
        (r"|~|null|Null|NULL", lambda text: None),
        (r"true|True|TRUE", lambda text: True),
        (r"false|False|FALSE", lambda text: False),
        (r"[-+]?[0-9]+", int),
        (r"0o[0-7]+", lambda text: int(text, 8)),
        (r"0x[0-9a-fA-F]+", lambda text: int(text, 16)),
        (r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?", float),
        (r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)", lambda text: float(text.replace(".", ""))),
        (r"[0-9]{4}-[0-9]{2}-[0-9]{2}", date.fromisoformat),
    )
]
"""What a word without quotes means; any other is a text."""

_DAY_AND_TIME = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[Tt]|[ \t]+)[0-9].*", re.ASCII)
