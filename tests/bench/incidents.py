"""Makes thousands of journals of many homes: simulated emergencies of the real core, varied by seed."""

import hashlib
import json
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import rfc8785

from prompter.events import Answered, Record, Unclear
from prompter.flow.reading import load_flow
from prompter.opening import opened_record
from prompter.practise.world.case import kind_of, plan_of, variant_of
from prompter.practise.world.emergency import Emergency
from prompter.practise.world.laid_out import LaidOut, lay_out
from prompter.practise.world.parameters import the_parameters
from prompter.resources import flow_file

NAMES = ("Juno", "Avel", "Mira", "Tove", "Oskar", "Lien", "Pavo", "Suri")
STREETS = ("Lantern Row", "Mill Lane", "Harbour Steps", "Orchard Way", "Ferry Road")
FIRST_DAY = datetime(2025, 1, 6, tzinfo=UTC)
DAYS = 600


@dataclass(frozen=True, slots=True)
class Told:
    """One simulated emergency: its opening record, and (ms, record) of what followed."""

    opened: dict[str, Any]
    events: list[tuple[int, dict[str, Any]]]


class Recorded(Emergency):
    """An emergency that also writes down what a session would."""

    def __init__(self, seed: int, laid_out: LaidOut) -> None:
        self.told: list[tuple[int, dict[str, Any]]] = []
        self._beats = 0
        super().__init__(seed, laid_out, the_parameters())

    def _feed(self, event: Record, spoken: Any = None) -> None:
        ms = self._session_ms()
        if isinstance(event, Answered | Unclear) and getattr(event, "how", "spoken") == "spoken":
            self._heard(ms, event)
        self._tell(ms, event)
        super()._feed(event, spoken)

    def _carry_out(self, cue: Record) -> None:
        self._tell(self._last_ms, cue)
        super()._carry_out(cue)

    def breath_tone(self) -> None:
        self._beats += 1
        beat = {"kind": "beat", "what": "breaths", "index": self._beats, "sound_ms": self._session_ms()}
        self.told.append((self._last_ms, beat))
        super().breath_tone()

    def heard(self, say: Any) -> None:
        self.told.append((self._last_ms, {"kind": "prompt started", "cue": say.cue}))
        super().heard(say)

    def _tell(self, ms: int, record: Record) -> None:
        fields = record.to_record()
        fields.pop("at_ms")
        self.told.append((ms, {name: plain(value) for name, value in fields.items()}))

    def _heard(self, ms: int, event: Answered | Unclear) -> None:
        words = event.wording if isinstance(event, Answered) else event.heard
        self.told.append((ms, {
            "kind": "heard", "heard": words, "answer": event.answer, "believed": isinstance(event, Answered),
            "score": plain(event.score), "margin": 1.5, "runner_up": None, "text": words, "said": None, "ears": ["whisper"],
            "onset_ms": max(0, ms - 1300), "ended_ms": max(0, ms - 300), "decide_ms": 210, "step": self.machine.step,
            "sound": None, "number": None, "why": "", "window": 400,
        }))  # fmt: skip


def stories(count: int, seed: int, lasts_events: tuple[int, int] = (150, 450)) -> list[Told]:
    """So many simulated emergencies, neither very short nor very long ones."""
    p, path = the_parameters(), flow_file("breathing-trouble")
    flow, text = load_flow(path), path.read_text("utf-8")
    laid: dict[int, LaidOut] = {}
    found: list[Told] = []
    number = seed * 1_000_000
    while len(found) < count:
        number += 1
        kind = kind_of(number, p)
        if kind not in laid:
            laid[kind] = lay_out(flow, p, kind)
        run = Recorded(number, laid[kind])
        outcome = run.run()
        if not lasts_events[0] <= len(run.told) <= lasts_events[1]:
            continue
        variant = variant_of(plan_of(p.tables["patients"][kind]))
        opened = opened_record(
            flow_text=text, plan_text="", plan_name="plan.yaml", variant=variant, live=True, seed=None,
            voice="v", ears=["whisper"], settings={}, approval={"plan": "approved", "flow": "approved"},
        )  # fmt: skip
        end = {"kind": "closed", "outcome": run.machine.outcome or "open", "why": str(outcome.end)[:40]}
        found.append(Told(opened, [*run.told, (run.told[-1][0], end)]))
    return found


def journal_bytes(told: Told, rng: random.Random, home: int) -> bytes:
    """The story as another home's: another name and address, day, pace of the caregiver, and version."""
    name = NAMES[home % len(NAMES)]
    address = f"{home + 1} {STREETS[home % len(STREETS)]}, Exampleton"
    old_name, old_address = (told.opened["variant"]["words"].get(k, "") for k in ("name", "address"))
    opened = dict(told.opened)
    words = opened["variant"]["words"] | {"name": name, "address": address}
    opened["variant"] = {**opened["variant"], "words": words}
    opened["plan_text"] = f"patient: {{ name: {name} }}\nplace: {{ address: {address} }}\n"
    day = rng.randrange(DAYS)
    newer = day >= DAYS // 2
    opened["flow_text"] = opened["flow_text"].replace("version: 1", "version: 2") if newer else opened["flow_text"]
    began = FIRST_DAY + timedelta(days=day, seconds=rng.randrange(86_400))
    slower = rng.uniform(0.85, 1.1) if newer else rng.uniform(0.9, 1.4)

    lines, prev = [], ""
    for seq, (ms, record) in enumerate([(0, opened), *told.events], 1):
        ms = round(ms * slower)
        at = (began + timedelta(milliseconds=ms)).isoformat(timespec="milliseconds")
        if "text" in record and record["text"]:
            text = str(record["text"])
            for old, new in ((old_name, name), (old_address, address)):
                text = text.replace(old, new) if old else text
            record = {**record, "text": text}
        event = {"v": 1, "seq": seq, "at": at, "mono_ms": ms, "prev": prev, **record}
        event["check"] = hashlib.sha256(canonical(event)).hexdigest()[:16]
        line = canonical(event)
        prev = hashlib.sha256(line).hexdigest()
        lines.append(line)
    return b"\n".join(lines) + b"\n"


def plain(value: Any) -> Any:
    """Numbers that every writer of JSON writes alike."""
    if isinstance(value, float):
        return int(value) if value == int(value) else round(value, 3)
    return value


_encoder = msgspec.json.Encoder(order="sorted")


def canonical(event: dict[str, Any]) -> bytes:
    """RFC 8785 at speed: these events' keys are ASCII, and their numbers plain (checked in `write`)."""
    return _encoder.encode(event)


def write(folder: Path, count: int, seed: int, homes: int = 300, distinct: int = 300, damaged: float = 0.005) -> dict[str, int]:
    """Writes `count` journals below `folder`, a subfolder a home.

    `damaged`: share in which one byte is changed. Returns counts.
    """
    told = stories(min(distinct, count), seed)
    for one in told[:20]:
        for _, record in one.events:
            assert canonical(record) == rfc8785.dumps(record), record
    events = broken = 0
    for number in range(count):
        rng = random.Random(f"{seed} {number}")
        home = rng.randrange(homes)
        data = journal_bytes(told[number % len(told)], rng, home)
        events += data.count(b"\n")
        if rng.random() < damaged:
            at = rng.randrange(len(data))
            data = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
            broken += 1
        place = folder / f"home-{home:03d}"
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{number:06d}.jsonl").write_bytes(data)
    told_counts = {"journals": count, "events": events, "damaged": broken}
    (folder / "made.json").write_text(json.dumps(told_counts))
    return told_counts
