"""Runs one whole emergency on a virtual clock: a simulated caregiver's voice through the real ears and voice.

Every 32 ms of session time: the mixer plays, the caregiver's sound is laid into the room and goes
into the same `Session` that runs live, and the caregiver reacts to what it heard. Computing time
really spent on recognition is added by the ears' `InlineScorer`.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr

from prompter.events import Answered, Moved, Numbered, Record, Say, Tone, Unclear
from prompter.flow.table import Table
from prompter.hear.ear import Ear
from prompter.hear.echo.own_sound import OwnSound
from prompter.hear.hearing import Hearing
from prompter.hear.scorer import InlineScorer
from prompter.journal import Journal
from prompter.limits import BLOCK_SAMPLES, EAR_HANGS_S, MIX_RATE_HZ, SAMPLE_RATE_HZ
from prompter.practise.caregiver import Caregiver, Sees, Utterance
from prompter.practise.echo_room import EchoPath
from prompter.practise.room import RoomNoise, first_sound, last_sound
from prompter.practise.script import Script
from prompter.practise.tally import Said, Tally
from prompter.session import Session, Timing
from prompter.speak.clips import ClipStore
from prompter.speak.loudness import Limits
from prompter.speak.mixer import SPEECH_GAIN, Mixer

BLOCK_MS = BLOCK_SAMPLES * 1000 // SAMPLE_RATE_HZ


@dataclass
class Setting:
    """What a rehearsal is run with. `render`: the caregiver's voice. `opened`: the journal's first line.

    `echo_db`: how loud the microphone hears the prompter, against the caregiver (None: not at all).
    `over_share`: of the answers, so many are given while the prompter still asks.
    """

    script: Script
    table: Table
    ears: list[Ear]
    clips: ClipStore
    render: Callable[[str], np.ndarray]
    seed: int
    compute_ms: int | None
    folder: Path
    opened: dict[str, Any]
    began: datetime
    watch: Callable[[dict[str, Any]], None]
    echo_db: float | None = None
    over_share: float = 0.0
    loudness: Limits = Limits()


@dataclass
class Outcome:
    """A finished rehearsal: CONTRACTS' fields, as JSON."""

    record: dict[str, Any]
    tally: Tally

    @property
    def as_expected(self) -> bool:
        return bool(self.record["as_expected"])


class _Sound:
    """The whole emergency as one mono file: room and prompter together."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = soundfile.SoundFile(path, "w", MIX_RATE_HZ, 1, format="FLAC")
        self._up = soxr.ResampleStream(SAMPLE_RATE_HZ, MIX_RATE_HZ, 1, dtype="float32")
        self._room = np.zeros(0, np.float32)

    def add(self, room: np.ndarray, prompter: np.ndarray) -> None:
        self._room = np.concatenate([self._room, self._up.resample_chunk(room)])
        count = min(len(self._room), len(prompter))
        mixed = prompter.copy() * 0.8
        mixed[:count] += self._room[:count]
        self._room = self._room[count:]
        self._file.write(np.clip(mixed, -1, 1))

    def close(self) -> None:
        self._file.close()


def rehearse(setting: Setting) -> Outcome:
    """Runs until the script's outcome stands and the caregiver is done, or time is up."""
    began = time.perf_counter()
    run = _Run(setting)
    try:
        run.go()
    finally:
        run.close()
    return run.outcome(time.perf_counter() - began)


