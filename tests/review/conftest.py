"""Shares the sample journal with the tests of this folder."""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from prompter.journal import read
from prompter.review.incident import Incident, build


def load_sample() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "review_sample", Path(__file__).with_name("sample.py")
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sample() -> ModuleType:
    return load_sample()


@pytest.fixture
def journal_file(sample: ModuleType, tmp_path: Path) -> Path:
    return sample.blocked_tube().write(tmp_path / "night.jsonl")


@pytest.fixture
def incident(journal_file: Path) -> Incident:
    return build(read(journal_file), "night")
