"""What the clinician reads first: ten plain lines, the times with their limits, what to refill."""

from collections.abc import Iterable
from dataclasses import dataclass

from prompter.review.entries import learned_text
from prompter.review.incident import Finding, Incident

COMMON = "common practice, no source"
AARC = "Blakeman et al., AARC guideline, Respir Care 2022;67(2):258"
AHA_CHILD = "Topjian et al., 2020 AHA Guidelines Part 4, Circulation 2020;142(suppl 2):S469"
AHA_ADULT = "Panchal et al., 2020 AHA Guidelines Part 3, Circulation 2020;142(suppl 2):S366"


@dataclass(frozen=True, slots=True)
class Line:
    """One of the ten lines: what it is about, and the sentence."""

    term: str
    text: str


@dataclass(frozen=True, slots=True)
class TimeRow:
    """A time or rate beside its limit. verdict: 'within', 'over', 'under' or empty (no limit, or it did not happen)."""

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
    return f"no {many or one + 's'}" if not number else f"{number} {one if number == 1 else many or one + 's'}"


def _how(finding: Finding) -> str:
    return f"{finding.text} ({clock(finding.t_s)}{', ' + finding.how if finding.how else ''})"


def _sentence(parts: Iterable[str]) -> str:
    text = "; ".join(part for part in parts if part)
    return text[:1].upper() + text[1:] + "." if text else ""


def ten_lines(incident: Incident) -> list[Line]:
    """CLINICAL section 11 in ten lines; each says so if nothing is known."""
    return [
        Line("How it ended", _ended(incident)),
        Line("What was wrong, and who said so", _wrong(incident)),
        Line("Longest time without a paced breath", _longest(incident)),
        Line("Breaths", _breaths(incident)),
        Line("The call", _call(incident)),
        Line("The tube", _tube(incident)),
        Line("Suction, saline, oxygen", _given(incident)),
        Line("Pushing the chest", _pushes(incident)),
        Line("Lowest numbers", _numbers(incident)),
        Line("What is uncertain", _uncertain(incident)),
    ]


OUTCOMES = {
    "better": "Breathing better, confirmed by two different answers",
    "handed over": "Handed over to the paramedics",
    "open": "Left open: nobody closed it",
}


def _ended(i: Incident) -> str:
    known = [
        f"last known: {learned_text(what, i.state[what].text)} "
        f"({clock(i.state[what].t_s)}{', ' + i.state[what].how if i.state[what].how else ''})"
        for what in ("breathing", "tube")
        if what in i.state
    ]
    last = [e for e in i.events if e.is_a("numbered", quantity="spo2")]
    number = f"last oxygen number {last[-1].text('value')} % ({clock(last[-1].t_s)})" if last else ""
    outcome = OUTCOMES.get(i.outcome, i.outcome)
    return _sentence([f"{outcome}, after {seconds(i.duration_s)}", *known, number])


def _wrong(i: Incident) -> str:
    return _sentence(_how(f) for f in i.wrong) or "Nothing was reported as wrong by name."


def _longest(i: Incident) -> str:
    gap = i.measures.longest_without_breath
    if gap is None:
        return "Breathing was never in doubt."
    return (
        f"{seconds(gap.length_s)}, from {clock(gap.from_s)} to {clock(gap.to_s)}, "
        "while breathing was not confirmed better. Breaths of the patient's own cannot be seen by the prompter."
    )


def _breaths(i: Incident) -> str:
    m = i.measures
    if m.first_breath_s is None:
        return "No breaths were paced."
    rate = f" They were paced at {m.breaths_a_minute:g} a minute" if m.breaths_a_minute else ""
    wanted = f" ({m.wanted_a_minute:g} wanted)" if rate and m.wanted_a_minute else ""
    worked_out = " Worked out from the pace, since no beat was journalled." if m.breaths_estimated else ""
    return (
        f"The first {at(m.first_breath_s)}; {times(len(m.breaths_s), 'breath')} paced in all."
        f"{rate}{wanted}{'.' if rate else ''}{worked_out}"
    )


