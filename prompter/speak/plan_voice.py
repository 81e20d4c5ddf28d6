"""The clips of the voice that a plan asks for: a natural one before the embedded one, or that alone."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from prompter.speak.clips import ClipStore
from prompter.speak.voice import Voice


@dataclass(frozen=True, slots=True)
class PlanVoice:
    """`name`: as a journal tells it, empty if nothing speaks; `lacks`: why the embedded voice stands in, or empty."""

    clips: ClipStore
    name: str
    lacks: str = ""


def plan_voice(folder: Path, wanted: str, embedded: Voice | None, texts: Callable[[], Iterable[str]]) -> PlanVoice:
    """Clips of the voice `wanted` ("embedded", "natural", ...), kept in `folder`. What a natural voice
    lacks of `texts()` is not made now, for making takes minutes: the embedded one speaks it. Never raises."""
    stand_in = ClipStore(folder, embedded)
    own_name = embedded.name if embedded is not None else ""
    if wanted == "embedded":
        return PlanVoice(stand_in, own_name)
    try:
        from prompter.speak.natural import KeptNatural

        natural = KeptNatural(wanted)
        store, all_texts = ClipStore(folder, natural, behind=stand_in), list(texts())
        lacking = len(store.lacking(all_texts))
        lacks = f"{lacking} of {len(all_texts)} prompts were not made ahead in the voice '{wanted}'. Mend: prompter ready" if lacking else ""
        return PlanVoice(store, natural.name, lacks)
    except Exception as error:  # noqa: BLE001 - the embedded voice speaks whatever ails the other
        return PlanVoice(stand_in, own_name, f"the voice '{wanted}' cannot be used: {type(error).__name__}: {error}")
