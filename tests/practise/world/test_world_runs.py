"""Whole simulated emergencies: the same seed the same run, better people better runs, a broken flow worse ones."""

import json
import os
import subprocess
import sys
from functools import cache

import pytest

from prompter.practise.world.outcome import Outcome
from prompter.practise.world.parameters import Parameters, the_parameters
from prompter.practise.world.run import ANSWERS_ONLY, CARD, FLOW, one, simulate

SEEDS = range(3_000, 3_050)
MANY = range(3_000, 3_200)
"""Where two averages are compared: of 50 emergencies a few hard ones outweigh all else."""
PERFECT = {
    "person.false_rising": 0, "person.false_flat": 0, "person.false_better": 0, "person.false_worse": 0, "person.false_passed": 0,
    "person.tube_misjudged": 0, "person.panic": 0, "person.never_speaks": 0, "person.frozen": 0, "person.misses_prompt": 0,
    "person.answers": 1, "person.says_done": 1, "person.waits_for_voice": 1, "person.helper_absent": 0,
}  # fmt: skip
ERRING = {
    "person.false_rising": 0.3, "person.false_flat": 0.3, "person.false_better": 0.4, "person.false_worse": 0.4, "person.false_passed": 0.3,
    "person.tube_misjudged": 0.3, "person.panic": 1, "person.never_speaks": 0.3, "person.frozen": 0.2, "person.misses_prompt": 0.3,
    "person.answers": 0.5, "person.says_done": 0.3, "person.waits_for_voice": 0.3, "person.helper_absent": 0.4,
}  # fmt: skip


def with_values(values: dict[str, float]) -> Parameters:
    return the_parameters().with_values(**{name.replace(".", "__"): float(value) for name, value in values.items()})


@cache
def runs(arm: str, seeds: range = SEEDS) -> list[Outcome]:
    return simulate(seeds, (arm,), processes=1)[arm]


def without(outcomes: list[Outcome]) -> float:
    return sum(o.without_s for o in outcomes) / len(outcomes)


def lowest(outcomes: list[Outcome]) -> float:
    return sum(o.lowest for o in outcomes) / len(outcomes)


def test_the_same_seed_gives_the_same_run_step_by_step() -> None:
    traces = []
    for _ in range(2):
        lines: list[str] = []
        outcome = one(11, note=lambda ms, who, what, lines=lines: lines.append(f"{ms} {who} {what}"))
        traces.append((outcome, lines))
    assert traces[0] == traces[1]
    assert len(traces[0][1]) > 20


def test_two_processes_of_other_hashing_print_the_same_bytes() -> None:
    printed = []
    for hashing in ("1", "2"):
        found = subprocess.run(
            [sys.executable, "-m", "prompter.cli", "flow", "simulate", "--runs", "3", "--seed", "5", "--json"],
            capture_output=True, env={**os.environ, "PYTHONHASHSEED": hashing}, check=False,
        )  # fmt: skip
        assert found.returncode in (0, 1), found.stderr
        printed.append(found.stdout)
    assert printed[0] == printed[1]
    assert json.loads(printed[0])["arms"][FLOW]["runs"] == 3


def test_another_seed_gives_another_run() -> None:
    assert one(11) != one(12)


def test_the_arms_meet_the_same_emergency() -> None:
    for flow, card in zip(runs(FLOW), runs(CARD), strict=True):
        assert (flow.seed, flow.cause) == (card.seed, card.cause)


def test_the_flow_breaks_no_property() -> None:
    assert [(o.seed, o.failures) for o in runs(FLOW) if o.failures] == []


def test_every_run_ends() -> None:
    assert {o.end for o in runs(FLOW)} <= {"better", "handed over"}


def test_a_caregiver_who_never_errs_is_not_worse_than_one_who_does() -> None:
    perfect, erring = with_values(PERFECT), with_values(ERRING)
    good, bad = [one(seed, p=perfect) for seed in SEEDS], [one(seed, p=erring) for seed in SEEDS]
    assert without(good) < without(bad)
    assert lowest(good) > lowest(bad)
    assert sum(o.wrong["misreported"] for o in good) == 0
    assert sum(o.wrong["misreported"] for o in bad) > 0


def test_a_flow_without_its_silence_is_worse_and_is_seen_to_break_what_must_hold() -> None:
    """The simulator can fail: a world in which any flow does well shows nothing."""
    assert without(runs(ANSWERS_ONLY, MANY)) > 1.5 * without(runs(FLOW, MANY))
    assert lowest(runs(ANSWERS_ONLY, MANY)) < lowest(runs(FLOW, MANY))
    assert any("no breath prompt" in what for o in runs(ANSWERS_ONLY) for what in o.failures)


def test_an_exception_in_the_core_is_a_failure_with_its_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    from prompter.flow.machine import FlowMachine

    def breaks(self: FlowMachine) -> None:
        raise ValueError("broken on purpose")

    monkeypatch.setattr(FlowMachine, "_somebody_heard", breaks)
    outcome = one(11)
    assert (outcome.seed, outcome.failures) == (11, ("ValueError: broken on purpose",))


@pytest.mark.parametrize("fault", ["ear_lost", "voice_lost", "loudspeaker_lost", "disk_lost", "clock_jumps"])
def test_whatever_breaks_the_flow_goes_on(fault: str) -> None:
    p = with_values({f"faults.{fault}": 1})
    found = [one(seed, p=p) for seed in SEEDS[:12]]
    assert any(o.faults for o in found)
    assert [(o.seed, o.failures) for o in found if o.failures] == []


def test_more_missed_steps_make_the_card_worse() -> None:
    few, many = with_values({"card.missed": 0, "card.think_s": 1}), with_values({"card.missed": 0.8, "card.recalled_later": 0.1})
    from prompter.practise.world.baselines import Card

    assert without([Card(s, few).run() for s in SEEDS]) < without([Card(s, many).run() for s in SEEDS])
