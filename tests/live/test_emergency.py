"""The live program when its parts fail, run in this process without any device."""

import threading
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from prompter import limits
from prompter.journal import read
from prompter.journal.disk import FileDisk
from prompter.live import emergency as live
from prompter.live import last_resort, notices
from prompter.session import Session


class NoCard:
    """A sound card that never opens; remembers what was lost."""

    def __init__(self, put: Callable[[Any], None], *_: Any) -> None:
        self.losses: list[str] = []
        put(("no loudspeaker", "there is none"))

    def rate_hz(self, wait_s: float) -> int:
        return 22_050

    def play(self, mixer: Any) -> None: ...
    def lost(self, part: str) -> None:
        self.losses.append(part)

    def close(self) -> None: ...


class NoKeys:
    def __init__(self, put: Any) -> None: ...
    def start(self) -> None: ...
    def close(self) -> None: ...


class Microphone:
    """Gives what it is told to, one block every 32 ms."""

    overflows = 0

    def __init__(self) -> None:
        self.silent = False
        self.closed = False

    def read(self, timeout_s: float) -> np.ndarray | None:
        time.sleep(0.032)
        return None if self.silent else np.zeros(limits.BLOCK_SAMPLES, np.float32)

    def trouble(self) -> list[str]:
        return []

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def running(tmp_path: Path, warm_home: Path, plan_file: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Any]]:
    """`running()` starts an emergency in a thread and gives it; at the end it is closed."""
    monkeypatch.setenv("PROMPTER_HOME", str(warm_home))
    monkeypatch.setattr(live, "SoundCard", NoCard)
    monkeypatch.setattr(live, "Keyboard", NoKeys)
    started: list[tuple[Any, threading.Thread]] = []

    def start(plan: Path | None = plan_file) -> Any:
        one = live.Emergency(plan, True, tmp_path / "record", None, None)
        one.code = None

        def run() -> None:
            one.code = one.run()

        thread = threading.Thread(target=run)
        thread.start()
        started.append((one, thread))
        return one

    yield start
    for one, thread in started:
        one.inbox.put(("close", "end of the test"))
        thread.join(10)
        one.close()
        assert not thread.is_alive()


def events(one: Any) -> list[dict[str, Any]]:
    path = one._journal.path if one._journal else None
    return read(path).events if path else []


def until(holds: Callable[[], object], timeout_s: float = 10.0) -> None:
    end = time.monotonic() + timeout_s
    while time.monotonic() < end:
        if holds():
            return
        time.sleep(0.02)
    raise AssertionError("not in time")


def parts(one: Any, kind: str) -> list[str]:
    return [event["part"] for event in events(one) if event["kind"] == kind]


def test_without_a_loudspeaker_prompts_begin_and_end_in_time(running: Any) -> None:
    one = running()
    until(lambda: any(e["kind"] == "prompt ended" for e in events(one)))
    assert "loudspeaker" in parts(one, "failed")


def test_without_a_plan_it_is_said_and_recorded(running: Any) -> None:
    one = running(None)
    until(lambda: any(e["kind"] == "announced" for e in events(one)))
    assert [e["text"] for e in events(one) if e["kind"] == "announced"][:1] == [notices.NO_PLAN]
    assert "plan" in parts(one, "failed")


def test_a_loudspeaker_that_stops_is_replaced_and_one_that_returns_is_used(running: Any) -> None:
    class Output:
        latency_ms, underflows = 30.0, 0

        def __init__(self) -> None:
            self.why: str | None = None
            self.stopped = False

        def failed(self) -> str | None:
            return self.why

        def start(self) -> None: ...
        def stop(self) -> None:
            self.stopped = True

    one = running()
    until(lambda: one._runner is not None and one._runner.output is not None)
    first, second = Output(), Output()
    one.inbox.put(("loudspeaker", first))
    until(lambda: "loudspeaker" in parts(one, "recovered"))
    first.why = "pulled out"
    until(lambda: first.stopped and one._card.losses == ["loudspeaker"])
    position = one._mixer.position
    until(lambda: one._mixer.position > position)  # somebody pulls it: the beat goes on
    one.inbox.put(("loudspeaker", second))
    until(lambda: parts(one, "recovered").count("loudspeaker") == 2)
    assert one._runner.output is second


