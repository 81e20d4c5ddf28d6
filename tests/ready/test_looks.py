"""Each thing looked at: what is ready, what is not, and that it says what to do."""

import re
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from prompter import limits
from prompter.care.approval import new_approval, write_approval
from prompter.errors import CannotDo
from prompter.ready import files, sound
from prompter.ready.check import Check
from prompter.ready.plan import look_at_approval, look_at_plan
from prompter.ready.self_test import report, verdict
from prompter.ready.sound import level_check
from prompter.resources import flow_file, shared_file
from prompter.speak import tones

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
TODAY = date(2026, 6, 1)


class Voice:
    name, version = "test", "1"

    def __init__(self, fails: bool = False) -> None:
        self.fails = fails

    def render(self, text: str) -> np.ndarray:
        if self.fails:
            raise CannotDo("no voice")
        return np.full(1000, 0.1, np.float32)


def states(checks: list[Check]) -> dict[str, str]:
    return {check.name: check.state for check in checks}


def says_what_to_do(check: Check) -> bool:
    return check.state == "ok" or bool(check.mend)


def approve(file: Path) -> None:
    write_approval(file, new_approval(file, "Doctor Imre Vale", "paediatrician", TODAY + timedelta(days=90), TODAY))


def test_a_plan_in_force_is_ready_and_its_doubts_do_not_change_that(plan_file: Path) -> None:
    approve(plan_file)
    plan, checks = look_at_plan(plan_file, TODAY)
    assert plan is not None and states(checks) == {"care plan": "ok", "approval": "ok"}
    assert any("last tried" in doubt for doubt in checks[0].doubts)  # dialling: 2026-01-15, over 90 days
    assert verdict(checks)