def _call(i: Incident) -> str:
    return _sentence(
        [
            f"asked for {at(i.measures.call_asked_s, 'never')}",
            f"phone on speaker {at(i.measures.on_speaker_s, 'never reported')}",
        ]
    )


def _tube(i: Incident) -> str:
    m = i.measures
    size = i.state.get("size")
    proven = f"proven open {at(m.tube_proven_s, 'never')}"
    return _sentence(
        [
            f"out {at(m.tube_out_s)}" if m.tube_out_s is not None else "never reported out",
            f"the tube after that {proven}" if m.tube_out_s is not None else proven,
            f"in the neck at the end: {learned_text('size', size.text)}" if size else "",
            times(i.tries, "try", "tries") + " to put one in" if i.tries or m.tube_out_s is not None else "",
        ]
    )


def _given(i: Incident) -> str:
    passes = i.measures.suction
    longest = max((s.length_s for s in passes), default=0)
    depth = i.plan.get("suction", "depth_cm")
    deepest = f"to {depth} cm by the plan" if depth and passes else ""
    if i.past_depth:
        deepest = f"past the measured depth once asked for ({', '.join(clock(t) for t in i.past_depth)})"
    oxygen = i.state.get("oxygen")
    return _sentence(
        [
            times(len(passes), "suction pass", "suction passes")
            + (f", the longest {seconds(longest)}" if passes else "")
            + (f", {deepest}" if deepest else ""),
            f"saline {times(len(i.saline), 'time')}" if i.saline else "no saline reported",
            _how(Finding(oxygen.t_s, learned_text("oxygen", oxygen.text), oxygen.how)) if oxygen else "oxygen not reported",
        ]
    )


def _pushes(i: Incident) -> str:
    m = i.measures
    if not m.pushes:
        return "The chest was not pushed."
    longest = max((p.length_s for p in m.push_pauses), default=0)
    total_s = sum(p.length_s for p in m.pushes)
    return _sentence(
        [
            f"began at {clock(m.pushes[0].from_s)}, for {seconds(total_s)} in all",
            times(len(m.push_pauses), "pause") + (f", the longest {seconds(longest)}" if m.push_pauses else ""),
        ]
    )


def _numbers(i: Incident) -> str:
    oxygen, pulse = i.measures.lowest_spo2, i.measures.lowest_pulse
    return _sentence(
        [
            f"oxygen {oxygen.value} % at {clock(oxygen.t_s)}" if oxygen else "no oxygen number was said",
            f"heart rate {pulse.value} at {clock(pulse.t_s)}" if pulse else "no heart rate was said",
        ]
    )


def _uncertain(i: Incident) -> str:
    undone = f" ({', '.join(clock(t) for t in i.undone)})" if i.undone else ""
    return _sentence(
        [
            times(len(i.assumed), "step") + " assumed because nobody answered"
            + (f" ({', '.join(clock(f.t_s) for f in i.assumed[:8])}{', …' if len(i.assumed) > 8 else ''})" if i.assumed else ""),
            times(i.asked_again, "answer") + " not believed and asked again",
            times(len(i.undone), "answer") + f" taken back{undone}",
            f"nobody could be heard {', '.join(f'{clock(s.from_s)} to {clock(s.to_s)}' for s in i.deaf)}" if i.deaf else "",
            f"longest time without an answer taken: {seconds(i.quiet.length_s)}, from {clock(i.quiet.from_s)}"
            if i.quiet
            else "",
        ]
    )  # fmt: skip


