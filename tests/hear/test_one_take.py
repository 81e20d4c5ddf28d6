"""One wording from the microphone: found, with a little of the room, and nothing said too early."""

import numpy as np
import pytest
from hearing_parts import ScriptedDetector, drawn

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.endpoint import Endpointer
from prompter.hear.one_take import one_take


class Played:
    """Gives `early` to whoever does not wait, and `sound` block by block to who does."""

    def __init__(self, sound: np.ndarray, early: int = 0) -> None:
        self.blocks = list(sound.reshape(-1, limits.BLOCK_SAMPLES))
        self.early = early

    def read(self, timeout_s: float = 1.0) -> np.ndarray | None:
        if timeout_s == 0:
            self.early -= 1
            return np.full(limits.BLOCK_SAMPLES, 0.2, np.float32) if self.early >= 0 else None
        return self.blocks.pop(0) if self.blocks else None

    def trouble(self) -> list[str]:
        return ["the microphone stopped by itself"]


def test_a_take_has_the_speech_and_room_on_both_sides() -> None:
    sound = drawn(("silence", 40), ("speech", 20), ("silence", 40))
    ends = Endpointer(ScriptedDetector())
    take = one_take(Played(sound), ends)
    spoken = np.flatnonzero(np.abs(take) > 0.1)
    room = limits.TAKE_ROOM_MS * limits.SAMPLE_RATE_HZ // 1000
    block = limits.BLOCK_SAMPLES
    assert len(spoken) == 20 * block
    assert abs(spoken[0] - room) <= 2 * block and abs(len(take) - spoken[-1] - room) <= 2 * block
    assert not ends.open


def test_what_was_said_before_it_was_asked_for_is_not_taken() -> None:
    sound = drawn(("silence", 300))
    assert one_take(Played(sound, early=20), Endpointer(ScriptedDetector())) is None


def test_talk_that_does_not_end_is_no_take() -> None:
    sound = drawn(("silence", 10), ("speech", 300))
    assert one_take(Played(sound), Endpointer(ScriptedDetector())) is None


def test_a_lost_microphone_is_told() -> None:
    with pytest.raises(CannotDo, match="stopped by itself.*kept"):
        one_take(Played(drawn(("silence", 3))), Endpointer(ScriptedDetector()))
