"""Makes a realistic journal, so that the account can be tested before any session has run."""

from datetime import datetime, timedelta, timezone
from pathlib import Path

from prompter.journal.head import Head, HeadFile
from prompter.journal.line import Chain, digest

START = datetime(2026, 3, 14, 2, 41, 7, 250_000, timezone(timedelta(hours=1)))

PLAN = """\
demonstration: yes
patient: { name: Juno, age_group: child, weight_kg: 14, act_below_saturation: 92 }
tube: { inside_mm: 4.5, inner_tube: no, sits_on_it: [valve] }
suction: { depth_cm: 9, seconds: 5 }
helper: { usual: no, name: none }
ventilator: no
approval: { approved_by: "Doctor Imre Vale, an invented clinician", approved_on: 2026-01-20, review_due: 2031-01-20 }
"""
FLOW = """\
flow: breathing-trouble
version: 1
approval: { by: nobody yet, on: null }
"""


class Story:
    """Collects events at seconds since the start, and writes them as a journal in their order."""

    def __init__(self) -> None:
        self.events: list[tuple[float, dict]] = []
        self._cue = 0

    def at(self, t_s: float, kind: str, **fields: object) -> "Story":
        self.events.append((t_s, {"kind": kind, **fields}))
        return self

    def say(self, t_s: float, text: str, step: str, role: str = "care") -> "Story":
        self._cue += 1
        length_s = 0.4 + 0.3 * len(text.split())
        self.at(t_s, "say", at_ms=round(t_s * 1000), cue=self._cue, text=text, role=role, step=step)
        self.at(t_s + 0.01, "prompt started", cue=self._cue)
        return self.at(
            t_s + length_s,
            "prompt ended",
            at_ms=round((t_s + length_s) * 1000),
            cue=self._cue,
            cut=False,
        )

    def hears(
        self, t_s: float, wording: str, answer: str, score: float = 0.93, believed: bool = True
    ) -> "Story":
        """Somebody speaks for a second, ending at `t_s`."""
        self.at(t_s - 1, "speech started", at_ms=round((t_s - 1) * 1000))
        self.at(t_s, "speech ended", at_ms=round(t_s * 1000))
        self.at(
            t_s + 0.3,
            "heard",
            onset_ms=round((t_s - 1) * 1000),
            ended_ms=round(t_s * 1000),
            heard=wording,
            answer=answer,
            believed=believed,
            score=score,
            margin=0.41,
            runner_up="going up",
            text=wording,
            decide_ms=212,
            ears=["whisper"],
            step="",
            sound=None,
            said=wording,
        )
        at_ms = round((t_s + 0.3) * 1000)
        if believed:
            return self.at(
                t_s + 0.3,
                "answered",
                at_ms=at_ms,
                answer=answer,
                wording=wording,
                how="spoken",
                score=score,
            )
        return self.at(t_s + 0.3, "unclear", at_ms=at_ms, heard=wording, answer=answer, score=score)

    def moved(
        self,
        t_s: float,
        source: str,
        target: str,
        how: str,
        answer: str | None = None,
        machine: str = "care",
    ) -> "Story":
        return self.at(
            t_s,
            "moved",
            machine=machine,
            source=source,
            target=target,
            how=how,
            answer=answer,
            note="",
        )

    def learned(self, t_s: float, what: str, value: str, how: str) -> "Story":
        return self.at(t_s, "learned", what=what, value=value, how=how)

    def paced(self, t_s: float, what: str, per_minute: float, count: int) -> "Story":
        self._cue += 1
        self.at(
            t_s,
            "pace",
            cue=self._cue,
            what=what,
            per_minute=per_minute,
            count=count,
            pushes_a_cycle=0,
            breaths_a_cycle=0,
        )
        for index in range(count):
            self.at(t_s + index * 60 / per_minute, "beat", what=what, index=index)
        return self

    def as_bytes(self) -> bytes:
        """The journal's lines, in the order of their times."""
        chain = Chain()
        return b"".join(
            chain.next_line(record, START + timedelta(seconds=t_s), round(t_s * 1000) + 500)
            for t_s, record in sorted(self.events, key=lambda event: event[0])
        )

    def write(self, path: Path) -> Path:
        """A closed journal with its head, without a disk that flushes each event: tests wait for it."""
        data = self.as_bytes()
        path.write_bytes(data)
        path.chmod(0o600)
        head = HeadFile(path)
        lines = data.splitlines()
        head.write(Head(len(lines), digest(lines[-1])))
        head.close()
        return path


def opened(live: bool = False) -> dict[str, object]:
    return {
        "version": "0.1.0",
        "plan_text": PLAN,
        "flow_text": FLOW,
        "flow": "breathing-trouble",
        "seed": None if live else 7,
        "live": live,
        "settings": {"compute": "measured"},
        "ears": ["whisper"],
        "voice": "en-gb",
    }


