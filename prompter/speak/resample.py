"""Brings clips to the sound card's own rate, once each, before they are played."""

from collections import OrderedDict
from collections.abc import Callable

import numpy as np

from prompter import limits


class AtRate:
    """`clip_of` (float32 mono at `limits.MIX_RATE_HZ`, or None) at another sample rate."""

    def __init__(self, clip_of: Callable[[str], np.ndarray | None], rate_hz: int) -> None:
        self._clip_of, self._rate_hz = clip_of, rate_hz
        self._kept: OrderedDict[str, np.ndarray] = OrderedDict()

    def __call__(self, text: str) -> np.ndarray | None:
        if self._rate_hz == limits.MIX_RATE_HZ:
            return self._clip_of(text)
        clip = self._kept.get(text)
        if clip is None:
            original = self._clip_of(text)
            if original is None:
                return None
            import soxr

            clip = soxr.resample(original, limits.MIX_RATE_HZ, self._rate_hz).astype(np.float32)
            self._kept[text] = clip
            if len(self._kept) > limits.RESAMPLED_CLIPS_MAX:
                self._kept.popitem(last=False)
        return clip
