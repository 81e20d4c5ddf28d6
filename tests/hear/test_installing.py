"""The model is fetched from a real server on the loopback address, checked, and put in place."""

import ast
import errno
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any, Self

import pytest
from filelock import FileLock
from typer.testing import CliRunner
from zips import FILES, LAST_MODIFIED, Server, archive_of, linked, serving, zipped

import prompter
from prompter import limits
from prompter.cli_ears import app
from prompter.errors import CannotDo
from prompter.hear.models import fetching, installing, unpacking
from prompter.hear.models.installing import Installed, install
from prompter.hear.models.known import VOSK_ENGLISH, Archive
from prompter.hear.models.verified import MANIFEST, not_the_known_vosk

GOOD = zipped()
runner = CliRunner()


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch) -> None:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


@pytest.fixture
def server():
    with serving(GOOD) as running:
        yield running


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "home" / "vosk-model"


def fetched(server: Server, folder: Path, **more: Any) -> Installed:
    return install(archive_of(more.pop("known", GOOD), server.url), folder, pause_s=0, **more)


def left_in(folder: Path) -> set[str]:
    """What lies beside the model's place, the empty lock file apart."""
    found = {path.name for path in folder.parent.iterdir()} if folder.parent.exists() else set()
    return found - {f"{folder.name}.lock"}


def refused(server: Server, folder: Path, **more: Any) -> str:
    with pytest.raises(CannotDo) as error:
        fetched(server, folder, **more)
    line = error.value.one_line()
    assert "\n" not in line and "Mend:" in line
    return line


def test_a_good_file_is_installed_whole_and_accepted_wherever_it_is_moved(server, folder) -> None:
    done = fetched(server, folder)
    assert not done.already and done.files == len(FILES)
    assert {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
            and p.name != MANIFEST} == FILES  # fmt: skip
    assert left_in(folder) == {"vosk-model"}
    moved = folder.rename(folder.with_name("elsewhere"))
    assert not_the_known_vosk(moved, done.archive) == ""


def test_what_is_there_whole_is_not_fetched_again_and_what_is_damaged_is(server, folder) -> None:
    fetched(server, folder)
    assert fetched(server, folder).already and len(server.asked) == 1
    (folder / "am" / "final.mdl").write_bytes(b"scratched")
    assert not fetched(server, folder).already and len(server.asked) == 2
    assert (folder / "am" / "final.mdl").read_bytes() == FILES["am/final.mdl"]
    assert left_in(folder) == {"vosk-model"}


def test_a_cut_connection_is_made_again_and_goes_on_with_the_same_file(server, folder) -> None:
    server.cut_after = [100_000, 50_000]
    fetched(server, folder)
    assert [asked.get("Range") for asked in server.asked] == [None, "bytes=100000-", "bytes=150000-"]
    assert server.asked[1]["If-Range"] == '"one"'
    assert (folder / "am" / "final.mdl").read_bytes() == FILES["am/final.mdl"]


def test_a_fetch_that_was_given_up_goes_on_in_another_run(server, folder, monkeypatch) -> None:
    monkeypatch.setattr(limits, "FETCH_TRIES", 1)
    server.cut_after = [120_000, 0]
    assert "120,000 of" in refused(server, folder)
    assert left_in(folder) == {"vosk-model.zip.part"}
    fetched(server, folder)
    assert server.asked[-1]["Range"] == "bytes=120000-"
    assert server.asked[-1]["If-Range"] == LAST_MODIFIED
    assert left_in(folder) == {"vosk-model"}


def test_without_any_validator_the_rest_is_asked_for_all_the_same(server, folder) -> None:
    server.etag = server.modified = None
    server.cut_after = [1000]
    fetched(server, folder)
    assert server.asked[1]["Range"] == "bytes=1000-" and "If-Range" not in server.asked[1]


def test_a_weak_etag_is_no_validator_for_ranges(server, folder) -> None:
    server.etag, server.modified = 'W/"one"', None  # RFC 9110, 13.1.5: strong ones only
    server.cut_after = [1000]
    fetched(server, folder)
    assert "If-Range" not in server.asked[1]


def test_a_file_that_changed_meanwhile_is_fetched_from_its_beginning(server, folder) -> None:
    folder.parent.mkdir(parents=True)
    part = folder.with_name("vosk-model.zip.part")
    part.write_bytes(b"of another file")
    os.utime(part, (1, 1))  # another Last-Modified
    fetched(server, folder)
    assert server.asked[0]["Range"] == "bytes=15-"
    assert (folder / "am" / "final.mdl").read_bytes() == FILES["am/final.mdl"]


def test_a_server_without_ranges_is_begun_anew(server, folder) -> None:
    server.ranges, server.cut_after = False, [100_000]
    fetched(server, folder)
    assert len(server.asked) == 2
    assert (folder / "am" / "final.mdl").read_bytes() == FILES["am/final.mdl"]


