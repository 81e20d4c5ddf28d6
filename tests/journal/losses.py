"""Runs journals through power losses and damage, and counts what may not happen (tests and benches)."""

import importlib.util
import random
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType

from prompter.errors import CannotDo
from prompter.journal import Journal, read, read_bytes
from prompter.journal.line import Chain

NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)
APPENDS_MOST = 12


def _power() -> ModuleType:
    name = "journal_power"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("power.py"))
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@dataclass
class Lost:
    """`losses` of power; `events`: acknowledged ones that were gone; `unreadable`: journals that could
    not be gone on with though something of them had been acknowledged."""

    losses: int = 0
    events: int = 0
    unreadable: int = 0


def power_losses(folder: Path, count: int, seed: int, **layer: bool) -> Lost:
    """One journal after the other, each written on after each loss until it has had eight."""
    power, lost = _power(), Lost()
    while lost.losses < count:
        rng = random.Random(f"{seed} {lost.losses}")
        path = folder / f"{lost.losses}.jsonl"
        acknowledged: list[str] = []
        for _ in range(min(8, count - lost.losses)):
            lost.losses += 1
            layer_now = power.Power(rng, rng.randint(0, 4 + 4 * APPENDS_MOST), **layer)
            with power.under(layer_now):
                _write(path, rng, acknowledged)
            if not _still_there(path, acknowledged, lost):
                break
        for left in folder.glob(f"{path.stem}.*"):
            left.unlink()
    return lost


def _write(path: Path, rng: random.Random, acknowledged: list[str]) -> None:
    try:
        journal = Journal.reopen(path)
    except CannotDo:  # not there, or empty: nothing was acknowledged, which is checked after each loss
        path.unlink(missing_ok=True)
        journal = Journal.create(path, {"kind": "opened"}, NOW)
        acknowledged.append("opened")
    try:
        for n in range(rng.randint(0, APPENDS_MOST)):
            text = f"{len(acknowledged)} " + "x" * rng.choice([3, 40, 600])
            journal.append({"kind": "note", "text": text}, NOW, n)
            acknowledged.append(text)
    finally:
        journal.close()


def _still_there(path: Path, acknowledged: list[str], lost: Lost) -> bool:
    """Every acknowledged event is there, in order; others may be."""
    if not acknowledged:
        return True
    if not path.exists():
        lost.events += len(acknowledged)
        return False
    reading = read(path)
    there = iter(event.get("text", event["kind"]) for event in reading.events if event["kind"] != "fault")
    gone = sum(text not in there for text in acknowledged)
    lost.events += gone
    if gone or not reading.intact and (not reading.torn_tail or reading.missing):
        lost.unreadable += not gone
        return False
    # Written, but cut off before anybody was told: it counts from now on.
    acknowledged[:] = [e.get("text", e["kind"]) for e in reading.events if e["kind"] != "fault"]
    return True


def sample(events: int, seed: int = 0) -> bytes:
    """A sound, closed journal."""
    rng, chain = random.Random(seed), Chain()
    records = [{"kind": "opened", "plan_text": "name: Juno\n" * 30}]
    records += [
        {"kind": rng.choice(["say", "heard", "moved", "beat"]), "text": f"{n} é", "score": rng.random()} for n in range(events)
    ]
    records.append({"kind": "closed", "outcome": "better"})
    return b"".join(chain.next_line(r, NOW, 10 * n) for n, r in enumerate(records))


def damaged(sound: bytes, rng: random.Random) -> bytes:
    """Bits flipped, bytes written over, cut, pieces doubled or left out, lines swapped, moved, doubled."""
    what, data, lines = rng.randrange(8), bytearray(sound), sound.splitlines(keepends=True)
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    at, size = rng.randrange(len(data)), rng.choice([1, 7, 512, 4096])
    if what == 0:
        for _ in range(rng.choice([1, 1, 3, 50])):
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        return bytes(data)
    if what == 1:
        data[at : at + size] = rng.choice([bytes(size), rng.randbytes(size)])
        return bytes(data)
    if what == 2:
        return sound[:at] if rng.random() < 0.7 else b"".join(lines[:a])
    if what == 3:
        return sound[:at] + sound[at + size :]
    if what == 4:
        return sound[:at] + sound[at : at + size] + sound[at:]
    if what == 5:
        lines[a], lines[b] = lines[b], lines[a]
    elif what == 6:
        lines.insert(b, lines[a])
    else:
        lines.insert(b, lines.pop(a))
    return b"".join(lines)


def harmless(sound: bytes, now: bytes) -> bool:
    """Detected with the true events before it, or a beginning of the true journal that is not closed."""
    true, reading = read_bytes(sound).events, read_bytes(now)
    beginning = reading.events == true[: len(reading.events)]
    return beginning and (not reading.intact or now == sound or not reading.closed)