def test_a_plan_not_approved_changed_or_overdue_is_not_ready(plan_file: Path) -> None:
    def stands(today: date) -> Check:
        plan, checks = look_at_plan(plan_file, today)
        assert plan is not None and states(checks) == {"care plan": "ok", "approval": "not ok"}
        assert all(map(says_what_to_do, checks))
        return checks[1]

    assert "its review was due" in stands(date(2032, 1, 1)).detail
    text = plan_file.read_text(encoding="utf-8")
    for line in ("approved_by", "approved_on"):
        text = re.sub(rf"{line}: .*", f"{line}: none", text)
    plan_file.write_text(text, encoding="utf-8")
    assert "not approved by a clinician" in stands(TODAY).detail
    approve(plan_file)
    assert look_at_plan(plan_file, TODAY)[1][1].state == "ok"
    assert "ended" in stands(TODAY + timedelta(days=91)).detail
    plan_file.write_text(plan_file.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert "changed" in stands(TODAY).detail


def test_the_protocol_as_it_comes_is_not_approved_and_ready_says_so() -> None:
    check = look_at_approval("protocol", "flow", flow_file("breathing-trouble"), TODAY)
    assert check.state == "not ok" and "prompter flow approve" in check.mend


def test_no_plan_a_broken_one_and_the_demonstration_are_not_ready(tmp_path: Path) -> None:
    broken = tmp_path / "broken.yaml"
    broken.write_text("patient: [")
    for path in (tmp_path / "missing.yaml", broken, shared_file("demo-plan.yaml")):
        plan, checks = look_at_plan(path, TODAY)
        assert plan is None and not verdict(checks)
        assert states(checks)["care plan"] == "not ok" and all(map(says_what_to_do, checks))


def test_clips_are_made_and_counted(tmp_path: Path) -> None:
    done: list[int] = []
    _, check = files.look_at_clips(tmp_path, Voice(), ["a", "b", "a"], lambda n, _: done.append(n))
    assert check.state == "ok" and "2" in check.detail and done == [1, 2]


def test_clips_that_cannot_be_spoken_or_kept_are_not_ready(tmp_path: Path) -> None:
    _, mute = files.look_at_clips(tmp_path, Voice(fails=True), ["a"], lambda *_: None)
    (tmp_path / "file").write_text("")
    _, unkept = files.look_at_clips(tmp_path / "file" / "below", Voice(), ["a"], lambda *_: None)
    for check in (mute, unkept):
        assert check.state == "not ok" and check.mend


def test_the_natural_voice_is_made_where_it_may_be_and_missed_where_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from prompter.speak import natural
    from prompter.speak.clips import ClipStore

    class Natural(Voice):
        there = False

        def __init__(self, name: str) -> None:
            super().__init__()
            self.name = name

        def installed(self) -> bool:
            return self.there

    monkeypatch.setattr(natural, "NaturalVoice", Natural)
    embedded, done = ClipStore(tmp_path, Voice()), []

    def look(progress) -> Check:  # type: ignore[no-untyped-def]
        return files.look_at_natural(tmp_path, "natural", ["a", "b"], embedded, progress)[1]

    absent = look(lambda *_: None)
    assert absent.state == "not ok" and "pip install" in absent.mend and "embedded one speaks" in absent.detail
    Natural.there = True
    quiet = look(None)  # in the morning, beside standby: it only looks
    assert quiet.state == "not ok" and "2 of 2" in quiet.detail and "prompter ready" in quiet.mend
    made = look(lambda n, _: done.append(n))
    assert made.state == "ok" and done == [1, 2]
    Natural.there = False
    assert look(None).state == "ok"  # what is kept is enough


def ear(intact: bool = True, ready: bool = True) -> SimpleNamespace:
    why = "the weights are not the known ones"
    return SimpleNamespace(
        intact=lambda: (intact, "" if intact else why), ready=lambda: (ready, "" if ready else why)
    )


def test_ears() -> None:
    assert files.look_at_ears(ear(), ear(ready=False)).state == "ok"
    changed = files.look_at_ears(ear(intact=False), ear())
    assert changed.state == "not ok" and changed.mend


def test_a_disk_that_takes_a_record(tmp_path: Path) -> None:
    assert files.look_at_disk(lambda: tmp_path).state == "ok"
    assert not list(tmp_path.iterdir())


def test_a_disk_that_refuses_or_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses() -> Path:
        raise CannotDo("this folder cannot be made: Permission denied.", "/somewhere", "Make room.")

    missing = files.look_at_disk(lambda: tmp_path / "missing")
    usage = shutil.disk_usage(tmp_path)._replace(free=limits.READY_FREE_BYTES - 1)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    for check in (files.look_at_disk(refuses), missing, files.look_at_disk(lambda: tmp_path)):
        assert check.state == "not ok" and check.mend


def test_the_clock() -> None:
    assert files.look_at_clock(NOW, [NOW - timedelta(hours=1)]).state == "ok"
    for now, past in ((datetime(2019, 1, 1, tzinfo=UTC), []), (NOW, [NOW + timedelta(days=1)])):
        check = files.look_at_clock(now, past)
        assert check.state == "not ok" and check.mend


@pytest.mark.parametrize("hz", [tones.ATTENTION_HZ, tones.NOTED_HZ])
def test_a_tone_stands_out_of_noise_and_a_voice_does_not_pass_for_it(hz: float) -> None:
    random = np.random.default_rng(3)
    noise = 0.01 * random.standard_normal(2 * limits.SAMPLE_RATE_HZ)
    tone = noise.copy()
    time_s = np.arange(limits.SAMPLE_RATE_HZ // 5) / limits.SAMPLE_RATE_HZ
    tone[8000 : 8000 + len(time_s)] += 0.05 * np.sin(2 * np.pi * hz * time_s)
    room_db = sound.band_db(noise, hz)
    assert sound.band_db(tone, hz) - room_db > limits.READY_TONE_DB
    again = 0.01 * random.standard_normal(2 * limits.SAMPLE_RATE_HZ)
    assert abs(sound.band_db(again, hz) - room_db) < limits.READY_TONE_DB


def test_without_a_sound_card_it_says_how_to_mend_that() -> None:
    error = CannotDo("sound cannot be played.", "PortAudio", "Install it (apt install libportaudio2).")
    checks = sound.nothing_to_try(error)
    assert {check.state for check in checks} == {"could not be tried"}
    assert all("libportaudio2" in check.line() for check in checks)
    assert not verdict(checks)


def test_every_line_is_one_line_and_the_json_has_the_same() -> None:
    check = Check("disk", "not ok", "only 3 MB are free.", "Make room.", ("a doubt",))
    assert check.line() == "not ok: disk: only 3 MB are free. Do: Make room."
    found = report([check], [])
    assert found["ready"] is False
    assert found["checks"] == [
        {"name": "disk", "state": "not ok", "detail": "only 3 MB are free.", "do": "Make room.", "doubts": ["a doubt"]}
    ]


def test_a_voice_must_stand_above_the_room() -> None:
    random = np.random.default_rng(0)
    room = (random.standard_normal(16_000) * 0.001).astype(np.float32)
    speech = np.concatenate([room, 0.1 * np.sin(np.arange(32_000) * 0.3).astype(np.float32), room])
    assert level_check("quietest", -6, room, speech).line().startswith("ok: quietest voice (-6 dB)")
    faint = level_check("quietest", -6, room, speech * 0.02 + np.resize(room, len(speech)))
    assert faint.state == "not ok" and "15 dB are needed" in faint.line()
    harsh = level_check("loudest", 9, room, np.clip(speech * 30, -1, 1))
    assert harsh.state == "not ok" and "overdriven" in harsh.line()
    assert level_check("loudest", 9, room, np.zeros(0, np.float32)).state == "could not be tried"
