"""Checks what a FHIR library's structure does not: required codes, and that references lead somewhere."""

import json
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any

Json = dict[str, Any]


@cache
def code_lists(version: str) -> dict[str, frozenset[str]]:
    """Path of an element -> its required codes. version: 'R4B' or 'R5'."""
    text = (files("prompter.review") / "fhir_codes.json").read_text(encoding="utf-8")
    return {path: frozenset(told["codes"]) for path, told in json.loads(text)[version].items()}


def problems(bundle: Json, version: str) -> list[str]:
    """One line a problem; empty if every code and reference holds."""
    lists = code_lists(version)
    entries = bundle.get("entry", [])
    known = {entry.get("fullUrl"): entry["resource"]["resourceType"] for entry in entries}
    found = [] if len(known) == len(entries) else ["two entries have one fullUrl, or none"]
    for resource in (bundle, *(entry["resource"] for entry in entries)):
        kind = resource["resourceType"]
        inner = {k: v for k, v in resource.items() if not (kind == "Bundle" and k == "entry")}
        for path, value in _leaves(kind, inner):
            if path in lists and value not in lists[path]:
                found.append(f"{path}: {value!r} is none of the required codes")
            if path.endswith(".reference") and value not in known:
                found.append(f"{path}: {value!r} is not in the Bundle")
            if path.endswith(".subject.reference") and known.get(value, "Patient") != "Patient":
                found.append(f"{path}: {value!r} is no Patient")
        found += [f"{path} is missing" for path in _required(kind, lists) if not _has(path, inner)]
    return found


def _required(kind: str, lists: dict[str, frozenset[str]]) -> list[str]:
    """Elements of this resource itself that are both listed and required by FHIR."""
    return [path for path in lists if path.split(".")[0] == kind and path.count(".") == 1]


def _has(path: str, resource: Json) -> bool:
    return path.split(".")[1] in resource


def _leaves(path: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for name, part in value.items():
            yield from _leaves(f"{path}.{name}", part)
    elif isinstance(value, list):
        for part in value:
            yield from _leaves(path, part)
    else:
        yield path, value
