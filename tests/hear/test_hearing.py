"""The streaming path with scripted ears: when a decision comes, and when none may come."""

import numpy as np
import pytest
from hearing_parts import PHRASES, ScriptedDetector, ScriptedEar, drawn, stream, sure_of

from prompter import limits
from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.endpoint import Endpointer
from prompter.hear.hearing import Heard, Hearing, SpeechOnset, SpeechOver, SpeechSuspected
from prompter.hear.numbers import Reading
from prompter.hear.scorer import InlineScorer

FLAT, RISING = PHRASES[0], PHRASES[2]
UNSURE = Ranking(
    "scripted", [(FLAT, -2.0), (RISING, -2.1)], text="", window=limits.WINDOW_FRAMES
)

BARELY = Ranking(
    "scripted", [(FLAT, 2.2), (RISING, -4.0)], text="chest flat", window=limits.WINDOW_FRAMES
)


def made(*rankings: Ranking | Exception, compute_ms: int = 0, known: tuple[Phrase, ...] = ()):
    ear = ScriptedEar(*rankings)
    hearing = Hearing(
        [ear], InlineScorer(compute_ms), known, endpointer=Endpointer(ScriptedDetector())
    )
    hearing.expect(PHRASES)
    return hearing, ear


def only_heard(reports: list[object]) -> Heard:
    (heard,) = [r for r in reports if isinstance(r, Heard)]
    return heard


def test_onset_end_and_decision_come_in_order() -> None:
    hearing, _ = made(sure_of(FLAT))
    reports = stream(hearing, drawn(("silence", 5), ("speech", 10), ("silence", 20)))
    assert [type(r) for r in reports] == [SpeechSuspected, SpeechOnset, SpeechOver, Heard]
    heard = reports[3]
    assert (heard.heard, heard.believed) == (FLAT, True)
    assert (heard.onset_ms, heard.ended_ms) == (5 * 32, 15 * 32)


def test_the_surer_the_sooner_an_answer_ends() -> None:
    """What is only just believed may be the beginning of something else."""
    sound = drawn(("silence", 8), ("speech", 10), ("silence", 20))
    sure = only_heard(stream(made(sure_of(FLAT))[0], sound))
    believed = only_heard(stream(made(BARELY)[0], sound))
    doubted = only_heard(stream(made(UNSURE)[0], sound))
    assert sure.believed and sure.at_ms - sure.ended_ms == limits.END_SURE_MS
    assert believed.believed and believed.at_ms - believed.ended_ms == limits.END_BELIEVED_MS
    assert doubted.at_ms - doubted.ended_ms == limits.END_DOUBTED_MS
    assert not doubted.believed and doubted.heard == FLAT
    assert believed.score < limits.END_SURE <= sure.score


def test_what_is_just_believed_is_forgotten_when_the_speaker_goes_on() -> None:
    hearing, ear = made(BARELY, sure_of(RISING))
    pause = limits.END_SURE_MS // 32 + 3
    heard = only_heard(stream(hearing, drawn(("silence", 8), ("speech", 8), ("silence", pause), ("speech", 8), ("silence", 20))))
    assert (heard.heard, heard.believed) == (RISING, True)
    assert len(ear.asked) == 2


