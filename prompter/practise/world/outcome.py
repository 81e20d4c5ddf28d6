"""What one run showed: the figures that are gathered."""

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from prompter.practise.world.baselines import Card
    from prompter.practise.world.emergency import Emergency

BAD, WORST = 60.0, 40.0
"""Saturations (percent) that no patient should fall below."""

SURVIVED_PERCENT = WORST


@dataclass(frozen=True, slots=True)
class Outcome:
    """Seconds from the start of help; None: did not happen. `wrong`: branches by their cause."""

    seed: int
    cause: str
    end: str
    first_breath_s: float | None
    first_effective_s: float | None
    call_s: float | None  # the operator is on the line
    asked_s: float | None  # the call was first asked for
    changed_s: float | None
    without_s: float
    lowest: float
    lowest_after_wrong: float | None
    wrong: dict[str, int]
    assumed: int
    utterances: int
    believed: int
    faults: tuple[str, ...]
    failures: tuple[str, ...]
    events: int

    def record(self) -> dict[str, Any]:
        return asdict(self)


def outcome_of(run: "Emergency", end: str) -> Outcome:
    judge, patient = run.judge, run.case.patient
    unknown = (f"nobody understands “{text}”" for text in sorted(judge.not_understood))
    return Outcome(
        **_common(run, end), asked_s=_s(run.call_asked_ms), lowest_after_wrong=patient.lowest_since(judge.first_wrong_ms),
        wrong=dict(judge.wrong), assumed=judge.assumed, utterances=judge.utterances, believed=judge.believed,
        faults=tuple(judge.faults), failures=(*judge.failures, *unknown), events=run.events,
    )  # fmt: skip


def outcome_of_card(run: "Card", end: str) -> Outcome:
    return Outcome(
        **_common(run, end), asked_s=None, lowest_after_wrong=None, wrong={}, assumed=0, utterances=0, believed=0,
        faults=(), failures=(), events=0,
    )  # fmt: skip


def _common(run: "Emergency | Card", end: str) -> dict[str, Any]:
    hands, patient = run.hands, run.case.patient
    return {
        "seed": run.case.seed, "cause": run.case.cause, "end": end, "first_breath_s": _s(hands.first_breath_ms),
        "first_effective_s": _s(hands.first_effective_ms), "call_s": _s(run.phone.connected_ms),
        "changed_s": _s(hands.changed_ms), "without_s": patient.without_ms / 1000, "lowest": round(patient.lowest, 2),
    }  # fmt: skip


def _s(ms: int | None) -> float | None:
    return None if ms is None else ms / 1000
