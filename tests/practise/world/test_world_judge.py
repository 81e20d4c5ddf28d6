"""What the judge of a simulated emergency calls a failure, by the clock of a made-up machine."""

from types import SimpleNamespace

import pytest

from prompter.practise.world.judge import Judge


def judged(*turns: tuple[int, bool]) -> list[str]:
    """A breath is asked for at 0; (at ms, a tube is being changed) from then on."""
    memory = SimpleNamespace(known={"breathing": "trouble", "tube": "unknown"}, marks=set(), since={})
    machine = SimpleNamespace(step="last-bag", closed=False, memory=memory, table=None)
    judge = Judge(machine, None, None)
    judge._heard_anybody = True
    judge.breath_asked(0)
    for at_ms, changing in turns:
        memory.marks = {"changing"} if changing else set()
        judge._judge_time(at_ms)
    return judge.failures


@pytest.mark.parametrize(("turns", "fails"), [
    (((29_000, False), (33_000, False)), False),
    (((29_000, False), (33_100, False)), True),
    (((33_100, True), (62_900, True)), False),
    (((33_100, True), (63_100, True)), True),
    (((33_000, True), (33_100, False)), False),
    (((33_000, True), (43_900, False)), False),
    (((33_000, True), (44_100, False)), True),
    (((55_000, True), (62_900, False)), False),
    (((55_000, True), (63_100, False)), True),
    (((10_000, True), (32_900, False)), False),
], ids=str)  # fmt: skip
def test_breath_prompts_lie_at_most_so_far_apart(turns: tuple[tuple[int, bool], ...], fails: bool) -> None:
    """30 s, in a change 60 s, out of it 8 s more and never over 60 s (the brief, section 10); 3 s for a clip that has begun."""
    assert bool(judged(*turns)) is fails