class _Run:
    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        seeds = np.random.default_rng([setting.seed, sum(setting.script.script.encode())])
        script = setting.script
        noise = script.noise
        self.room = RoomNoise(noise.kind if noise else None, noise.snr_db if noise else None, seeds)
        self.caregiver = Caregiver(script, setting.table.flow, setting.render, seeds, setting.over_share)
        self.tally = Tally(setting.table)
        self.own_sound = OwnSound()
        self.echo: EchoPath | None = None
        if setting.echo_db is not None:
            seeds_of_room = np.random.default_rng([setting.seed, 7, sum(script.script.encode())])
            self.echo = EchoPath(setting.echo_db, self._sample() * SPEECH_GAIN, seeds_of_room)
        setting.folder.mkdir(parents=True, exist_ok=True)
        self.journal_path = setting.folder / "journal.jsonl"
        self.journal_path.unlink(missing_ok=True)
        self.journal = Journal.create(self.journal_path, setting.opened, setting.began, 0)
        self.sound = _Sound(setting.folder / "sound.flac")
        self.mixer = Mixer(MIX_RATE_HZ, setting.clips.clip)
        scorer = InlineScorer(setting.compute_ms, int(EAR_HANGS_S * 1000))
        hearing = Hearing(setting.ears, scorer, setting.table.all_phrases)
        hearing.prepare()
        self.session = Session(
            setting.table, self.mixer,
            Timing(setting.began, lambda position: position * 1000 // MIX_RATE_HZ),
            _Saying(self), hearing, (self,), loudness=setting.loudness,
        )  # fmt: skip
        self.now_ms = 0
        self.visit, self.prompts = 0, 0
        self.said_since_visit = 0
        self.speech: Utterance | None = None
        self.call_asked_ms: int | None = None
        self.current: Said | None = None
        self.asked_since_ms: int | None = None
        self.before = self.session.machine.memory.copy()
        self._says: dict[int, Say] = {}

    # ---- the loop --------------------------------------------------------------------------------

    def go(self) -> None:
        self.session.start(0)
        end_ms = int(self.setting.script.ends_after_s * 1000)
        played = 0
        while self.now_ms < end_ms and not self.session.closed and not self._done():
            self.now_ms += BLOCK_MS
            wanted = self.now_ms * MIX_RATE_HZ // 1000
            prompter = self.mixer.render(wanted - played)
            played = wanted
            room = self.room.take(BLOCK_SAMPLES) + self._caregiver_block()
            self.sound.add(room, prompter)
            self._hear(room, prompter)
            self.session.turn(self.now_ms)
            self._react()
        self.session.end(self.now_ms, "the rehearsal is over")

    def _hear(self, room: np.ndarray, prompter: np.ndarray) -> None:
        """The room, and with an echo what the room makes of the prompter: through what removes it live."""
        if self.echo is None:
            self.session.hear_block(room, self.now_ms)
            return
        played, echo = self.echo.take(prompter)
        cleaned = self.own_sound.take(room + echo, played, self.mixer.speaking)
        sound = np.zeros_like(room) if cleaned.deaf else cleaned.sound
        self.session.hear_block(sound, self.now_ms, cleaned.own_db, self.own_sound.way_db)

    def _sample(self) -> np.ndarray:
        """Some of the prompter's speech, for its level."""
        clips = [self.setting.clips.clip(text) for text in self.setting.table.texts()[:8]]
        return np.concatenate([clip for clip in clips if clip is not None] or [np.zeros(MIX_RATE_HZ, np.float32)])

    def _done(self) -> bool:
        """The script's last step is reached, all is said there, and the outcome is what it says."""
        expect = self.setting.script.expect
        machine = self.session.machine
        arrived = machine.step == expect.path[-1] and self.caregiver.done(machine.step)
        return arrived and machine.outcome == expect.outcome and machine.waits and not self.mixer.speaking

    def _caregiver_block(self) -> np.ndarray:
        block = np.zeros(BLOCK_SAMPLES, np.float32)
        if self.speech is not None:
            offset = (self.now_ms - BLOCK_MS - self.speech.begin_ms) * SAMPLE_RATE_HZ // 1000
            part = self.speech.sound[max(0, offset) : offset + BLOCK_SAMPLES]
            start = max(0, -offset)
            block[start : start + len(part)] = part[: BLOCK_SAMPLES - start]
            if offset + BLOCK_SAMPLES >= len(self.speech.sound):
                self.speech = None
        return block

    def _react(self) -> None:
        if self.speech is not None:
            return
        machine = self.session.machine
        stand = self.setting.table.stands[machine.step]
        speaking = self.mixer.speaking
        sees = Sees(
            machine.step, self.visit, machine.waits and not speaking,
            not machine.waits and not speaking and self.mixer.pacing, self.prompts, bool(stand.ask),
            machine.paced, speaking,
            None if self.call_asked_ms is None else (self.now_ms - self.call_asked_ms) / 1000,
            None if self.asked_since_ms is None else self.now_ms - self.asked_since_ms,
        )  # fmt: skip
        does = self.caregiver.act(sees, self.now_ms)
        if isinstance(does, Utterance):
            self.speech = does
            self.tally.utterance(does, does.begin_ms + last_sound(does.sound) * 1000 // SAMPLE_RATE_HZ)
            self.setting.watch({"kind": "said", "at_ms": self.now_ms, "words": does.words, "answer": does.answer})
        elif does is not None:
            self.session.press(does, self.now_ms)

    # ---- what the session did ----------------------------------------------------------------------

    def feeding(self, event: Record) -> None:
        self.before = self.session.machine.memory.copy()

    def fed(self, event: Record, cues: list[Record]) -> None:
        memory = self.before
        said = self.current if isinstance(event, Answered | Numbered | Unclear) else None
        if said is not None:
            self.tally.replied(said, cues)
            accepted = any(isinstance(c, Tone) or (isinstance(c, Say) and c.role == "echo") for c in cues)
            if not accepted:
                # Asked again, or good news that is asked for twice: the caregiver says it once more.
                self.tally.asked_again += isinstance(event, Unclear)
            elif said.heard_answer == said.utterance.answer:
                self.caregiver.taken()
            else:
                self.caregiver.misheard()
        self.tally.judge_answer(event, said, memory, cues)
        for cue in cues:
            if isinstance(cue, Say):
                self._says[cue.cue] = cue
            elif isinstance(cue, Moved):
                if cue.machine == "care":
                    if cue.how == "assumed":
                        self.tally.judge_assumed(cue, memory, self.said_since_visit)
                    self.visit += 1
                    self.prompts, self.said_since_visit = 0, len(self.tally.said)
                elif cue.target == "asked":
                    self.call_asked_ms = cue.at_ms
                self.tally.moved(cue)

    def saw(self, record: dict[str, Any]) -> None:
        """Each journalled record, with its `at_ms`."""
        kind = record["kind"]
        if kind == "heard":
            self.current = self.tally.heard(record)
            if self.current is not None:
                record = {**record, "said": self.current.utterance.words}
        elif kind == "prompt ended":
            say = self._says.get(record["cue"])
            here = say is not None and say.step == self.session.machine.step and not record["cut"]
            if here and say is not None and say.role in ("care", "question"):
                self.prompts += 1
            self.asked_since_ms = None
        elif kind == "prompt cut":
            self.asked_since_ms = None
        elif kind == "prompt started":
            say = self._says.get(record["cue"])
            if say is not None and say.role == "question" and say.step == self.session.machine.step:
                self.asked_since_ms = record["sound_ms"]
            self._time_reply(record["cue"], record["sound_ms"])
        self.setting.watch(record)

    def _time_reply(self, cue: int, starts_ms: int) -> None:
        for said in self.tally.said:
            if said.reply_cue == cue:
                clip = self.setting.clips.clip(self._says[cue].text)
                lead = 0 if clip is None else first_sound(clip) * 1000 // MIX_RATE_HZ
                said.reply_ms = starts_ms + lead - said.last_sound_ms

    # ---- the end -------------------------------------------------------------------------------------

    def close(self) -> None:
        self.journal.close()
        self.sound.close()

    def outcome(self, wall_s: float) -> Outcome:
        script, machine, tally = self.setting.script, self.session.machine, self.tally
        expect = script.expect
        as_expected = (
            machine.outcome == expect.outcome and _in_order(expect.path, tally.path)
            and not set(expect.never) & set(tally.path)
            and tally.asked_again <= expect.asked_again_most and tally.assumed <= expect.assumed_most
        )  # fmt: skip
        return Outcome(
            {
                "script": script.script, "seed": self.setting.seed, "as_expected": as_expected,
                "outcome": machine.outcome, "path": tally.path, "wrong_branches": tally.wrong_branches,
                "asked_again": tally.asked_again, "assumed": tally.assumed,
                "call_reminded_ms": tally.call_reminded_ms,
                "answers": [said.record() for said in tally.said],
                "simulated_s": round(self.now_ms / 1000, 1), "wall_s": round(wall_s, 2),
                "journal": str(self.journal_path), "report": "", "sound": str(self.sound.path),
            },
            tally,
        )  # fmt: skip


def _in_order(wanted: list[str], path: list[str]) -> bool:
    steps = iter(path)
    return all(step in steps for step in wanted)


class _Saying:
    """The journal of a rehearsal also keeps what was really said."""

    def __init__(self, run: _Run) -> None:
        self._run = run

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> None:
        if record["kind"] == "heard" and self._run.current is not None:
            record = {**record, "said": self._run.current.utterance.words}
        self._run.journal.append(record, at, mono_ms)
