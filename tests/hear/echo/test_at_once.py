"""The resampler without delay, against the usual one."""

import numpy as np
import pytest
import soxr

from prompter.hear.echo.at_once import AtOnce


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 48_000])
def test_it_gives_what_the_usual_resampler_gives(rate_hz: int) -> None:
    random = np.random.default_rng(0)
    smooth = np.convolve(random.standard_normal(2 * rate_hz), np.hanning(rate_hz // 1_000), "same")
    sound = (0.1 * smooth / smooth.std()).astype(np.float32)
    stream = AtOnce(rate_hz)
    made = np.concatenate([stream.take(sound[b : b + 301]) for b in range(0, len(sound), 301)])
    wanted = soxr.resample(sound, rate_hz, 16_000)[: len(made)]
    inner = slice(2_000, len(made) - 2_000)
    off = np.mean((made[inner] - wanted[inner]) ** 2) / np.mean(wanted[inner] ** 2)
    assert 10 * np.log10(off) < -35


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 48_000])
def test_it_is_never_more_than_two_milliseconds_late(rate_hz: int) -> None:
    stream, given, made = AtOnce(rate_hz), 0, 0
    for _ in range(200):
        given += rate_hz // 100
        made += len(stream.take(np.ones(rate_hz // 100, np.float32)))
        assert 0 <= given / rate_hz - made / 16_000 <= 0.002


def test_a_constant_stays_what_it_is() -> None:
    made = AtOnce(44_100).take(np.ones(44_100, np.float32))
    assert np.allclose(made[100:], 1.0, atol=1e-5)
