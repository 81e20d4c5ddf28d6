"""Shares the virtual sound devices of the live tests with this folder."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

LIVE = Path(__file__).parent.parent / "live"


def load(name: str) -> ModuleType:
    full = f"ready_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, LIVE / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    """A plan as somebody's own."""
    path: Path = load("caregiver").write_plan(tmp_path / "plan.yaml")
    return path


@pytest.fixture
def sound_server(tmp_path: Path) -> Iterator[Any]:
    """Virtual sound devices; skips, with the reason, where there can be none."""
    module = load("sound_server")
    if why := module.missing():
        pytest.skip(f"no virtual sound devices: {why}")
    server = module.SoundServer(tmp_path)
    yield server
    server.close()
