"""The times a clinician looks for, counted from the journal's events and nothing else."""

from dataclasses import dataclass, field
from itertools import pairwise

from prompter.review.timed import Timed


@dataclass(frozen=True, slots=True)
class Span:
    """From and to, in seconds since the emergency began."""

    from_s: float
    to_s: float

    @property
    def length_s(self) -> float:
        return round(self.to_s - self.from_s, 3)


@dataclass(frozen=True, slots=True)
class Lowest:
    """The lowest of the numbers said, and when."""

    value: int
    t_s: float


@dataclass(frozen=True, slots=True)
class Route:
    """How the first paced breath was come by, which decides its limit.

    taken: 'vent' (off the ventilator first), 'change' (the tube was out or being changed before), 'opened'
    (something was taken off the tube first), 'no breaths' (that was said before), 'plain', or 'none' if no breath
    was paced. steps: what decided it. from_s: when the first of them was reached.
    """

    taken: str
    from_s: float = 0.0
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Measures:
    """Seconds since the emergency began, None where it did not happen.

    breaths_s: the paced ones, which is all the prompter can know of. longest_without_breath: the
    longest time without one while breathing was not confirmed better; longest_pause: the same once
    breaths had begun. call_asked_s: the call became due; call_spoken_s: its first prompt was heard.
    end_s: closed in words, or the journal's end; what is talked over afterwards is after it.
    first_route: on which way the first breath was reached. no_breaths: from each "no breaths" that led to
    breaths to the first one after it. tube_out_s: first known out; tube_proven_s: proven open after that, or at all if never out.
    """

    end_s: float
    breaths_s: list[float]
    breaths_estimated: bool
    longest_without_breath: Span | None
    longest_pause: Span | None
    breaths_a_minute: float | None
    wanted_a_minute: float | None
    call_asked_s: float | None
    call_spoken_s: float | None
    on_speaker_s: float | None
    tube_out_s: float | None
    tube_proven_s: float | None
    lowest_spo2: Lowest | None
    lowest_pulse: Lowest | None
    first_route: Route = Route("none")
    no_breaths: list[Span] = field(default_factory=list)
    suction: list[Span] = field(default_factory=list)
    pushes: list[Span] = field(default_factory=list)
    push_pauses: list[Span] = field(default_factory=list)

    @property
    def first_breath_s(self) -> float | None:
        return self.breaths_s[0] if self.breaths_s else None


def measure(events: list[Timed]) -> Measures:
    """Counts everything from the events of one journal."""
    end_s = end_of_care(events)
    breaths, estimated = breath_times(events, end_s)
    out_s = first(events, "learned", what="tube", value="out")
    proven = [e.t_s for e in events if e.is_a("learned", what="tube", value="proven open")]
    pushes = push_spans(events, end_s)
    gaps = _gaps(events, breaths, end_s)
    return Measures(
        end_s=end_s,
        breaths_s=breaths,
        breaths_estimated=estimated,
        longest_without_breath=max(gaps, key=_length, default=None),
        longest_pause=max(
            (g for g in gaps if breaths and g.from_s >= breaths[0]), key=_length, default=None
        ),
        breaths_a_minute=_rate(breaths),
        wanted_a_minute=next(
            (e.number("per_minute") for e in events if e.is_a("pace", what="breaths")), None
        ),
        call_asked_s=earliest(
            first(events, "moved", machine="call", target="asked"),
            first(events, "say", role="call"),
        ),
        call_spoken_s=_call_spoken(events),
        on_speaker_s=first(events, "moved", machine="call", target="on speaker"),
        tube_out_s=out_s,
        tube_proven_s=next((t for t in proven if out_s is None or t >= out_s), None),
        lowest_spo2=_lowest(events, "spo2", range(30, 101)),
        lowest_pulse=_lowest(events, "pulse", range(20, 251)),
        first_route=first_route(events, breaths),
        no_breaths=_no_breaths(events, breaths),
        suction=suction_spans(events, end_s),
        pushes=pushes,
        push_pauses=[Span(a.to_s, b.from_s) for a, b in pairwise(pushes)],
    )


