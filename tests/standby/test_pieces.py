"""What is cut out of the room's sound, with a detector that says what the test wants."""

import numpy as np

from prompter import limits
from prompter.hear.endpoint import BLOCK_MS
from prompter.standby import bounds
from prompter.standby.pieces import Pieces


class Marked:
    """Speech where the block's first sample is large."""

    def probability(self, block: np.ndarray) -> float:
        return float(block[0] > 0.05)

    def reset(self) -> None:
        pass


def sound(*stretches: tuple[int, bool]) -> list[np.ndarray]:
    """(blocks, spoken): noise above QUIET_DB, marked where it is speech."""
    made = []
    for count, is_speech in stretches:
        for number in range(count):
            block = np.full(limits.BLOCK_SAMPLES, 0.01 + 1e-5 * number, np.float32)
            block[0] = 0.1 if is_speech else 0.0
            made.append(block)
    return made


def pieces_of(*stretches: tuple[int, bool]) -> list[tuple[int, int]]:
    """(at block, blocks) of each piece."""
    pieces, found = Pieces(Marked()), []  # type: ignore[arg-type]
    for number, block in enumerate(sound(*stretches), 1):
        piece = pieces.push(block)
        if piece is not None:
            found.append((number, len(piece) // limits.BLOCK_SAMPLES))
    return found


def test_a_piece_ends_where_speech_pauses_and_begins_a_little_before_it() -> None:
    spoken, pause = 30, bounds.PAUSE_BLOCKS
    assert pieces_of((50, False), (spoken, True), (40, False)) == [
        (50 + spoken + pause, bounds.BEFORE_BLOCKS + spoken + pause)
    ]


def test_silence_and_short_words_are_not_looked_at() -> None:
    assert pieces_of((200, False)) == []
    short = bounds.SPOKEN_BLOCKS - 1
    assert pieces_of((10, False), (short, True), (60, False), (short, True), (60, False)) == []


def test_two_halves_with_a_pause_between_them_are_one_piece() -> None:
    half, between = 18, 15
    assert between < bounds.GAP_BLOCKS
    found = pieces_of((30, False), (half, True), (between, False), (half, True), (30, False))
    assert [blocks for _, blocks in found] == [
        bounds.BEFORE_BLOCKS + 2 * half + between + bounds.PAUSE_BLOCKS
    ]


def test_the_last_sound_of_a_word_is_looked_at_although_a_look_came_just_before() -> None:
    last = bounds.NEW_BLOCKS
    spoken = bounds.UNBROKEN_BLOCKS + last
    found = pieces_of((30, False), (spoken, True), (30, False))
    assert [number for number, _ in found] == [30 + spoken - last, 30 + spoken + bounds.PAUSE_BLOCKS]


def test_speech_without_a_pause_is_looked_at_again_and_again_and_never_longer_than_the_bound() -> None:
    found = pieces_of((10, False), (400, True))
    at = [number for number, _ in found]
    assert np.all(np.diff(at) == bounds.UNBROKEN_BLOCKS) and len(at) >= 12
    assert max(blocks for _, blocks in found) == bounds.LONGEST_MS // BLOCK_MS


def test_after_forgetting_nothing_of_before_is_in_a_piece() -> None:
    pieces = Pieces(Marked())  # type: ignore[arg-type]
    for block in sound((20, True)):
        pieces.push(block)
    pieces.forget()
    found = [piece for block in sound((25, True), (10, False)) if (piece := pieces.push(block)) is not None]
    assert [len(piece) // limits.BLOCK_SAMPLES for piece in found] == [25 + bounds.PAUSE_BLOCKS]
