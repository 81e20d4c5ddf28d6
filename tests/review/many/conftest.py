"""Journals of several homes, made by hand, for the tests of this folder."""

import importlib.util
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest


def load(path: Path, name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sample() -> ModuleType:
    return load(Path(__file__).parents[1] / "sample.py", "review_sample_many")


@pytest.fixture(scope="session")
def losses() -> ModuleType:
    return load(Path(__file__).parents[2] / "journal" / "losses.py", "journal_losses_many")


FLOW = "flow: breathing-trouble\nversion: {}\n"


def home_plan(name: str, address: str) -> dict:
    return {
        "plan_text": f"patient: {{ name: {name} }}\nplace: {{ address: {address} }}\n",
        "variant": {"facts": [], "numbers": {}, "words": {"name": name, "address": address}},
    }


@pytest.fixture(scope="session")
def write_home(sample) -> Callable[..., Path]:
    """Writes one journal of the sample's story, slower by a factor, into a home's folder."""

    def write(folder: Path, name: str, version: int = 1, slower: float = 1.0, live: bool = True, change: Callable | None = None) -> Path:
        story = sample.blocked_tube(live)
        story.events = [(t_s * slower, event) for t_s, event in story.events]
        story.events[0][1].update(home_plan(name, f"{len(name)} Lantern Row"), flow_text=FLOW.format(version))
        story.say(5, f"{name}: emergency bag and phone. Depth: 9.", "valve-off", "helper")
        if change:
            change(story)
        folder.mkdir(parents=True, exist_ok=True)
        number = len(list(folder.glob("*.jsonl")))
        return story.write(folder / f"{number:03d}.jsonl")

    return write


@pytest.fixture(scope="session")
def group(write_home, tmp_path_factory) -> Path:
    """Three homes: two sound journals of one, one each of two; a copy, a damaged one, and a text file."""
    folder = tmp_path_factory.mktemp("group")
    first = write_home(folder / "hill", "Juno", 1)
    write_home(folder / "hill", "Juno", 2, 1.5)
    write_home(folder / "river", "Avel", 2, 2.0)
    write_home(folder / "lane", "Tove", 2, 0.5, live=False)
    (folder / "river" / "copy.jsonl").write_bytes(first.read_bytes())
    damaged = write_home(folder / "lane", "Tove", 2)
    damaged.write_bytes(damaged.read_bytes().replace(b'"text":"Stay close', b'"text":"Stay cloze'))
    (folder / "lane" / "shopping.jsonl").write_text("milk\n")
    return folder


