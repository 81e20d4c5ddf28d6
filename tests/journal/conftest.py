"""Shares the failing disk with the tests of this folder."""

import importlib.util
from collections.abc import Iterator
from pathlib import Path

import pytest


def _load() -> type:
    spec = importlib.util.spec_from_file_location(
        "journal_failing_disk", Path(__file__).with_name("failing_disk.py")
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.FailingDisk


@pytest.fixture
def failing_disk() -> Iterator[type]:
    disk = _load()
    disk.broken, disk.syncs = set(), 0
    yield disk
    disk.broken = set()
