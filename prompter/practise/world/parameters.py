"""What the simulated world assumes: read from one file, each value with its range and its source."""

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from prompter.care.reading import Document, Sort, read_yaml
from prompter.errors import CannotDo
from prompter.resources import shared_file

_SORT = Sort("list of parameters", "Take shared/world/parameters.yaml.", 2_000, 8)
FILE = ("world", "parameters.yaml")


@dataclass(frozen=True, slots=True)
class Parameter:
    """`name` is 'group.name'; low and high are the ends of its plausible range."""

    name: str
    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Parameters:
    """`p["hearing.believed"]` gives a value. Not changed after reading; `with_value` makes another."""

    each: dict[str, Parameter]
    tables: dict[str, Any]
    values: dict[str, float] = field(default_factory=dict)

    def __getitem__(self, name: str) -> float:
        return self.values[name]

    def with_values(self, **changed: float) -> "Parameters":
        """Others for some names, written group__name."""
        new = {name.replace("__", "."): value for name, value in changed.items()}
        if unknown := set(new) - set(self.each):
            raise CannotDo(f"there is no parameter '{min(unknown)}'.", "parameters", "Names are in shared/world/parameters.yaml.")
        return Parameters(self.each, self.tables, self.values | new)


@cache
def the_parameters() -> Parameters:
    """Those of shared/world/parameters.yaml."""
    return load_parameters(shared_file(*FILE))


def load_parameters(path: Path) -> Parameters:
    """Raises CannotDo for a value outside its range, without a range, or without a source."""
    document = read_yaml(path, _SORT)
    each = {}
    for group, lines in document.data.items():
        if group in ("version", "tables"):
            continue
        for name, line in lines.items():
            each[f"{group}.{name}"] = _parameter(document, group, name, line)
    return Parameters(each, document.data["tables"], {name: p.value for name, p in each.items()})


def _parameter(document: Document, group: str, name: str, line: Any) -> Parameter:
    where = document.where((group, name))
    if not isinstance(line, dict) or set(line) != {"value", "low", "high", "source"}:
        raise CannotDo(f"`{name}` needs value, low, high and source.", where, "Write all four.")
    if not line["low"] <= line["value"] <= line["high"]:
        raise CannotDo(f"`{name}` lies outside of its own range.", where, "Set low <= value <= high.")
    if not str(line["source"]).strip():
        raise CannotDo(f"`{name}` has no source.", where, "Write 'assumed' if there is none.")
    return Parameter(f"{group}.{name}", float(line["value"]), float(line["low"]), float(line["high"]), line["source"])
