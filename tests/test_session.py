"""One emergency wired together: what is heard, keyed, played and lost reaches machine and journal."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest

from prompter.events import Phrase
from prompter.flow.table import Table
from prompter.hear.hearing import Heard, SpeechOnset, SpeechOver, SpeechSuspected
from prompter.limits import MIX_RATE_HZ, SUSPECTED_MS
from prompter.session import Session, Timing
from prompter.speak.loudness import Limits
from prompter.speak.mixer import Mixer

BEGAN = datetime(2026, 3, 1, 12, 0, tzinfo=timezone.utc)
BLOCK = np.zeros(512, np.float32)


class Lines:
    """A journal in memory."""

    def __init__(self) -> None:
        self.lines: list[dict[str, Any]] = []

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> None:
        assert at == BEGAN + timedelta(milliseconds=mono_ms)
        self.lines.append({**record, "mono_ms": mono_ms})

    def kinds(self) -> list[str]:
        return [line["kind"] for line in self.lines]

    def said(self) -> list[str]:
        return [line["text"] for line in self.lines if line["kind"] == "say"]


class Hears:
    """Stands where `Hearing` stands and reports what the test puts in."""

    def __init__(self) -> None:
        self.next: list[object] = []
        self.expected: tuple[Phrase, ...] = ()
        self.waiting = False
        self.troubles: list[str] = []
        self.lost: list[tuple[str, str]] = []
        self.back: list[str] = []

    def expect(self, phrases: tuple[Phrase, ...], asks_number: bool = False, on_speaker: bool = False) -> None:
        self.expected, self.on_speaker = phrases, on_speaker

    def push(self, block: np.ndarray, at_ms: int, own_db: float = -65.0) -> list[object]:
        given, self.next = self.next, []
        return given

    def spared(self) -> list[tuple[str, str]]:
        found, self.lost = self.lost, []
        return found

    def regained(self) -> list[str]:
        found, self.back = self.back, []
        return found

    def trouble(self) -> list[str]:
        given, self.troubles = self.troubles, []
        return given


def heard(at_ms: int, answer: str, text: str, believed: bool = True, score: float = 5.0, why: str = "", number: tuple[str, int] | None = None) -> Heard:
    phrase = None if number else Phrase(text, answer)
    return Heard(at_ms, at_ms - 900, at_ms - 300, phrase, believed, score, 2.0, None, number, 90, ("test",), 400, text, why, BLOCK)


class Room:
    """A session with its mixer pulled as a sound card would."""

    def __init__(self, table: Table) -> None:
        self.journal, self.hears = Lines(), Hears()
        clip = np.full(MIX_RATE_HZ // 2, 0.1, np.float32)
        self.mixer = Mixer(MIX_RATE_HZ, lambda text: clip)
        self.now = 0
        self.session = Session(
            table, self.mixer, Timing(BEGAN, lambda p: p * 1000 // MIX_RATE_HZ), self.journal, self.hears,
        )  # type: ignore[arg-type]  # fmt: skip
        self.session.start(0)

    def run(self, until_ms: int) -> None:
        while self.now < until_ms:
            self.now += 32
            self.mixer.render(self.now * MIX_RATE_HZ // 1000 - self.mixer.position)
            self.session.hear_block(BLOCK, self.now)
            self.session.turn(self.now)


@pytest.fixture
def room(demo_table: Table) -> Room:
    return Room(demo_table)


def test_the_first_prompts_are_queued_when_start_returns(room: Room) -> None:
    assert room.journal.said()[:2] == ["Sam: emergency bag and phone.", "Is the tube in the neck?"]
    assert room.mixer.speaking


def test_a_believed_answer_moves_the_flow_and_hushes_what_is_out_of_date(room: Room) -> None:
    room.run(200)
    room.hears.next = [SpeechOnset(210)]
    room.run(300)
    room.hears.next = [SpeechOver(310, 300), heard(330, "in place", "still in place")]
    room.run(340)
    assert room.session.machine.step == "valve-off"
    ended = [line for line in room.journal.lines if line["kind"] == "prompt ended"]
    assert ended and all(line["cut"] for line in ended)
    room.run(2000)
    assert "I heard: still in place." in room.journal.said()


def test_what_is_not_believed_moves_nothing(room: Room) -> None:
    room.run(3000)
    room.hears.next = [heard(3010, "came out", "it came out", believed=False, score=-9.0, why="not sure enough")]
    room.run(3100)
    assert room.session.machine.step == "tube-check"
    assert "unclear" in room.journal.kinds() and "answered" not in room.journal.kinds()


def test_a_noise_is_no_utterance(room: Room) -> None:
    room.run(3000)
    room.hears.next = [SpeechOnset(3005), SpeechOver(3008, 3006), heard(3010, "", "", believed=False, why="no words")]
    room.run(3100)
    assert "unclear" not in room.journal.kinds()
    assert room.journal.kinds().count("speech started") == room.journal.kinds().count("speech ended") == 1


def test_numbers_out_of_range_are_asked_back(room: Room) -> None:
    room.run(3000)
    room.hears.next = [heard(3010, "", "oxygen 12", believed=False, why="number out of range", number=("spo2", 12))]
    room.run(3100)
    assert "Say the number again." in room.journal.said()
    assert room.session.machine.memory.spo2 is None


@pytest.mark.parametrize(("lead", "said"), [(0.5, "96? Once more."), (0.02, "Say the number again.")])
def test_a_number_in_doubt_is_suggested_only_where_it_leads_the_others(room: Room, lead: float, said: str) -> None:
    room.run(3000)
    doubtful = heard(3010, "", "oxygen 96", believed=False, why="could be another number", number=("spo2", 96))
    room.hears.next = [replace(doubtful, lead=lead)]
    room.session.machine._phase = "asking"  # a question is open
    room.run(3100)
    assert said in room.journal.said()


def test_keys_do_what_the_voice_does(room: Room) -> None:
    room.run(1000)
    assert room.session.press("1", room.now)  # the step's first answer
    assert room.session.machine.step == "valve-off"
    assert room.session.press("n", room.now)  # "no breaths" works everywhere
    assert room.session.machine.step == "no-breaths"
    assert not room.session.press("~", room.now)
    hows = {line["how"] for line in room.journal.lines if line["kind"] == "answered"}
    assert hows == {"keyed"}


def test_the_ears_are_told_what_is_allowed(room: Room) -> None:
    room.run(100)
    texts = {phrase.text for phrase in room.hears.expected}
    assert {"still in place", "it came out", "phone on speaker", "say again"} <= texts
    room.session.press("1", room.now)
    room.run(200)
    assert "still in place" not in {phrase.text for phrase in room.hears.expected}


def test_a_lost_ear_is_journalled_and_nothing_stops(room: Room) -> None:
    room.hears.troubles = ["the ear 'test' failed and is dropped"]
    room.run(40_000)
    assert any(line["kind"] == "failed" and line["part"] == "ear" for line in room.journal.lines)
    assert room.session.machine.step not in ("tube-check", "valve-off")


def test_what_is_lost_while_the_rest_hears_on_is_in_the_record_and_nobody_is_told(room: Room) -> None:
    """"Cannot hear words. Use keys." was said for a second model that was done without."""
    room.hears.lost = [("moonshine", "out of memory")]
    room.run(1_000)
    (line,) = [line for line in room.journal.lines if line["kind"] in ("fault", "failed", "recovered")]
    assert (line["kind"], line["part"], line["detail"]) == ("fault", "ear moonshine", "out of memory")
    said = len(room.journal.said())
    room.hears.back = ["moonshine"]
    room.run(1_100)
    (line,) = [line for line in room.journal.lines if line["kind"] == "recovered"]
    assert line["part"] == "ear moonshine" and not any("ear" in text.split() for text in room.journal.said()[said:])


def test_silence_alone_leads_on_by_the_clock(room: Room) -> None:
    room.run(70_000)
    beats = [line for line in room.journal.lines if line["kind"] == "beat" and line["what"] == "breaths"]
    assert beats and beats[0]["sound_ms"] <= 60_000  # limit with things to take off the tube: common practice, no source


def test_a_prompt_without_a_clip_is_shown_and_told(demo_table: Table) -> None:
    room = Room(demo_table)
    room.session.mixer = room.mixer = Mixer(MIX_RATE_HZ, lambda text: None)
    room.session.answer("in place", "still in place", 1)
    room.run(4000)
    failed = [line for line in room.journal.lines if line["kind"] == "failed"]
    assert failed and failed[0]["part"] == "voice"
    assert room.session.view().prompt


def test_what_is_journalled_is_in_order_of_time(room: Room) -> None:
    room.run(30_000)
    times = [line["mono_ms"] for line in room.journal.lines]
    assert times == sorted(times)


def test_the_record_tells_all_that_an_account_needs(room: Room) -> None:
    """Prompts, what was heard with its scores, what was not believed, what was assumed, timers, cut
    prompts, faults, the sound's name and hash: each with the fields that tell it."""
    kept = {"sound": "a-sound/001.flac", "sound_sha256": "0" * 64}
    room.session._keep_sound = lambda number, sound: kept
    room.run(3_000)
    room.hears.next = [heard(3_010, "in place", "still in place", believed=False, score=0.5, why="margin")]
    room.run(3_300)
    room.hears.next = [heard(3_310, "in place", "still in place")]
    room.run(3_350)
    room.session.fault("microphone", "pulled out", 3_360)
    room.session.recovered("microphone", 3_400)
    room.run(60_000)
    lines = room.journal.lines

    def has(kind: str, **fields: Any) -> bool:
        return any(e["kind"] == kind and all(e.get(k) == v for k, v in fields.items()) for e in lines)

    assert has("say", role="care") and has("say", role="question") and has("say", role="call")
    assert has("heard", believed=False, why="margin", score=0.5, margin=2.0, answer="in place", decide_ms=90)
    assert all("runner_up" in e for e in lines if e["kind"] == "heard")
    assert has("heard", believed=True, ears=["test"], window=400, **kept)
    assert has("unclear", heard="still in place", score=0.5) and has("answered", how="spoken", score=5.0)
    assert has("moved", machine="care", how="assumed") and has("moved", machine="call", how="timed")
    assert has("prompt started", voiced=True) and has("prompt ended", cut=True) and has("prompt ended", cut=False)
    assert has("pace", what="breaths") and has("beat", what="breaths") and has("learned")
    assert has("failed", part="microphone", detail="pulled out") and has("recovered", part="microphone")


