"""What the record cannot tell and the family may know: questions for the talk afterwards."""

from prompter.review.account import clock, seconds
from prompter.review.incident import Finding, Incident

MOST = 12
"""More are not asked in one talk; the table of events has the rest. Common practice, no source."""


def questions(i: Incident) -> list[str]:
    """Questions in plain words, the weightiest first; each names its time."""
    asked: list[str] = [
        "What happened before the prompter was started, and how long was that?"
    ]
    asked += [
        f"{clock(e.t_s - (e.number('gap_ms') or 0.0) / 1000)} to {clock(e.t_s)}: the prompter had"
        " stopped. Were breaths given meanwhile, and did anything else happen?"
        for e in i.events
        if e.kind == "resumed"
    ]
    gap = i.measures.longest_without_breath
    if gap is not None and gap.length_s > 30:
        asked.append(
            f"{clock(gap.from_s)} to {clock(gap.to_s)}: no breath was paced for"
            f" {seconds(gap.length_s)}. Did the patient breathe by themselves, or were breaths given"
            " without the beat?"
        )
    if i.measures.on_speaker_s is None:
        asked.append("Nobody said that the phone was on speaker. Was the call made, when, and by whom?")
    if i.measures.tube_out_s is not None and i.measures.tube_proven_s is None:
        asked.append(
            f"The tube was out at {clock(i.measures.tube_out_s)} and never proven open after that."
            " Which tube is in now, and who looked?"
        )
    if i.measures.lowest_spo2 is None:
        asked.append("No oxygen number was said. Was an oximeter on, and what did it show?")
    asked += [
        f"{clock(span.from_s)} to {clock(span.to_s)}: the prompter could hear nobody. What was said and done?"
        for span in i.deaf
    ]
    if i.outcome == "open":
        asked.append("The record was not closed. How did it end, and who took over?")
    asked += [
        f"{clock(t_s)}: an answer was taken back. What was right?" for t_s in i.undone
    ]
    asked += [
        f"{clock(f.t_s)}: nobody answered{_asked(i, f)}, and the prompter went on {_way(f)}. What was really so?"
        for f in i.assumed
    ]
    return asked[:MOST]


def _way(found: Finding) -> str:
    """Steps in words, for who has never read the protocol."""
    begin, arrow, end = found.text.replace("-", " ").partition(" → ")
    return f"from “{begin}” to “{end}”" if begin and arrow else f"({found.text})"


def _asked(i: Incident, found: Finding) -> str:
    """The question of this step that nobody answered, if one was said."""
    step = found.text.partition(" → ")[0]
    said = [e.text("text") for e in i.events if e.kind == "say" and e.t_s <= found.t_s and e.text("step") == step]
    asked = [text for text in said if text.endswith("?")]
    return f" “{asked[-1]}”" if asked else ""
