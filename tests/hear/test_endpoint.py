"""Where speech begins and ends."""

import numpy as np
import pytest
from hearing_parts import ScriptedDetector, drawn

from prompter import limits
from prompter.hear.clip import read_clip
from prompter.hear.detector import SpeechDetector
from prompter.hear.endpoint import BLOCK_MS, Endpointer


def fed(sound: np.ndarray) -> tuple[Endpointer, list[int]]:
    ends, onsets = Endpointer(ScriptedDetector()), []
    for number in range(len(sound) // limits.BLOCK_SAMPLES):
        block = sound[number * limits.BLOCK_SAMPLES :][: limits.BLOCK_SAMPLES]
        if ends.push(block, (number + 1) * BLOCK_MS):
            onsets.append((number + 1) * BLOCK_MS)
    return ends, onsets


def test_one_block_of_512_samples_is_32_ms() -> None:
    assert BLOCK_MS == 32  # 512 / 16,000 s


def test_a_single_loud_block_is_no_onset() -> None:
    ends, onsets = fed(drawn(("silence", 10), ("speech", 1), ("silence", 10)))
    assert onsets == [] and not ends.open


def test_onset_is_told_at_once_and_dated_back_to_the_first_block() -> None:
    ends, onsets = fed(drawn(("silence", 10), ("speech", 5)))
    assert onsets == [12 * 32]
    assert ends.onset_ms == 10 * 32


def test_what_came_before_the_onset_is_kept() -> None:
    sound = drawn(("silence", 20), ("speech", 5))
    sound[18 * 512 : 20 * 512] = 0.01  # a soft consonant the detector does not count
    ends, _ = fed(sound)
    assert len(ends.sound()) == (limits.PRE_ROLL_BLOCKS + 3) * 512
    assert np.isclose(ends.sound(), 0.01).sum() == 2 * 512


def test_silence_is_counted_from_the_last_sound() -> None:
    ends, _ = fed(drawn(("silence", 4), ("speech", 6), ("silence", 5)))
    assert ends.last_sound_ms == 10 * 32
    assert ends.silent_ms == 5 * 32


def test_a_pause_inside_an_utterance_counts_from_zero_again() -> None:
    ends, onsets = fed(drawn(("speech", 6), ("silence", 5), ("speech", 3)))
    assert ends.open and ends.silent_ms == 0 and len(onsets) == 1


def test_far_quieter_sound_is_a_pause_even_if_the_detector_calls_it_speech() -> None:
    class Always(ScriptedDetector):
        def probability(self, block: np.ndarray) -> float:
            return 1.0

    ends = Endpointer(Always())
    for number in range(10):
        ends.push(np.full(512, 0.5 if number < 6 else 0.002, np.float32), (number + 1) * 32)
    assert ends.silent_ms == 4 * 32


def test_after_close_the_next_utterance_starts_afresh() -> None:
    ends, _ = fed(drawn(("speech", 6), ("silence", 5)))
    ends.close()
    assert not ends.open
    ends.push(drawn(("speech", 1)), 12 * 32)
    assert ends.push(drawn(("speech", 1)), 13 * 32)
    assert ends.onset_ms == 11 * 32


@pytest.mark.parametrize("word", ["yes", "no", "stop"])
def test_real_detector_hears_people_and_not_their_silence(audio, word) -> None:
    detector = SpeechDetector()
    for path in sorted((audio / "spoken-words" / word).iterdir()):
        detector.reset()
        sound = np.concatenate([np.zeros(8192, np.float32), read_clip(path)])
        chances = [
            detector.probability(sound[i : i + 512]) for i in range(0, len(sound) - 511, 512)
        ]
        assert max(chances[:16]) < 0.3, path.name
        assert max(chances[16:]) > 0.5, path.name


def test_real_detector_is_unmoved_by_hiss_and_background(audio) -> None:
    for folder in ("spoken-words/silence", "room-noise/hiss"):
        for path in sorted((audio / folder).iterdir()):
            sound, ends = read_clip(path), Endpointer()
            onsets = sum(
                ends.push(sound[i : i + 512], (i + 512) // 16)
                for i in range(0, len(sound) - 511, 512)
            )
            assert onsets == 0, path.name
