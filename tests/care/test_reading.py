"""What a YAML text means: by the standard's own tables, and as another library reads our files."""

from math import isnan
from pathlib import Path

import pytest
import yaml
from ruamel.yaml import YAML

from prompter.care import reading
from prompter.care.reading import Sort, read_yaml, read_yaml_text
from prompter.errors import CannotDo
from prompter.resources import flow_file, shared_file

ANY = Sort("file", "Name another.", 20_000, 12)
FILES = sorted(path for path in (*flow_file("breathing-trouble").parent.glob("*.yaml"), *shared_file("demo-plan.yaml").parent.rglob("*.yaml")))

# YAML 1.2.2, section 10.3.2, "Tag Resolution" of the core schema, and its example 10.9.
CORE = [
    ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None),
    ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
    ("0", 0), ("0o7", 7), ("0x3A", 58), ("-19", -19), ("+12", 12),
    ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0),
    (".inf", float("inf")), ("-.Inf", float("-inf")), ("+.INF", float("inf")),
]  # fmt: skip
# Words of YAML 1.1 that the core schema leaves words, and numbers it does not know.
WORDS = ["yes", "no", "on", "off", "y", "n", "nUll", "tRUE", "1_000", "0b1", "-0o7", "1:30", ".", "+.nan", "2031-5-1", "<<"]


@pytest.mark.parametrize(("written", "meant"), CORE)
def test_a_plain_value_means_what_the_core_schema_says(written: str, meant: object):
    value = read_yaml_text(f"a: {written}\n", "x", ANY).data["a"]
    assert value == meant and type(value) is type(meant)


def test_not_a_number_is_one_of_the_core_schema():
    value = read_yaml_text("a: .nan\n", "x", ANY).data["a"]
    assert isinstance(value, float) and isnan(value)


@pytest.mark.parametrize("written", [*WORDS, '"1"', "'true'", "'2031-05-01'", "!!str 12", "|\n  12"])
def test_any_other_is_a_text(written: str):
    assert isinstance(read_yaml_text(f"a: {written}\n", "x", ANY).data["a"], str)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_another_library_reads_our_files_alike(file: Path):
    # ruamel.yaml, which follows YAML 1.2.
    assert read_yaml(file, ANY).data == YAML(typ="safe", pure=True).load(file.read_text(encoding="utf-8"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_each_line_is_where_the_name_stands(file: Path):
    lines = file.read_text(encoding="utf-8").splitlines()
    found = read_yaml(file, ANY).lines
    assert found
    for path, line in found.items():
        assert not isinstance(path[-1], str) or path[-1] in lines[line - 1]


def test_without_the_quick_parser_it_is_read_alike(monkeypatch: pytest.MonkeyPatch):
    text = shared_file("demo-plan.yaml").read_text(encoding="utf-8") + "more: &a [1, {b: 2031-05-01}]\nagain: *a\n"
    quick = read_yaml_text(text, "x", ANY)
    monkeypatch.setattr(reading, "_LOADER", yaml.BaseLoader)
    assert reading.read_yaml_text(text, "x", ANY) == quick
    for bad, where in (("a: 1\n b: 2\n", "x:2"), ("a: [1\n", "x:2"), ("a:\n\tb: 1\n", "x:2"), ("a: 1\nb: \x07\n", "x:2")):
        with pytest.raises(CannotDo) as caught:
            reading.read_yaml_text(bad, "x", ANY)
        assert caught.value.where == where


def test_an_alias_stands_for_the_value_on_its_own_line():
    found = read_yaml_text("a: &a\n  b: [1, 2]\nc: *a\n", "x", ANY)
    assert found.data["c"] == {"b": [1, 2]} and found.lines[("c", "b", 1)] == 3
