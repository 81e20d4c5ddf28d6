"""What systemd is told (sd_notify(3)), and the unit file as systemd reads it (systemd.service(5))."""

import configparser
import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from prompter.cli import main
from prompter.standby import service
from prompter.standby.service import Service, unit_text


@pytest.fixture
def listening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> socket.socket:
    path = tmp_path / "notify"
    here = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    here.bind(str(path))
    here.settimeout(2)
    monkeypatch.setenv("NOTIFY_SOCKET", str(path))
    return here


def test_states_arrive_as_one_datagram(listening: socket.socket) -> None:
    Service().tell("READY=1", "STATUS=waits")
    assert listening.recv(100) == b"READY=1\nSTATUS=waits"


def test_an_abstract_socket_is_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    if not sys.platform.startswith("linux"):
        pytest.skip("abstract sockets are Linux'")
    name = f"prompter-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as here:
        here.bind("\0" + name)
        here.settimeout(2)
        monkeypatch.setenv("NOTIFY_SOCKET", "@" + name)
        Service().tell("WATCHDOG=1")
        assert here.recv(100) == b"WATCHDOG=1"


def test_nobody_to_tell_is_no_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not Service().runs
    Service().tell("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "gone"))
    Service().tell("READY=1")


def test_the_watchdog_is_this_process_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", "60000000")
    monkeypatch.setenv("WATCHDOG_PID", str(os.getpid()))
    assert Service().within_s == 60.0
    monkeypatch.setenv("WATCHDOG_PID", "1")
    assert Service().within_s is None
    monkeypatch.delenv("WATCHDOG_USEC")
    assert Service().within_s is None


def test_the_unit_is_written_and_nothing_is_enabled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main(["standby", "--write-unit", "--plan", "my plan.yaml", "--self-test", "6"])
    assert ended.value.code == 0
    assert "systemctl --user enable --now prompter-standby.service" in capsys.readouterr().out
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [service.UNIT]
    unit = configparser.RawConfigParser(interpolation=None, strict=False)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(tmp_path / "systemd" / "user" / service.UNIT)
    assert unit["Service"]["Type"] == "notify" and unit["Service"]["WatchdogSec"] == "60"
    assert f'"--plan" "{tmp_path}/my plan.yaml"' in unit["Service"]["ExecStart"]
    assert unit["Service"]["RestartPreventExitStatus"] == "2"


def test_signs_that_systemd_would_take_for_its_own_are_escaped() -> None:
    text = unit_text(["--microphone", 'USB "100%" $1'])
    assert '"USB \\"100%%\\" $$1"' in text


def test_systemd_finds_no_fault_with_it(tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("no systemd-analyze here")
    path = tmp_path / service.UNIT
    path.write_text(unit_text(["--self-test", "9"]))
    ran = subprocess.run(["systemd-analyze", "verify", "--user", str(path)], capture_output=True, text=True)
    assert service.UNIT not in ran.stderr


def test_a_folder_that_cannot_be_written_is_one_line_and_code_2(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "config").write_text("a file, not a folder")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    with pytest.raises(SystemExit) as ended:
        main(["standby", "--write-unit"])
    said = capsys.readouterr().err
    assert ended.value.code == 2 and said.count("\n") == 1 and "Mend:" in said
