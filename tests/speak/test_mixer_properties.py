"""Whatever is played, cut and dropped: every cue ends once, in order, and the beat keeps its rate."""

from collections.abc import Callable

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from mixer_parts import RATE_HZ, beats, ends, mixer, say

from prompter.events import Pace, Tone
from prompter.speak.mixer import Beat, Mixer, PromptStarted, Report

cue_kinds = st.one_of(
    st.tuples(st.just("say"), st.integers(1, 3_000), st.sampled_from(["care", "notice"])),
    st.tuples(st.just("mute")),
    st.tuples(st.just("tone"), st.sampled_from(["noted", "attention"])),
    st.tuples(
        st.just("pace"),
        st.sampled_from(["breaths", "pushes", "suction"]),
        st.sampled_from([20.0, 30.0, 110.0]),
        st.one_of(st.none(), st.integers(1, 4)),
        st.sampled_from([(0, 0), (2, 1), (15, 2)]),
    ),
)
actions = st.one_of(
    cue_kinds,
    st.tuples(st.just("hush"), st.booleans()),
    st.tuples(st.just("stop")),
    st.tuples(st.just("drop")),
)
scripts = st.lists(st.tuples(actions, st.integers(0, 40_000)), max_size=12)


def act(m: Mixer, cue: int, action: tuple) -> int:  # type: ignore[type-arg]
    """Do one action; returns how many cues it enqueued."""
    match action:
        case ("say", length, role):
            m.enqueue(say(cue, f"{length}", role))
        case ("mute",):
            m.enqueue(say(cue, "mute prompt"))
        case ("tone", name):
            m.enqueue(Tone(0, cue, name))
        case ("pace", what, per_minute, count, (pushes, breaths)):
            m.enqueue(Pace(0, cue, what, per_minute, count, pushes, breaths))
        case ("hush", keep):
            m.hush(keep_pace=keep)
            return 0
        case ("drop",):
            m.drop_queued({"notice"})
            return 0
        case _:
            m.stop_pace()
            return 0
    return 1


def run(script: list, blocks: Callable[[int], list[int]]) -> tuple[np.ndarray, list[Report], int]:  # type: ignore[type-arg]
    m, cues, parts = mixer(), 0, []
    for action, samples in script:
        cues += act(m, cues + 1, action)
        parts += [m.render(block) for block in blocks(samples)]
    parts += [m.render(block) for block in blocks(2 * RATE_HZ)]
    m.hush(keep_pace=False)
    parts += [m.render(block) for block in blocks(RATE_HZ)]
    assert m.errors == 0 and not m.speaking and not m.pacing
    return np.concatenate(parts), m.take_reports(), cues


@settings(max_examples=40, deadline=None)
@given(scripts)
def test_every_cue_ends_exactly_once_and_in_order(script: list) -> None:  # type: ignore[type-arg]
    out, reports, cues = run(script, lambda samples: [samples])
    assert np.isfinite(out).all() and np.abs(out).max(initial=0) <= 1
    assert sorted(e.cue for e in ends(reports)) == list(range(1, cues + 1))
    started = [r.cue for r in reports if isinstance(r, PromptStarted)]
    assert started == sorted(set(started)), "in the order they were asked for, each once"
    unstarted = {e.cue for e in ends(reports)} - set(started)
    assert all(e.cut for e in ends(reports) if e.cue in unstarted)
    positions = [r.position for r in reports]
    assert positions == sorted(positions)


@settings(max_examples=40, deadline=None)
@given(scripts, st.lists(st.integers(20, 5_000), min_size=1, max_size=4))
def test_the_size_of_the_blocks_changes_nothing(script: list, sizes: list[int]) -> None:  # type: ignore[type-arg]
    def in_blocks(samples: int) -> list[int]:
        blocks: list[int] = []
        while samples > 0:
            blocks.append(min(samples, sizes[len(blocks) % len(sizes)]))
            samples -= blocks[-1]
        return blocks

    whole, reports, _ = run(script, lambda samples: [samples])
    pieces, piece_reports, _ = run(script, in_blocks)
    assert np.array_equal(whole, pieces)
    assert reports == piece_reports


@settings(max_examples=40, deadline=None)
@given(scripts)
def test_beats_of_one_pace_are_numbered_and_never_closer_than_their_rate(script: list) -> None:  # type: ignore[type-arg]
    _, reports, _ = run(script, lambda samples: [samples])
    per_pace: dict[int, list[Beat]] = {}
    for beat in beats(reports):
        per_pace.setdefault(beat.cue, []).append(beat)
    for found in per_pace.values():
        assert [b.index for b in found] == list(range(len(found)))
        gaps = np.diff([b.position for b in found])
        # 120 a minute is the fastest allowed: both 2020 AHA guideline parts
        assert len(gaps) == 0 or gaps.min() >= RATE_HZ * 60 // 120
