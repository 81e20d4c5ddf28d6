"""The first line of a journal: plan and flow whole, so that reading it back needs nothing else."""

import contextlib
import hashlib
import platform
from pathlib import Path
from typing import Any

from prompter import __version__
from prompter.flow.family import versions_in
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
    clock: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """`flow_text`: of all flows that this emergency may go through (`family_text`). `variant` is embedded as it was used: with no plan, or a broken one, no text yields it again.

    `approval`: how plan and flow stood that day, in words.
    """
    return {
        "kind": "opened", "version": __version__, "live": live, "seed": seed,
        "plan_text": plan_text, "plan_name": plan_name, "flow_text": flow_text, "flows": versions_in(flow_text),
        "variant": variant_record(variant), "voice": voice, "ears": ears, "settings": settings,
        "approval": approval or {},
        "clock": clock, "versions": versions(),
    }  # fmt: skip


def reopened_record(opened: dict[str, Any]) -> dict[str, Any]:
    """When an interrupted emergency goes on: all that `opened_record` tells, but not the texts again."""
    texts = ("plan_text", "plan_name", "flow_text", "variant")
    return {**{k: v for k, v in opened.items() if k not in texts}, "kind": "reopened"}


def variant_record(variant: Variant) -> dict[str, Any]:
    """As JSON, in a fixed order."""
    return {
        "facts": None if variant.facts is None else sorted(variant.facts),  # None: a plan left open
        "words": dict(sorted(variant.words.items())),
        "numbers": dict(sorted(variant.numbers.items())),
    }


def variant_of(record: dict[str, Any]) -> Variant:
    """The inverse of `variant_record`."""
    facts = record["facts"]
    return Variant(None if facts is None else frozenset(facts), record["words"], record["numbers"])


def clock_record(zero_s: float) -> dict[str, Any]:
    """Which boot this is (empty where the system does not tell) and its clock at session time 0: so
    the length of a gap is known exactly, whatever happens to the wall clock."""
    boot = ""
    with contextlib.suppress(OSError):
        text = Path("/proc/sys/kernel/random/boot_id").read_text("ascii")
        boot = hashlib.sha256(text.encode()).hexdigest()[:16]
    return {"boot": boot, "zero_ms": round(zero_s * 1000)}


def versions() -> dict[str, str]:
    """What runs this: for the engineer who replays it."""
    return {"python": platform.python_version(), "system": platform.platform(terse=True)}
