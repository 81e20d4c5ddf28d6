"""What the clinician reads first: ten plain lines, the times with their limits, what to refill."""

from collections.abc import Iterable
from dataclasses import dataclass

from prompter.review.entries import learned_text
from prompter.review.incident import Finding, Incident
from prompter.review.measures import Span

COMMON = "common practice, no source"
AARC = "Blakeman et al., AARC guideline, Respir Care 2022;67(2):258"
AHA_CHILD = "Topjian et al., 2020 AHA Guidelines Part 4, Circulation 2020;142(suppl 2):S469"
AHA_ADULT = "Panchal et al., 2020 AHA Guidelines Part 3, Circulation 2020;142(suppl 2):S366"


@dataclass(frozen=True, slots=True)
class Line:
    """One of the ten lines: what it is about, the answer in a few words, and the rest."""

    term: str
    lead: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class TimeRow:
    """A time or rate beside its limit.

    verdict: 'within', 'over', 'under', or empty if there is no limit or it did not happen.
    """

    name: str
    found: str
    limit: str
    source: str
    verdict: str = ""
    note: str = ""


def clock(t_s: float) -> str:
    """Minutes and seconds since the start: 83.4 -> '1:23'."""
    sign, whole = ("-", -t_s) if t_s <= -0.5 else ("", max(t_s, 0))
    whole = int(whole + 0.5)
    return f"{sign}{whole // 60}:{whole % 60:02d}"


def seconds(t_s: float) -> str:
    """A length for people: 7.46 -> '7.5 s', 83.4 -> '1 min 23 s'."""
    if t_s < 9.95:
        return f"{t_s:.1f}".removesuffix(".0") + " s"
    whole = int(t_s + 0.5)
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min {whole % 60} s".removesuffix(" 0 s")


def at(t_s: float | None, never: str = "did not happen") -> str:
    return never if t_s is None else f"at {clock(t_s)}"


def times(number: int, one: str, many: str = "") -> str:
    """'no', '1 pass', '3 passes'."""
    return (
        f"no {many or one + 's'}"
        if not number
        else f"{number} {one if number == 1 else many or one + 's'}"
    )


def _when_how(finding: Finding) -> str:
    return f"{clock(finding.t_s)}{', ' + finding.how if finding.how else ''}"


def _sentence(parts: Iterable[str]) -> str:
    text = "; ".join(part for part in parts if part)
    return text[:1].upper() + text[1:] + "." if text else ""


def ten_lines(incident: Incident) -> list[Line]:
    """CLINICAL section 11 in ten lines; each says so if nothing is known."""
    tellers = {
        "How it ended": _ended,
        "What was wrong, and who said so": _wrong,
        "Longest time without a paced breath": _longest,
        "Breaths": _breaths,
        "The call": _call,
        "The tube": _tube,
        "Suction, saline, oxygen": _given,
        "Pushing the chest": _pushes,
        "Lowest numbers": _numbers,
        "What is uncertain": _uncertain,
    }
    return [Line(term, *tell(incident)) for term, tell in tellers.items()]


OUTCOMES = {
    "better": "Breathing better, confirmed by two different answers",
    "handed over": "Handed over to the paramedics",
    "open": "Left open: nobody closed it",
}

_Told = tuple[str, str]


def _ended(i: Incident) -> _Told:
    known = [
        f"{learned_text(what, i.state[what].text)} ({_when_how(i.state[what])})"
        for what in ("breathing", "tube")
        if what in i.state
    ]
    last = [e for e in i.events if e.is_a("numbered", quantity="spo2")]
    number = (
        f"last oxygen number {last[-1].text('value')} % ({clock(last[-1].t_s)})" if last else ""
    )
    state = "; ".join(part for part in [*known, number] if part)
    return (
        f"{OUTCOMES.get(i.outcome, i.outcome)}, after {seconds(i.duration_s)}.",
        f"Last known: {state}." if state else "",
    )


def _wrong(i: Incident) -> _Told:
    if not i.wrong:
        return "Nothing was reported as wrong by name.", ""
    return _sentence(f"{f.text} ({_when_how(f)})" for f in i.wrong), ""


