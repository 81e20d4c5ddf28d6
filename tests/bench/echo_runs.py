"""One run of answers over the prompter's own sound: a room, a caregiver's voice, a dozen answers.

The prompter's mixer plays into a simulated room, the caregiver speaks at the same loudness in the
microphone, and what the two make goes through the same filter and hearing as live. Before the first
answer the prompter speaks alone for some seconds, as it does in every emergency.
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from sounds import REPORT_VOICES, say
from wordings import draw, draw_place, known, tables

from prompter.events import Pace, Say
from prompter.hear.decision import may_ask_back
from prompter.hear.ear import Ear
from prompter.hear.echo.own_sound import OwnSound
from prompter.hear.hearing import Heard, Hearing, SpeechOnset, SpeechOver, SpeechSuspected
from prompter.hear.scorer import InlineScorer
from prompter.limits import BLOCK_SAMPLES, MIX_RATE_HZ, SAMPLE_RATE_HZ, SUSPECTED_MS, TWICE_SCORE
from prompter.practise.echo_room import EchoPath, impulse_response
from prompter.practise.room import FLOOR_DB, at_speech_level, first_sound
from prompter.speak.clips import ClipStore
from prompter.speak.mixer import SPEECH_GAIN, Mixer, PromptCut
from prompter.speak.voice import EspeakVoice

BLOCK_MS = BLOCK_SAMPLES * 1000 // SAMPLE_RATE_HZ
SEED = 41
VOICES = REPORT_VOICES[1:]
"""Without the prompter's own accent and variant."""

ROOMS_RT60_S = (0.2, 0.4, 0.6)
WARM_UP_S = 8.0
ANSWERS_A_RUN = 10
GIVE_UP_S = 6.0
COMPUTE_MS = 250
"""Taken for each decision whatever the machine is doing: how long it takes is bench_hearing's to say."""
PACES = {"breaths": (25.0, 0, 0), "pushes": (110.0, 15, 2), "suction": (60.0, 0, 0)}


