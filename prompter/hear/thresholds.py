"""How sure is sure enough, by analysis window and risk, and where the figures come from."""

from dataclasses import dataclass

from prompter.events import Risk


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Least score, least margin to another answer's best, and the score that needs no second ear."""

    score: float
    margin: float
    strict: float


_BY_RISK: dict[Risk, Thresholds] = {
    "plain": Thresholds(score=-3.0, margin=0.5, strict=-1.5),
    "branch": Thresholds(score=-2.5, margin=0.7, strict=-1.2),
    "good": Thresholds(score=-2.0, margin=1.0, strict=-1.0),
}


def thresholds_for(window: int, risk: Risk) -> Thresholds:
    return _BY_RISK[risk]