@pytest.mark.parametrize(("text", "named"), [("its in", True), ("it's not in", False), ("it isn't in", False)])
def test_what_the_words_deny_is_not_asked_back_by_name(room: Room, text: str, named: bool) -> None:
    """Asked back, the same again is taken as yes: "it's not in" twice must not put the tube in."""
    for at_ms in (3000, 5000):
        room.run(at_ms)
        utterance = heard(at_ms + 10, "in place", "it's in", believed=False, score=1.0, why="not sure enough")
        room.hears.next = [replace(utterance, text=text)]
        room.run(at_ms + 100)
    answered = [line for line in room.journal.lines if line["kind"] == "moved" and line.get("answer") == "in place"]
    assert ("Still in place? Once more." in room.journal.said()) is named
    assert any(line["how"] == "spoken" for line in answered) is named


def test_a_prompt_gives_way_is_journalled_as_cut_and_is_said_again(room: Room) -> None:
    room.run(200)
    room.hears.next = [SpeechSuspected(224)]
    room.run(256)
    room.hears.next, room.hears.waiting = [SpeechOnset(256)], True
    room.run(600)
    assert [line["cue"] for line in room.journal.lines if line["kind"] == "prompt cut"] == [1]
    room.hears.next, room.hears.waiting = [SpeechOver(610, 600), heard(610, "", "mind the dog", believed=False, score=-9.0, why="no words")], False
    room.run(3000)
    started = [line["cue"] for line in room.journal.lines if line["kind"] == "prompt started"]
    ended = [(line["cue"], line["cut"]) for line in room.journal.lines if line["kind"] == "prompt ended"]
    assert started[:3] == [1, 1, 2] and ended[:2] == [(1, False), (2, False)]


