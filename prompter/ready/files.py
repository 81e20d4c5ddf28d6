"""Looks at what lies on the disk: spoken clips, the recogniser's weights, room for the record; and
at the clock that the record is dated by."""

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.ready.check import Check
from prompter.speak.clips import ClipStore

RELEASED = date(2026, 1, 1)
"""No clock that is right shows a day before this program was written."""


def look_at_clips(
    folder: Path, voice: Any, texts: Iterable[str], progress: Callable[[int, int], None]
) -> tuple[ClipStore, Check]:
    """Makes what is missing of the spoken prompts; the store that holds them, and what was found."""
    wanted = list(dict.fromkeys(texts))
    store = ClipStore(folder, voice)
    failed = store.prepare(wanted, progress)
    if failed:
        found = f"{len(failed)} of {len(wanted)} cannot be spoken."
        return store, Check("spoken prompts", "not ok", found, "Install the package espeakng-loader again.")
    unkept = ClipStore(folder, voice).missing(wanted)  # a fresh one: it has only what the disk has
    if unkept:
        found = f"{len(unkept)} of {len(wanted)} could not be kept in {folder}."
        return store, Check("spoken prompts", "not ok", found, "Make room, or give write permission.")
    return store, Check("spoken prompts", "ok", f"all {len(wanted)} are ready.")


def look_at_natural(
    folder: Path, name: str, texts: Iterable[str], embedded: ClipStore, progress: Callable[[int, int], None] | None
) -> tuple[ClipStore, Check]:
    """The same for the natural voice that the plan asks for; behind it the embedded one, which is made
    already. `progress` None: only looks, for making takes minutes."""
    from prompter.speak.natural import MEND, NaturalVoice

    wanted = list(dict.fromkeys(texts))
    voice = NaturalVoice(name)
    store = ClipStore(folder, voice, behind=embedded)
    lacking = store.lacking(wanted)
    if lacking and not voice.installed():
        return embedded, Check("spoken prompts", "not ok", f"the voice '{name}' is not installed; the embedded one speaks.", MEND)
    if lacking and progress is not None:
        store.prepare(lacking, progress)
        lacking = store.lacking(wanted)
    if lacking:
        found = f"{len(lacking)} of {len(wanted)} are not there in the voice '{name}'; the embedded one speaks them."
        return store, Check("spoken prompts", "not ok", found, "Run prompter ready at a terminal: it makes them, which takes minutes.")
    return store, Check("spoken prompts", "ok", f"all {len(wanted)} are ready, in the voice '{name}'.")


def look_at_ears(whisper: Any, vosk: Any) -> Check:
    """The embedded ear must be there and untouched; the second one is not everybody's."""
    good, why = whisper.intact()
    if not good:
        return Check("ears", "not ok", f"the embedded ear: {why}.", "Keys work meanwhile: prompter ears")
    second, note = "", getattr(whisper, "note", "")
    if vosk.ready()[0]:
        good, why = vosk.intact()
        second = " A second ear is there as well." if good else f" The second ear: {why}."
    found = f"the embedded ear's weights are the known ones.{second}{f' {note}.' if note else ''}"
    return Check("ears", "ok", found)


def make_ear_ready(ear: Any, known: list[Phrase], found: Check) -> Check:
    """Loads it, and lets it compute and keep what it needs of every wording: it then joins an emergency
    at once, not after some seconds. `found` if all is well."""
    try:
        ear.load()
        ear.prepare(known)
    except CannotDo as error:
        return Check("ears", "not ok", f"the embedded ear: {error.what}", error.mend or "Keys work meanwhile: prompter ears")
    return found


def look_at_disk(folder: Callable[[], Path]) -> Check:
    """Whether a record can be written, and for how long."""
    try:
        place = folder()
        handle, name = tempfile.mkstemp(prefix=".ready-", dir=place)
        try:
            os.write(handle, b"ready\n")
            os.fsync(handle)
        finally:
            os.close(handle)
            os.unlink(name)
        free = shutil.disk_usage(place).free
    except CannotDo as error:
        return Check("disk", "not ok", f"{error.where}: {error.what}", error.mend)
    except OSError as error:
        mend = "Make room or give write permission, or set PROMPTER_HOME to another folder."
        return Check("disk", "not ok", f"no record can be written ({error.strerror}).", mend)
    free_mb = free // 1_000_000
    if free < limits.READY_FREE_BYTES:
        return Check("disk", "not ok", f"only {free_mb} MB are free in {place}.", "Make room.")
    return Check("disk", "ok", f"a record can be written in {place}; {free_mb:,} MB are free.")


def look_at_clock(now: datetime, latest_known: Iterable[datetime]) -> Check:
    """Whether the time of day can be right. `latest_known`: moments that are surely past."""
    mend = "Set date, time and time zone of this machine."
    if now.date() < RELEASED:
        return Check("clock", "not ok", f"it shows {now:%Y-%m-%d}, before this program was made.", mend)
    past = max(latest_known, default=now)
    if past > now:
        return Check("clock", "not ok", f"it shows {now:%Y-%m-%d %H:%M}, before the last record ({past:%Y-%m-%d %H:%M}).", mend)
    zone = now.tzname() or time.tzname[0]
    return Check("clock", "ok", f"{now:%Y-%m-%d %H:%M} {zone}.")


def last_record(folder: Path) -> list[datetime]:
    """When the newest journal in `folder` was last written."""
    try:
        times = [path.stat().st_mtime for path in folder.glob("*.jsonl")]
    except OSError:
        return []
    return [datetime.fromtimestamp(max(times), UTC)] if times else []