def test_computing_time_is_added_to_the_virtual_clock() -> None:
    sound = drawn(("speech", 10), ("silence", 40))
    heard = only_heard(stream(made(sure_of(FLAT), compute_ms=150)[0], sound))
    due_ms = limits.CANDIDATE_MS + 150  # after the last sound
    assert heard.at_ms - heard.ended_ms == -(-due_ms // 32) * 32  # the block in which it is known
    assert heard.decide_ms == 150
    slow = only_heard(stream(made(sure_of(FLAT), compute_ms=900)[0], sound))
    assert slow.at_ms - slow.ended_ms == limits.CANDIDATE_MS + 900


def test_a_pause_inside_a_phrase_does_not_cut_it() -> None:
    hearing, ear = made(UNSURE, sure_of(FLAT))
    pause = limits.END_DOUBTED_MS // 32 - 2
    sound = drawn(("speech", 8), ("silence", pause), ("speech", 8), ("silence", 20))
    heard = only_heard(stream(hearing, sound))
    assert heard.believed
    assert len(ear.asked) == 2  # the first guess was thrown away
    assert len(heard.sound) >= (16 + pause) * 512


def test_a_believed_beginning_waits_for_the_longer_wording() -> None:
    longer = Phrase("chest flat but moving", "moving")
    hearing, _ = made(sure_of(FLAT))
    hearing.expect((*PHRASES, longer))
    heard = only_heard(stream(hearing, drawn(("speech", 10), ("silence", 20))))
    assert heard.at_ms - heard.ended_ms == limits.END_DOUBTED_MS


def test_talk_that_does_not_end_is_cut_and_never_believed() -> None:
    hearing, _ = made(sure_of(FLAT))
    blocks = limits.UTTERANCE_MAX_MS // 32 + 20
    reports = stream(hearing, drawn(("speech", blocks)))
    heard = only_heard(reports)
    assert not heard.believed and heard.heard is None and heard.why == "too long"
    assert any(isinstance(r, SpeechOver) for r in reports)


def test_a_very_short_sound_ends_without_a_decision() -> None:
    hearing, ear = made(sure_of(FLAT))
    reports = stream(hearing, drawn(("speech", 2), ("silence", 20)))
    assert [type(r) for r in reports] == [SpeechSuspected, SpeechOnset, SpeechOver]
    assert ear.asked == [] and not hearing.waiting


def test_what_is_allowed_may_change_while_somebody_speaks() -> None:
    hearing, ear = made(UNSURE)
    stream(hearing, drawn(("speech", 10), ("silence", 4)))
    hearing.expect(PHRASES[:3])
    stream(hearing, drawn(("silence", 20)), begin_ms=14 * 32)
    allowed = [[p for p in phrases if p.answer] for _, phrases in ear.asked]
    assert allowed == [list(PHRASES), list(PHRASES[:3])]


def test_known_wordings_that_are_not_allowed_compete_without_an_answer() -> None:
    hissing = Phrase("it's hissing", "oxygen on")
    hearing, ear = made(sure_of(FLAT), known=(hissing, FLAT))
    stream(hearing, drawn(("speech", 10), ("silence", 20)))
    asked = {p.text: p.answer for p in ear.asked[0][1]}
    assert asked["it's hissing"] == "" and asked["chest flat"] == "flat"


def test_the_denied_form_of_each_wording_competes() -> None:
    hearing, ear = made(sure_of(FLAT))
    stream(hearing, drawn(("speech", 10), ("silence", 20)))
    decoys = {p.text for p in ear.asked[0][1] if not p.answer}
    assert {"not chest flat", "not going up", "isn't going up", "it didn't come out"} <= decoys
    assert {"rise", "will pass", "breaths"} <= decoys, "what is denied, said without its 'not'"
    assert "not won't pass" not in decoys and "not no rise" not in decoys


def test_speech_that_follows_at_once_does_not_lose_the_answer_before_it() -> None:
    hearing, _ = made(sure_of(FLAT), sure_of(RISING), compute_ms=600)
    sound = drawn(("speech", 10), ("silence", 15), ("speech", 10), ("silence", 60))
    heard = [r for r in stream(hearing, sound) if isinstance(r, Heard)]
    assert [h.heard for h in heard] == [FLAT, RISING]
    assert heard[0].ended_ms < heard[1].onset_ms
    assert heard[0].at_ms <= heard[1].at_ms


def test_an_ear_that_raises_is_reported_and_nothing_is_believed() -> None:
    hearing, _ = made(RuntimeError("model gone"))
    heard = only_heard(stream(hearing, drawn(("speech", 10), ("silence", 20))))
    assert not heard.believed and heard.heard is None
    assert any("model gone" in t and "scripted" in t for t in hearing.trouble())
    assert hearing.trouble() == []


def test_a_number_waits_for_another_digit() -> None:
    said = Reading("pulse", 140, "pulse")
    reading = Ranking(
        "scripted", [(FLAT, -2.0)], [(said, 3.0)], said, text="pulse 140", window=limits.WINDOW_FRAMES
    )
    heard = only_heard(stream(made(reading)[0], drawn(("speech", 10), ("silence", 20))))
    assert heard.number == ("pulse", 140) and heard.believed and heard.heard is None
    assert heard.at_ms - heard.ended_ms == limits.END_DOUBTED_MS


@pytest.mark.parametrize("compute_ms", [0, 70, 333])
def test_the_same_sound_gives_the_same_reports(compute_ms: int) -> None:
    sound = drawn(("speech", 9), ("silence", 7), ("speech", 12), ("silence", 40))

    def run() -> list[tuple[object, ...]]:
        reports = stream(made(sure_of(FLAT), compute_ms=compute_ms)[0], sound)
        return [(type(r), r.at_ms) for r in reports]

    assert run() == run() and len(run()) >= 3


def test_the_sound_handed_out_holds_the_utterance() -> None:
    heard = only_heard(
        stream(made(sure_of(FLAT))[0], drawn(("silence", 20), ("speech", 10), ("silence", 20)))
    )
    assert heard.sound.dtype == np.float32
    assert int((heard.sound > 0.1).sum()) == 10 * 512


def test_what_is_just_believed_is_not_while_a_telephone_talks_too() -> None:
    sound = drawn(("silence", 8), ("speech", 10), ("silence", 20))
    for on_speaker in (False, True):
        hearing, _ = made(BARELY)
        hearing.expect(PHRASES, False, on_speaker)
        assert only_heard(stream(hearing, sound)).believed is not on_speaker
