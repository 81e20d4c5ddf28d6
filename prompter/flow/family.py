"""Which files belong to a flow: a side flow goes on in another, and all that switch to each other are one text."""

import os
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

from prompter.care.approval import Standing, standing
from prompter.resources import flow_file

_BASE = re.compile(r"^goes_on_in:[ \t]*([a-z0-9-]+)", re.MULTILINE)
_SIDES = re.compile(r"^switches_to:[ \t]*\[([^\]]*)\]", re.MULTILINE)
_TOP = re.compile(r"^(flow|version):[ \t]*([a-z0-9-]+)[ \t]*$", re.MULTILINE)
_NAME = re.compile(r"[a-z0-9-]+")


def family_files(path: str | Path) -> list[Path]:
    """The files that a flow is made of, its own first. The others are looked for beside it, then among
    the program's. Found by their top lines alone."""
    first = Path(path)
    base = _BASE.search(_text(first))
    names = [base[1]] if base else []
    sides = _SIDES.search(_text(_beside(first, base[1]) if base else first))
    names += _NAME.findall(sides[1]) if sides else []
    return [first, *(file for name in dict.fromkeys(names) if (file := _beside(first, name)) != first)]


def family_text(path: str | Path) -> str:
    """All that `load_flow` reads, as one text that `parse_flow` takes: a journal that holds it needs
    nothing else. Raises OSError for a file that cannot be read."""
    files = family_files(path)
    texts = [file.read_text(encoding="utf-8-sig") for file in files]
    if len(texts) == 1:
        return texts[0]
    return "".join(f"--- # {file.name}\n{text}" for file, text in zip(files, texts, strict=True))


def least_approved(path: str | Path, today: date) -> tuple[Path, Standing]:
    """How a flow stands today with all that it switches to: the first file that is not approved, or its own."""
    first, *others = family_files(path)
    own = standing(first, today)
    if own.holds:
        for file in others:
            found = standing(file, today)
            if not found.holds:
                return file, replace(found, says=f"not approved whole: {file.stem} is {found.says}")
    return first, own


def versions_in(text: str) -> dict[str, int]:
    """The flows of a text that `family_text` has made, the one that begins first, with their versions."""
    tops = (dict(_TOP.findall(part)) for part in documents_of(text))
    return {top["flow"]: int(top["version"]) for top in tops if {"flow", "version"} <= top.keys()}


def documents_of(text: str) -> list[str]:
    """The YAML documents of a text, each on the lines where it stands."""
    at = [match.start() for match in re.finditer(r"^---", text, re.MULTILINE)]
    if len(at) < 2:
        return [text]
    return ["\n" * text.count("\n", 0, start) + text[start:end] for start, end in zip(at, [*at[1:], len(text)], strict=True)]


def _beside(file: Path, name: str) -> Path:
    here = file.parent / f"{name}.yaml"
    return here if os.path.isfile(here) else flow_file(name)  # unlike Path.is_file: no error where a name is too long to be one


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, ValueError):
        return ""  # whoever reads it next says what is wrong with it