def _longest(i: Incident) -> _Told:
    gap = i.measures.longest_without_breath
    if gap is None:
        return "Breathing was never in doubt.", ""
    return (
        f"{seconds(gap.length_s)}, from {clock(gap.from_s)} to {clock(gap.to_s)}.",
        "While breathing was not confirmed better. Breaths of the patient's own cannot be seen by the prompter.",
    )


def _breaths(i: Incident) -> _Told:
    m = i.measures
    if m.first_breath_s is None:
        return "No breaths were paced.", ""
    rate = f", at {m.breaths_a_minute:g} a minute" if m.breaths_a_minute else ""
    wanted = f" ({m.wanted_a_minute:g} wanted)" if rate and m.wanted_a_minute else ""
    worked_out = (
        " Worked out from the pace, since no beat was journalled." if m.breaths_estimated else ""
    )
    return (
        f"The first {at(m.first_breath_s)}.",
        f"{times(len(m.breaths_s), 'breath')} paced in all{rate}{wanted}.{worked_out}",
    )


def _call(i: Incident) -> _Told:
    m = i.measures
    on_speaker = at(m.on_speaker_s, "never, as far as reported")
    spoken = m.call_spoken_s
    text = f"The prompt was heard {at(spoken)}." if spoken is not None else ""
    return f"Asked for {at(m.call_asked_s, 'never')}; on speaker {on_speaker}.", text


def _tube(i: Incident) -> _Told:
    m = i.measures
    size = i.state.get("size")
    proven = f"proven open {at(m.tube_proven_s, 'never')}"
    lead = (
        f"Out {at(m.tube_out_s)}; after that {proven}."
        if m.tube_out_s is not None
        else f"Never reported out; {proven}."
    )
    tries = (
        times(i.tries, "try", "tries") + " to put a tube in"
        if i.tries or m.tube_out_s is not None
        else ""
    )
    return lead, _sentence([f"put in: {learned_text('size', size.text)}" if size else "", tries])


def _given(i: Incident) -> _Told:
    passes = i.measures.suction
    longest = max((s.length_s for s in passes), default=0)
    depth = i.plan.get("suction", "depth_cm")
    deepest = f"to {depth} cm by the plan" if depth and passes else ""
    if i.past_depth:
        deepest = (
            f"past the measured depth once asked for ({', '.join(clock(t) for t in i.past_depth)})"
        )
    oxygen = i.state.get("oxygen")
    lead = times(len(passes), "suction pass", "suction passes") + (
        f", the longest {seconds(longest)}" if passes else ""
    )
    return _sentence([lead]), _sentence(
        [
            f"depth: {deepest}" if deepest else "",
            f"saline {times(len(i.saline), 'time')}" if i.saline else "no saline reported",
            f"{learned_text('oxygen', oxygen.text)} ({_when_how(oxygen)})"
            if oxygen
            else "oxygen not reported",
        ]
    )


def _pushes(i: Incident) -> _Told:
    m = i.measures
    if not m.pushes:
        return "The chest was not pushed.", ""
    longest = max((p.length_s for p in m.push_pauses), default=0)
    pauses = times(len(m.push_pauses), "pause") + (
        f", the longest {seconds(longest)}" if m.push_pauses else ""
    )
    total = seconds(sum(p.length_s for p in m.pushes))
    return f"Began at {clock(m.pushes[0].from_s)}, for {total} in all.", _sentence([pauses])


def _numbers(i: Incident) -> _Told:
    oxygen, pulse = i.measures.lowest_spo2, i.measures.lowest_pulse
    return (
        f"Oxygen {oxygen.value} % at {clock(oxygen.t_s)}."
        if oxygen
        else "No oxygen number was said.",
        f"Heart rate {pulse.value} at {clock(pulse.t_s)}." if pulse else "No heart rate was said.",
    )


def _uncertain(i: Incident) -> _Told:
    undone = f" ({', '.join(clock(t) for t in i.undone)})" if i.undone else ""
    deaf = ", ".join(f"{clock(s.from_s)} to {clock(s.to_s)}" for s in i.deaf)
    shown = ", ".join(clock(f.t_s) for f in i.assumed[:8]) + (", …" if len(i.assumed) > 8 else "")
    quiet = (
        f"longest time without an answer taken: {seconds(i.quiet.length_s)}, from {clock(i.quiet.from_s)}"
        if i.quiet
        else ""
    )
    return (
        f"{times(len(i.assumed), 'step')} assumed{f' ({shown})' if shown else ''}.".capitalize(),
        _sentence(
            [
                times(i.asked_again, "answer") + " not believed and asked again",
                times(len(i.undone), "answer") + f" taken back{undone}",
                f"nobody could be heard {deaf}" if deaf else "",
                quiet,
            ]
        ),
    )


