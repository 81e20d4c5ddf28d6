"""The kept sound of each utterance, for the page: checked against the record before it is played."""

import base64
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from prompter.journal.keys import identities
from prompter.journal.sealing import open_file
from prompter.journal.sounds import HASH_FIELD, SEALED_SUFFIX, check_sounds

PAGE_BYTES_MAX = 24_000_000
"""Of sound in one page: ten minutes of speech; more makes a page that a phone cannot open."""


@dataclass(frozen=True, slots=True)
class Heard:
    """An utterance's sound: a `data:` address to play, or empty and why there is none."""

    address: str = ""
    why: str = ""


def sounds_of(journal: Path, events: list[dict[str, Any]]) -> dict[int, Heard]:
    """By the number of the event that names it. Never raises for what it finds."""
    found: dict[int, Heard] = {}
    room = PAGE_BYTES_MAX
    for event in events:
        name = event.get("sound")
        if not isinstance(name, str) or not isinstance(event.get(HASH_FIELD), str):
            continue
        checked = check_sounds(journal, [event])
        if checked.deleted:
            heard = Heard(why="the sound was deleted")
        elif checked.changed:
            heard = Heard(why="the sound is not what was heard: left out")
        else:
            data = _flac(journal, name)
            room -= len(data)
            heard = (
                Heard(f"data:audio/flac;base64,{base64.b64encode(data).decode()}")
                if data and room >= 0
                else Heard(why=f"the sound is in {name}")
            )
        found[int(event["seq"])] = heard
    return found


def _flac(journal: Path, name: str) -> bytes:
    try:
        data = (journal.parent / name).read_bytes()
    except OSError:
        return b""
    if name.endswith(SEALED_SUFFIX):
        return open_file(data, lambda: identities(journal)) or b""
    return data
