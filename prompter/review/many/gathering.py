"""Reads the journals of a folder with all cores into Parquet parts, and sets apart what is damaged."""

import gc
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from prompter.errors import CannotDo
from prompter.review.many import rows
from prompter.review.many.checking import checked
from prompter.review.many.columns import write_coded, write_rows

PIECE = 250
"""Journals a piece of work, and a part of the Parquet files: about 60 MB in memory."""

AHEAD = 32
"""So many files ahead a disk is asked for what will be read: about 4 MB, more than it brings while one is checked."""

EVENTS, JOURNALS = "events-*.parquet", "journals-*.parquet"


class SetApart(NamedTuple):
    """A file that is left out of every figure, and why. `file`: below the folder of all."""

    file: str
    problem: str


def _apart(below: str, problem: str) -> SetApart:
    """A file's name may be bytes of no text at all, and tables hold texts."""
    return SetApart(os.fsencode(below).decode("utf-8", "replace"), problem)


@dataclass(slots=True)
class Gathered:
    """What was read. `parts`: where the Parquet parts are; `twice`: files that hold a journal again.

    `rehearsals`: so many of the journals are none of an emergency.
    """

    parts: Path
    journals: int = 0
    rehearsals: int = 0
    events: int = 0
    apart: list[SetApart] = field(default_factory=list)
    twice: list[SetApart] = field(default_factory=list)


class _Piece(NamedTuple):
    journals: int
    rehearsals: int
    events: int
    apart: list[SetApart]
    ids: list[tuple[str, str]]


def gather(folder: Path, parts: Path, processes: int | None = None, meanwhile: Callable[[], object] = object) -> Gathered:
    """Reads every `*.jsonl` below `folder`, at any depth.

    meanwhile: called when the other processes are at work. Raises CannotDo if there is no such file.
    """
    found = Gathered(parts)
    files = sorted(_journals(folder, found.apart))
    if not files and not found.apart:
        raise CannotDo("no journal (*.jsonl) is below it", str(folder), "give the folder of journals.")
    parts.mkdir(parents=True, exist_ok=True)
    pieces = [(folder, parts, n, files[n : n + PIECE]) for n in range(0, len(files), PIECE)]
    seen: dict[str, str] = {}
    processes = min(processes or os.cpu_count() or 1, len(pieces))
    for piece in _done(pieces, processes, meanwhile):
        found.journals += piece.journals
        found.rehearsals += piece.rehearsals
        found.events += piece.events
        found.apart += piece.apart
        for id_, file in piece.ids:
            if id_ in seen:
                found.twice.append(_apart(file, f"the same journal as {_apart(seen[id_], '').file}"))
            seen.setdefault(id_, file)
    found.apart.sort()
    return found


def _done(pieces: list[tuple], processes: int, meanwhile: Callable[[], object]) -> Iterator[_Piece]:
    if processes <= 1:
        meanwhile()
        yield from map(_piece, pieces)
        return
    with ProcessPoolExecutor(processes) as pool:
        done = pool.map(_piece, pieces)
        try:
            meanwhile()
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
        yield from done


def _journals(folder: Path, apart: list[SetApart]) -> Iterator[str]:
    """Their paths below `folder`, which must be readable itself; folders in it that are not are set apart."""

    def cannot(error: OSError) -> None:
        if Path(error.filename) == folder:
            text = f"cannot be read ({error.strerror})"
            raise CannotDo(text, str(folder), "give a folder of journals.") from error
        below = os.path.relpath(error.filename, folder)
        apart.append(_apart(below, f"the folder cannot be read ({error.strerror})"))

    for place, _, names in os.walk(folder, onerror=cannot):
        below = os.path.relpath(place, folder)
        below = "" if below == os.curdir else f"{below}{os.sep}"
        yield from (f"{below}{name}" for name in names if name.endswith(".jsonl"))


def _piece(work: tuple[Path, Path, int, list[str]]) -> _Piece:
    """One piece of work, in a process of its own: nothing here makes cycles worth collecting."""
    folder, parts, number, files = work
    gc.disable()
    try:
        return _read(folder, parts, number, files)
    finally:
        gc.enable()


def _bring(folder: Path, below: str) -> None:
    """Has the system fetch a file from its disk while others are checked, where it can. Whatever fails, the reading says."""
    if not hasattr(os, "posix_fadvise"):
        return
    try:
        file = os.open(f"{folder}{os.sep}{below}", os.O_RDONLY | os.O_NONBLOCK)  # a pipe is not waited for
        try:
            os.posix_fadvise(file, 0, 0, os.POSIX_FADV_WILLNEED)
        finally:
            os.close(file)
    except OSError:
        return


def _read(folder: Path, parts: Path, number: int, files: list[str]) -> _Piece:
    journals: list[rows.JournalRow] = []
    events: list[int] = []
    apart: list[SetApart] = []
    ids: list[tuple[str, str]] = []
    words: dict[tuple, int] = {}
    count = 0
    coming = iter(files)
    for below in islice(coming, AHEAD):
        _bring(folder, below)
    for journal, below in enumerate(files, number):
        if (then := next(coming, None)) is not None:
            _bring(folder, then)
        try:
            found = checked(f"{folder}{os.sep}{below}")
        except CannotDo as error:
            apart.append(_apart(below, error.what))
            continue
        if found.problem:
            apart.append(_apart(below, found.problem))
            continue
        times_ms = rows.times_of(found.lines)
        home, _, file = below.partition(os.sep)
        journals.append(rows.journal_row(journal, home if file else "", found, times_ms))
        events += rows.event_rows(journal, found, times_ms, words)
        ids.append((journals[-1].id, below))
        count += len(found.lines)
    if journals:
        write_rows(parts / JOURNALS.replace("*", f"{number:08d}"), journals, rows.JournalRow, rows.JOURNAL_TYPES)
        write_coded(
            parts / EVENTS.replace("*", f"{number:08d}"), events, rows.EVENT_PLACE, words, rows.EventWords, rows.WORD_TYPES
        )
    return _Piece(len(journals), sum(journal.rehearsal for journal in journals), count, apart, ids)
