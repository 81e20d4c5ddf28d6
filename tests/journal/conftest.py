"""Shares the failing disk with the tests of this folder."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        f"journal_{name}", Path(__file__).with_name(f"{name}.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[f"journal_{name}"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def losses() -> ModuleType:
    return _load("losses")


@pytest.fixture
def failing_disk() -> Iterator[type]:
    disk = _load("failing_disk").FailingDisk
    disk.broken, disk.syncs = set(), 0
    yield disk
    disk.broken = set()
