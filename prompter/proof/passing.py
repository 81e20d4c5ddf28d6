"""Ways of saying nothing: each lets what silence brings happen in a scene, one thing after the other, up to where it ends."""

from collections.abc import Callable, Iterator

from prompter.events import Moved
from prompter.proof.abstract import States
from prompter.proof.scene import NEVER, Scene

Passing = Callable[[Scene], Iterator[None]]
"""Yields after each thing."""

SILENT_EVENTS_MOST = 24
"""Things that silence brings before it is taken for one that goes on the same."""


def begin(scene: Scene) -> Iterator[None]:
    """The start itself, and no more."""
    scene.start()
    yield


def until_changed(states: States) -> Passing:
    """Nobody says anything until it stands otherwise."""

    def passing(scene: Scene) -> Iterator[None]:
        before = states.coarse(scene)
        for _ in _on(scene):
            yield
            if states.coarse(scene) != before:
                return

    return passing


def until_unconfirmed(scene: Scene) -> Iterator[None]:
    """Good news is not said again."""
    for _ in _on(scene):
        yield
        if scene.machine.memory.pending is None:
            return


class UntilNearlyTooLate:
    """Good news was asked for once more, and the time in which to say it is nearly over.

    `prompt`: the cue that asks; `within_ms`: from its end. `at`: when it is nearly over, NEVER if care went on before.
    """

    def __init__(self, prompt: int | None, within_ms: int) -> None:
        self.at = NEVER
        self._prompt, self._within_ms = prompt, within_ms

    def __call__(self, scene: Scene) -> Iterator[None]:
        self.at = NEVER
        for _ in range(SILENT_EVENTS_MOST):
            if self.at == NEVER and not scene.has_to_say(self._prompt):
                self.at = scene.now + self._within_ms
            if scene.next_ms() >= self.at or scene.pass_time() is None:
                return
            scene.passed += 1
            yield
            if any(type(cue) is Moved and cue.machine == "care" for cue in scene.cues):
                self.at = NEVER
                return


def _on(scene: Scene) -> Iterator[None]:
    """Up to where it goes on the same."""
    for _ in range(SILENT_EVENTS_MOST):
        if scene.pass_time() is None:
            return
        scene.passed += 1
        yield
