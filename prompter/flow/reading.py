"""Loads a flow with the flows it is joined with, and refuses a bad one: file, line, what, how to mend it."""

import difflib
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from prompter.care.reading import Document, Sort, read_yaml, read_yaml_text
from prompter.errors import CannotDo
from prompter.flow.consistency import Finding, findings
from prompter.flow.document import Flow, SideFlow
from prompter.flow.family import documents_of, family_files
from prompter.flow.joining import joined

_FLOW = Sort("flow", "Name a flow's file, such as flows/breathing-trouble.yaml.", 20_000, 12)


class FlowProblems(CannotDo):
    """All problems of one file, in its order; as text one clear line each."""

    def __init__(self, problems: list[CannotDo]) -> None:
        self.problems = problems
        super().__init__(problems[0].what, problems[0].where, problems[0].mend)

    def one_line(self) -> str:
        return "\n".join(problem.one_line() for problem in self.problems)


def load_flow(path: str | Path) -> Flow:
    """The flow in this file, with the side flows of its family. Raises FlowProblems (or CannotDo for a
    file that cannot be read at all)."""
    return _checked([read_yaml(file, _FLOW) for file in family_files(path)])


def parse_flow(text: str, name: str) -> Flow:
    """The same for a text that is at hand, such as a journal's; `name` is how messages call it."""
    return _checked([read_yaml_text(part, name, _FLOW) for part in documents_of(text)])


def _checked(documents: list[Document]) -> Flow:
    parts = [_part(document) for document in documents]
    flow = joined(parts, documents)
    found = [_placed(finding, documents) for finding in findings(flow)]
    if found:
        first = documents[0].file
        raise FlowProblems(sorted(found, key=lambda p: (not p.where.startswith(first), p.where.rpartition(":")[0], int(p.where.rpartition(":")[2] or 0))))
    return flow


def _part(document: Document) -> Flow | SideFlow:
    try:
        if "joined" in document.data:
            raise CannotDo("`joined` is filled in by the program.", document.where(("joined",)), "Remove it.")
        return (SideFlow if "goes_on_in" in document.data else Flow).model_validate(document.data)
    except ValidationError as error:
        raise FlowProblems(
            [_explain(detail, document) for detail in error.errors(include_url=False)]
        ) from None


def _placed(finding: Finding, documents: list[Document]) -> CannotDo:
    """In the document that has the longest part of the path: a name stands in one of them alone."""
    def known(document: Document) -> int:
        return max((n for n in range(1, len(finding.path) + 1) if finding.path[:n] in document.lines), default=0)

    document = max(documents, key=known)
    return CannotDo(finding.what, document.where(finding.path), finding.mend)


def _explain(detail: Any, document: Document) -> CannotDo:
    path = tuple(part for part in detail["loc"] if not _is_type_tag(part, detail["loc"]))
    name = ".".join(str(part) for part in path)
    kind = detail["type"]
    if kind == "extra_forbidden":
        word = str(path[-1])
        close = difflib.get_close_matches(word, _field_words(), n=1)
        mend = f"Did you mean `{close[0]}`?" if close else "Remove it."
        what = f"`{word}` is not a word of the flow language."
    elif kind == "missing":
        what, mend = f"`{name}` is missing.", f"Add `{path[-1]}`."
    else:
        message = detail["msg"].removeprefix("Value error, ")
        what, mend = f"`{name}`: {message}.", _MENDS.get(kind, "Correct this value.")
    return CannotDo(what, document.where(path), mend)


_NUMBER, _WORDS, _RANGE = "Write a number here.", "Write words here, in quotes if they look like something else.", "Choose a number within that."
_MENDS = {
    "string_type": _WORDS, "float_type": _NUMBER, "float_parsing": _NUMBER, "int_type": _NUMBER, "int_parsing": _NUMBER,
    "int_from_float": _NUMBER, "finite_number": _NUMBER, "greater_than": _RANGE, "greater_than_equal": _RANGE, "less_than": _RANGE,
    "less_than_equal": _RANGE, "literal_error": "Choose one of these.", "bool_type": "Write true or false.",
    "bool_parsing": "Write true or false.", "list_type": "Write a list: [one, two].", "dict_type": "Write names with values: { name: value }.",
    "model_type": "Write names with values: { name: value }.", "model_attributes_type": "Write names with values: { name: value }.",
}  # fmt: skip
"""How to mend what pydantic says of a value, by the kind of its error."""


def _is_type_tag(part: Any, location: tuple[Any, ...]) -> bool:
    # pydantic puts the tried type of a union into the location; it is nothing the file shows.
    return isinstance(part, str) and part.startswith(("literal[", "int", "function-", "constrained"))


@cache
def _field_words() -> list[str]:
    """Every word of the flow language; only a mistake asks for them."""
    words: set[str] = set()
    for definition in [SideFlow.model_json_schema(), Flow.model_json_schema(), *Flow.model_json_schema()["$defs"].values()]:
        words |= set(definition.get("properties", {}))
    return sorted(words)
