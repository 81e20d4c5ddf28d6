"""Turns each journal event into one entry: whose it is, what it says, how it is known."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from prompter.review.timed import Timed

HOWS = ("spoken", "keyed", "assumed", "timed", "unknown")
"""How a thing is known; 'not believed' is heard but not taken, empty is where nobody asks."""

ROWS = (
    "prompter",
    "caregiver",
    "step",
    "patient",
    "breaths",
    "pushes",
    "suction",
    "call",
    "saturation",
    "trouble",
    "program",
)

FRAME = frozenset({"v", "seq", "at", "at_ms", "mono_ms", "kind", "prev", "check"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the account. `minor`: of use to an engineer rather than to a clinician."""

    seq: int
    at: str
    t_s: float
    kind: str
    row: str
    text: str
    how: str = ""
    detail: str = ""
    minor: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "seq": self.seq,
            "at": self.at,
            "t_s": self.t_s,
            "kind": self.kind,
            "row": self.row,
            "text": self.text,
            "how": self.how,
            "detail": self.detail,
        }


_Told = tuple[str, str, str, str, bool]  # row, text, how, detail, minor


def entry(event: Timed) -> Entry:
    """The entry for any event; one of an unknown kind is shown with all its fields."""
    row, text, how, detail, minor = _TELLERS.get(event.kind, _unknown)(event)
    return Entry(
        int(event.fields["seq"]),
        event.fields["at"],
        event.t_s,
        event.kind,
        row,
        text,
        how,
        detail,
        minor,
    )


LEARNED = {
    ("tube", "out"): "the tube is out",
    ("tube", "unknown"): "the tube is in, not known to be open",
    ("tube", "proven open"): "the tube is in and proven open",
    ("breathing", "no"): "no breaths",
    ("breathing", "trouble"): "breathing, but struggling",
    ("breathing", "better"): "breathing better",
    ("passed", "unknown"): "whether the catheter passes is not known",
    ("rise", "unknown"): "whether the chest rises is not known",
    ("passed", "yes"): "the suction catheter went all the way",
    ("passed", "no"): "the suction catheter would not pass",
    ("rise", "yes"): "the chest rises",
    ("rise", "no"): "the chest does not rise",
    ("saline", "given"): "saline given",
    ("oxygen", "on"): "oxygen is on",
    ("oxygen", "none"): "no oxygen",
    ("pushes", "started"): "pushing the chest began",
    ("pushes", "paused"): "pushing the chest paused",
    ("pushes", "ended"): "pushing the chest ended",
    ("size", "same"): "tube of the same size",
    ("size", "smaller"): "the smaller tube",
}
"""Facts in plain words; others are shown as they stand."""

FACTS = {what for what, _ in LEARNED} | {"outcome"}


def learned_text(what: str, value: str) -> str:
    return LEARNED.get((what, value), f"{what}: {value}")


def _how(event: Timed) -> str:
    return event.text("how")


def _score(event: Timed) -> str:
    score = event.number("score")
    return f"score {score:.2f}" if score is not None else ""


