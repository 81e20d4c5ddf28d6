"""Turns numbers and addresses into words a synthetic voice says clearly."""

import re
from collections.abc import Iterable


def number(value: float) -> str:
    """9 -> '9', 0.5 -> 'half', 1.5 -> '1 and a half', 1.2 -> '1 point 2'."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    whole, _, rest = text.partition(".")
    if not rest:
        return whole
    if rest == "5":
        return "half" if whole == "0" else f"{whole} and a half"
    return f"{whole} point {' '.join(rest)}"


def quantity(value: float, unit: str) -> str:
    """'9 centimetres', '1 millilitre', 'half a millilitre'; `unit` is given in the singular."""
    said = number(value)
    if said == "half":
        return f"half a {unit}"
    return f"{said} {unit}" if said == "1" else f"{said} {unit}s"


def digits(phone: str) -> str:
    """A phone number one digit at a time, a pause between its groups: '5 5 5, 0 1 4 2'."""
    groups = re.findall(r"[0-9]+|[+*#]", phone)
    names = {"+": "plus", "*": "star", "#": "hash"}
    return ", ".join(names.get(group) or " ".join(group) for group in groups)


def sentence_list(lines: Iterable[str]) -> str:
    """Lines of an address as one spoken sentence, a short pause between them."""
    return ", ".join(line.strip().rstrip(".,") for line in lines)
