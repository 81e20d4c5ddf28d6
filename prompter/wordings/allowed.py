"""What may be said at each step: its own answers, and those that work everywhere, as rivals."""

from collections.abc import Iterator

from prompter.events import Phrase
from prompter.flow.document import Flow
from prompter.flow.table import BUILT_IN


def allowed_at(flow: Flow, step: str, interrupted: str | None = None) -> tuple[Phrase, ...]:
    """All phrases the machine listens for at `step`, its own first; at a visit those of the step it
    interrupted too. No plan changes them (`Table.phrases` gives the same for every variant)."""
    own = [*flow.steps[step].answers, *(flow.steps[interrupted].answers if interrupted else ())]
    names = dict.fromkeys([*own, *flow.everywhere, *BUILT_IN])
    return tuple(
        Phrase(wording, name, flow.answers[name].risk)
        for name in names if name in flow.answers for wording in flow.answers[name].wordings
    )  # fmt: skip


def places(flow: Flow) -> Iterator[tuple[str, str | None]]:
    """Every (step, step it interrupted) at which somebody is listened to."""
    lasting = [name for name, step in flow.steps.items() if not step.visit and not step.final]
    yield from ((name, None) for name in lasting)
    for visit, step in flow.steps.items():
        if step.visit:
            yield from ((visit, name) for name in lasting)
