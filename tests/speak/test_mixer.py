"""The mixer: order, exact positions, hush, duck, a beat that is kept; all ends, and ends once."""

import threading
from collections.abc import Callable

import numpy as np
import pytest
from mixer_parts import FADE, GAP, RATE_HZ, beats, ends, mixer, pace, say

from prompter import limits
from prompter.errors import Bug
from prompter.events import Pace, Tone
from prompter.speak import tones
from prompter.speak.mixer import DUCK_GAIN, DUCK_MS, Beat, Mixer, PromptEndedAt, PromptStarted


def test_clip_after_clip_with_a_short_gap() -> None:
    m = mixer()
    m.enqueue(say(1, "1000"))
    m.enqueue(say(2, "500"))
    assert m.speaking
    out = m.render(10_000)
    assert m.take_reports() == [
        PromptStarted(1, 0),
        PromptEndedAt(1, 1000),
        PromptStarted(2, 1000 + GAP),
        PromptEndedAt(2, 1500 + GAP),
    ]
    sounding = np.flatnonzero(out)
    assert list(sounding[[0, 999, 1000, -1]]) == [0, 999, 1000 + GAP, 1499 + GAP]
    assert not m.speaking and m.position == 10_000 and m.take_reports() == []


def test_an_end_is_reported_with_the_last_sample_not_a_block_later() -> None:
    m = mixer()
    m.enqueue(say(1, "1000"))
    m.render(1000)
    assert m.take_reports()[-1] == PromptEndedAt(1, 1000)


def test_after_a_pause_speech_starts_at_once() -> None:
    m = mixer()
    m.enqueue(say(1, "100"))
    m.render(100 + GAP)
    m.enqueue(say(2, "100"))
    m.render(1)
    assert m.take_reports()[-1] == PromptStarted(2, 100 + GAP)


def test_a_prompt_begins_upon_the_tone_that_says_heard() -> None:
    """Gaps between turns are most often about 0 to 200 ms: Stivers et al., PNAS 2009;106:10587. Of them none is spent."""
    m = mixer()
    m.enqueue(Tone(0, 1, "noted"))
    m.render(100)
    m.enqueue(say(2, "20000"))
    out = m.render(RATE_HZ)
    length = len(tones.noted(RATE_HZ))
    assert m.take_reports() == [
        PromptStarted(1, 0), PromptStarted(2, 100), PromptEndedAt(1, length), PromptEndedAt(2, 20_100),
    ]  # fmt: skip
    alone = mixer()
    alone.enqueue(say(2, "20000"))
    spoken = alone.render(RATE_HZ)
    ducked = DUCK_MS * RATE_HZ // 1000
    rest = slice(ducked, length - 100)
    assert np.allclose(out[rest], spoken[rest] + DUCK_GAIN * tones.noted(RATE_HZ)[100:][rest], atol=1e-6), "both sound, the word above the tone"
    assert np.abs(np.diff(out[: 2 * ducked] - spoken[: 2 * ducked])).max() < 0.1, "no click where it goes down"


def test_hush_ends_the_tone_under_a_prompt_as_well() -> None:
    m = mixer()
    m.enqueue(Tone(0, 1, "noted"))
    m.enqueue(say(2, "20000"))
    m.render(100)
    assert sorted(m.hush()) == [1, 2]
    assert m.hush() == [], "each is cut once"
    assert np.abs(m.render(5_000)[FADE:]).max() == 0
    assert {e.cue for e in ends(m.take_reports()) if e.cut} == {1, 2}


def test_a_prompt_waits_for_the_tone_that_calls_for_attention() -> None:
    m = mixer()
    m.enqueue(Tone(0, 1, "attention"))
    m.enqueue(say(2, "100"))
    m.render(RATE_HZ)
    started = [r for r in m.take_reports() if isinstance(r, PromptStarted)]
    assert started[1].position > len(tones.attention(RATE_HZ))