def test_what_was_only_suspected_soon_lets_it_go_on(room: Room) -> None:
    room.run(200)
    room.hears.next = [SpeechSuspected(224)]
    room.run(600)
    started = [line["sound_ms"] for line in room.journal.lines if line["kind"] == "prompt started"]
    assert len(started) == 2 and 224 + SUSPECTED_MS <= started[1] <= 224 + SUSPECTED_MS + 64


def test_a_question_that_gave_way_is_not_asked_twice_when_it_is_asked_anew(room: Room) -> None:
    room.run(700)  # the question sounds
    room.hears.next = [SpeechOnset(704)]
    room.run(1000)
    room.hears.next = [SpeechOver(1010, 1000), heard(1010, "came out", "it came out", believed=False, score=-9.0, why="not sure enough")]
    room.run(2800)
    said = {line["cue"]: line["text"] for line in room.journal.lines if line["kind"] == "say"}
    started = [said.get(line["cue"]) for line in room.journal.lines if line["kind"] == "prompt started"]
    question = "Is the tube in the neck?"
    assert started.count(question) == 2  # begun and cut, then asked anew


def test_in_noise_the_prompts_become_louder_and_it_is_journalled(demo_table: Table) -> None:
    room = Room(demo_table)
    room.session = Session(
        demo_table, room.mixer, Timing(BEGAN, lambda p: p * 1000 // MIX_RATE_HZ), room.journal, room.hears, loudness=Limits(0, 6),
    )  # type: ignore[arg-type]  # fmt: skip
    room.session.start(0)
    noise = np.random.default_rng(0).standard_normal(512).astype(np.float32) * np.float32(0.1)
    while room.now < 15_000:
        room.now += 32
        room.mixer.render(room.now * MIX_RATE_HZ // 1000 - room.mixer.position)
        room.session.hear_block(noise, room.now)
        room.session.turn(room.now)
    louder = [line for line in room.journal.lines if line["kind"] == "loudness"]
    assert room.mixer.speech_db == 6 and [line["gain_db"] for line in louder] == [6.0]
    assert louder[0]["noise_db"] == pytest.approx(-20, abs=1)


def test_without_limits_of_a_plan_the_loudness_stays(room: Room) -> None:
    room.run(15_000)
    assert room.mixer.speech_db == 0


def test_on_speaker_the_hearing_is_told_that_others_talk(room: Room) -> None:
    room.run(3000)
    assert not room.hears.on_speaker
    room.session.answer("on speaker", "on speaker now", 3010)
    room.run(3100)
    assert room.hears.on_speaker
    room.session.answer("no phone", "no phone", 3200)
    room.run(3300)
    assert not room.hears.on_speaker