def time_rows(i: Incident) -> list[TimeRow]:
    """The times that matter, with the limits the flow is held to and the guidelines' figures."""
    m, plan = i.measures, i.plan
    rows = [_within("First breath paced", m.first_breath_s, _first_breath_limit(i), COMMON)]
    gap = m.longest_without_breath
    rows.append(
        TimeRow(
            "Longest time without a paced breath", seconds(gap.length_s) if gap else "never in doubt",
            "once breaths have begun 30 s; old tube still in during a change 60 s; old tube out to breaths 45 s", COMMON,
            note="Includes the time to the first breath; which of the three limits holds depends on the step.",
        )
    )  # fmt: skip
    after_s = plan.call_after_s()
    rows.append(
        _within(
            "Call asked for", m.call_asked_s, None if after_s is None else after_s + 5, COMMON,
            note=f"The plan asks after {after_s:g} s, or at once on bad news." if after_s is not None else "",
        )
    )  # fmt: skip
    rows.append(TimeRow("Phone on speaker", _when(m.on_speaker_s), "none", ""))
    if m.tube_out_s is not None:
        after = next((t for t in m.breaths_s if t >= m.tube_out_s), None)
        rows.append(TimeRow("Tube out", _when(m.tube_out_s), "none", ""))
        rows.append(
            _within("From tube out to the next breath", None if after is None else after - m.tube_out_s, 45, COMMON)
        )
    rows.append(TimeRow("Tube proven open", _when(m.tube_proven_s), "none", ""))
    ordered = plan.get("suction", "seconds")
    for number, span in enumerate(m.suction, 1):
        rows.append(
            _within(
                f"Suction pass {number} ({clock(span.from_s)})", span.length_s, 15, AARC,
                note=f"The plan says {ordered} s." if ordered else "",
            )
        )  # fmt: skip
    if m.breaths_a_minute is not None:
        rows.append(_rate_row(i, m.breaths_a_minute))
    return rows


def _when(t_s: float | None) -> str:
    return "did not happen" if t_s is None else clock(t_s)


def _first_breath_limit(i: Incident) -> float:
    """CLINICAL section 10, for a caregiver who never answers."""
    if i.plan.ventilated:
        return 20
    return 60 if i.plan.get("tube", "sits_on_it") or i.plan.get("tube", "inner_tube") in (True, "yes") else 45


def _within(name: str, found_s: float | None, limit_s: float | None, source: str, note: str = "") -> TimeRow:
    verdict = "" if found_s is None or limit_s is None else "within" if found_s <= limit_s else "over"
    return TimeRow(
        name,
        "did not happen" if found_s is None else seconds(found_s),
        "none known" if limit_s is None else f"{limit_s:g} s",
        source if limit_s is not None else "",
        verdict,
        note,
    )


def _rate_row(i: Incident, rate: float) -> TimeRow:
    adult = i.plan.get("patient", "age_group") == "adult"
    low, high = (10.0, 10.0) if adult else (20.0, 30.0)
    verdict = "" if not i.plan.get("patient", "age_group") else (
        "under" if rate < low - 0.5 else "over" if rate > high + 0.5 else "within"
    )
    limit = "10 a minute (adult)" if adult else "20 to 30 a minute (infant, child)"
    return TimeRow("Breaths paced", f"{rate:g} a minute", limit, AHA_ADULT if adult else AHA_CHILD, verdict)


def refill(i: Incident) -> list[str]:
    """What to refill, change or check before the next time."""
    found = []
    if i.measures.suction:
        found.append(f"Suction catheters: {times(len(i.measures.suction), 'pass', 'passes')}; check the machine's battery and jar.")
    if i.saline:
        found.append(f"Saline: {times(len(i.saline), 'dose')} used.")
    size = i.state.get("size")
    if size and i.measures.tube_out_s is not None:
        found.append(f"Tubes: {learned_text('size', size.text)} went in; put a new spare of each size in the bag.")
    elif i.tries:
        found.append("Tubes: a spare was opened; put a new one of each size in the bag.")
    oxygen = i.state.get("oxygen")
    if oxygen:
        found.append(
            "Oxygen: it was reported empty or absent; fill or change the cylinder."
            if oxygen.text == "none"
            else f"Oxygen: on for about {seconds(max(0.0, i.duration_s - oxygen.t_s))}; read the gauge."
        )
    if i.faults:
        found.append(f"The prompter: {times(len(i.faults), 'fault')}; run its self-test.")
    return found or ["Nothing was reported as used."]
