"""`prompter ready` as a command: its lines, its JSON, its exit codes; and with virtual sound devices."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

PROGRAM = Path(sys.executable).with_name("prompter")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory, kept_by_ears: Path) -> Path:
    """One home for all."""
    home = tmp_path_factory.mktemp("home")
    (home / "cache").symlink_to(kept_by_ears, target_is_directory=True)
    return home


def ready(home: Path, *words: str, environment: dict[str, str] | None = None) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [str(PROGRAM), "ready", *words],
        env={**(environment or os.environ), "PROMPTER_HOME": str(home)},
        capture_output=True, text=True, timeout=100, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def test_without_a_plan_it_says_so_in_one_line_each_and_ends_with_1(home: Path) -> None:
    found = ready(home)
    lines = found.stdout.splitlines()
    assert found.returncode == 1
    assert lines[0].startswith("not ok: care plan:") and "prompter plan new" in lines[0]
    assert sum(line.startswith(("ok:", "not ok:", "could not be tried:")) for line in lines) == 9
    assert "Traceback" not in found.stderr


def test_json_alone_is_on_standard_output(home: Path, plan_file: Path) -> None:
    found = ready(home, "--json", "--plan", str(plan_file))
    report = json.loads(found.stdout)
    states = {check["name"]: check["state"] for check in report["checks"]}
    assert states["care plan"] == states["spoken prompts"] == states["ears"] == "ok"
    assert {"name", "detail", "after_use"} == set(report["supplies"][0])
    assert (found.returncode == 0) is report["ready"]


def test_a_wrong_option_ends_with_2(home: Path) -> None:
    assert ready(home, "--no-such-option").returncode == 2


@pytest.mark.alone
@pytest.mark.timeout(150)
def test_a_tone_comes_back_the_voice_is_loud_enough_and_a_phrase_is_understood(home: Path, plan_file: Path, sound_server: Any) -> None:
    """A microphone that hears the loudspeaker."""
    sound_server.let_microphone_hear("loudspeaker")
    found = ready(home, "--json", "--level", "--plan", str(plan_file), environment=sound_server.environment)
    checks = {check["name"]: check for check in json.loads(found.stdout)["checks"]}
    assert checks["loudspeaker and microphone"]["state"] == "ok", checks
    assert checks["a spoken phrase"]["state"] == "ok", checks
    assert checks["quietest voice (+0 dB)"]["state"] == checks["loudest voice (+9 dB)"]["state"] == "ok", checks
    above = [int(checks[name]["detail"].split()[1]) for name in ("quietest voice (+0 dB)", "loudest voice (+9 dB)")]
    assert 3 <= above[1] - above[0] <= 9  # the limiter keeps some of it back


@pytest.mark.alone
@pytest.mark.timeout(150)
def test_a_microphone_that_does_not_hear_the_loudspeaker_is_told(home: Path, plan_file: Path, sound_server: Any) -> None:
    """As with a headset."""
    deaf = json.loads(ready(home, "--json", "--plan", str(plan_file), environment=sound_server.environment).stdout)
    states = {check["name"]: check for check in deaf["checks"]}
    both = states["loudspeaker and microphone"]
    assert both["state"] == "not ok" and both["do"]
    assert states["a spoken phrase"]["state"] == "could not be tried"
