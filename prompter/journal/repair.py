"""Copies what is sound of a damaged journal into a new one; the damaged file is evidence and stays as it is."""

import contextlib
import hashlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from prompter.errors import CannotDo
from prompter.journal.keys import PUBLIC, sealer
from prompter.journal.line import FRAME, BadLine, Chain, parse, whole
from prompter.journal.reading import clear_bytes, read_sound, sound_lines
from prompter.journal.sealing import Sealer, drop_own_key, is_sealed
from prompter.journal.store import Journal

SALVAGED = "salvaged_seq"
"""On a line from behind the damage: the number it had. It follows no line that vouches for it."""


@dataclass(frozen=True, slots=True)
class Repaired:
    """`kept`: events before the damage, as they were. `salvaged`: sound lines from behind it. `lost`:
    acknowledged events that are nowhere, as far as the numbers tell."""

    path: Path
    kept: int
    salvaged: int
    lost: int
    problem: str


def repair(path: Path, out: Path) -> Repaired:
    """Writes what is sound of `path` to `out`, a whole journal. Raises CannotDo.

    Lines before the damage are copied byte for byte. Then one line `repaired` says where from and
    what was wrong; then follow the lines from behind the damage that are whole by their own check,
    in the order in which they were numbered.
    """
    reading = read_sound(path)
    if reading.intact:
        raise CannotDo("is whole; there is nothing to repair.", str(path))
    try:
        data, lines = path.read_bytes(), sound_lines(path, reading)
        rest = clear_bytes(path).split(b"\n")[len(lines) :]
    except OSError as error:
        raise CannotDo(f"cannot be read ({error.strerror})", str(path)) from error
    behind = _whole_lines(rest, len(reading.events))
    last = max([len(reading.events) + reading.missing, *(event["seq"] for event in behind)])
    lost = last - len(reading.events) - len(behind)
    chain = Chain(len(reading.events), reading.last_digest)
    at, mono_ms = datetime.fromisoformat(reading.events[-1]["at"]), reading.events[-1]["mono_ms"]
    about = {
        "kind": "repaired", "source": path.name, "sha256": hashlib.sha256(data).hexdigest(),
        "problem": reading.problem, "kept": len(reading.events), "salvaged": len(behind), "lost": lost,
    }  # fmt: skip
    lines.append(chain.next_line(about, at, mono_ms))
    for event in behind:
        fields = {k: v for k, v in event.items() if k not in FRAME}
        at, mono_ms = datetime.fromisoformat(event["at"]), event["mono_ms"]
        lines.append(chain.next_line({**fields, SALVAGED: event["seq"]}, at, mono_ms))
    Journal.create_with(out, lines, chain, sealer=_sealer_of(path, data)).close()
    drop_own_key(out)
    return Repaired(out, len(reading.events), len(behind), lost, reading.problem)


def _sealer_of(path: Path, data: bytes) -> Sealer | None:
    """What was encrypted stays so."""
    if not is_sealed(data):
        return None
    found = sealer()
    if found is None:
        raise CannotDo("is encrypted, and the public key is not here.", str(path), f"Put {PUBLIC} where the plan is.")
    return found


def _whole_lines(lines: list[bytes], after: int) -> list[dict]:
    """Each event numbered after `after` that is byte for byte as it was written, once, by number."""
    found = {}
    for line in lines:
        with contextlib.suppress(BadLine):
            event = parse(line)
            if event["seq"] > after and whole(line, event):
                found.setdefault(event["seq"], event)
    return [found[seq] for seq in sorted(found)]