def time_rows(i: Incident) -> list[TimeRow]:
    """The times that matter, with the limits the flow is held to and the guidelines' figures."""
    m, plan = i.measures, i.plan
    rows = _first_breath_rows(i)
    gap = m.longest_without_breath
    longest = seconds(gap.length_s) if gap else "never in doubt"
    rows.append(
        TimeRow(
            "Longest time without a paced breath",
            longest,
            "none",
            "",
            note="The time to the first breath counts as well.",
        )
    )
    rows.append(_pause_row(m.longest_pause))
    after_s = plan.call_after_s()
    rows.append(
        _within(
            "Call asked for, aloud",
            m.call_asked_s if m.call_spoken_s is None else m.call_spoken_s,
            None if after_s is None else after_s + 5,
            COMMON,
            note=f"The plan asks after {after_s:g} s, or at once on bad news."
            if after_s is not None
            else "",
        )
    )
    rows.append(TimeRow("Phone on speaker", _when(m.on_speaker_s), "none", ""))
    if m.tube_out_s is not None:
        after = next((t for t in m.breaths_s if t >= m.tube_out_s), None)
        rows.append(TimeRow("Tube out", _when(m.tube_out_s), "none", ""))
        rows.append(
            _within(
                "From tube out to the next breath",
                None if after is None else after - m.tube_out_s,
                45,
                COMMON,
            )
        )
    rows.append(TimeRow("Tube proven open", _when(m.tube_proven_s), "none", ""))
    ordered = plan.get("suction", "seconds")
    for number, span in enumerate(m.suction, 1):
        rows.append(
            _within(
                f"Suction pass {number} ({clock(span.from_s)})",
                span.length_s,
                15,
                AARC,
                note=f"The plan says {ordered} s." if ordered else "",
            )
        )
    if m.breaths_a_minute is not None:
        rows.append(_rate_row(i, m.breaths_a_minute))
    return rows


def _when(t_s: float | None) -> str:
    return "did not happen" if t_s is None else clock(t_s)


ROUTES: dict[str, tuple[float, str]] = {
    "vent": (20, "Ventilated: off the ventilator first."),
    "opened": (60, "Things were taken off the tube first ({steps})."),
    "plain": (45, "Nothing was taken off the tube first."),
    "no breaths": (15, "Counted from “no breaths”, at {from_s}."),
    "change": (60, "A tube change came before the first breath ({steps})."),
    "none": (0, ""),
}
"""By the way that was taken to the first breath: its limit in seconds, and why that one. CLINICAL section 10."""

OUT_LIMIT_S = 45
"""From the old tube out to breaths. CLINICAL section 10."""

SILENT = "The limit is for a caregiver who never answers."


def _first_breath_rows(i: Incident) -> list[TimeRow]:
    """The first breath, and each "no breaths", beside the limit of the way that was really taken."""
    m, route, first_s, name = i.measures, i.measures.first_route, i.measures.first_breath_s, "First breath paced"
    limit_s, told = ROUTES[route.taken]
    note = told.format(steps=", ".join(route.steps) or "the tube was out", from_s=clock(route.from_s))
    if first_s is None:
        rows = [TimeRow(name, "did not happen", "none", "")]
    elif route.taken == "no breaths":
        rows = [TimeRow(name, seconds(first_s), "15 s from “no breaths”: see the next line", COMMON, note=note)]
    elif route.taken == "change":
        out_s = m.tube_out_s if m.tube_out_s is not None and m.tube_out_s <= first_s else None
        from_s, limit_s = (route.from_s, limit_s) if out_s is None else (out_s, OUT_LIMIT_S)
        counted = "the change's beginning" if out_s is None else "the tube out"
        verdict = "within" if first_s - from_s <= limit_s else "over"
        rows = [TimeRow(name, seconds(first_s), f"{limit_s:g} s from {counted} ({clock(from_s)})", COMMON, verdict, note)]
    else:
        rows = [_within(name, first_s, limit_s, COMMON, f"{note} {SILENT}")]
    return rows + [
        _within(f"From “no breaths” ({clock(span.from_s)}) to the next breath", span.length_s, 15, COMMON)
        for span in m.no_breaths
    ]


