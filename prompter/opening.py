"""The first line of a journal: plan and flow whole, so that reading it back needs nothing else."""

from typing import Any

from prompter import __version__
from prompter.flow.table import Variant


def opened_record(
    *,
    flow_text: str,
    plan_text: str | None,
    plan_name: str | None,
    variant: Variant,
    live: bool,
    seed: int | None,
    voice: str | None,
    ears: list[str],
    settings: dict[str, Any],
    approval: dict[str, str] | None = None,
) -> dict[str, Any]:
    """`variant` is embedded as it was used: with no plan, or a broken one, no text yields it again.

    `approval`: how plan and flow stood that day, in words.
    """
    return {
        "kind": "opened", "version": __version__, "live": live, "seed": seed,
        "plan_text": plan_text, "plan_name": plan_name, "flow_text": flow_text,
        "variant": variant_record(variant), "voice": voice, "ears": ears, "settings": settings,
        "approval": approval or {},
    }  # fmt: skip


def variant_record(variant: Variant) -> dict[str, Any]:
    """As JSON, in a fixed order."""
    return {
        "facts": sorted(variant.facts),
        "words": dict(sorted(variant.words.items())),
        "numbers": dict(sorted(variant.numbers.items())),
    }


def variant_of(record: dict[str, Any]) -> Variant:
    """The inverse of `variant_record`."""
    return Variant(frozenset(record["facts"]), record["words"], record["numbers"])