def _joined(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _say(e: Timed) -> _Told:
    role = e.text("role")
    return (
        "call" if role == "call" else "prompter",
        f"“{e.text('text')}”",
        "",
        _joined(role, e.text("step")),
        False,
    )


def _heard(e: Timed) -> _Told:
    believed = e.fields.get("believed") is True
    words = e.text("heard") or e.text("text")
    text = f"“{words}”" if words else "speech that was not understood"
    detail = _joined(
        f"taken as: {e.text('answer')}" if believed and e.text("answer") else "",
        _score(e),
        f"margin {e.number('margin'):.2f}" if e.number("margin") is not None else "",
        f"next best “{e.text('runner_up')}”" if e.text("runner_up") else "",
        f"free text “{e.text('text')}”" if e.text("text") not in ("", words) else "",
        f"really said “{e.text('said')}”" if e.text("said") not in ("", words) else "",
        f"sound {e.text('sound')}" if e.text("sound") else "",
    )
    return "caregiver", text, "spoken" if believed else "not believed", detail, False


def _answered(e: Timed) -> _Told:
    # A spoken one follows its `heard`, which tells more.
    return (
        "caregiver",
        f"“{e.text('wording')}”",
        _how(e),
        _joined(f"answer: {e.text('answer')}", _score(e)),
        _how(e) == "spoken",
    )


def _numbered(e: Timed) -> _Told:
    value = e.text("value")
    if e.is_a("numbered", quantity="spo2"):
        return "saturation", f"Oxygen saturation {value} %", _how(e), _score(e), False
    name = "Heart rate" if e.is_a("numbered", quantity="pulse") else e.text("quantity")
    return "patient", f"{name} {value} a minute", _how(e), _score(e), False


def _unclear(e: Timed) -> _Told:
    heard = f"perhaps “{e.text('heard')}”" if e.text("heard") else "nothing it knew"
    return "caregiver", f"Not believed: {heard}", "not believed", _score(e), True


def _moved(e: Timed) -> _Told:
    row = "call" if e.text("machine") == "call" else "step"
    answer = f"answer: {e.text('answer')}" if e.text("answer") else ""
    return (
        row,
        f"{e.text('source')} → {e.text('target')}",
        _how(e),
        _joined(answer, e.text("note")),
        False,
    )


def _learned(e: Timed) -> _Told:
    text = learned_text(e.text("what"), e.text("value"))
    row = "pushes" if e.text("what") == "pushes" else "patient"
    is_minor = e.text("what") not in FACTS  # the flow's own counts and marks
    return row, text[:1].upper() + text[1:], _how(e), "", is_minor


def _pace(e: Timed) -> _Told:
    what = e.text("what")
    row = what if what in ("breaths", "pushes", "suction") else "breaths"
    count, rate = e.number("count"), e.number("per_minute")
    if what == "suction":
        return (
            row,
            "Suction begins",
            "timed",
            f"“Out now.” after {count:g} s" if count is not None else "",
            False,
        )
    ratio = f"{e.text('pushes_a_cycle')}:{e.text('breaths_a_cycle')}" if what == "pushes" else ""
    much = f"{count:g} of them" if count is not None else "until stopped"
    return (
        row,
        f"Beat for {what} begins",
        "timed",
        _joined(f"{rate:g} a minute" if rate else "", much, ratio),
        False,
    )


def _beat(e: Timed) -> _Told:
    what = e.text("what")
    names = {"breaths": "Breath", "pushes": "Push", "suction": "Suction second"}
    row = what if what in names else "breaths"
    return row, f"{names.get(what, what)} {e.text('index')}".strip(), "timed", "", True


def _closed(e: Timed) -> _Told:
    return "step", f"Closed: {e.text('outcome') or 'no outcome given'}", _how(e), "", False


def _trouble(text: str) -> Callable[[Timed], _Told]:
    def tell(e: Timed) -> _Told:
        what = e.text("part") or e.text("what")
        return (
            "trouble",
            f"{text}{': ' if what else ''}{what}",
            "",
            e.text("detail") or e.text("text"),
            False,
        )

    return tell


def _program(text: str, *names: str) -> Callable[[Timed], _Told]:
    def tell(e: Timed) -> _Told:
        return "program", text, "", _joined(*(f"{n} {e.text(n)}" for n in names if e.text(n))), True

    return tell


def _note(e: Timed) -> _Told:
    return (
        "caregiver",
        f"Note: {e.text('text') or e.text('detail')}",
        _how(e),
        e.text("sound"),
        False,
    )


def _resumed(e: Timed) -> _Told:
    gap_ms = e.number("gap_ms")
    gap = "an unknown time" if gap_ms is None else f"{gap_ms / 1000:.0f} s"
    return (
        "trouble",
        f"The prompter had stopped and goes on: nothing is known of {gap} before",
        "unknown",
        "breaths given meanwhile are unknown",
        False,
    )


def _clock_changed(e: Timed) -> _Told:
    seconds = (e.number("by_ms") or 0.0) / 1000
    way = "forward" if seconds > 0 else "back"
    return "program", f"The computer's clock was set {way} by {abs(seconds):.0f} s", "", "", True


def _refused(e: Timed) -> _Told:
    return "caregiver", f"Changes nothing here: {e.text('what')}", "", e.text("why"), False


def _unknown(e: Timed) -> _Told:
    fields = _joined(*(f"{k} {v}" for k, v in e.fields.items() if k not in FRAME))
    return (
        "program",
        f"{e.kind or 'an event without a name'} (a kind this review does not know)",
        "",
        fields,
        False,
    )


_TELLERS: dict[str, Callable[[Timed], _Told]] = {
    "opened": _program("The journal was opened", "version", "flow", "seed"),
    "reopened": _program("The journal was taken up again", "version"),
    "resumed": _resumed,
    "repaired": _trouble("Copied from a damaged journal"),
    "clock changed": _clock_changed,
    "written late": _program("An event reached the disk late", "event", "waited_ms"),
    "sound lost": _program("Sound was lost on the way", "played_late", "not_heard"),
    "announced": lambda e: ("prompter", f"“{e.text('text')}”", "", "the program's own", False),
    "started": lambda e: ("step", "The emergency begins", "", "", False),
    "say": _say,
    "heard": _heard,
    "answered": _answered,
    "numbered": _numbered,
    "unclear": _unclear,
    "moved": _moved,
    "learned": _learned,
    "pace": _pace,
    "pace stopped": lambda e: ("program", "The beat stopped", "", "", True),
    "beat": _beat,
    "closed": _closed,
    "failed": _trouble("Lost"),
    "recovered": _trouble("Back again"),
    "fault": _trouble("Fault"),
    "note": _note,
    "refused": _refused,
    "speech started": _program("Somebody began to speak"),
    "speech ended": _program("The utterance ended"),
    "prompt started": _program("The prompt began", "cue"),
    "prompt cut": _program("The prompt gave way to somebody who spoke", "cue"),
    "prompt ended": _program("The prompt ended", "cue", "cut"),
    "loudness": _program("The prompts became louder or quieter", "gain_db", "noise_db"),
    "tone": _program("A tone", "name"),
    "ticked": _program("The clock ticked"),
}

KINDS = frozenset(_TELLERS)
"""The kinds of event this review knows."""
