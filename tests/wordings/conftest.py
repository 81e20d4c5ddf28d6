"""What the tests of wordings share: the flow, and the variants of patients the flow's own tests use."""

import sys
from pathlib import Path

import pytest

from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.resources import flow_file

sys.path.insert(0, str(Path(__file__).parents[1] / "flow"))  # variants: importlib mode adds no folder


@pytest.fixture(scope="session")
def flow() -> Flow:
    return load_flow(flow_file("breathing-trouble"))
