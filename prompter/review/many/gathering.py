"""Reads the journals of a folder with all cores into Parquet parts, and sets apart what is damaged."""

import gc
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from prompter.errors import CannotDo
from prompter.review.many import rows
from prompter.review.many.checking import checked

PIECE = 250
"""Journals a piece of work, and a part of the Parquet files: about 30 MB in memory."""

EVENTS, JOURNALS = "events-*.parquet", "journals-*.parquet"


class SetApart(NamedTuple):
    """A file that is left out of every figure, and why. `file`: below the folder of all."""

    file: str
    problem: str


@dataclass(slots=True)
class Gathered:
    """What was read. `parts`: where the Parquet parts are; `twice`: files that hold a journal again."""

    parts: Path
    journals: int = 0
    events: int = 0
    apart: list[SetApart] = field(default_factory=list)
    twice: list[SetApart] = field(default_factory=list)


class _Piece(NamedTuple):
    journals: int
    events: int
    apart: list[SetApart]
    ids: list[tuple[str, str]]


def gather(folder: Path, parts: Path, processes: int | None = None) -> Gathered:
    """Reads every `*.jsonl` below `folder`, at any depth. Raises CannotDo if there is none."""
    files = sorted(_journals(folder))
    if not files:
        raise CannotDo("no journal (*.jsonl) is below it", str(folder), "give the folder of journals.")
    parts.mkdir(parents=True, exist_ok=True)
    pieces = [(folder, parts, n, files[n : n + PIECE]) for n in range(0, len(files), PIECE)]
    found = Gathered(parts)
    seen: dict[str, str] = {}
    processes = min(processes or os.cpu_count() or 1, len(pieces))
    for piece in _done(pieces, processes):
        found.journals += piece.journals
        found.events += piece.events
        found.apart += piece.apart
        for id_, file in piece.ids:
            if id_ in seen:
                found.twice.append(SetApart(file, f"the same journal as {seen[id_]}"))
            seen.setdefault(id_, file)
    return found


def _done(pieces: list[tuple], processes: int) -> Iterator[_Piece]:
    if processes == 1:
        yield from map(_piece, pieces)
        return
    pa.array([""])  # loads what it needs half a second for, once instead of in every process
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(_piece, pieces)


def _journals(folder: Path) -> Iterator[Path]:
    try:
        for place, folders, names in os.walk(folder, onerror=_cannot):
            folders.sort()
            yield from (Path(place, name) for name in names if name.endswith(".jsonl"))
    except OSError as error:
        text = f"cannot be read ({error.strerror})"
        raise CannotDo(text, str(error.filename or folder), "give a folder of journals.") from error


def _cannot(error: OSError) -> None:
    raise error


def _piece(work: tuple[Path, Path, int, list[Path]]) -> _Piece:
    """One piece of work, in a process of its own: nothing here makes cycles worth collecting."""
    folder, parts, number, files = work
    gc.disable()
    try:
        return _read(folder, parts, number, files)
    finally:
        gc.enable()


def _read(folder: Path, parts: Path, number: int, files: list[Path]) -> _Piece:
    journals: list[rows.JournalRow] = []
    events: list[tuple] = []
    apart: list[SetApart] = []
    ids: list[tuple[str, str]] = []
    count = 0
    for journal, path in enumerate(files, number):
        below = path.relative_to(folder)
        try:
            found = checked(path)
        except CannotDo as error:
            apart.append(SetApart(str(below), error.what))
            continue
        if found.problem:
            apart.append(SetApart(str(below), found.problem))
            continue
        times_ms = rows.times_of(found.lines)
        home = below.parts[0] if len(below.parts) > 1 else ""
        journals.append(rows.journal_row(journal, home, found, times_ms))
        events.extend(rows.event_rows(journal, found, times_ms))
        ids.append((journals[-1].id, str(below)))
        count += len(found.lines)
    if journals:
        _write(parts / JOURNALS.replace("*", f"{number:08d}"), journals, rows.JournalRow, rows.JOURNAL_TYPES)
        _write(parts / EVENTS.replace("*", f"{number:08d}"), events, rows.EventRow, rows.EVENT_TYPES)
    return _Piece(len(journals), count, apart, ids)


def _write(path: Path, found: list[tuple], row: type, types: tuple[str, ...]) -> None:
    schema = pa.schema(
        [(name, pa.type_for_alias(kind)) for name, kind in zip(row._fields, types, strict=True)]
    )
    columns = zip(*found, strict=True) if found else ([] for _ in types)
    arrays = [pa.array(column, field.type) for column, field in zip(columns, schema, strict=True)]
    pq.write_table(pa.table(arrays, schema=schema), path, compression="zstd", compression_level=1)
