"""What tests of several rooms share: the demo plan's table, and a home of their own."""

from pathlib import Path

import pytest

from prompter.care.plan import load_plan
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.resources import flow_file, shared_file


@pytest.fixture(scope="session", autouse=True)
def _home_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test reads or writes the user's own plan, journals or clips."""
    patch = pytest.MonkeyPatch()
    patch.setenv("PROMPTER_HOME", str(tmp_path_factory.mktemp("home")))


def table_of(plan: Path) -> Table:
    found = load_plan(plan)
    flow = load_flow(flow_file("breathing-trouble"))
    return build(flow, Variant(found.facts(), found.spoken(), found.numbers()))


@pytest.fixture(scope="session")
def demo_table() -> Table:
    """The breathing-trouble flow for the demonstration plan."""
    return table_of(shared_file("demo-plan.yaml"))
