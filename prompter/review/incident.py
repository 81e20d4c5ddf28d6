"""One emergency as a clinician needs it: its measures, its findings and every entry."""

from dataclasses import dataclass, replace
from typing import Any

from prompter.journal import Reading
from prompter.review.anonymous import without_names
from prompter.review.entries import Entry, entry, learned_text
from prompter.review.measures import Measures, Span, afterwards_since, is_afterwards, measure
from prompter.review.plan_facts import PlanFacts
from prompter.review.timed import Timed, timed

_WRONG = {("passed", "no"), ("rise", "no"), ("tube", "out"), ("breathing", "no")}
_WRONG_ANSWERS = {"limp", "bleeding", "neck swelling", "vomit", "stuck", "no suction"}
_UNDO = "wrong"
_CAME_OUT = {"came out", "halfway"}
_EARS = {"microphone", "ear", "ears"}


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that was known: when, what, and how."""

    t_s: float
    text: str
    how: str


@dataclass(frozen=True, slots=True)
class Prompt:
    """A prompt: decided at `t_s`, heard from `spoken_s` on; None if it never was."""

    t_s: float
    text: str
    role: str
    spoken_s: float | None
    is_cut: bool


@dataclass(frozen=True, slots=True)
class Incident:
    """Everything the page, the JSON and the CSV are made from. Times in seconds since the start."""

    name: str
    id: str
    started: str
    duration_s: float
    outcome: str
    measures: Measures
    plan: PlanFacts
    reading: Reading
    state: dict[str, Finding]
    wrong: list[Finding]
    tries: int
    saline: list[Finding]
    past_depth: list[float]
    assumed: list[Finding]
    undone: list[float]
    asked_again: int
    deaf: list[Span]
    quiet: Span | None
    afterwards: list[Finding] | None
    notes: list[Finding]
    left_flow: list[Finding]
    faults: list[Finding]
    prompts: list[Prompt]
    entries: list[Entry]
    events: list[Timed]
    anonymous: bool = False

    def to_json(self) -> dict[str, Any]:
        """One element of `incidents` in the JSON form; `intact` and `problem` tell a damaged journal."""
        m = self.measures
        return {
            "id": self.id,
            "started": self.started,
            "duration_s": self.duration_s,
            "outcome": self.outcome,
            "measures": {
                "first_breath_s": m.first_breath_s,
                "longest_without_breath_s": m.longest_without_breath
                and m.longest_without_breath.length_s,
                "call_asked_s": m.call_asked_s,
                "on_speaker_s": m.on_speaker_s,
                "tube_out_s": m.tube_out_s,
                "tube_proven_s": m.tube_proven_s,
                "lowest_spo2": m.lowest_spo2 and m.lowest_spo2.value,
            },
            "rehearsal": self.plan.is_rehearsal,
            "demonstration_plan": self.plan.is_demo,
            "intact": self.reading.intact,
            "problem": self.reading.problem,
            "timeline": [e.to_json() for e in self.entries],
        }


def build(reading: Reading, name: str, anonymous: bool = False) -> Incident:
    """The incident in a journal that has at least one sound event. Never fails on what events hold.

    anonymous: without names, sound and free notes; also without the journal's `name`.
    """
    if anonymous:
        reading, name = without_names(reading), "name left out"
    events = timed(reading)
    started = next((e for e in events if e.kind == "started"), events[0])
    closed = next((e for e in events if e.kind == "closed"), None)
    measures = measure(events)
    prompts = _prompts(events)
    learned = [e for e in events if e.kind == "learned"]
    return Incident(
        name=name,
        id=events[0].text("check"),
        started=started.text("at"),
        duration_s=round(max(0.0, measures.end_s), 3),
        outcome=(closed.text("outcome") if closed else "") or "open",
        measures=measures,
        plan=PlanFacts(events[0]),
        reading=reading,
        state={e.text("what"): Finding(e.t_s, e.text("value"), e.text("how")) for e in learned},
        wrong=_wrong(events),
        tries=int(
            max(
                (e.number("value") or _digits(e) for e in learned if e.text("what") == "tries"),
                default=0,
            )
        ),
        saline=_saline(events),
        past_depth=[
            e.t_s for e in events if e.kind == "say" and "Stop at resistance" in e.text("text")
        ],
        assumed=[
            Finding(e.t_s, f"{e.text('source')} → {e.text('target')}", "assumed")
            for e in events
            if e.is_a("moved", how="assumed") and not is_afterwards(e.text("source"))
        ],
        undone=[e.t_s for e in events if e.kind == "answered" and e.text("answer") == _UNDO],
        asked_again=sum(e.kind == "unclear" and e.t_s <= measures.end_s for e in events),
        deaf=_deaf(events, measures.end_s),
        quiet=_quiet(events, measures.end_s),
        afterwards=_afterwards(events),
        notes=_notes(events, anonymous),
        left_flow=[
            Finding(e.t_s, f"{e.text('what')} ({e.text('why')})", "")
            for e in events
            if e.kind == "refused"
        ],
        faults=[
            Finding(
                e.t_s,
                ": ".join(t for t in (e.text("part") or e.text("what"), e.text("detail")) if t),
                "",
            )
            for e in events
            if e.kind in ("failed", "fault")
        ],
        prompts=list(prompts.values()),
        entries=_entries(events, prompts),
        events=events,
        anonymous=anonymous,
    )


def _finding(event: Timed) -> Finding:
    return Finding(
        event.t_s, learned_text(event.text("what"), event.text("value")), event.text("how")
    )


def _saline(events: list[Timed]) -> list[Finding]:
    """Each time saline was given: learned so, or the step for it was answered as done."""
    return [_finding(e) for e in events if e.is_a("learned", what="saline", value="given")] or [
        Finding(e.t_s, learned_text("saline", "given"), e.text("how"))
        for e in events
        if e.is_a("moved", machine="care", source="saline", answer="done")
    ]


_ASKED = {
    "debrief": "How the patient is",
    "debrief-bag": "What was used up and the bag",
    "debrief-phone": "The clinician was phoned",
}
"""What each step of the talk afterwards asks about."""


def _afterwards(events: list[Timed]) -> list[Finding] | None:
    """The answers of the talk afterwards; None if there was none, or trouble ended it."""
    since_s = afterwards_since(events)
    if since_s is None:
        return None
    found, wording = [], ""
    for event in events:
        wording = event.text("wording") if event.kind == "answered" else wording
        source = event.text("source")
        if event.t_s < since_s or not event.is_a("moved", machine="care") or source not in _ASKED:
            continue
        if event.is_a("moved", answer=None) and event.text("how") != "assumed":
            said, how = "a number was said", event.text("how")
        elif event.text("how") == "assumed":
            said, how = "not answered", "unknown"
        elif event.text("answer") == "close it":
            said, how = "left out", event.text("how")
        else:
            said, how = f"“{wording}”", event.text("how")
        found.append(Finding(event.t_s, f"{_ASKED[source]}: {said}", how))
    return found


def _notes(events: list[Timed], anonymous: bool) -> list[Finding]:
    """What was said after "take a note", and what was said freely when it was asked what was used."""
    found, noting, step = [], False, ""
    for event in events:
        if event.is_a("moved", machine="care"):
            step = event.text("target")
        elif event.kind == "note":
            found.append(Finding(event.t_s, event.text("text") or event.text("detail"), event.text("how")))
        elif event.kind == "answered":
            noting = event.text("answer") == "note"
        elif event.kind == "heard" and (noting or is_afterwards(step)) and event.fields.get("believed") is not True:
            words = "words left out" if anonymous else f"“{event.text('text') or event.text('heard') or '…'}”"
            found.append(Finding(event.t_s, words, "spoken, as recognised"))
            noting = False
    return found


def _digits(event: Timed) -> float:
    text = event.text("value")
    return float(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0.0


def _wrong(events: list[Timed]) -> list[Finding]:
    """Each thing that was wrong, the first time it was known and who said so."""
    found: dict[str, Finding] = {}
    answer = ""
    for event in events:
        answer = event.text("answer") if event.kind == "answered" else answer
        if event.is_a("learned", what="tube", value="out") and answer not in _CAME_OUT:
            continue  # taken out on purpose, to change it
        if event.kind == "learned" and (event.text("what"), event.text("value")) in _WRONG:
            finding = _finding(event)
        elif event.kind == "answered" and event.text("answer") in _WRONG_ANSWERS:
            finding = Finding(event.t_s, f"“{event.text('wording')}”", event.text("how"))
        else:
            continue
        found.setdefault(finding.text, finding)
    return list(found.values())


def _deaf(events: list[Timed], end_s: float) -> list[Span]:
    """The times without a microphone or an ear."""
    spans, since_s = [], None
    for event in events:
        if event.kind == "failed" and event.text("part") in _EARS and since_s is None:
            since_s = event.t_s
        elif since_s is not None and (
            event.kind == "resumed" or event.kind == "recovered" and event.text("part") in _EARS
        ):
            spans.append(Span(since_s, event.t_s))
            since_s = None
    return spans if since_s is None else [*spans, Span(since_s, end_s)]


def _quiet(events: list[Timed], end_s: float) -> Span | None:
    """The longest stretch in which no answer or number was taken."""
    times = [
        0.0,
        *(e.t_s for e in events if e.kind in ("answered", "numbered") and 0 < e.t_s < end_s),
        end_s,
    ]
    return max(
        (Span(a, b) for a, b in zip(times, times[1:], strict=False)),
        key=lambda s: s.length_s,
        default=None,
    )


def _prompts(events: list[Timed]) -> dict[int, Prompt]:
    """Each prompt by the number of its event; a journal without starts takes them as spoken at once."""
    has_starts = any(e.kind == "prompt started" for e in events)
    started: dict[str, float] = {}
    for e in events:
        if e.kind == "prompt started":  # a second time where it was cut and said again
            started.setdefault(e.text("cue"), e.t_s)
    cut = {e.text("cue") for e in events if e.is_a("prompt ended", cut=True) or e.kind == "prompt cut"}
    return {
        e.fields["seq"]: Prompt(
            e.t_s,
            e.text("text"),
            e.text("role"),
            started.get(e.text("cue")) if has_starts else e.t_s,
            e.text("cue") in cut,
        )
        for e in events
        if e.kind == "say"
    }


def _entries(events: list[Timed], prompts: dict[int, Prompt]) -> list[Entry]:
    """All entries; prompts with what became of them.

    A spoken answer stands for itself only where no `heard` tells it more fully.
    """
    has_heard = any(e.kind == "heard" for e in events)
    entries = []
    for event in events:
        made = entry(event)
        prompt = prompts.get(made.seq)
        if prompt is not None:
            made = replace(made, detail="; ".join(filter(None, [made.detail, _fate(prompt)])))
        elif not has_heard and made.kind in ("answered", "unclear"):
            made = replace(made, minor=False)
        entries.append(made)
    return entries


def _fate(prompt: Prompt) -> str:
    if prompt.spoken_s is None:
        return "not spoken: out of date by then"
    waited_s = prompt.spoken_s - prompt.t_s
    late = f"spoken {waited_s:.1f} s later" if waited_s >= 1 else ""
    return "; ".join(filter(None, [late, "cut short" if prompt.is_cut else ""]))
