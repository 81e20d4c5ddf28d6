"""The flow language in a clinician's words: fields, arms and values as they are told on paper."""

from typing import Any

FIELDS = {
    # {} is where the value stands; what follows it is the unit
    "title": "title {}", "switches_to": "switches to {}", "start": "begins at {}", "version": "version {}",
    "go": "leads to {}", "stay": "stays at the step:", "after": "goes on to {}", "gap": "when breaths are due, {}",
    "otherwise": "otherwise {}", "same_as": "silence is taken for {}",
    "repeat_s": "repeated after {} s", "act_s": "silent branch after {} s", "every_s": "said again every {} s",
    "after_s": "breaths are due after {} s", "since": "counted from {}",
    "ask_at_s": "asked at {} s", "ask_every_s": "asked every {} s",
    "say": "says {}", "ask": "asks {}", "then_say": "then says {}", "how": "“how do I” is answered {}",
    "when": "only if {}", "only_if": "the step only if {}", "confirm": "must be said twice:",
    "needs_reason": "needs a spoken or keyed reason:", "hold": "“hold on” may hold it up:",
    "set": "marks {}", "clear": "takes back the marks {}", "count": "counts {}", "reset": "counts anew {}",
    "do": "records that {}", "learn": "what becomes known", "call": "asks for the call, reason {}",
    "call_is": "the call counts as {}", "call_restarts": "starts the call's timer again:",
    "say_summary": "says the summary:", "outcome": "counts as {}", "final": "is the end:",
    "visit": "returns to where it came from:", "enter": "on entering", "beat": "beat",
    "breaths": "breaths {}", "pushes": "pushes:", "suction": "a suction pass:", "through": "breaths through the {}",
    "wordings": "wordings {}", "risk": "risk {}", "news": "counts as {} news", "reason": "is a reason to take a tube out:",
    "read_back": "read back as {}", "key": "key {}", "trade_words": "trade words {}",
    "reminder_s": "reminder every {} s", "reminder_without_phone_s": "reminder without a phone every {} s",
    "ask_paced": "while a beat runs, says {}", "remind": "the reminder says {}",
    "remind_without_phone": "the reminder without a phone says {}", "at_once_if": "at once if {}",
    "ask_after_beat_s": "no question in the first {} s of a beat",
    "unclear_before_assuming": "silent branch after {} utterances not understood",
    "pause_while_speaking_s": "waits for somebody who speaks at most {} s",
    "assumed_halves_times": "nobody answering halves the times:", "halved_not_below_s": "halved times not below {} s",
    "confirm_within_s": "said twice within {} s", "hold_s": "“hold on” holds for {} s",
    "number_fresh_s": "a number counts for {} s", "numbers": "numbers taken",
}  # fmt: skip
"""What a field of a flow file means. What is not here is told by its own name."""

_USUAL = {"hold": True, "risk": "branch"}
QUOTED = {"say", "ask", "how", "then_say", "ask_paced", "remind", "remind_without_phone", "on_speaker"}
"""Fields whose text is spoken."""


def shown(value: Any) -> str:
    """Any value of a flow or plan in words; two that differ are told differently."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    if isinstance(value, dict):
        return _group(value)
    if isinstance(value, list | tuple):
        return "; ".join(shown(item) for item in value) or "nothing"
    return f"“{value}”" if isinstance(value, str) and value.strip() != value or value == "" else str(value)


def _group(value: dict[str, Any]) -> str:
    told = []
    for name, item in value.items():
        usual = item == _USUAL[name] if name in _USUAL else item is None or item is False or item in ([], {})
        if usual:
            continue  # what is usual is not told
        words = FIELDS.get(name, name.replace("_", " ") + " {}")
        text = f"“{item}”" if name in QUOTED and isinstance(item, str) else shown(item)
        if "{}" in words:
            told.append(words.replace("{}", text))
        else:
            told.append(words.rstrip(":") if item is True else f"{words.rstrip(':')} {text}")
    return ", ".join(told) or "nothing"
