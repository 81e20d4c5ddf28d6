"""Shares the terminal, the sound server and the caregiver with the tests of this folder."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest


def load(name: str) -> ModuleType:
    """A helper beside this file, whatever other folder has one of the same name."""
    full = f"live_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


@pytest.fixture
def helper() -> Any:
    """`helper('caregiver')` is the module of that name in this folder."""
    return load


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    """A plan as somebody's own."""
    path: Path = load("caregiver").write_plan(tmp_path / "plan.yaml")
    return path


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Any]:
    """`terminal(*words)` starts `prompter respond` in a pseudo-terminal."""
    module = pytest.importorskip("pty") and load("terminal")
    opened = []

    def start(*words: str, **size: int) -> Any:
        opened.append(module.Terminal(tmp_path, *words, **size))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


@pytest.fixture
def sound_server(tmp_path: Path) -> Iterator[Any]:
    """Virtual sound devices; skips, with the reason, where there can be none."""
    module = load("sound_server")
    if why := module.missing():
        pytest.skip(f"no virtual sound devices: {why}")
    server = module.SoundServer(tmp_path)
    yield server
    server.close()