def _within(
    name: str, found_s: float | None, limit_s: float | None, source: str, note: str = ""
) -> TimeRow:
    verdict = (
        "" if found_s is None or limit_s is None else "within" if found_s <= limit_s else "over"
    )
    return TimeRow(
        name,
        "did not happen" if found_s is None else seconds(found_s),
        "none known" if limit_s is None else f"{limit_s:g} s",
        source if limit_s is not None else "",
        verdict,
        note,
    )


def _pause_row(pause: Span | None) -> TimeRow:
    """Between breaths once begun: which limit holds depends on the tube, so the middle has no verdict."""
    return TimeRow(
        "Longest pause once breaths had begun",
        seconds(pause.length_s) if pause else "did not happen",
        "30 s; in a tube change 45 s (old tube out) or 60 s (still in)",
        COMMON,
        ""
        if pause is None or 30 < pause.length_s <= 60
        else "within"
        if pause.length_s <= 30
        else "over",
        f"From {clock(pause.from_s)} to {clock(pause.to_s)}." if pause else "",
    )


def _rate_row(i: Incident, rate: float) -> TimeRow:
    adult = i.plan.get("patient", "age_group") == "adult"
    low, high = (10.0, 10.0) if adult else (20.0, 30.0)
    verdict = (
        ""
        if not i.plan.get("patient", "age_group")
        else ("under" if rate < low - 0.5 else "over" if rate > high + 0.5 else "within")
    )
    limit = "10 a minute (adult)" if adult else "20 to 30 a minute (infant, child)"
    return TimeRow(
        "Breaths paced", f"{rate:g} a minute", limit, AHA_ADULT if adult else AHA_CHILD, verdict
    )


def refill(i: Incident) -> list[str]:
    """What to refill, change or check before the next time, with the plan's sizes."""
    found, plan = [], i.plan
    if i.measures.suction:
        gauge = _of_size(plan.get("suction", "catheter_fr"), "Fr")
        found.append(
            f"Suction catheters{gauge}: {times(len(i.measures.suction), 'pass', 'passes')}; check the machine's battery and jar."
        )
    if i.saline:
        found.append(f"Saline{_of_size(plan.get('rescue', 'saline_ml'), 'mL a dose')}: {times(len(i.saline), 'dose')} used.")
    size = i.state.get("size")
    if i.tries:
        smaller = size is not None and size.text == "smaller"
        field = "smaller_spare_inside_mm" if smaller else "inside_mm"
        which = f"{'the smaller spare' if smaller else 'a spare of the same size'}{_of_size(plan.get('tube', field), 'mm inside')}"
        found.append(f"Tubes: {times(i.tries, 'try', 'tries')}, last with {which}; put a new one of each size in the bag, with its guide and new ties.")
    elif i.measures.tube_out_s is not None:
        found.append("Tubes: the tube was out; look at the spares.")
    oxygen = i.state.get("oxygen")
    if oxygen:
        found.append(
            "Oxygen: it was reported empty or absent; fill or change the cylinder."
            if oxygen.text == "none"
            else f"Oxygen: on for about {seconds(max(0.0, i.duration_s - oxygen.t_s))}; read the gauge."
        )
    if any(e.kind == "answered" and e.text("answer") == "no suction" for e in i.events):
        found.append("Suction machine: it was reported not working; mend or change it.")
    if any(e.kind == "answered" and e.text("answer") == "no bag" for e in i.events):
        found.append("Resuscitation bag: it was reported missing; put one within reach.")
    found += [f"Said when asked what was used: {f.text}" for f in i.notes if i.measures.end_s <= f.t_s]
    if i.faults:
        found.append(f"The prompter: {times(len(i.faults), 'fault')}; run its self-test.")
    return found or ["Nothing was reported as used."]


def _of_size(value: object, unit: str) -> str:
    return f" ({value:g} {unit})" if isinstance(value, int | float) and not isinstance(value, bool) else ""
