"""Loads what listens, beside the first prompts: the ears join when they are ready."""

import contextlib
import threading
import time
from collections.abc import Callable
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.flow.table import Table
from prompter.live.memory import give_back

Put = Callable[[tuple[str, Any]], None]
"""Is given ('ear', Hearing), ('one ear', (its name, what it lacks)) or ('no ear', why)."""


def ears_there() -> list[str]:
    """The names of the ears whose files are there. Never raises."""
    try:
        from prompter.hear.ears import every_ear

        return [ear.name for ear in every_ear() if ear.ready()[0]]
    except Exception:  # noqa: BLE001 - a broken installation has no ears
        return []


def load_ears(table: Table, put: Put) -> None:
    """Loads the ears in a thread of its own and puts a `Hearing` on the runner's inbox."""
    threading.Thread(target=_load, args=(table, put), name="ears load", daemon=True).start()


def known_phrases(table: Table) -> list[Phrase]:
    """Every wording of the flow, and every prompt as a rival without an answer: the microphone
    hears the prompter as well, and its own words must not be taken for the caregiver's."""
    answers = table.flow.answers
    wordings = [Phrase(w, name, a.risk) for name, a in answers.items() for w in a.wordings]
    return wordings + [Phrase(text, "") for text in table.texts()]


def _load(table: Table, put: Put) -> None:
    try:
        from prompter.hear.ears import every_ear
        from prompter.hear.hearing import Hearing
        from prompter.hear.scorer import ThreadScorer
        from prompter.live.preparing import cache_folder

        known = known_phrases(table)
        wordings = [phrase for phrase in known if phrase.answer]
        ears = []
        for ear in every_ear(cache_folder()):
            if not ear.ready()[0]:
                continue  # a second ear is not everybody's; a missing first one is told below
            try:
                ear.load()
                if note := getattr(ear, "note", ""):
                    put(("one ear", (ear.name, note)))
                ear.prepare(wordings)
                ears.append(ear)
            except CannotDo as error:
                put(("one ear", (ear.name, error.one_line())))
        if not ears:
            raise CannotDo("no recogniser can be loaded.", mend="prompter ears")
        hearing = Hearing(ears, ThreadScorer(), known)
    except Exception as error:  # noqa: BLE001 - without ears the keys go on
        why = error.one_line() if isinstance(error, CannotDo) else f"{type(error).__name__}: {error}"
        put(("no ear", why))
        return
    give_back()
    put(("ear", hearing))
    with contextlib.suppress(Exception):  # in use already; without this it only takes longer
        _prepare_rivals(hearing, ears, known)
        give_back()


def _prepare_rivals(hearing: Any, ears: list[Any], known: list[Phrase]) -> None:
    """Makes ready what competes with the answers; otherwise every utterance would take half as long
    again to be decided. With pauses, in which the first utterances are decided."""
    prompts = [phrase for phrase in known if not phrase.answer]
    for begin in range(0, len(prompts), limits.SHORTLIST):
        for ear in ears:
            ear.prepare(prompts[begin : begin + limits.SHORTLIST])
        give_back()
        time.sleep(limits.PREPARE_PAUSE_S)
    hearing.prepare()
