"""The second model beside the first: on a thread of its own, and given up once it fails.

Two makes of model err in different places, so what both find likely is worth far more belief than
either alone (`thresholds.py`). Losing the second leaves the first as it is without it. One that is only
late is asked again once it has answered everything, though not for ever.
"""

import importlib.util
import queue
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear import silence_scores
from prompter.hear.clues import Other
from prompter.hear.models.known import MOONSHINE_FILES
from prompter.hear.models.verified import differs
from prompter.hear.shortlist import likeness

NAME = "moonshine"


class Lost(Exception):
    """The second model failed or does not answer."""


class Late(Lost):
    """It may answer still."""


class SecondModel:
    """Used by one thread at a time; its own thread computes.

    `folder`: of its weights; otherwise the packaged ones. `cache`: a folder where what wordings
    score in silence is kept between starts. `hangs_s`: how long an answer is waited for.
    """

    def __init__(
        self,
        folder: Path | None = None,
        cache: Path | None = None,
        hangs_s: float = limits.BESIDE_HANGS_S,
    ) -> None:
        self._folder = folder or _packaged_model()
        self._cache = cache
        self._hangs_s = hangs_s
        self._model: Any = None  # a MoonshineModel once loaded
        self._silent: dict[str, float] = {}
        self._jobs: queue.SimpleQueue[tuple[Callable[[], Any], Future[Any]]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._last: Future[Any] | None = None

    @property
    def idle(self) -> bool:
        """Whether all that was asked has been answered, in time or late."""
        return self._last is None or self._last.done()

    def ready(self) -> tuple[bool, str]:
        if self._folder is None:
            return False, "the package moonshine-voice, before 0.1, is not installed"
        for name in MOONSHINE_FILES:
            if not (self._folder / name).is_file():
                return False, f"{self._folder / name} is missing; install moonshine-voice before 0.1 again"
        return True, ""

    def intact(self) -> tuple[bool, str]:
        """Compare the files with the known ones (reads 44 MB: not at every start)."""
        good, why = self.ready()
        if good and self._folder is not None and (why := differs(self._folder, MOONSHINE_FILES)):
            return False, f"the weights are not the known ones ({why}); install moonshine-voice before 0.1 again"
        return good, why

    def load(self) -> Callable[[], None]:
        """Begin to load the model (0.3 s); what is returned waits for it, and raises Lost."""
        loaded = self._ask(self._load)
        return lambda: loaded(limits.BESIDE_READY_S)

    def _load(self) -> None:
        if self._model is not None:
            return
        good, why = self.ready()
        if not good or self._folder is None:
            raise CannotDo("its files are missing", mend=why)
        from prompter.hear.moonshine_model import MoonshineModel

        self._model = MoonshineModel(self._folder, threads=1)
        self._silent = silence_scores.load(self._cache, self._model.name)

    def prepare(self, wordings: Sequence[str]) -> None:
        """Do ahead what the first utterance with these would wait for. Raises Lost."""
        known = len(self._silent)
        self._ask(lambda: self._from_silence(wordings))(limits.BESIDE_READY_S)
        if len(self._silent) > known:
            silence_scores.save(self._cache, self._model.name, self._silent)

    def listen(self, sound: np.ndarray) -> "SecondView":
        """Begin with `sound` (float32, mono, 16 kHz); nothing is waited for."""
        return SecondView(self, sound)

    def _ask(self, work: Callable[[], Any]) -> Callable[..., Any]:
        """Has `work` done on the thread; what is returned waits for its result. Raises Lost."""
        if self._thread is None:
            self._thread = threading.Thread(
                target=_work, args=(self._jobs,), name="second model", daemon=True
            )
            self._thread.start()
        done: Future[Any] = Future()
        self._last = done
        self._jobs.put((work, done))

        def result(most_s: float = self._hangs_s) -> Any:
            try:
                return done.result(most_s)
            except TimeoutError:
                raise Late(f"no answer in {most_s:g} s") from None
            except Lost:
                raise
            except CannotDo as error:
                raise Lost(error.one_line()) from None
            except Exception as error:  # noqa: BLE001 - whatever a recogniser raises
                raise Lost(f"{type(error).__name__}: {error}".splitlines()[0]) from None

        return result

    def _from_silence(self, wordings: Sequence[str]) -> list[float]:
        """Mean log probability a token of each in a quiet room. On the thread."""
        missing = [w for w in dict.fromkeys(wordings) if w not in self._silent]
        if missing:
            hush = np.random.default_rng(0).standard_normal(limits.SAMPLE_RATE_HZ) * 2e-4
            likely = self._model.likely(self._model.encode(hush.astype(np.float32)), missing)
            self._silent.update((w, found.mean) for w, found in zip(missing, likely, strict=True))
        return [self._silent[w] for w in wordings]


class SecondView:
    """One utterance as the second model hears it. Every method may raise Lost."""

    def __init__(self, second: SecondModel, sound: np.ndarray) -> None:
        self._second, self._sound = second, sound
        self._heard = second._ask(lambda: self._listened(sound))

    def _listened(self, sound: np.ndarray) -> tuple[Any, str, float]:
        states = self._second._model.encode(sound)
        return states, *self._second._model.decode(states)

    def freely(self) -> tuple[str, float]:
        """What was said, without a list of what to expect; mean log probability a token."""
        _, text, mean = self._heard()
        return text, mean

    def ask(self, wordings: Sequence[str]) -> Callable[[], list[Other]]:
        """What it makes of these: computed while the caller does something else, waited for when
        what is returned is called."""

        def work() -> list[Other]:
            states, text, _ = self._heard()
            likely = self._second._model.likely(states, wordings)
            silent = self._second._from_silence(wordings)
            return [
                Other(found, s, likeness(text, w))
                for w, found, s in zip(wordings, likely, silent, strict=True)
            ]

        return self._second._ask(work)

    def again(self, wordings: Sequence[str]) -> Callable[[], list[float]]:
        """As `ask`, of the sound at other speeds: mean log probability a token of each wording."""

        def work() -> list[float]:
            model = self._second._model
            views = [model.encode(_at_speed(self._sound, speed)) for speed in limits.OTHER_SPEEDS]
            found = [[likely.mean for likely in model.likely(view, wordings)] for view in views]
            return np.mean(found, axis=0).tolist()

        return self._second._ask(work)


def _at_speed(sound: np.ndarray, speed: float) -> np.ndarray:
    """Said faster (above 1) or slower, its pitch with it; as a tape would."""
    places = np.arange(int(len(sound) / speed)) * speed
    return np.interp(places, np.arange(len(sound)), sound).astype(np.float32)


def _work(jobs: "queue.SimpleQueue[tuple[Callable[[], Any], Future[Any]]]") -> None:
    while True:
        work, done = jobs.get()
        try:
            done.set_result(work())
        except BaseException as error:  # noqa: BLE001 - the asker is told
            done.set_exception(error)


def _packaged_model() -> Path | None:
    spec = importlib.util.find_spec("moonshine_voice")
    folder = Path(spec.origin).parent / "assets" / "tiny-en" if spec and spec.origin else None
    return folder if folder and (folder / "encoder_model.ort").is_file() else None
