"""A prompt gives way to somebody who speaks, and is said again."""

import numpy as np
from mixer_parts import GAP, RATE_HZ, beats, ends, mixer, pace, say

from prompter import limits
from prompter.speak.mixer import PromptCut, PromptEndedAt, PromptStarted

FADE = RATE_HZ * limits.GIVE_WAY_FADE_MS // 1000
HELD = RATE_HZ * limits.GIVE_WAY_MS // 1000


def test_it_is_silent_after_the_fade_and_nothing_follows() -> None:
    m = mixer()
    m.enqueue(say(1, "10000"))
    m.enqueue(say(2, "500"))
    m.render(3000)
    assert m.give_way() == [1]
    out = m.render(8000)
    assert np.flatnonzero(out)[-1] < FADE and not out[FADE:].any()
    assert m.take_reports() == [PromptStarted(1, 0), PromptCut(1, 3000 + FADE)]
    assert m.speaking  # something is still to be said


def test_what_was_cut_is_said_again_whole_and_then_what_followed() -> None:
    m = mixer()
    m.enqueue(say(1, "10000"))
    m.enqueue(say(2, "500"))
    m.render(3000)
    m.give_way()
    m.render(5000)
    m.take_reports()
    m.go_on()
    out = m.render(15_000)
    assert m.take_reports() == [
        PromptStarted(1, 8000), PromptEndedAt(1, 18_000), PromptStarted(2, 18_000 + GAP), PromptEndedAt(2, 18_500 + GAP),
    ]  # fmt: skip
    assert np.count_nonzero(out) == 10_500


def test_nobody_says_that_they_have_spoken_and_it_goes_on_by_itself() -> None:
    m = mixer()
    m.enqueue(say(1, "10000"))
    m.render(3000)
    m.give_way()
    m.render(HELD - 1)
    assert PromptStarted(1, 3000 + HELD) not in m.take_reports()
    m.render(2)
    assert PromptStarted(1, 3000 + HELD) in m.take_reports()


def test_noise_does_not_silence_a_prompt_for_good() -> None:
    m = mixer()
    m.enqueue(say(1, "10000"))
    for _ in range(limits.GIVE_WAY_TIMES):
        m.render(3000)
        assert m.give_way() == [1]
        m.render(3000)
        m.go_on()
    m.render(3000)
    assert m.give_way() == []
    m.render(10_000)
    assert [end for end in ends(m.take_reports()) if not end.cut and end.cue == 1]


def test_an_answer_that_moves_on_drops_what_gave_way() -> None:
    for drop in (lambda m: m.hush(), lambda m: m.drop_queued({"care"})):
        for after in (10, 3000):  # while it still fades, and when it waits
            m = mixer()
            m.enqueue(say(1, "10000"))
            m.render(3000)
            m.give_way()
            m.render(after)
            drop(m)
            m.go_on()
            m.enqueue(say(2, "500"))
            m.render(10_000)
            reports = m.take_reports()
            assert [(e.cue, e.cut) for e in ends(reports)] == [(1, True), (2, False)]
            assert sum(isinstance(r, PromptStarted) and r.cue == 1 for r in reports) == 1


def test_the_beat_goes_on_under_it_all() -> None:
    m = mixer()
    m.enqueue(pace(1, "pushes", per_minute=110))
    m.enqueue(say(2, "20000"))
    m.render(RATE_HZ // 2)
    m.give_way()
    m.render(4 * RATE_HZ)
    m.go_on()
    m.render(4 * RATE_HZ)
    at = [beat.position for beat in beats(m.take_reports())]
    assert len(at) > 14 and set(np.round(np.diff(at) / RATE_HZ, 3)) <= {0.545, 0.546}


def test_nothing_to_give_way_with() -> None:
    m = mixer()
    assert m.give_way() == []
    m.enqueue(say(1, "500"))
    m.render(600)
    assert ends(m.take_reports()) == [PromptEndedAt(1, 500)]
