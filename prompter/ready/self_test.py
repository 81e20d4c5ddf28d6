"""Goes through everything in order; each part may fail for itself."""

import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from prompter.care import place
from prompter.care.approval import standing
from prompter.care.parts import Voice
from prompter.care.plan import Plan
from prompter.care.supplies import Supply, supplies
from prompter.errors import CannotDo
from prompter.live.ears import known_phrases
from prompter.live.preparing import FLOW, cache_folder, every_prompt, prepare
from prompter.ready import files, sound
from prompter.ready.check import Check
from prompter.ready.plan import look_at_approval, look_at_plan
from prompter.resources import flow_file

STEP = "last-bag"
"""A step at which the phrase to be understood is an answer."""

Ask = Callable[[str], None]
"""Asks the person at the terminal to do something; None where nobody can be asked."""


class SelfTest:
    """`ask`: see Ask. `progress(done, all)` while clips are made. `quiet`: nothing is played. `level`: try the voice's loudness too."""

    def __init__(
        self,
        plan_file: Path | None,
        microphone: str | int | None,
        loudspeaker: str | int | None,
        ask: Ask | None,
        progress: Callable[[int, int], None],
        quiet: bool = False,
        level: bool = False,
    ) -> None:
        self._plan_file = plan_file or place.plan_file()
        self._devices = (microphone, loudspeaker)
        self._ask, self._progress, self._quiet, self._level = ask, progress, quiet, level
        self.plan: Plan | None = None
        self._prepared: Any = None
        self._store: Any = None

    def checks(self) -> Iterator[Check]:
        """One after the other, as they are done. Raises CannotDo if the installation is broken."""
        now = datetime.now().astimezone()
        self.plan, found = look_at_plan(self._plan_file, now.date())
        yield from found
        yield look_at_approval("protocol", "flow", flow_file(FLOW), now.date())
        self._prepared = prepare(self._plan_file)
        yield self._clips()
        whisper, vosk = self._ears()
        ears = files.look_at_ears(whisper, vosk)
        if ears.state == "ok":
            ears = files.make_ear_ready(whisper, known_phrases(self._prepared.table), ears)
        yield ears
        if self._quiet:
            yield sound.look_at_loudspeaker(self._devices[1])
        else:
            yield from self._sound(whisper if ears.state == "ok" else None)
        yield files.look_at_disk(place.journal_folder)
        yield files.look_at_clock(now, self._surely_past())

    def supplies(self) -> list[Supply]:
        """What must lie in the bag, for this plan."""
        return supplies(self.plan) if self.plan else []

    def _clips(self) -> Check:
        try:
            from prompter.speak.own_voice import prompter_voice

            voice = prompter_voice()
        except CannotDo as error:
            return Check("spoken prompts", "not ok", error.what, error.mend)
        folder = cache_folder()
        if folder is None:
            return Check("spoken prompts", "not ok", "no folder can be made for them.", "Set PROMPTER_HOME to a folder.")
        texts = [*every_prompt(self._prepared.table), sound.PHRASE, sound.LEVEL_TEXT]
        self._store, check = files.look_at_clips(folder / "clips", voice, texts, self._progress)
        wanted = self.plan.voice.name if self.plan is not None else "embedded"
        if wanted != "embedded" and check.state == "ok":
            self._store, check = files.look_at_natural(folder / "clips", wanted, texts, self._store, None if self._quiet else self._progress)
        return check

    @staticmethod
    def _ears() -> tuple[Any, Any]:
        from prompter.hear.ears import embedded_ear
        from prompter.hear.vosk_ear import VoskEar

        return embedded_ear(cache_folder()), VoskEar()

    def _sound(self, ear: Any) -> Iterator[Check]:
        if self._store is None:
            yield from sound.nothing_to_try(CannotDo("there is no voice.", mend="See the spoken prompts."))
            return
        try:
            with sound.SoundCheck(self._store.clip, *self._devices) as card:
                tone, came_back = card.tone()
                yield tone
                if self._level:
                    yield from self._levels(card, came_back)
                if ear is None:
                    yield Check("a spoken phrase", "could not be tried", "there is no ear.", "See the ears.")
                else:
                    yield self._phrase(card, ear, came_back)
        except CannotDo as error:
            yield from sound.nothing_to_try(error)

    def _levels(self, card: sound.SoundCheck, came_back: bool) -> list[Check]:
        if not came_back:
            why = "the microphone does not hear the loudspeaker."
            return [Check("loudness of the voice", "could not be tried", why, "Without a headset: turn the loudspeaker up.")]
        voice = self.plan.voice if self.plan is not None else Voice()
        return card.level((voice.quietest_db, voice.loudest_db))

    def _phrase(self, card: sound.SoundCheck, ear: Any, came_back: bool) -> Check:
        from prompter.hear.hearing import Hearing
        from prompter.hear.scorer import ThreadScorer

        if not came_back and self._ask is None:
            return Check(
                "a spoken phrase", "could not be tried", "the microphone does not hear the loudspeaker.",
                "Run it at a terminal, and say the phrase yourself.",
            )  # fmt: skip
        table = self._prepared.table
        # The prompter's own sentences are no rivals here: one of them is to be understood.
        known = [phrase for phrase in known_phrases(table) if phrase.answer]
        hearing = Hearing([ear], ThreadScorer(), known)
        if not came_back and self._ask is not None:
            self._ask(f"Please say now: {sound.PHRASE}")
        return card.phrase(hearing, table.phrases(STEP), spoken=came_back)

    def _surely_past(self) -> list[datetime]:
        past = []
        with suppress(CannotDo):
            past += files.last_record(place.journal_folder())
        approval = standing(self._plan_file, datetime.now().date()).approval
        if approval is not None:
            past.append(datetime(approval.on.year, approval.on.month, approval.on.day).astimezone())
        return past


def verdict(checks: list[Check]) -> bool:
    """Whether everything is ready: what could not be tried is not."""
    return all(check.state == "ok" for check in checks)


def report(checks: list[Check], bag: list[Supply]) -> dict[str, Any]:
    """The JSON form."""
    return {
        "ready": verdict(checks),
        "checks": [
            {"name": c.name, "state": c.state, "detail": c.detail, "do": c.mend, "doubts": list(c.doubts)}
            for c in checks
        ],
        "supplies": [{"name": s.name, "detail": s.detail, "after_use": s.after_use} for s in bag],
    }  # fmt: skip


def somebody_is_there() -> bool:
    """Whether a person can be asked."""
    return bool(sys.stdin and sys.stdin.isatty() and sys.stderr and sys.stderr.isatty())