def response_of(number: int) -> tuple[np.ndarray, str]:
    """A room that tuned nothing: image sources, or (without that package) this program's own kind of
    room with a seed of its own. Energy 1, with the delay of air and sound card before it."""
    rng = np.random.default_rng([SEED, 1, number])
    try:
        from rooms import room

        response = room(ROOMS_RT60_S[number % len(ROOMS_RT60_S)], number // len(ROOMS_RT60_S) % 6)
        kind = "image sources"
    except ImportError:
        response, kind = impulse_response(rng), "noise tails"
    response = np.concatenate([np.zeros(int(rng.uniform(64, 480)), np.float32), response])
    return (response / np.sqrt(np.sum(response**2))).astype(np.float32), kind


@cache
def clips() -> ClipStore:
    """The prompter's own voice."""
    return ClipStore(Path("/nonexistent"), EspeakVoice())


class Scene:
    """A room in which the prompter plays and is heard, block by block."""

    def __init__(self, ears: list[Ear], number: int, echo_db: float, noise_db: float = FLOOR_DB) -> None:
        self.rng = np.random.default_rng([SEED, 2, number])
        self.mixer = Mixer(MIX_RATE_HZ, clips().clip)
        self.own = OwnSound()
        self.hearing = Hearing(ears, InlineScorer(COMPUTE_MS), known())
        response, self.kind = response_of(number)
        sample = np.concatenate([clips().clip(text) for text in tables()["demo-plan"].texts()[:8]])
        self.echo = EchoPath(echo_db, sample * SPEECH_GAIN, self.rng, response)
        self.noise = 10 ** (noise_db / 20)
        self.suspected_ms: int | None = None
        self.now_ms = self.cues = self.rendered = 0
        self.speech, self.speech_at = np.zeros(0, np.float32), 0

    def say(self, text: str) -> None:
        self.cues += 1
        self.mixer.enqueue(Say(self.now_ms, self.cues, text, "question", ""))

    def speak(self, sound: np.ndarray) -> None:
        """The caregiver begins with the next block."""
        self.speech, self.speech_at = sound, 0

    def step(self) -> list[Any]:
        """One block (32 ms): what the hearing reports, and what gave way."""
        self.now_ms += BLOCK_MS
        wanted = self.now_ms * MIX_RATE_HZ // 1000
        rendered = self.mixer.render(wanted - self.rendered)
        self.rendered = wanted
        played, echo = self.echo.take(rendered)
        near = np.zeros(BLOCK_SAMPLES, np.float32)
        part = self.speech[self.speech_at : self.speech_at + BLOCK_SAMPLES]
        near[: len(part)] = part
        self.speech_at += len(part)
        noise = self.rng.standard_normal(BLOCK_SAMPLES).astype(np.float32) * np.float32(self.noise)
        cleaned = self.own.take(near + echo + noise, played, self.mixer.speaking)
        block = np.zeros_like(near) if cleaned.deaf else cleaned.sound
        reports: list[Any] = self.hearing.push(block, self.now_ms, cleaned.own_db)
        if any(isinstance(r, SpeechOnset) for r in reports):
            self.suspected_ms = None
            self.mixer.give_way()
        elif any(isinstance(r, SpeechSuspected) for r in reports) and self.mixer.give_way():
            self.suspected_ms = self.now_ms
        if self.suspected_ms is not None and self.now_ms >= self.suspected_ms + SUSPECTED_MS:
            self.suspected_ms = None
            self.mixer.go_on()
        if any(isinstance(r, SpeechOver | Heard) for r in reports) and not self.hearing.waiting:
            self.mixer.go_on()
        return reports + [r for r in self.mixer.take_reports() if isinstance(r, PromptCut)]

    def warm_up(self) -> None:
        texts = tables()["demo-plan"].texts()
        while self.now_ms < WARM_UP_S * 1000 or self.mixer.speaking:
            if not self.mixer.speaking:
                self.say(texts[int(self.rng.integers(len(texts)))])
            self.step()


def answers_run(ears: list[Ear], number: int, over: str, echo_db: float = 0.0, answers: int = ANSWERS_A_RUN) -> Iterator[dict[str, Any]]:
    """`over`: 'voice', or the pace whose tones sound meanwhile."""
    scene = Scene(ears, number + (0 if over == "voice" else 500), echo_db)
    name, rate_wpm, pitch = VOICES[number % len(VOICES)]
    voice = (name, rate_wpm + int(scene.rng.integers(-12, 13)), pitch + int(scene.rng.integers(-8, 9)))
    scene.warm_up()
    if over != "voice":
        per_minute, pushes, breaths = PACES[over]
        scene.mixer.enqueue(Pace(scene.now_ms, 9_999, over, per_minute=per_minute, pushes_a_cycle=pushes, breaths_a_cycle=breaths))
    for index in range(answers):
        yield _answer(scene, voice, over) | {
            "run": number, "index": index, "over": over, "voice": name, "room": scene.kind, "echo_db": echo_db,
            "left_db": round(scene.own.left_db, 1),
        }  # fmt: skip


def _answer(scene: Scene, voice: tuple[str, int, int], over: str) -> dict[str, Any]:
    place, phrase = draw(scene.rng)
    scene.hearing.expect(place.allowed, place.asks_number)
    row: dict[str, Any] = {"said": phrase.text, "answer": phrase.answer, "step": place.name, "silent_ms": [], "heard": []}
    asked_back, asked_score = None, 0.0
    for _ in range(2):
        heard, silent_ms = _attempt(scene, phrase.text, voice, place, over)
        row["silent_ms"].append(silent_ms)
        row["heard"] += [_short(h) for h in heard]
        for one in heard:
            if one.believed and one.heard is not None:
                return row | {"taken": one.heard.answer}
            if one.number is not None and one.believed:
                return row | {"taken": "number"}
            if one.heard is None or not may_ask_back(one.heard, one.score, one.margin, one.text):
                continue
            # Asked back by name; the same again is taken as yes, but for good news, where both together are likelier right.
            score = one.score or 0.0
            if one.heard.answer == asked_back and one.heard.risk != "good" and asked_score + score > TWICE_SCORE:
                return row | {"taken": asked_back}
            asked_back, asked_score = one.heard.answer, score
    return row | {"taken": None}


def _attempt(scene: Scene, words: str, voice: tuple[str, int, int], place: Any, over: str) -> tuple[list[Heard], int | None]:
    """Once said; what was heard, and after how many ms of speech the prompt was silent (None: not)."""
    sound = at_speech_level(say(words, voice))
    for _ in range(int(scene.rng.integers(10, 30))):
        scene.step()
    if over == "voice":
        texts = [t for t in tables()[place.plan].texts() if len(t.split()) >= 5]
        text = texts[int(scene.rng.integers(len(texts)))]
        scene.say(text)
        length_ms = len(clips().clip(text)) * 1000 // MIX_RATE_HZ
        for _ in range(int(scene.rng.uniform(200, max(250, 0.6 * length_ms)) / BLOCK_MS)):
            scene.step()
    # The first sound falls anywhere within a block.
    sound = np.pad(sound, (int(scene.rng.integers(BLOCK_SAMPLES)), 0))
    begins_ms = scene.now_ms + first_sound(sound) * 1000 / SAMPLE_RATE_HZ
    scene.speak(sound)
    heard, silent_ms = [], None
    ends_ms = scene.now_ms + len(sound) * 1000 // SAMPLE_RATE_HZ
    quiet = False
    while scene.now_ms < ends_ms + 1000 * GIVE_UP_S and not quiet:
        for report in scene.step():
            if isinstance(report, PromptCut) and silent_ms is None:
                silent_ms = round(report.position * 1000 / MIX_RATE_HZ - begins_ms)
            elif isinstance(report, Heard):
                heard.append(report)
                scene.mixer.hush()
        quiet = scene.now_ms > ends_ms + 1000 and not scene.hearing.waiting and not scene.mixer.speaking
    scene.mixer.hush()
    return heard, silent_ms


def alone_run(ears: list[Ear], number: int, minutes: float = 2.0, echo_db: float = 0.0) -> dict[str, Any]:
    """Prompts alone, one after the other, from the first second on: what is heard was the prompter's own."""
    scene = Scene(ears, 1_000 + number, echo_db)
    taken, unclear, onsets, cut, place = [], [], 0, 0, None
    while scene.now_ms < minutes * 60_000:
        if not scene.mixer.speaking:
            if place is None or scene.rng.random() < 0.2:
                place = draw_place(scene.rng)
                scene.hearing.expect(place.allowed, place.asks_number)
            texts = tables()[place.plan].texts()
            scene.say(texts[int(scene.rng.integers(len(texts)))])
        for report in scene.step():
            onsets += isinstance(report, SpeechOnset)
            cut += isinstance(report, PromptCut)
            if isinstance(report, Heard):
                (taken if report.believed else unclear).append(_short(report))
    return {"run": number, "over": "alone", "minutes": minutes, "room": scene.kind, "echo_db": echo_db,
            "taken_own": taken, "unclear": unclear, "onsets": onsets, "cut": cut}  # fmt: skip


def _short(heard: Heard) -> dict[str, Any]:
    return {
        "heard": heard.heard.text if heard.heard else None, "answer": heard.heard.answer if heard.heard else None,
        "number": heard.number, "believed": heard.believed, "score": None if heard.score is None else round(heard.score, 2),
        "text": heard.text, "why": heard.why,
    }  # fmt: skip