def test_a_part_longer_than_the_file_is_thrown_away(server, folder) -> None:
    folder.parent.mkdir(parents=True)
    folder.with_name("vosk-model.zip.part").write_bytes(GOOD + b"more")
    fetched(server, folder)
    assert server.asked[0].get("Range") is None


def test_a_wrong_hash_is_never_unpacked(server, folder, monkeypatch) -> None:
    monkeypatch.setattr(installing, "unpack", lambda *_: pytest.fail("unpacked"))
    known = bytes([GOOD[0] ^ 1]) + GOOD[1:]
    assert "SHA-256" in refused(server, folder, known=known)
    assert left_in(folder) == set()


def test_a_wrong_size_is_refused_before_it_is_fetched(server, folder) -> None:
    line = refused(server, folder, known=GOOD + b"x")
    assert str(len(GOOD)) in line and left_in(folder) == set()


def test_a_server_that_does_not_say_the_size_and_sends_too_much_is_stopped(server, folder) -> None:
    server.chunked = True  # no length: the end of the connection is the end of the file
    assert "more bytes" in refused(server, folder, known=GOOD[:1000])
    assert left_in(folder) == set()


@pytest.mark.parametrize("status", [403, 404, 500])
def test_a_server_that_says_no(server, folder, status) -> None:
    server.status = status
    assert str(status) in refused(server, folder) and left_in(folder) == set()


def test_nobody_listens(server, folder) -> None:
    server.url = "http://127.0.0.1:9/small-model.zip"  # discard: closed on any usual machine
    assert "cannot be reached" in refused(server, folder) and "--from" in refused(server, folder)


def test_an_encrypted_connection_is_not_left_for_an_open_one() -> None:
    import urllib.error
    import urllib.request

    request = urllib.request.Request("https://example.invalid/a.zip")
    with pytest.raises(urllib.error.URLError, match="open connection"):
        fetching._NoDowngrade().redirect_request(request, None, 302, "", {}, "http://example.invalid/a.zip")


def test_ctrl_c_keeps_the_part_and_nothing_else(server, folder) -> None:
    def stop(phase: str, done: int, total: int) -> None:
        if phase == "fetching" and done > 100_000:
            raise KeyboardInterrupt

    line = refused(server, folder, progress=stop)
    assert "stopped" in line and left_in(folder) == {"vosk-model.zip.part"}
    fetched(server, folder)
    assert left_in(folder) == {"vosk-model"}


def test_ctrl_c_while_unpacking_leaves_no_half_model(server, folder) -> None:
    def stop(phase: str, done: int, total: int) -> None:
        if phase == "unpacking":
            raise KeyboardInterrupt

    assert "stopped" in refused(server, folder, progress=stop)
    assert left_in(folder) == {"vosk-model.zip.part"}


class FullDisk:
    """A file that takes `room` bytes, as a disk does before it is full."""

    def __init__(self, file: Any, room: int) -> None:
        self.file, self.room = file, room

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def write(self, data: Any) -> int:
        if not self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written = self.file.write(bytes(data[: self.room]))
        self.room -= written
        return written


def test_a_disk_that_fills_while_fetching(server, folder, monkeypatch) -> None:
    really = fetching.Download._writing
    with monkeypatch.context() as full:
        full.setattr(fetching.Download, "_writing", lambda self, at: FullDisk(really(self, at), 70_000))
        assert "No space left" in refused(server, folder)
    assert left_in(folder) == {"vosk-model.zip.part"}
    fetched(server, folder)
    assert server.asked[-1]["Range"] == "bytes=70000-"


def test_a_disk_that_fills_while_unpacking(server, folder, monkeypatch) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(unpacking, "_write", full)
        assert "No space left" in refused(server, folder)
    assert left_in(folder) == {"vosk-model.zip.part"}  # verified: not fetched again
    fetched(server, folder)
    assert len(server.asked) == 1


def test_a_crash_at_the_last_moment_leaves_nothing_half(server, folder, monkeypatch) -> None:
    """Killed outright between unpacking and the rename; the next start clears what it left."""
    folder.parent.mkdir(parents=True)
    (folder.parent / "small.zip").write_bytes(GOOD)
    code = (
        "import os, sys; from pathlib import Path\n"
        "from prompter.hear.models import installing, known\n"
        "installing._in_place = lambda *_: os._exit(9)\n"
        f"installing.install(known.Archive(*{list(astuple_of(archive_of(GOOD)))!r}), Path(sys.argv[1]), Path(sys.argv[2]))"
    )
    command = [sys.executable, "-c", code, str(folder), str(folder.parent / "small.zip")]
    assert subprocess.run(command, check=False, timeout=60).returncode == 9
    assert not folder.exists() and any(name.startswith(".vosk-model.new-") for name in left_in(folder))
    fetched(server, folder)
    assert left_in(folder) == {"vosk-model", "small.zip"}


