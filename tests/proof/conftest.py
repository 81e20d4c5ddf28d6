"""Puts the flow tests' driver and variants within reach, and the flow itself."""

import sys
from pathlib import Path

import pytest

from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.resources import flow_file

sys.path.insert(0, str(Path(__file__).parents[1] / "flow"))


@pytest.fixture(scope="session")
def flow() -> Flow:
    return load_flow(flow_file("breathing-trouble"))