def test_a_prompt_without_a_clip_calls_for_attention_and_takes_its_time() -> None:
    m = mixer()
    m.enqueue(say(1, "mute one two three four five"))
    out = m.render(5 * RATE_HZ)
    started, ended = m.take_reports()
    assert started == PromptStarted(1, 0, voiced=False)
    assert isinstance(ended, PromptEndedAt) and 2 < ended.position / RATE_HZ < 4
    assert np.abs(out[: RATE_HZ // 2]).max() > 0.1
    spectrum = np.abs(np.fft.rfft(out[: RATE_HZ // 2]))
    assert abs(spectrum.argmax() * 2 - 520) <= 2, "the tone of `attention`"


@pytest.mark.parametrize(
    "bad",
    [
        lambda text: 1 / 0,
        lambda text: np.zeros(0, np.float32),
        lambda text: np.zeros((3, 2), np.float32),
        lambda text: np.array([0.1, np.nan], np.float32),
        lambda text: "no sound",
    ],
)
def test_a_clip_that_cannot_be_played_counts_as_none(bad: Callable[[str], np.ndarray]) -> None:
    m = Mixer(RATE_HZ, bad)
    m.enqueue(say(1, "off"))
    assert np.isfinite(m.render(RATE_HZ)).all() and m.errors == 0
    assert m.take_reports()[0] == PromptStarted(1, 0, voiced=False)


# ---- the beat --------------------------------------------------------------------------------


def test_a_pace_waits_for_speech_before_it_and_runs_under_speech_after_it() -> None:
    m = mixer()
    for cue in (say(1, "1000"), pace(2, per_minute=30), say(3, "5000"), say(4, "5000")):
        m.enqueue(cue)
    m.render(10 * RATE_HZ)
    reports = m.take_reports()
    start = 1000 + GAP
    assert reports[:4] == [
        PromptStarted(1, 0),
        PromptEndedAt(1, 1000),
        PromptStarted(2, start),
        PromptStarted(3, start),
    ]
    # one breath every 2 s: Topjian et al., 2020 AHA Guidelines Part 4
    assert beats(reports) == [Beat(2, "breath", n, start + 2 * n * RATE_HZ) for n in range(5)]
    assert m.pacing and not m.speaking


def test_beats_sound_exactly_where_they_are_reported() -> None:
    m = mixer()
    m.enqueue(Pace(0, 1, "pushes", 110, None, 15, 2))
    out = m.render(120 * RATE_HZ)
    expected = np.zeros_like(out)
    for beat in beats(m.take_reports()):
        sound = tones.push(RATE_HZ) if beat.what == "push" else tones.breath(RATE_HZ)
        part = expected[beat.position : beat.position + len(sound)]
        part += sound[: len(part)]
    assert np.array_equal(out, expected)
    assert np.abs(out).max() > 0.15


def test_ten_minutes_of_breaths_are_on_the_sample() -> None:
    m = mixer()
    m.enqueue(pace(1, "breaths", 10))
    for _ in range(600):
        m.render(RATE_HZ)
    # adult: one breath every 6 s: Panchal et al., 2020 AHA Guidelines Part 3
    assert [b.position for b in beats(m.take_reports())] == [6 * n * RATE_HZ for n in range(100)]


def test_a_counted_pace_ends_like_a_prompt() -> None:
    m = mixer()
    m.enqueue(pace(1, "suction", 60, 5))
    m.render(10 * RATE_HZ)
    reports = m.take_reports()
    assert [b.position for b in beats(reports)] == [n * RATE_HZ for n in range(5)]
    assert reports[0] == PromptStarted(1, 0) and reports[-1] == PromptEndedAt(1, 5 * RATE_HZ)
    assert not m.pacing


def test_speech_ducks_the_beat_but_keeps_it_on_the_beat() -> None:
    def only_beat(speech: bool) -> tuple[np.ndarray, list[Beat]]:
        m = Mixer(RATE_HZ, lambda text: np.full(6 * RATE_HZ, 1e-9, np.float32))
        m.enqueue(pace(1, "breaths", 30))
        m.render(RATE_HZ)
        if speech:
            m.enqueue(say(2, "x"))
        out = m.render(10 * RATE_HZ)
        return out, beats(m.take_reports())

    plain, plain_beats = only_beat(speech=False)
    ducked, ducked_beats = only_beat(speech=True)
    assert plain_beats == ducked_beats
    second, last = slice(RATE_HZ, 2 * RATE_HZ), slice(7 * RATE_HZ, 8 * RATE_HZ)
    assert np.abs(plain[second]).max() > 0.2
    down_db = 20 * np.log10(np.abs(ducked[second]).max() / np.abs(plain[second]).max())
    assert -12 < down_db < -6
    assert np.array_equal(ducked[last], plain[last]), "and comes back afterwards"


@pytest.mark.parametrize("wait_s", [0.3, 1.999, 2.0, 2.5, 61.7])
def test_the_same_pace_again_neither_doubles_nor_skips_a_beat(wait_s: float) -> None:
    m, alone = mixer(), mixer()
    m.enqueue(pace(1))
    alone.enqueue(pace(1))
    out = [m.render(round(wait_s * RATE_HZ))]
    m.enqueue(pace(2, count=3))
    out.append(m.render(4 * RATE_HZ))
    whole = alone.render(sum(len(part) for part in out))
    assert np.array_equal(np.concatenate(out), whole)
    reports, plain = m.take_reports(), beats(alone.take_reports())
    assert [b.position for b in beats(reports)] == [b.position for b in plain]
    assert [e for e in ends(reports) if e.cue == 1] == [PromptEndedAt(1, len(out[0]), cut=True)]
    assert [b.index for b in beats(reports) if b.cue == 2][:2] == [0, 1]
    m.render(20 * RATE_HZ)
    last = [*beats(reports), *beats(more := m.take_reports())]
    assert len([b for b in last if b.cue == 2]) == 3 and ends(more)[-1].cue == 2


@pytest.mark.parametrize("wait_s", [0.05, 0.6, 1.0, 1.9])
@pytest.mark.parametrize(("old", "new"), [(30, 20), (20, 30), (30, 60), (100, 120)])
def test_another_tempo_neither_doubles_nor_skips_a_beat(wait_s: float, old: int, new: int) -> None:
    """The beat after a change comes one beat of the new tempo after the last of the old one, or at
    once if that is past: never sooner than the shorter, never later than the longer interval."""
    m = mixer()
    m.enqueue(pace(1, per_minute=old))
    m.render(round(wait_s * RATE_HZ))
    m.enqueue(pace(2, per_minute=new))
    m.render(10 * RATE_HZ)
    found = beats(m.take_reports())
    gaps = np.diff([b.position for b in found]) / RATE_HZ
    changes = [n for n, (a, b) in enumerate(zip(found, found[1:], strict=False)) if a.cue != b.cue]
    assert len(changes) == 1
    shorter, longer = sorted((60 / old, 60 / new))
    assert shorter - 1e-3 <= gaps[changes[0]] <= longer + 1e-3
    assert np.allclose(gaps[changes[0] + 1 :], 60 / new, atol=1e-3)


def test_a_tempo_changed_twice_between_two_beats_gives_no_beat_twice() -> None:
    m = mixer()
    m.enqueue(pace(1, per_minute=20))
    m.render(RATE_HZ // 2)
    m.enqueue(pace(2, per_minute=25))
    m.render(RATE_HZ // 2)
    m.enqueue(pace(3, per_minute=30))
    m.render(8 * RATE_HZ)
    assert [b.position / RATE_HZ for b in beats(m.take_reports())] == [0, 2, 4, 6, 8]


def test_a_changed_tempo_lets_the_swell_that_sounds_end() -> None:
    m, alone = mixer(), mixer()
    m.enqueue(pace(1, per_minute=20))
    alone.enqueue(pace(1, per_minute=20))
    m.render(RATE_HZ // 2)
    m.enqueue(pace(2, per_minute=25))
    alone.render(RATE_HZ // 2)
    assert np.array_equal(m.render(RATE_HZ), alone.render(RATE_HZ))


def test_pushes_without_breaths_go_on_after_the_breath_that_is_given() -> None:
    m = mixer()
    m.enqueue(Pace(0, 1, "pushes", 120, None, 15, 2))
    m.render(round(8.0 * RATE_HZ))  # 15 pushes are 7.5 s: the first breath is being given
    m.enqueue(Pace(0, 2, "pushes", 120))
    m.render(4 * RATE_HZ)
    found = beats(m.take_reports())
    before, after = found[15], found[16]
    assert (before.what, after.what) == ("breath", "push")
    assert after.position - before.position == 2 * RATE_HZ  # a breath's slot: 1 s in, 1 s out


def test_pushes_replaced_in_mid_cycle_go_on_with_the_count() -> None:
    m = mixer()
    m.enqueue(Pace(0, 1, "pushes", 120, None, 30, 2))
    m.render(10 * RATE_HZ)  # 20 pushes
    m.enqueue(Pace(0, 2, "pushes", 120, None, 30, 2))
    m.render(15 * RATE_HZ)
    kinds = [b.what for b in beats(m.take_reports())]
    assert kinds[:32] == ["push"] * 30 + ["breath"] * 2


def test_a_breath_just_given_is_not_given_again_by_the_next_pace() -> None:
    m = mixer()
    m.enqueue(pace(1, "breaths", 20, 2))
    m.render(round(5.5 * RATE_HZ))  # over after 5 s; the third would have been at 6 s
    m.enqueue(pace(2, "breaths", 20))
    m.render(8 * RATE_HZ)
    assert [b.position / RATE_HZ for b in beats(m.take_reports())] == [0, 3, 6, 9, 12]


def test_another_pace_replaces_the_running_one_at_once() -> None:
    m = mixer()
    m.enqueue(pace(1, "breaths", 30))
    m.render(RATE_HZ // 2)
    m.enqueue(pace(2, "pushes", 120))
    out = m.render(RATE_HZ)
    reports = m.take_reports()
    half = RATE_HZ // 2
    assert ends(reports) == [PromptEndedAt(1, half, cut=True)]
    assert [b.position for b in beats(reports) if b.cue == 2] == [half, half + RATE_HZ // 2]
    quiet = out[FADE + RATE_HZ // 10 : RATE_HZ // 2 - 10]
    assert np.abs(quiet).max() == 0, "the swell of the old one has faded"


def test_stopping_the_pace_fades_it_and_drops_those_that_wait() -> None:
    m = mixer()
    for cue in (pace(1), say(2, "30000"), pace(3)):
        m.enqueue(cue)
    m.render(RATE_HZ // 2)
    m.stop_pace()
    out = m.render(4 * RATE_HZ)
    reports = m.take_reports()
    half = RATE_HZ // 2
    assert (
        PromptEndedAt(1, half, cut=True) in reports and PromptEndedAt(3, half, cut=True) in reports
    )
    assert len(beats(reports)) == 1
    assert PromptEndedAt(2, 30_000) in reports, "the speech goes on"
    assert np.abs(out[30_000:]).max() == 0


# ---- hush ------------------------------------------------------------------------------------


def test_hush_silences_within_twenty_milliseconds_without_a_click() -> None:
    m = mixer()
    for cue in (say(1, "20000"), say(2, "100"), Tone(0, 3, "noted")):
        m.enqueue(cue)
    before = m.render(5_000)
    assert m.hush() == [1, 2, 3]
    after = m.render(5_000)
    assert np.abs(after[FADE:]).max() == 0
    assert np.abs(np.diff(np.concatenate([before[-1:], after]))).max() < 0.01
    assert ends(m.take_reports()) == [
        PromptEndedAt(2, 5_000, cut=True),
        PromptEndedAt(3, 5_000, cut=True),
        PromptEndedAt(1, 5_000 + FADE, cut=True),
    ]
    assert m.hush() == []


def test_hush_keeps_the_pace_and_one_that_waits_unless_told_otherwise() -> None:
    for keep in (True, False):
        m = mixer()
        for cue in (pace(1), say(2, "20000"), pace(3, "pushes", 120), say(4, "100")):
            m.enqueue(cue)
        m.render(1_000)
        assert m.hush(keep_pace=keep) == ([2, 4] if keep else [2, 1, 3, 4])
        m.render(RATE_HZ)
        paced = {b.cue for b in beats(m.take_reports())}
        assert paced == ({1, 3} if keep else {1}) and m.pacing is keep


def test_hush_twice_in_one_fade_cuts_once() -> None:
    m = mixer()
    m.enqueue(say(1, "20000"))
    m.render(100)
    assert m.hush() == [1] and m.hush() == []
    m.render(FADE // 2)
    assert m.hush() == []
    m.render(RATE_HZ)
    assert ends(m.take_reports()) == [PromptEndedAt(1, 100 + FADE, cut=True)]


def test_waiting_speech_is_dropped_by_role() -> None:
    m = mixer()
    for number, role in enumerate(("care", "notice", "question", "notice", "call"), start=1):
        m.enqueue(say(number, "1000", role))
    m.render(10)
    assert m.drop_queued({"notice", "care"}) == [2, 4], "what sounds already goes on"
    m.render(2 * RATE_HZ)
    played = [e.cue for e in ends(m.take_reports()) if not e.cut]
    assert played == [1, 3, 5]


# ---- what must never happen ------------------------------------------------------------------


def test_the_loudest_mixture_stays_below_full_scale() -> None:
    m = Mixer(RATE_HZ, lambda text: np.full(RATE_HZ // 3, 0.9, np.float32))
    m.enqueue(Pace(0, 1, "pushes", 120, None, 15, 2))
    for cue in range(2, 40):
        m.enqueue(say(cue, "loud"))
    out = m.render(20 * RATE_HZ)
    assert 0.7 < np.abs(out).max() < 1.0, "no sample is at the clip's edge"


def test_an_error_while_rendering_gives_silence_and_the_next_prompt_sounds() -> None:
    m = mixer()
    m.enqueue(pace(1))
    m.enqueue(say(2, "9000"))
    m.render(100)
    good, m._mix = m._mix, lambda out, stop: 1 / 0  # type: ignore[method-assign]
    assert np.abs(m.render(500)).max() == 0
    m._mix = good  # type: ignore[method-assign]
    m.enqueue(say(3, "1000"))
    assert np.abs(m.render(500)).min() > 0.3 and m.position == 1100 and m.errors == 1
    assert m.pacing and PromptEndedAt(2, 600, cut=True) in m.take_reports()


def test_an_error_that_stays_ends_everything_and_still_gives_samples() -> None:
    m = mixer()
    for cue in (pace(1), say(2, "9000"), say(3, "100"), pace(4, "pushes", 100)):
        m.enqueue(cue)
    m._finish = lambda: 1 / 0  # type: ignore[method-assign]
    for _ in range(3):
        assert len(m.render(500)) == 500
    assert m.errors == 3 and m.position == 1500
    assert sorted(e.cue for e in ends(m.take_reports())) == [1, 2, 3, 4]


def test_a_queue_that_is_never_played_stays_bounded() -> None:
    m = mixer()
    for cue in range(limits.SPEECH_QUEUE_MAX + 5):
        m.enqueue(say(cue, "100"))
    assert [e.cue for e in ends(m.take_reports())] == [0, 1, 2, 3, 4]


def test_an_impossible_cue_changes_nothing() -> None:
    m = mixer()
    for cue in (pace(1, per_minute=0), Tone(0, 2, "siren")):
        with pytest.raises(Bug):
            m.enqueue(cue)
    m.render(RATE_HZ)
    assert m.take_reports() == []


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000])
def test_clips_come_out_at_the_cards_rate_and_are_resampled_once(rate_hz: int) -> None:
    asked: list[str] = []

    def sine(text: str) -> np.ndarray:
        asked.append(text)
        at = np.arange(RATE_HZ) / RATE_HZ
        return (0.5 * np.sin(2 * np.pi * 1000 * at)).astype(np.float32)

    m = Mixer(rate_hz, sine)
    m.enqueue(say(1, "a second"))
    m.enqueue(say(2, "a second"))
    out = m.render(3 * rate_hz)
    first_end = next(e for e in ends(m.take_reports()))
    assert abs(first_end.position - rate_hz) <= 2
    spectrum = np.abs(np.fft.rfft(out[:rate_hz]))
    assert abs(spectrum.argmax() - 1000) <= 1
    assert asked == ["a second"]


def test_one_thread_renders_while_another_speaks_and_hushes() -> None:
    m, stop = mixer(), threading.Event()

    def play() -> None:
        while not stop.is_set():
            m.render(256)

    player = threading.Thread(target=play)
    player.start()
    for cue in range(1, 400):
        m.enqueue(say(cue, "300") if cue % 5 else pace(cue, "pushes", 120))
        if cue % 7 == 0:
            m.hush(keep_pace=bool(cue % 2))
    stop.set()
    player.join()
    m.hush(keep_pace=False)
    m.render(RATE_HZ)
    assert m.errors == 0
    assert sorted(e.cue for e in ends(m.take_reports())) == list(range(1, 400))
