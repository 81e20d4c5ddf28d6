"""Keeps spoken clips ready, on disk and in memory, so that a prompt starts at once."""

import contextlib
import hashlib
import io
import os
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import soundfile

from prompter import limits
from prompter.speak.voice import Voice

_SUFFIX = ".flac"


def _digest(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:32]


class ClipStore:
    """Clips of one voice in `folder`, which is made when the first clip is written.

    With no voice (`None`: the engine is missing) clips of any earlier voice are used, for a voice
    that is not the usual one is better than silence; with `behind` that store's come before those. Several processes may share a folder: a file
    appears whole or not at all. Clips are float32 mono at `limits.MIX_RATE_HZ`. No method raises.
    """

    def __init__(self, folder: Path, voice: Voice | None, behind: "ClipStore | None" = None) -> None:
        self._folder, self._voice, self._behind = Path(folder), voice, behind
        self._voice_digest = _digest(voice.name, voice.version) if voice else ""
        self._clips: dict[str, np.ndarray] = {}

    def prepare(
        self, texts: Iterable[str], progress: Callable[[int, int], None] | None = None
    ) -> list[str]:
        """Make clips of `texts` and keep them in memory. Returns the texts that have none.

        `progress(done, all)` is called after each.
        """
        wanted = list(dict.fromkeys(texts))
        failed = []
        for done, text in enumerate(wanted, start=1):
            if self.clip(text) is None:
                failed.append(text)
            if progress:
                progress(done, len(wanted))
        return failed

    def clip(self, text: str) -> np.ndarray | None:
        """The clip, from memory, from disk, or rendered now; None if none of the three works."""
        found = self._clips.get(text)
        if found is None:
            found = self._own(text)
            if found is None and self._behind is not None:
                found = self._behind.clip(text)
            if found is None:
                found = self._any_voice(text)
            if found is not None:
                found.flags.writeable = False
                self._clips[text] = found
        return found

    def missing(self, texts: Iterable[str]) -> list[str]:
        """Those of `texts` that have no sound clip of this voice in memory or on disk yet."""
        return [
            text
            for text in dict.fromkeys(texts)
            if text not in self._clips and self._read(self._path(text)) is None
        ]

    def lacking(self, texts: Iterable[str]) -> list[str]:
        """Those of `texts` of which this voice has no file. Reads none: a few ms for a whole protocol."""
        return [text for text in dict.fromkeys(texts) if not self._path(text).is_file()]

    def _path(self, text: str) -> Path:
        return self._folder / f"{_digest(text)}-{self._voice_digest}{_SUFFIX}"

    def _own(self, text: str) -> np.ndarray | None:
        if self._voice is None:
            return None
        clip = self._read(self._path(text))
        if clip is None:
            try:
                clip = np.ascontiguousarray(self._voice.render(text), dtype=np.float32)
            except Exception:  # noqa: BLE001 - whatever the engine did, the prompter goes on
                return None
            with contextlib.suppress(OSError):  # a full disk: the clip in memory will do
                self._write(self._path(text), clip)
        return clip

    def _any_voice(self, text: str) -> np.ndarray | None:
        for path in sorted(self._folder.glob(f"{_digest(text)}-*{_SUFFIX}")):
            clip = self._read(path)
            if clip is not None:
                return clip
        return None

    @staticmethod
    def _read(path: Path) -> np.ndarray | None:
        """The clip in the file; None if there is none or it is damaged."""
        try:
            with soundfile.SoundFile(io.BytesIO(path.read_bytes())) as file:
                samples = file.read(dtype="int16")
                intact = (
                    file.samplerate == limits.MIX_RATE_HZ
                    and samples.ndim == 1
                    and file.comment == _checksum(samples)
                )
        except (OSError, RuntimeError):
            return None
        return samples.astype(np.float32) / 32768 if intact else None

    @staticmethod
    def _write(path: Path, clip: np.ndarray) -> None:
        samples = np.clip(np.round(clip * 32768), -32768, 32767).astype(np.int16)
        sound = io.BytesIO()
        with soundfile.SoundFile(
            sound, "w", limits.MIX_RATE_HZ, 1, subtype="PCM_16", format="FLAC"
        ) as file:
            file.comment = _checksum(samples)
            file.write(samples)
        # Only the user may read them: the address is among the things spoken.
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".making-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(sound.getbuffer())
            os.replace(name, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise


def _checksum(samples: np.ndarray) -> str:
    return hashlib.sha256(samples.tobytes()).hexdigest()
