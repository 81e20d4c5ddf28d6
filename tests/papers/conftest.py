"""Tables of plans, each laid out once."""

from functools import cache
from pathlib import Path

import pytest

from prompter.care.plan import load_plan
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.resources import flow_file


@cache
def _table(plan: Path) -> Table:
    read = load_plan(plan)
    return build(_flow(), Variant(read.facts(), read.spoken(), read.numbers()))


@cache
def _flow():
    return load_flow(flow_file("breathing-trouble"))


@pytest.fixture(scope="session")
def tables():
    """tables(plan's file) -> its Table."""
    return _table
