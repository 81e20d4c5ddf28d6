"""When the prompter trusts what is left behind the echo filter."""

import numpy as np
import pytest
import soxr

from prompter import limits
from prompter.hear.echo.own_sound import Cleaned, OwnSound
from prompter.speak.voice import EspeakVoice

BLOCK = limits.BLOCK_SAMPLES
TEXTS = ("Is the chest moving by itself?", "Take off the cap or valve.", "Suction now. Depth: 9 centimetres.")


def speech(seconds: float, texts: tuple[str, ...] = TEXTS, voice: str = "en-us") -> np.ndarray:
    clips = [soxr.resample(EspeakVoice(voice).render(text), limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ) for text in texts]
    return np.resize(np.concatenate(clips), int(seconds * limits.SAMPLE_RATE_HZ) // BLOCK * BLOCK).astype(np.float32)


def a_room(seed: int) -> np.ndarray:
    random = np.random.default_rng(seed)
    response = random.standard_normal(2000) * 0.03 * np.exp(-np.arange(2000) / 500)
    response[100 + 60 * seed] += 0.6
    return response


def echo_of(played: np.ndarray, seed: int = 0) -> np.ndarray:
    return np.convolve(played, a_room(seed))[: len(played)].astype(np.float32)


def take(own: OwnSound, heard: np.ndarray, played: np.ndarray, speaking: bool = True) -> list[Cleaned]:
    return [own.take(heard[b : b + BLOCK], played[b : b + BLOCK], speaking) for b in range(0, len(heard), BLOCK)]


def level_db(block: np.ndarray) -> float:
    return 10 * float(np.log10(np.mean(block**2) + 1e-12))


def test_it_is_deaf_while_it_speaks_until_it_knows_the_room() -> None:
    own, played = OwnSound(), speech(12)
    found = take(own, echo_of(played), played)
    assert found[0].deaf and not found[-1].deaf and own.knows_room
    known = [one for one in found if not one.deaf]
    assert len(known) > len(found) / 3


def test_it_is_never_deaf_while_it_is_silent() -> None:
    own, quiet = OwnSound(), np.zeros(20 * BLOCK, np.float32)
    assert not any(one.deaf for one in take(own, quiet + 0.01, quiet, speaking=False))


def test_it_stays_deaf_while_the_room_still_sounds() -> None:
    own, block = OwnSound(), np.full(BLOCK, 0.01, np.float32)
    own.take(block, block, True)
    after = [own.take(block, np.zeros(BLOCK, np.float32), False).deaf for _ in range(8)]
    assert after[0] and not after[-1]
    assert sum(after) * 32 <= limits.OWN_ECHO_TAIL_MS


def test_its_own_words_stay_below_the_level_told_and_a_caregivers_stand_above() -> None:
    own, played = OwnSound(), speech(20)
    echo = echo_of(played)
    found = take(own, echo, played)[400:]
    loud = [one for one, at in zip(found, range(400 * BLOCK, len(echo), BLOCK), strict=True) if level_db(echo[at : at + BLOCK]) > -45]
    own_above = sum(level_db(one.sound) > one.own_db for one in loud)
    assert own_above <= len(loud) // 50
    caregiver = speech(2, ("chest flat, chest flat, no rise",), "en-gb+f5")
    caregiver *= np.sqrt(np.mean(echo**2) / np.mean(caregiver**2))
    more = speech(2)
    both = take(own, caregiver + echo_of(more), more)
    spoken = [one for one, at in zip(both, range(0, len(caregiver), BLOCK), strict=True) if level_db(caregiver[at : at + BLOCK]) > level_db(caregiver) - 6]
    assert sum(level_db(one.sound) > one.own_db for one in spoken) > 0.8 * len(spoken)


def test_another_place_for_the_loudspeaker_is_noticed_and_learned() -> None:
    own, played = OwnSound(), speech(12)
    take(own, echo_of(played), played)
    assert own.knows_room
    moved = take(own, 2 * echo_of(played, seed=3), played)
    assert any(one.deaf for one in moved[:60])
    assert own.knows_room and not moved[-1].deaf


def test_a_drivers_garbage_is_not_learned() -> None:
    own, played = OwnSound(), speech(2)
    heard = echo_of(played)
    heard[3 * BLOCK : 4 * BLOCK] = np.nan
    found = take(own, heard, played)
    assert all(np.isfinite(one.sound).all() and np.isfinite(one.own_db) for one in found)


@pytest.mark.filterwarnings("ignore:invalid value encountered")  # that is the fault put in
@pytest.mark.parametrize("astray", [1e6, float("inf"), float("nan")])
def test_a_filter_that_went_astray_begins_anew(astray: float) -> None:
    """Found by random sequences of faults: it had grown without bound and gave no numbers any more."""
    own, random = OwnSound(), np.random.default_rng(0)
    own._filter._weights[:] = astray
    for _ in range(400):
        played = (0.1 * random.standard_normal(limits.BLOCK_SAMPLES)).astype(np.float32)
        found = own.take(0.5 * played, played, True)
        assert np.isfinite(found.sound).all() and np.isfinite(found.own_db)
    assert own.knows_room
