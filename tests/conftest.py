"""What tests of several rooms share: the demo plan's table, a home of their own, what takes long to
make ready (made once for all processes of a run), and virtual sound devices."""

import importlib.util
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from filelock import FileLock

from prompter.care.plan import load_plan
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.resources import flow_file, shared_file

LIVE = Path(__file__).parent / "live"


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


def live_helper(name: str) -> ModuleType:
    """A helper of the live tests, whatever other folder has one of the same name."""
    full = f"live_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, LIVE / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


@pytest.fixture
def helper() -> Any:
    """`helper('caregiver')` is the module of that name in the folder of the live tests."""
    return live_helper


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    """A plan as somebody's own."""
    path: Path = live_helper("caregiver").write_plan(tmp_path / "plan.yaml")
    return path


# ---- made ready once ----------------------------------------------------------------------------


def _of_the_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all processes of this run share."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "made-ready"
    (folder / "cache").mkdir(parents=True, exist_ok=True)
    return folder


def _make_once(folder: Path, make: Callable[[Path], None]) -> None:
    """The first process that comes makes it, the others wait."""
    made = folder / f"{make.__name__} done"
    with FileLock(folder / f"{make.__name__}.lock"):
        if not made.exists():
            make(folder)
            made.touch()


def _clips(folder: Path) -> None:
    from prompter.live.preparing import every_prompt, prepare
    from prompter.speak.clips import ClipStore
    from prompter.speak.own_voice import prompter_voice

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PROMPTER_HOME", str(folder))
        table = prepare(live_helper("caregiver").write_plan(folder / "plan.yaml")).table
        assert ClipStore(folder / "cache" / "clips", prompter_voice()).prepare(every_prompt(table)) == []


def _ears(folder: Path) -> None:
    from prompter.hear.ears import embedded_ear
    from prompter.live.ears import known_phrases

    plan = live_helper("caregiver").write_plan(folder / "plan-of-the-ears.yaml")
    embedded_ear(folder / "cache").prepare(known_phrases(table_of(plan)))


@pytest.fixture(scope="session")
def kept_clips(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache folder with protocol and spoken prompts of the demonstration's patient."""
    folder = _of_the_run(tmp_path_factory)
    _make_once(folder, _clips)
    return folder / "cache"


@pytest.fixture(scope="session")
def kept_by_ears(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, with what the embedded ear computes ahead of every wording."""
    folder = _of_the_run(tmp_path_factory)
    jobs = [_clips, _ears]
    if os.environ.get("PYTEST_XDIST_WORKER", "gw0")[-1] in "13579":
        jobs.reverse()  # so that two processes do one each
    for make in jobs:
        _make_once(folder, make)
    return folder / "cache"


def _home(home: Path, cache: Path) -> Path:
    home.mkdir(mode=0o700)
    (home / "cache").symlink_to(cache, target_is_directory=True)
    return home


@pytest.fixture
def warm_home(tmp_path: Path, kept_clips: Path) -> Path:
    """`tmp_path/home` of somebody who has prepared: plan apart, clips and protocol are there."""
    return _home(tmp_path / "home", kept_clips)


@pytest.fixture
def ready_home(tmp_path: Path, kept_by_ears: Path) -> Path:
    """The same after `prompter ready`: what the ears keep is there too."""
    return _home(tmp_path / "home", kept_by_ears)


# ---- virtual sound devices ----------------------------------------------------------------------


@pytest.fixture
def sound_server(tmp_path: Path) -> Iterator[Any]:
    """Virtual sound devices of its own (a third of a second); the microphone hears the mouth alone."""
    module = live_helper("sound_server")
    if why := module.missing():
        pytest.skip(f"no virtual sound devices: {why}")
    server = module.SoundServer(tmp_path)
    yield server
    server.close()
