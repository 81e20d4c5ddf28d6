"""What standby's tests share: voices, blocks, and the virtual sound devices of the live tests."""

import importlib.util
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import soxr

from prompter import limits
from prompter.speak.voice import EspeakVoice

LIVE = Path(__file__).parent.parent / "live"


def load(name: str) -> ModuleType:
    full = f"standby_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, LIVE / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


@pytest.fixture
def helper() -> Any:
    """`helper('caregiver')` is the module of that name of the live tests."""
    return load


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


@pytest.fixture(scope="session")
def spoken() -> Callable[..., np.ndarray]:
    """A sentence in a quiet room, a second of the room before and after it, 16 kHz."""

    def say(text: str, voice: str = "en-us", rate_wpm: int = 165) -> np.ndarray:
        clip = EspeakVoice(voice, rate_wpm).render(text)
        clip = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
        clip = clip * (0.05 / float(np.sqrt(np.mean(clip**2))))
        room = np.random.default_rng(0).standard_normal(len(clip) + 32_000) * 2e-4
        room[16_000 : 16_000 + len(clip)] += clip
        return room.astype(np.float32)

    return say


def blocks(sound: np.ndarray) -> list[np.ndarray]:
    """As a microphone gives them."""
    whole = len(sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES
    return list(sound[:whole].astype(np.float32).reshape(-1, limits.BLOCK_SAMPLES))


@pytest.fixture
def as_blocks() -> Callable[[np.ndarray], list[np.ndarray]]:
    return blocks