def test_a_microphone_that_falls_silent_is_lost_and_comes_back(running: Any) -> None:
    one = running()
    until(lambda: events(one))
    first = Microphone()
    one.inbox.put(("microphone", first))
    until(lambda: one._runner.microphone is first)
    first.silent = True
    until(lambda: first.closed)
    until(lambda: "microphone" in parts(one, "failed"))
    assert one._card.losses == ["microphone"]
    one.inbox.put(("microphone", Microphone()))
    until(lambda: "microphone" in parts(one, "recovered"))


def test_an_ear_that_raises_is_dropped_loaded_again_and_keys_go_on_meanwhile(running: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from prompter.hear.hearing import Hearing

    one = running()
    until(lambda: events(one))
    monkeypatch.setattr(Hearing, "expect", lambda *_: None)
    loaded: list[int] = []
    monkeypatch.setattr(one._runner, "_load_ears", lambda: loaded.append(1))
    one.inbox.put(("ear", Hearing.__new__(Hearing)))  # without anything in it: every block raises
    one.inbox.put(("microphone", Microphone()))
    until(lambda: "ear" in parts(one, "failed"))
    one.inbox.put(("key", "1"))
    until(lambda: any(e["kind"] == "answered" for e in events(one)))
    assert loaded == [1]
    one.inbox.put(("ear", None))
    until(lambda: "ear" in parts(one, "recovered"))


@pytest.mark.parametrize("failure", ["raises", "hangs"])
def test_when_the_program_fails_the_last_resort_speaks(running: Any, monkeypatch: pytest.MonkeyPatch, failure: str) -> None:
    turn, released = Session.turn, threading.Event()

    def broken(self: Session, at_ms: int) -> None:
        if at_ms < 1500:
            turn(self, at_ms)
        elif failure == "raises":
            raise ZeroDivisionError("a bug")
        else:
            released.wait(20)

    monkeypatch.setattr(Session, "turn", broken)
    monkeypatch.setattr(limits, "RUNNER_HANGS_S", 1.0)
    said: list[str] = []
    resort = last_resort.run

    def listened(mixer: Any, rate: float, over: Any, show: Any, **rest: Any) -> None:
        resort(mixer, rate, over, lambda text: (said.append(text), show(text)), **rest)

    monkeypatch.setattr(last_resort, "run", listened)
    one = running()
    until(lambda: last_resort.NOT_BREATHING in said)
    until(lambda: one._mixer.pacing, 15)  # nobody else renders: the stand-in still does
    for _ in range(2):
        one.inbox.put(("key", "ctrl-c"))
    until(lambda: one.code is not None)
    released.set()
    assert one.code == 1
    one.close()
    assert "program" in parts(one, "fault")


def test_it_closes_in_order_when_the_system_ends_it(running: Any) -> None:
    one = running()
    until(lambda: events(one))
    one.inbox.put(("close", "the system ended it"))
    until(lambda: one.code is not None)
    one.close()
    last = events(one)[-1]
    assert (one.code, last["kind"], last["outcome"]) == (0, "closed", "open")


def test_an_installation_without_its_protocol_still_speaks(running: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from prompter.live import preparing

    def missing(name: str) -> Path:
        raise FileNotFoundError("the installation lacks its folder 'flows'")

    monkeypatch.setattr(preparing, "flow_file", missing)
    one = running()
    until(lambda: one._mixer is not None)
    one.inbox.put(("close", "seen"))
    until(lambda: one.code is not None)
    assert one.code == 1


def test_no_internet_socket_is_opened(running: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    import socket

    opened: list[int] = []
    real = socket.socket

    class Watched(real):  # type: ignore[misc,valid-type]
        def __init__(self, family: int = -1, *rest: Any, **named: Any) -> None:
            opened.append(family)
            super().__init__(family, *rest, **named)

    monkeypatch.setattr(socket, "socket", Watched)
    one = running()
    until(lambda: any(e["kind"] == "prompt ended" for e in events(one)))
    assert not [family for family in opened if family != getattr(socket, "AF_UNIX", None)]


def test_a_late_event_and_a_changed_clock_are_in_the_record(running: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    one = running()
    until(lambda: events(one))
    one.inbox.put(("late", (2, 45)))
    until(lambda: [(e["event"], e["waited_ms"]) for e in events(one) if e["kind"] == "written late"] == [(2, 45)])
    one.clock.began += timedelta(hours=1)  # as if the wall clock had been set back an hour
    until(lambda: any(e["kind"] == "clock changed" for e in events(one)))
    (changed,) = [e["by_ms"] for e in events(one) if e["kind"] == "clock changed"]
    assert abs(changed + 3_600_000) < 5_000
    before = len(events(one))
    one.inbox.put(("key", "1"))
    until(lambda: any(e["kind"] == "answered" for e in events(one)[before:]))  # it goes on


def test_a_slow_disk_lets_the_prompt_go_and_marks_its_event_late(running: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    one = running()
    until(lambda: one._journal is not None and one._journal.path is not None)
    sync = FileDisk.sync
    monkeypatch.setattr(FileDisk, "sync", lambda self: (time.sleep(0.06), sync(self)))
    one.inbox.put(("key", "1"))
    until(lambda: any(e["kind"] == "written late" for e in events(one)))
    late = next(e for e in events(one) if e["kind"] == "written late")
    assert events(one)[late["event"] - 1]["kind"] == "answered"
    assert late["waited_ms"] > limits.JOURNAL_WAIT_MS


def with_voice(plan: Path, name: str) -> Path:
    """`plan` with another voice in it."""
    text = plan.read_text(encoding="utf-8")
    changed = text.replace("  quietest_db: 0 ", f"  name: {name}\n  quietest_db: 0 ")
    assert changed != text
    plan.write_text(changed, encoding="utf-8")
    return plan


def test_where_the_natural_voice_was_not_made_ahead_the_embedded_one_speaks_and_says_so(running: Any, plan_file: Path) -> None:
    one = running(with_voice(plan_file, "natural"))
    until(lambda: any(e["kind"] == "announced" for e in events(one)))
    assert [e["text"] for e in events(one) if e["kind"] == "announced"] == [notices.OTHER_VOICE]
    why = next(e["detail"] for e in events(one) if e["kind"] == "failed" and e["part"] == "voice")
    assert "were not made ahead" in why and "prompter ready" in why
    until(lambda: any(e["kind"] == "prompt ended" for e in events(one)))


def test_clips_made_ahead_in_the_natural_voice_are_spoken(running: Any, plan_file: Path, tmp_path: Path) -> None:
    from prompter.live.preparing import every_prompt, prepare
    from prompter.speak.clips import ClipStore
    from prompter.speak.natural import KeptNatural

    class MadeAhead(KeptNatural):
        def render(self, text: str) -> np.ndarray:
            return np.full(2_205, 0.123, np.float32)

    plan = with_voice(plan_file, "natural")
    folder = tmp_path / "clips-of-its-own"
    texts = every_prompt(prepare(plan).table)
    ClipStore(folder, MadeAhead("natural")).prepare(texts)
    cache = tmp_path / "home" / "cache"
    kept = cache.resolve() / "clips"
    cache.unlink()  # a link to what all tests share
    cache.mkdir()
    (cache / "clips").mkdir()
    for clip in [*kept.iterdir(), *folder.iterdir()]:
        (cache / "clips" / clip.name).symlink_to(clip)
    one = running(plan)
    until(lambda: any(e["kind"] == "prompt ended" for e in events(one)))
    assert "voice" not in parts(one, "failed") and events(one)[0]["voice"].startswith("natural (")
    assert one._store.clip(texts[-1])[1_000] == pytest.approx(0.123, abs=1e-3)
