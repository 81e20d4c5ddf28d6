"""The hazards' proofs exist: each named test is one, each property is known, and what is open says so."""

import ast
import importlib
import pkgutil
import re
from functools import cache
from pathlib import Path

import pytest

from prompter.resources import data_folder

ROOT = Path(__file__).resolve().parents[2]
LINES = (data_folder("flows") / "HAZARDS.md").read_text(encoding="utf-8").splitlines()
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in LINES
    if line.startswith("| ") and not line.startswith("| hazard |")
]


@cache
def names_in(file):
    path = ROOT / file
    if not path.is_file():
        return set()
    found = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return {node.name for node in found if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}


def properties():
    """Names of the walk's properties; None while the program has none."""
    try:
        package = importlib.import_module("prompter.proof.properties")
    except ModuleNotFoundError:
        return None
    modules = [package] + [
        importlib.import_module(f"{package.__name__}.{found.name}") for found in pkgutil.iter_modules(package.__path__)
    ]
    names = set()
    for module in modules:
        for value in vars(module).values():
            for item in value if isinstance(value, list | tuple) else value.values() if isinstance(value, dict) else [value]:
                if isinstance(name := getattr(item, "name", None), str):
                    names.add(name)
    return names


def missing(proof):
    """What of a proof does not exist."""
    lost = []
    for named in re.findall(r"`([^`]+)`", proof):
        if named.startswith("property:"):
            known = properties()
            if known is not None and named.removeprefix("property:").strip() not in known:
                lost.append(named)
        elif "::" in named:
            file, _, test = named.partition("::")
            if test not in names_in(file):
                lost.append(named)
    return lost


@pytest.mark.parametrize("row", ROWS, ids=[row[0][:40] for row in ROWS])
def test_a_hazard_is_complete_and_its_proof_exists(row):
    assert len(row) == 5 and all(row), row
    proof = row[4]
    assert "::" in proof or "property:" in proof or "Open: " in proof, f"nothing proves it and it is not open: {row[0]}"
    assert not missing(proof)


def test_the_check_itself_finds_what_is_missing():
    assert missing("`tests/papers/test_hazards.py::test_no_such_thing`")
    assert missing("`tests/nowhere.py::test_x`")
    assert not missing("`tests/papers/test_hazards.py::test_the_check_itself_finds_what_is_missing`")
    if properties() is not None:
        assert missing("`property: no such property`")


def test_each_group_of_hazards_is_there():
    headings = [line[3:] for line in LINES if line.startswith("## ")]
    assert headings == [
        "Tube and airway", "Breaths and pushes", "Suction, bleeding, vomit, oxygen",
        "Flows for one trouble, and going from one to another", "The call", "Hearing", "Speaking",
        "Program and power", "Plan, flow and approval",
    ]  # fmt: skip
    assert len(ROWS) >= 50