def blocked_tube(live: bool = False) -> Story:
    """A blocked tube, alone: suction will not pass, the tube is changed, the chest rises again."""
    s = Story().at(-0.4, "opened", **opened(live)).at(0, "started", at_ms=0)
    s.say(0.2, "Is the tube in the neck?", "tube-check", "question").hears(
        3.6, "still in place", "in place"
    )
    s.moved(3.9, "tube-check", "valve-off", "spoken", "in place").learned(
        3.9, "tube", "unknown", "spoken"
    )
    s.say(4.1, "I heard: still in place. Take off the cap or valve.", "valve-off").hears(
        10.2, "it's off", "done"
    )
    s.moved(10.5, "valve-off", "suction", "spoken", "done")
    s.say(10.7, "Suction now. Depth: 9.", "suction").paced(13, "suction", 60, 5)
    s.hears(16.6, "hmm no", "won't pass", 0.38, believed=False)
    s.moved(18, "suction", "passed", "timed").say(18.1, "Out now.", "passed")
    s.say(19.2, "Did the catheter go all the way?", "passed", "question").hears(
        23.5, "it's blocked", "won't pass"
    )
    s.learned(23.8, "passed", "no", "spoken").moved(
        23.8, "passed", "hold-tube", "spoken", "won't pass"
    )
    s.say(24, "I heard: catheter blocked. Roll under the shoulders.", "hold-tube")
    s.moved(28, "hold-tube", "in-hand", "timed").say(
        28.2, "New tube in your hand, guide inside.", "in-hand"
    )
    s.moved(30, "not yet", "asked", "timed", machine="call").say(
        31.5, "Call on speaker: 5 5 5, 0 1 4 2.", "in-hand", "call"
    )
    s.hears(41, "got the tube", "tube ready").moved(41.3, "in-hand", "ties", "spoken", "tube ready")
    s.say(41.5, "Ties off.", "ties").at(
        46.4, "answered", answer="done", wording="key", how="keyed", score=None
    )
    s.moved(46.4, "ties", "tube-out", "keyed", "done")
    s.say(46.6, "Pull out the old one, along its curve.", "tube-out").hears(52, "it's off", "done")
    s.learned(52.3, "tube", "out", "spoken").moved(52.3, "tube-out", "tube-in", "spoken", "done")
    s.say(52.5, "New tube in, along the curve.", "tube-in").learned(52.5, "tries", "1", "timed")
    s.say(54.9, "Emergency call, on speaker: 5 5 5, 0 1 4 2.", "tube-in", "call")
    s.hears(63, "it's stuck", "stuck").say(63.5, "Do not force. Once more.", "tube-in-again")
    s.moved(63.3, "tube-in", "tube-in-again", "spoken", "stuck")
    s.hears(70, "it's through", "tube in").moved(
        70.3, "tube-in-again", "guide-out", "spoken", "tube in"
    )
    s.learned(70.3, "tube", "unknown", "spoken").learned(70.3, "size", "same", "spoken")
    s.say(70.5, "I heard: tube is through. Pull the guide out.", "guide-out").say(
        76.5, "Pull the guide out.", "guide-out"
    )
    s.moved(84, "guide-out", "prove", "assumed").say(
        84.2, "Hold the tube. Catheter down the tube. Does it go?", "prove", "question"
    )
    s.hears(90, "all the way", "passed").learned(90.3, "tube", "proven open", "spoken").learned(
        90.3, "passed", "yes", "spoken"
    )
    s.moved(90.3, "prove", "bag-after", "spoken", "passed").say(
        90.5, "Bag on. Squeeze with me.", "bag-after"
    )
    s.paced(93, "breaths", 20, 8).hears(101, "phone on speaker", "on speaker")
    s.moved(101.3, "asked", "on speaker", "spoken", "on speaker", machine="call")
    s.say(101.6, "For the operator: breathes through a tube in the neck.", "bag-after", "call")
    s.say(108, "Is the chest going up?", "bag-after", "question").hears(112, "going up", "rising")
    s.learned(112.3, "rise", "yes", "spoken").moved(
        112.3, "bag-after", "tie", "spoken", "rising"
    ).at(117.4, "pace stopped")
    s.say(112.5, "I heard: chest rises. Keep holding the tube.", "tie").moved(
        119, "tie", "look", "timed"
    )
    s.at(119.5, "numbered", quantity="spo2", value=84, how="spoken", score=0.88)
    s.say(120, "Is the chest moving by itself?", "look", "question").hears(
        124, "still struggling", "not better"
    )
    s.learned(124.3, "breathing", "trouble", "spoken").moved(
        124.3, "look", "keep-bagging", "spoken", "not better"
    )
    s.say(124.5, "Bag on. Keep squeezing.", "keep-bagging").paced(127, "breaths", 20, 21)
    s.at(150, "failed", part="microphone", detail="unplugged").at(
        161, "recovered", part="microphone"
    )
    s.at(171, "numbered", quantity="spo2", value=90, how="keyed", score=None)
    s.at(190, "pace stopped").moved(190, "keep-bagging", "look", "timed")
    s.say(190.2, "Is the chest moving by itself?", "look", "question")
    s.hears(195, "that's better", "better", 0.71, believed=False).say(
        195.6, "Breathing well? Say it twice.", "look", "echo"
    )
    s.hears(200, "breathing fine", "better", 0.97).at(
        203, "numbered", quantity="spo2", value=95, how="spoken", score=0.9
    )
    s.at(203.5, "numbered", quantity="pulse", value=138, how="spoken", score=0.9)
    s.learned(205, "breathing", "better", "spoken").moved(205, "look", "watch", "spoken", "better")
    s.say(205.3, "Stay close. Watch the chest.", "watch").say(
        218, "Still fine?", "watch", "question"
    )
    s.hears(222, "still fine", "still fine").hears(231, "that was wrong", "wrong").hears(
        238, "still fine", "still fine"
    )
    s.at(240, "refused", what="tube ready", why="nothing waits for it here")
    s.hears(262, "paramedics are here", "paramedics").say(
        262.6, "Keep going until they take over.", "watch"
    )
    s.hears(290, "they have taken over", "taken over").hears(
        296, "they have taken over", "taken over"
    )
    s.moved(296.3, "watch", "handed-over", "spoken", "taken over").moved(
        296.3, "on speaker", "ended", "spoken", machine="call"
    )
    return s.at(300, "closed", outcome="handed over")
