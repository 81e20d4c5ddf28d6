"""Reads a YAML file into plain data and remembers on which line each value stands."""

from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.constructor import DuplicateKeyError
from ruamel.yaml.error import MarkedYAMLError, YAMLError

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
    root = _parse(text, file, sort)
    if root is None:
        raise CannotDo("the file is empty.", file, sort.mend)
    if not isinstance(root, CommentedMap):
        raise CannotDo(
            f"this is not a {sort.noun}: no `name: value` lines.", f"{file}:1", sort.mend
        )
    lines: dict[Path_, int] = {}
    return Document(file, _plain(root, (), lines, file, sort), lines)


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


def _parse(text: str, file: str, sort: Sort) -> Any:
    try:
        return _loaded(text)
    except DuplicateKeyError as error:
        mark = error.problem_mark
        name = (error.problem or "").split('"')[1:2]
        raise CannotDo(
            f"`{name[0] if name else '?'}` is written twice in this group.",
            f"{file}:{mark.line + 1 if mark else 1}",
            "Keep one of the two.",
        ) from None
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 1
        where = f"{file}:{line}"
        lines = text.splitlines()
        if line <= len(lines) and "\t" in lines[line - 1]:
            raise CannotDo("there is a tab here.", where, "Use spaces instead of tabs.") from None
        raise CannotDo(
            f"this line cannot be understood: {error.problem or 'not YAML'}.",
            where,
            "Write `name: value`, two spaces in for each group, quotes around odd signs.",
        ) from None
    except RecursionError:
        raise CannotDo(
            "groups are nested too deep.", file, f"Name the {sort.noun}'s file."
        ) from None
    except Exception:
        # The library lets bare errors of any kind through for odd tags, dates such as 2031-02-31,
        # and the like; an emergency must get its one clear line all the same.
        line = _bad_line(text)
        where = f"{file}:{line}" if line else file
        raise CannotDo(
            "a value here cannot be understood.", where, "Check dates, odd signs and tags."
        ) from None


def _loaded(text: str) -> Any:
    """The library's own tree; it is read, never changed."""
    return YAML(typ="rt", pure=True).load(text)


def _bad_line(text: str) -> int | None:
    """The first line that cannot be read for itself, for errors that bring no line."""
    for number, line in enumerate(text.splitlines(), start=1):
        value = line.partition(": ")[2]
        if not all(sign.isprintable() or sign in "\t\r" for sign in line):
            return number
        try:
            _loaded(f"x: {value}")
        except (YAMLError, RecursionError):
            continue  # half of something longer: not proof
        except Exception:  # the same bare error again
            return number
    return None


def _plain(node: Any, path: Path_, lines: dict[Path_, int], file: str, sort: Sort) -> Any:
    if len(path) > sort.depth or len(lines) > sort.values:
        raise CannotDo(f"this holds far more than a {sort.noun}.", file, f"Name the {sort.noun}'s file.")
    if isinstance(node, CommentedMap):
        plain: dict[str, Any] = {}
        for key, value in node.items():
            at = node.lc.data.get(key) if node.lc.data else None
            line = (at[0] if at else node.lc.line) + 1
            if not isinstance(key, str):
                raise CannotDo(
                    f"`{key}` is no name of a field.", f"{file}:{line}", "Remove it or quote it."
                )
            lines[(*path, str(key))] = line
            plain[str(key)] = _plain(value, (*path, str(key)), lines, file, sort)
        return plain
    if isinstance(node, CommentedSeq):
        for index in range(len(node)):
            at = node.lc.data.get(index) if node.lc.data else None
            lines[(*path, index)] = (at[0] if at else node.lc.line) + 1
        return [_plain(item, (*path, index), lines, file, sort) for index, item in enumerate(node)]
    return _scalar(node, path, lines, file)


def _scalar(node: Any, path: Path_, lines: dict[Path_, int], file: str) -> Any:
    # Round-trip scalars are subclasses; exact types keep the strict models exact.
    if node is None or isinstance(node, bool):
        return node
    for kind in (str, int, float):
        if isinstance(node, kind):
            return kind(node)
    if type(node) is date:
        return node
    if type(node).__name__ == "ScalarBoolean":
        return bool(node)
    raise CannotDo(
        "this kind of value has no place in a plan.",
        f"{file}:{lines.get(path, 1)}",
        "Write a word, a number, or a day such as 2031-05-01.",
    )
