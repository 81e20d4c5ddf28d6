"""Writes a plan as YAML that a nurse can read, each line with its meaning beside it."""

import json
import re
from datetime import date
from typing import Any

from prompter.care.fields import Part
from prompter.care.plan import Plan

_BARE = re.compile(r"[A-Za-z]+([ '-][A-Za-z]+)*")
_NOT_BARE = {"true", "false", "null"}
_COMMENT_COLUMN = 44

_OPENING = """\
# The care plan of {name}. Written by `prompter plan new`; it may be edited by hand.
# yes / no answer a question; none says that there is nothing. Days are written 2031-05-01.
# After every change: prompter plan check FILE
"""
_OPENING_DEMONSTRATION = "# INVENTED DEMONSTRATION PLAN: never use it for a person.\n"


def plan_yaml(plan: Plan) -> str:
    """The plan's text; reading it gives an equal plan."""
    opening = _OPENING.format(name=plan.patient.name)
    text = [(_OPENING_DEMONSTRATION if plan.demonstration else "") + opening]
    for name, field in type(plan).model_fields.items():
        value = getattr(plan, name)
        if not isinstance(value, Part):
            text.append(_line(name, value, field.description or "", ""))
            continue
        text.append(f"\n# {field.description}\n{name}:\n")
        for key, inner in type(value).model_fields.items():
            text.append(_line(key, getattr(value, key), inner.description or "", "  "))
        text.append("\n")
    return re.sub(r"\n{3,}", "\n\n", "".join(text))


def shown(value: Any) -> str:
    """One value as a person writes it: yes, none, 4.5, 2031-05-01, a list with commas."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(value) or "nothing"
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value)


def _line(key: str, value: Any, meaning: str, indent: str) -> str:
    start = f"{indent}{key}: {_scalar(value)}"
    return f"{start:<{_COMMENT_COLUMN}}  # {meaning}\n"


def _scalar(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_scalar(item) for item in value)}]"
    if isinstance(value, str):
        bare = _BARE.fullmatch(value) and value.lower() not in _NOT_BARE
        return value if bare else json.dumps(value, ensure_ascii=False)
    if value is None or isinstance(value, bool | int | float | date):
        return shown(value)
    raise TypeError(f"no YAML for {type(value).__name__}")
