"""The log's bound, its mode, and a disk that takes nothing."""

import os
import stat
from pathlib import Path

import pytest

from prompter.standby import bounds
from prompter.standby.log import Log


def test_it_never_grows_beyond_its_bound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "LOG_BYTES", 2_000)
    log = Log(tmp_path / "standby.log", show=False)
    for number in range(500):
        log.line(f"line {number}")
    log.close()
    files = sorted(tmp_path.iterdir())
    assert [path.name for path in files] == ["standby.log", "standby.log.1"]
    assert all(path.stat().st_size <= 2_000 for path in files)
    assert "line 499" in files[0].read_text()


@pytest.mark.skipif(os.name == "nt", reason="modes are POSIX'")
def test_every_file_is_for_this_user_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "LOG_BYTES", 500)
    (tmp_path / "standby.log").touch(mode=0o644)
    log = Log(tmp_path / "standby.log", show=False)
    for number in range(50):
        log.line(f"line {number}")
    modes = {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()}
    assert modes == {0o600}


def test_a_full_disk_loses_lines_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("/dev/full is Linux'")
    log = Log(Path("/dev/full"), show=True)
    log.line("one")
    log.line("two\nin two lines")
    assert log.lost == 2
    assert capsys.readouterr().out == "one\ntwo in two lines\n"