def astuple_of(archive: Archive) -> tuple[Any, ...]:
    return archive.name, archive.url, archive.size_bytes, archive.sha256


def test_a_rename_that_fails_leaves_the_old_model(server, folder, monkeypatch) -> None:
    fetched(server, folder)
    (folder / "conf" / "model.conf").write_bytes(b"changed")
    really = os.rename

    def fails_for_the_new(source: Any, target: Any) -> None:
        if ".new-" in str(source):
            raise PermissionError(errno.EACCES, "in use")
        really(source, target)

    monkeypatch.setattr(os, "rename", fails_for_the_new)
    assert "in use" in refused(server, folder)
    assert (folder / "conf" / "model.conf").read_bytes() == b"changed"


def test_two_at_once_are_refused_and_a_dead_one_is_not_waited_for(server, folder) -> None:
    folder.parent.mkdir(parents=True)
    with FileLock(f"{folder}.lock"):
        assert "another installation" in refused(server, folder)
    fetched(server, folder)


def test_a_folder_that_is_not_ours_is_set_aside_not_deleted(server, folder) -> None:
    (folder / "am").mkdir(parents=True)
    (folder / "am" / "mine").write_text("mine")
    done = fetched(server, folder)
    assert (done.aside / "am" / "mine").read_text() == "mine"
    assert left_in(folder) == {"vosk-model", "vosk-model-before-1"}


# ---- a zip that is here already ----------------------------------------------------------------


def test_from_a_file_needs_no_server_and_leaves_the_file(tmp_path, folder) -> None:
    given = tmp_path / "given.zip"
    given.write_bytes(GOOD)
    done = install(archive_of(GOOD), folder, given)
    assert done.files == len(FILES) and given.read_bytes() == GOOD
    assert left_in(folder) == {"vosk-model"}


@pytest.mark.parametrize("content", [b"", b"no zip", GOOD[:-1], GOOD[:-1] + b"x", None])
def test_from_a_file_that_is_not_it(tmp_path, folder, content) -> None:
    given = tmp_path / "given.zip"
    given.mkdir() if content is None else given.write_bytes(content)
    with pytest.raises(CannotDo) as error:
        install(archive_of(GOOD), folder, given)
    assert str(given) in error.value.one_line() and left_in(folder) == set()
    assert given.exists()


EVIL = {
    "climbs out": zipped({"../../evil": b"x"}),
    "climbs out at once": zipped({"../evil": b"x"}, top=""),
    "absolute": zipped({"/tmp/evil": b"x"}, top=""),
    "drive letter": zipped({"C:/evil": b"x"}, top=""),
    "drive letter inside": zipped({"C:evil": b"x"}),
    "backslashes": zipped({"..\\..\\evil": b"x"}),
    "network path": zipped({"//host/share/evil": b"x"}, top=""),
    "a NUL in the name": zipped({"good~evil": b"x"}).replace(b"good~evil", b"good\0evil"),
    "link to a folder": linked("/tmp"),
    "link upwards": linked("../.."),
    "device name": zipped({"am/NUL.txt": b"x"}),
    "ends in a dot": zipped({"am./x": b"x"}),
    "twice, but for case": zipped({"am/X": b"x", "am/x": b"y"}),
    "file and folder": zipped({"am": b"x", "am/x": b"y"}),
    "two top folders": zipped({"a/x": b"x", "b/x": b"y"}, top=""),
    "no folder": zipped({"x": b"x"}, top=""),
    "empty": zipped({}),
    "too many files": zipped({f"f{i}": b"" for i in range(limits.UNPACKED_FILES_MAX + 1)}),
}  # fmt: skip


@pytest.mark.parametrize("kind", EVIL)
def test_evil_zips_write_nothing_anywhere(tmp_path, folder, kind) -> None:
    """As if its hash were the known one: the second wall stands without the first."""
    given = tmp_path / "given.zip"
    given.write_bytes(EVIL[kind])
    with pytest.raises(CannotDo, match="not unpacked"):
        install(archive_of(EVIL[kind]), folder, given)
    assert left_in(folder) == set()
    assert {path.name for path in tmp_path.iterdir()} == {"given.zip", "home"}
    assert not Path("/tmp/evil").exists() and not Path("/tmp/final.mdl").exists()


