"""What one property is: its name, why it is asked for, its limit and where that comes from."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Property:
    """`limit` in `unit`; None where it simply holds or not."""

    name: str
    reason: str
    source: str = "common practice, no source"
    limit: float | None = None
    unit: str = ""
