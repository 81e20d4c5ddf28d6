"""Says what is wrong in a plan: one line a problem, with file, line and how to mend it."""

import difflib
from collections.abc import Iterator
from typing import Annotated, Any, get_args

from pydantic import BaseModel, TypeAdapter, ValidationError

from prompter.care.contradictions import Contradiction, contradictions
from prompter.care.reading import Document, Path_
from prompter.errors import CannotDo

MAY_BE_ABSENT = ("tube", "oxygen")
"""Groups that a plan may lack; whether they are there is a value of its own."""

_ABSENT = object()


class PlanProblems(CannotDo):
    """All problems of one file, in its order; as text one clear line each."""

    def __init__(self, problems: list[CannotDo]) -> None:
        self.problems = problems
        first = problems[0]
        super().__init__(first.what, first.where, first.mend)

    def one_line(self) -> str:
        return "\n".join(problem.one_line() for problem in self.problems)


def problems_of(error: ValidationError, document: Document, model: type[BaseModel]) -> PlanProblems:
    """Everything wrong with the document: pydantic's findings, then contradictions in the rest."""
    found: list[tuple[str, CannotDo]] = []
    clashes: list[Contradiction] = []
    for detail in error.errors(include_url=False):
        if detail["type"] == "contradictions":
            clashes = detail["ctx"]["found"]
            continue
        path = detail["loc"]
        what, mend = explain(detail, model)
        found.append((document.where(path), CannotDo(what, document.where(path), mend)))
    clashes = clashes or contradictions(_valid_values(document.data, model))
    for clash in clashes:
        path = tuple(clash.path.split("."))
        found.append((document.where(path), CannotDo(clash.what, document.where(path), clash.mend)))
    found.sort(key=lambda pair: int(pair[0].rpartition(":")[2]))
    return PlanProblems([problem for _, problem in found])


def explain(detail: Any, model: type[BaseModel]) -> tuple[str, str]:
    """What is wrong and how to mend it, from one of pydantic's error details."""
    path: Path_ = detail["loc"]
    name = ".".join(str(part) for part in path if isinstance(part, str)) or "the plan"
    kind, context, given = detail["type"], detail.get("ctx", {}), detail.get("input")
    description = describe(path, model)
    give = f"Give {description}." if description else "Correct the value."
    if kind == "missing":
        return f"`{name}` is missing.", f"Add it: {description}." if description else "Add it."
    if kind == "extra_forbidden":
        return f"`{name}` is not a field of a plan.", _nearest(path, model)
    shown = _shown(given)
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"`{name}` is a group of fields, not {shown}.", give
    if kind == "literal_error":
        return f"`{name}` is {shown}.", f"Write one of: {context['expected'].replace(' or ', ', ')}."
    if kind == "bool_type":
        return f"`{name}` is {shown}.", f"Write yes or no: {description}."
    if kind == "string_type" and isinstance(given, int | float):
        return f"`{name}` is the number {given}.", f'Put it in quotes: "{given}".'
    if kind in ("date_type", "date_from_datetime_inexact"):
        return f"`{name}` is {shown}.", "Write a day such as 2031-05-01, without quotes."
    if kind in ("float_type", "int_type", "finite_number"):
        wanted = "a whole number" if kind == "int_type" else "a number"
        return f"`{name}` is {shown}; {wanted} is wanted.", give
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        limit = next(iter(context.values()))
        bound = {
            "greater_than": "above",
            "greater_than_equal": "at least",
            "less_than": "below",
            "less_than_equal": "at most",
        }[kind]
        return f"`{name}` is {given}; it must be {bound} {limit:g}.", give
    if kind == "string_pattern_mismatch":
        return f"`{name}` is {shown}, which cannot be used.", f"{give[:-1]}, in plain signs."
    return f"`{name}`: {detail['msg']}.", give


def describe(path: Path_, model: type[BaseModel]) -> str:
    """The description of the field at this path, or ''."""
    text, here = "", model
    for part in path:
        if isinstance(part, int):
            continue
        field = here.model_fields.get(part) if here else None
        if field is None:
            return ""
        text, here = field.description or "", _part_of(field.annotation)
    return text


def _part_of(annotation: Any) -> Any:
    """The group's model in an annotation such as `Tube | None`, or None."""
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def _nearest(path: Path_, model: type[BaseModel]) -> str:
    here: Any = model
    for part in path[:-1]:
        here = _part_of(here.model_fields[part].annotation) if here else None
    close = difflib.get_close_matches(str(path[-1]), here.model_fields if here else [], n=1)
    return f"Did you mean `{close[0]}`?" if close else "Remove the line."


def _shown(given: Any) -> str:
    if given is None:
        return "empty"
    if isinstance(given, list):
        return "a list"
    if isinstance(given, dict):
        return "a group of fields"
    text = str(given)
    return f"'{text[:40]}…'" if len(text) > 40 else f"'{text}'"


def leaves(model: type[BaseModel]) -> Iterator[tuple[str, Any]]:
    """(dotted path, field) of every value of a plan, group by group."""
    for name, field in model.model_fields.items():
        part = _part_of(field.annotation)
        if part is None:
            yield name, field
        else:
            for key, inner in part.model_fields.items():
                yield f"{name}.{key}", inner


def adapter(field: Any) -> TypeAdapter[Any]:
    """Checks one value as the plan's field would."""
    annotation = field.annotation
    for extra in field.metadata:
        annotation = Annotated[annotation, extra]
    return TypeAdapter(annotation, config={"strict": True, "allow_inf_nan": False})


def _valid_values(data: dict[str, Any], model: type[BaseModel]) -> dict[str, Any]:
    """Dotted path -> value for what is valid in a document that is not valid as a whole."""
    values: dict[str, Any] = {}
    for path, field in leaves(model):
        here: Any = data
        for key in path.split("."):
            here = here.get(key, _ABSENT) if isinstance(here, dict) else _ABSENT
        if here is _ABSENT:
            continue
        try:
            values[path] = adapter(field).validate_python(here)
        except ValidationError:
            continue
    for part in MAY_BE_ABSENT:
        if part in data:
            values[part] = isinstance(data[part], dict)
    return values