AFTERWARDS = "debrief"
"""How the names of the steps begin that come after the emergency was closed in words."""

_VENT = {"vent-off"}
_OPENS = {"valve-off", "inner-out", "blood-open"}
_CHANGES = {"hold-tube", "in-hand", "put-back", "halfway", "no-tube", "no-change", "wrong-place", "smaller"}


def is_afterwards(step: str) -> bool:
    return step.startswith(AFTERWARDS)


def afterwards_since(events: list[Timed]) -> float | None:
    """When the talk began that ended the emergency; None if there was none, or if trouble ended it."""
    since_s = None
    for event in events:
        if event.is_a("moved", machine="care"):
            source, target = event.text("source"), event.text("target")
            if is_afterwards(target) and since_s is None:
                since_s = event.t_s
            elif not is_afterwards(target) and is_afterwards(source) and (target == "closing" or event.text("answer") == "wrong"):
                since_s = None
        elif event.is_a("learned", what="outcome", value="open"):
            since_s = None
    return since_s


def end_of_care(events: list[Timed]) -> float:
    """Seconds at which the emergency ended."""
    closed_s = next((e.t_s for e in events if e.kind == "closed"), events[-1].t_s if events else 0.0)
    talk_s = afterwards_since(events)
    return closed_s if talk_s is None else min(talk_s, closed_s)


def first_route(events: list[Timed], breaths_s: list[float]) -> Route:
    """The way that care took to the first paced breath."""
    if not breaths_s:
        return Route("none")
    moves = [e for e in events if e.is_a("moved", machine="care") and e.t_s <= breaths_s[0]]
    said = next((e for e in moves if e.text("answer") == "not breathing" and e.text("target") == "no-breaths"), None)
    steps = tuple(dict.fromkeys(e.text("target") for e in moves))
    for taken, among in (("change", _CHANGES), ("vent", _VENT), ("opened", _OPENS)):
        found = tuple(s for s in steps if s in among)
        if taken == "vent" and said is not None:
            return Route("no breaths", said.t_s, ("no-breaths",))
        if found:
            return Route(taken, next(e.t_s for e in moves if e.text("target") in found), found)
    out_s = first(events, "learned", what="tube", value="out")
    return Route("change" if out_s is not None and out_s <= breaths_s[0] else "plain")


def _no_breaths(events: list[Timed], breaths_s: list[float]) -> list[Span]:
    said = [e.t_s for e in events if e.is_a("moved", machine="care", target="no-breaths", answer="not breathing")]
    return [Span(t, next(b for b in breaths_s if b >= t)) for t in said if any(b >= t for b in breaths_s)]


def first(events: list[Timed], kind: str, **fields: object) -> float | None:
    """Seconds of the first such event, or None."""
    return next((e.t_s for e in events if e.is_a(kind, **fields)), None)


def earliest(*times_s: float | None) -> float | None:
    """The earliest of the times that are there."""
    return min((t for t in times_s if t is not None), default=None)


def breath_times(events: list[Timed], end_s: float) -> tuple[list[float], bool]:
    """Seconds of each paced breath; True if worked out from the pace because no beat was journalled."""
    if any(e.kind == "beat" for e in events):
        return [e.t_s for e in events if e.is_a("beat", what="breaths")], False
    times: list[float] = []
    for pace, until_s in _paces(events, "breaths", end_s):
        per_minute, count = pace.number("per_minute") or 0.0, pace.number("count")
        if 1 <= per_minute <= 200:
            apart_s = 60 / per_minute
            most = int((until_s - pace.t_s) / apart_s) + 1
            most = min(most, int(count)) if count is not None else most
            times += [round(pace.t_s + i * apart_s, 3) for i in range(max(0, most))]
    return times, bool(times)


