"""A second recogniser of another make, if the user has put in its model: it may agree or object.

Forced to a grammar it takes foreign words for allowed ones with full confidence (vosk-api issues
741, 1017, 1339, 2041), so it never believes anything alone: it names a phrase, or none.
"""

import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.models.known import VOSK_ENGLISH
from prompter.hear.models.verified import not_the_known_vosk
from prompter.hear.shortlist import plain_words

_UNKNOWN = "[unk]"


class VoskEar:
    """Names the one phrase that a grammar of the allowed wordings finds.

    `model`: the folder of any Vosk model, which is then the caller's choice. Otherwise
    PROMPTER_VOSK_MODEL, otherwise `vosk-model` in the user's own place, and only with the known
    files in it.
    """

    name = "vosk"

    def __init__(self, model: Path | None = None) -> None:
        self._folder = model or model_folder()
        self._only_known = model is None
        self._vosk: Any = None
        self._model: Any = None
        self._recogniser: Any = None
        self._grammar = ""

    def ready(self) -> tuple[bool, str]:
        if not (self._folder / "am").is_dir() and not (self._folder / "final.mdl").is_file():
            return False, (
                f"no Vosk model in {self._folder}; `prompter ears install` fetches "
                f"{VOSK_ENGLISH.name}, or set PROMPTER_VOSK_MODEL to its folder"
            )
        return True, ""

    def intact(self) -> tuple[bool, str]:
        """Whether it may be loaded: the known files, unchanged (reads 71 MB)."""
        good, why = self.ready()
        if good and self._only_known and (why := not_the_known_vosk(self._folder)):
            return False, (
                f"{self._folder} is not used, {why}; `prompter ears install` puts "
                f"{VOSK_ENGLISH.name} in place"
            )
        return good, why

    def load(self) -> None:
        if self._model is not None:
            return
        good, why = self.intact()
        if not good:
            raise CannotDo(f"the second ear is not loaded: {why}.")
        try:
            import vosk
        except (ImportError, OSError) as error:
            raise CannotDo(
                f"the second ear cannot be loaded: {error}", "vosk", "Install it again."
            ) from None
        vosk.SetLogLevel(-1)
        try:
            self._model = vosk.Model(str(self._folder))
        except Exception as error:  # noqa: BLE001 - the binding raises bare Exception
            raise CannotDo(
                f"the second ear cannot be loaded: {error}", str(self._folder), "Unpack it again."
            ) from None
        self._vosk = vosk

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        self.load()

    def score(
        self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool = False
    ) -> Ranking:
        """The phrase heard, at score 0; an empty ranking when it is none of them.

        A wording with a word that the model does not have can never be named: it is `unable`.
        """
        self.load()
        able = {p.text: plain_words(p.text) for p in phrases if self._has(plain_words(p.text))}
        self._expect(sorted(set(able.values())))
        pcm = (np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes()
        self._recogniser.AcceptWaveform(pcm)
        text = json.loads(self._recogniser.FinalResult()).get("text", "")
        named = [(p, 0.0) for p in phrases if able.get(p.text) == text]
        unable = frozenset(p.text for p in phrases if p.text not in able)
        return Ranking(self.name, named[:1], text=text, unable=unable)

    def _has(self, words: str) -> bool:
        return all(self._model.vosk_model_find_word(word) >= 0 for word in words.split())

    def _expect(self, wordings: list[str]) -> None:
        unknown = [_UNKNOWN] if self._has(_UNKNOWN) else []
        grammar = json.dumps([*wordings, *unknown], ensure_ascii=False)
        if self._recogniser is None:
            self._recogniser = self._vosk.KaldiRecognizer(
                self._model, limits.SAMPLE_RATE_HZ, grammar
            )
        elif grammar != self._grammar:
            self._recogniser.SetGrammar(grammar)
        self._grammar = grammar


def model_folder() -> Path:
    """Where the model is looked for."""
    if named := os.environ.get("PROMPTER_VOSK_MODEL"):
        return Path(named).expanduser()
    return own_folder()


def own_folder() -> Path:
    """Where `prompter ears install` puts the model."""
    home = os.environ.get("PROMPTER_HOME")
    base = Path(home).expanduser() if home else platformdirs.user_data_path("prompter", False)
    return base / "vosk-model"