def test_a_bomb_is_refused_by_what_it_says_and_by_what_it_holds(tmp_path, folder, monkeypatch) -> None:
    bomb = zipped({"big": bytes(3_000_000)})
    assert len(bomb) < 10_000
    monkeypatch.setattr(limits, "UNPACKED_BYTES_MAX", 2_000_000)
    (tmp_path / "bomb.zip").write_bytes(bomb)
    with pytest.raises(CannotDo, match="more than 2 MB"):
        install(archive_of(bomb), folder, tmp_path / "bomb.zip")
    said = (3_000_000).to_bytes(4, "little")
    assert bomb.count(said) == 2  # in the local header and in the directory
    liar = bomb.replace(said, (1_000).to_bytes(4, "little"))
    (tmp_path / "bomb.zip").write_bytes(liar)
    with pytest.raises(CannotDo):
        install(archive_of(liar), folder, tmp_path / "bomb.zip")
    assert left_in(folder) == set()


def test_a_zip_packed_in_a_way_that_is_not_known_is_one_line(tmp_path, folder) -> None:
    local, directory = b"PK\x03\x04\x14\x00\x00\x00\x08\x00", b"PK\x01\x02\x14\x03\x14\x00\x00\x00\x08\x00"
    assert local in GOOD and directory in GOOD  # method 8, deflated: APPNOTE.TXT 4.4.5
    odd = GOOD.replace(local, local[:-2] + b"\x63\x00").replace(directory, directory[:-2] + b"\x63\x00")  # 99
    (tmp_path / "odd.zip").write_bytes(odd)
    with pytest.raises(CannotDo, match="damaged.*compression"):
        install(archive_of(odd), folder, tmp_path / "odd.zip")
    assert left_in(folder) == set()


def test_a_damaged_zip_with_the_right_hash_is_one_line(tmp_path, folder) -> None:
    middle = len(GOOD) // 2
    damaged = GOOD[:middle] + bytes(50) + GOOD[middle + 50 :]
    (tmp_path / "given.zip").write_bytes(damaged)
    with pytest.raises(CannotDo, match="damaged"):
        install(archive_of(damaged), folder, tmp_path / "given.zip")
    assert left_in(folder) == set()


# ---- the command -------------------------------------------------------------------------------


@pytest.fixture
def small_is_known(server, tmp_path, monkeypatch) -> Path:
    from prompter.hear.models import known

    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("PROMPTER_VOSK_MODEL", raising=False)
    monkeypatch.setattr(known, "VOSK_ENGLISH", archive_of(GOOD, server.url))
    return tmp_path / "home" / "vosk-model"


def test_the_command_installs_where_the_ear_looks(small_is_known) -> None:
    result = runner.invoke(app, ["install", "--json"])
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    assert found["folder"] == str(small_is_known) and found["already"] is False
    assert (small_is_known / "am" / "final.mdl").is_file()
    again = runner.invoke(app, ["install"])
    assert again.exit_code == 0 and "already" in again.stdout


def test_the_command_fails_with_one_line_and_code_2(small_is_known, server) -> None:
    server.status = 404
    result = runner.invoke(app, ["install", "--json"])
    assert result.exit_code == 2 and result.stdout == ""
    assert "404" in result.stderr and "Traceback" not in result.stderr
    assert len([line for line in result.stderr.splitlines() if line.strip()]) == 1


def test_the_pinned_archive_is_the_one_measured_with() -> None:
    """Size and SHA-256 as several public projects pin them, independently."""
    assert VOSK_ENGLISH.size_bytes == 41_205_931
    assert VOSK_ENGLISH.sha256.startswith("30f26242c4eb449f") and len(VOSK_ENGLISH.sha256) == 64
    assert VOSK_ENGLISH.url == f"https://alphacephei.com/vosk/models/{VOSK_ENGLISH.name}.zip"


def test_nothing_else_in_the_program_can_fetch() -> None:
    """Who imports what opens connections: one module, reached through the one command alone."""
    root = Path(prompter.__file__).parent
    importers: dict[str, set[str]] = {}
    for path in root.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or "", *(f"{node.module}.{a.name}" for a in node.names)]
            for name in names:
                importers.setdefault(name, set()).add(path.relative_to(root).as_posix())
    network = {"socket", "urllib.request", "http.client", "requests", "httpx", "ftplib", "aiohttp",
               "urllib3", "huggingface_hub", "asyncio", "smtplib", "webbrowser", "xmlrpc.client"}  # fmt: skip
    opening = set().union(*(who for name, who in importers.items() if name in network))
    assert opening == {"hear/models/fetching.py", "standby/service.py"}
    service = (root / "standby" / "service.py").read_text(encoding="utf-8")
    assert set(re.findall(r"socket\.(?:AF_\w+|create_\w+|getaddrinfo)", service)) == {"socket.AF_UNIX"}, "to systemd on this machine alone"
    assert importers["prompter.hear.models.fetching"] == {"hear/models/installing.py"}
    assert importers["prompter.hear.models.installing"] == {"cli_ears_install.py"}