def suction_spans(events: list[Timed], end_s: float) -> list[Span]:
    """Every pass: from its first tone to the next move of the care, the next beat or its end.

    A pass whose tones never came, because the step was left before, is none.
    """
    tones = [e.t_s for e in events if e.is_a("beat", what="suction")]
    spans = []
    for pace, until_s in _paces(events, "suction", end_s, or_move=True):
        from_s = next((t for t in tones if pace.t_s <= t <= until_s), None) if tones else pace.t_s
        if from_s is not None:
            spans.append(Span(from_s, until_s))
    return spans


def _call_spoken(events: list[Timed]) -> float | None:
    """When the first prompt that asks for the call was heard."""
    cues = {e.text("cue") for e in events if e.is_a("say", role="call")}
    return next(
        (e.t_s for e in events if e.kind == "prompt started" and e.text("cue") in cues), None
    )


def push_spans(events: list[Timed], end_s: float) -> list[Span]:
    """The times of pushing the chest: as learned, else as paced."""
    learned = [e for e in events if e.is_a("learned", what="pushes")]
    if not learned:
        return [Span(e.t_s, until_s) for e, until_s in _paces(events, "pushes", end_s)]
    spans, since_s = [], None
    for event in learned:
        going = event.text("value") == "started"
        if going and since_s is None:
            since_s = event.t_s
        elif not going and since_s is not None:
            spans.append(Span(since_s, event.t_s))
            since_s = None
    return spans if since_s is None else [*spans, Span(since_s, end_s)]


def _paces(
    events: list[Timed], what: str, end_s: float, or_move: bool = False
) -> list[tuple[Timed, float]]:
    """Each pace of this sort, and when it ended: at a stop of the program, with what is known last."""
    found = []
    for index, event in enumerate(events):
        if event.is_a("pace", what=what):
            until_s = next(
                (
                    e.t_s - ((e.number("gap_ms") or 0.0) / 1000 if e.kind == "resumed" else 0.0)
                    for e in events[index + 1 :]
                    if e.kind in ("pace", "pace stopped", "closed", "resumed")
                    or (or_move and e.is_a("moved", machine="care"))
                ),
                max(end_s, event.t_s),
            )
            found.append((event, until_s))
    return found


def _length(span: Span) -> float:
    return span.length_s


def _gaps(events: list[Timed], breaths_s: list[float], end_s: float) -> list[Span]:
    """The stretches without a paced breath, within the times breathing was not confirmed better.

    From the handing over on, breaths are the paramedics'.
    """
    stretches, since_s = [], 0.0
    needed, handed_over, breathing = True, False, ""
    for event in events:
        if event.is_a("learned", what="outcome"):
            handed_over = event.text("value") == "handed over"
        if event.is_a("learned", what="breathing") or event.is_a("learned", what="outcome"):
            if event.is_a("learned", what="breathing"):
                breathing = event.text("value")
            better = handed_over or breathing == "better"
            if better and needed:
                stretches.append(Span(since_s, event.t_s))
            elif not better and not needed:
                since_s = event.t_s
            needed = not better
    if needed:
        stretches.append(Span(since_s, end_s))
    return [
        Span(a, b)
        for stretch in stretches
        for a, b in pairwise(
            [
                stretch.from_s,
                *(t for t in breaths_s if stretch.from_s < t < stretch.to_s),
                stretch.to_s,
            ]
        )
    ]


def _rate(breaths_s: list[float]) -> float | None:
    """Breaths a minute as paced: from the median gap between neighbours, pauses over 15 s left out."""
    gaps = sorted(b - a for a, b in pairwise(breaths_s) if 0 < b - a <= 15)
    return round(60 / gaps[len(gaps) // 2], 1) if gaps else None


def _lowest(events: list[Timed], quantity: str, sane: range) -> Lowest | None:
    """The lowest number taken; one out of range or refused by the next event was asked back."""
    found = []
    for event, after in zip(events, [*events[1:], None], strict=False):
        value = event.number("value")
        if event.is_a("numbered", quantity=quantity) and value is not None and int(value) in sane:
            if after is None or after.kind != "refused":
                found.append(Lowest(int(value), event.t_s))
    return min(found, key=lambda low: low.value, default=None)
