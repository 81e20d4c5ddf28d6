"""What the emergency looks for before it begins: one that was interrupted, and the family's key."""

from pathlib import Path
from typing import Any

from prompter.care import place
from prompter.journal import keys
from prompter.journal.sealing import Sealer
from prompter.live.preparing import Prepared
from prompter.opening import reopened_record
from prompter.resuming import Entry, Looked, TakenUp, look


def look_in(folders: list[Path], prepared: Prepared) -> Looked:
    """An emergency that was stopped a moment ago goes on where it was."""
    keys.look_for_keys_in(place.key_folder())
    return look(folders, prepared.table, prepared.flow_text, prepared.plan_text)


def sealer_of(found: TakenUp | None) -> tuple[Sealer | None, str]:
    """With which the journal is encrypted, and what is wrong with the key: then it is written in
    clear, for a record that anyone can read is better than none."""
    if found is not None and found.journal is not None:
        return found.journal.sealer, ""
    keys.look_for_keys_in(place.key_folder())
    try:
        return keys.sealer(), ""
    except Exception as error:  # noqa: BLE001 - whatever the key is, the emergency begins
        return None, str(error)


def entries_to_go_on(found: TakenUp, opened: dict[str, Any], at: Any, now_ms: int) -> list[Entry]:
    """What is journalled before the emergency goes on: what had not reached the disk, and what runs now."""
    return [*found.restored, (reopened_record(opened), at, now_ms)]
