"""Puts one case through the hearing on the path that live sound takes; what came of it is a row."""

from pathlib import Path
from typing import Any

import numpy as np
from cases import Case, Group
from wordings import known, swapped

from prompter import limits
from prompter.hear import thresholds
from prompter.hear.clearness import rises_db
from prompter.hear.detector import SpeechDetector
from prompter.hear.ears import embedded_ear
from prompter.hear.endpoint import BLOCK_MS, Endpointer
from prompter.hear.hearing import Heard, Hearing, Report, SpeechOver
from prompter.hear.scorer import InlineScorer

Row = dict[str, Any]


class ModelLost(Exception):
    """The second model was lost: what came next would be measured with the first alone."""


class Listener:
    """One ear, kept from case to case."""

    def __init__(self, cache: Path) -> None:
        self.ear = embedded_ear(cache)
        self.ear.load()
        self._detector = SpeechDetector()
        self.hearing().prepare()

    def hearing(self) -> Hearing:
        self._detector.reset()
        return Hearing([self.ear], InlineScorer(), known(), Endpointer(self._detector))

    def listen(self, case: Case) -> list[Report]:
        """Everything that is reported, with the computing times of this machine."""
        hearing, at_ms, found = self.hearing(), 0, []
        expecting = list(case.expecting)
        sound = case.spoken.sound
        sound = sound[: len(sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES]
        for block in sound.reshape(-1, limits.BLOCK_SAMPLES):
            if expecting and expecting[0][0] <= at_ms:
                _, allowed, asks_number = expecting.pop(0)
                hearing.expect(allowed, asks_number)
            at_ms += BLOCK_MS
            found += hearing.push(block.astype(np.float32), at_ms)
        while hearing.waiting:
            at_ms += BLOCK_MS
            found += hearing.push(np.zeros(limits.BLOCK_SAMPLES, np.float32), at_ms)
        return found

    def row(self, group: Group, number: int) -> Row:
        """What became of case `number` of `group`."""
        case = group.case(number)
        reports = self.listen(case)
        if lost := self.ear.spared():
            raise ModelLost(f"{lost[0][0]} was lost ({lost[0][1]})")
        heard = [_entry(r, case) for r in reports if isinstance(r, Heard)]
        row: Row = {
            "group": group.name, "number": number, "said": case.said, "right": case.right,
            "outcome": outcome(heard, case.right), "heard": heard,
            "swapped": any(
                h["believed"] and swapped(case.right, h["answer"]) for h in heard if case.right
            ),
        }  # fmt: skip
        if case.right is not None:
            row |= _times(reports, case)
        if case.lines:
            row["lines"] = [text for _, _, text in case.lines]
        return row | case.about


def outcome(heard: list[Row], right: str | None) -> str:
    """'right' | 'wrong' | 'asked again' | 'not heard'; without an answer 'taken' or 'refused'."""
    believed = [h["answer"] for h in heard if h["believed"]]
    if right is None:
        return "taken" if believed else "refused"
    if any(answer != right for answer in believed):
        return "wrong"
    if believed:
        return "right"
    return "asked again" if heard else "not heard"


def _entry(report: Heard, case: Case) -> Row:
    """`spare`: log-odds above what this answer's risk and the noise need; None if the score was not the point."""
    risk = report.heard.risk if report.heard else "branch"
    least = thresholds.LEAST[risk]
    if report.heard and report.window > limits.WINDOW_FRAMES:
        least += thresholds.LONG_WINDOW_EXTRA
    rises = rises_db(report.sound)
    least += thresholds.extra_in_noise(rises)
    by_score = report.score is not None and report.why in ("", "not sure enough")
    spare = round(report.score - least, 2) if by_score else None
    if report.believed and spare is not None:
        spare = max(0.0, spare)  # numbers have a lesser threshold where the decode says the same
    number = " ".join(map(str, report.number)) if report.number else ""
    meanwhile = [t for a, b, t in case.lines if a < report.ended_ms and b > report.onset_ms]
    return {
        "answer": report.heard.answer if report.heard else f"number {number}" if number else "",
        "wording": report.heard.text if report.heard else number,
        "believed": report.believed, "risk": risk, "why": report.why, "text": report.text,
        "score": None if report.score is None else round(report.score, 2),
        "spare": spare,
        "margin": None if report.margin is None else round(report.margin, 2),
        "runner_up": report.runner_up, "window": report.window, "decide_ms": report.decide_ms,
        "rises_db": round(rises, 1), "at_ms": report.at_ms, "onset_ms": report.onset_ms, "ended_ms": report.ended_ms,
        **({"meanwhile": meanwhile} if meanwhile else {}),
    }  # fmt: skip


def _times(reports: list[Report], case: Case) -> Row:
    """From the last sound: `end_ms` until its end was found, `reply_ms` until decided.

    `early`: an end was found before the last sound, so the phrase was cut.
    """
    ends_ms, starts_ms = case.spoken.ends_ms, case.spoken.starts_ms
    overs = [r.at_ms for r in reports if isinstance(r, SpeechOver) and r.at_ms > starts_ms]
    decided = [r.at_ms for r in reports if isinstance(r, Heard) and r.at_ms > ends_ms]
    after = [at_ms for at_ms in overs if at_ms >= ends_ms]
    return {
        "early": any(at_ms < ends_ms for at_ms in overs),
        "end_ms": round(after[0] - ends_ms) if after else None,
        "reply_ms": round(decided[0] - ends_ms) if decided else None,
    }
