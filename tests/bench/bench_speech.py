"""What speaking costs: a sentence, a second of mixing, a protocol's clips cold and warm.

Run: python tests/bench/bench_speech.py
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.events import Pace, Say
from prompter.speak.clips import ClipStore
from prompter.speak.mixer import Mixer
from prompter.speak.own_voice import prompter_voice
from prompter.speak.pyttsx3_voice import Pyttsx3Voice
from prompter.speak.voice import EspeakVoice, Voice

N = 260
"""About as many as a protocol has."""
TEXTS = [f"Saline in the tube: {n // 2} and {n % 10} millilitres." for n in range(N)]
MIXED_S = 60


def seconds(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def mixing(rate_hz: int, block: int, store: ClipStore) -> tuple[float, float]:
    """Per cent of real time, and the 99.9% slowest block in ms, with pushes under speech."""
    mixer = Mixer(rate_hz, store.clip)
    mixer.enqueue(Pace(0, 1, "pushes", 110, None, 15, 2))
    for cue in range(2, 40):
        mixer.enqueue(Say(0, cue, TEXTS[cue], "care", "bench"))
    blocks = sorted(seconds(lambda: mixer.render(block)) for _ in range(MIXED_S * rate_hz // block))
    return 100 * sum(blocks) / MIXED_S, 1000 * blocks[int(0.999 * len(blocks))]


def started_ms() -> float:
    """Importing the voice in a new Python that has numpy, and making one, as at a program's start."""
    program = (
        "import time, numpy, importlib.metadata\n"
        "began = time.perf_counter()\n"
        "from prompter.speak.own_voice import prompter_voice\n"
        "prompter_voice()\n"
        "print(1000 * (time.perf_counter() - began))\n"
    )
    command = [sys.executable, "-c", program]
    runs = [subprocess.run(command, capture_output=True, check=True) for _ in range(5)]
    return statistics.median(float(run.stdout) for run in runs)


def apart(voice: Voice, other: Voice, texts: list[str]) -> int:
    """How many of `texts` have not the same samples from both."""
    return sum(not np.array_equal(voice.render(text), other.render(text)) for text in texts)


def rendering(kind: type[Pyttsx3Voice] | type[EspeakVoice]) -> None:
    opened_ms = 1000 * seconds(kind)
    voice = kind()
    first_ms = 1000 * seconds(lambda: voice.render("Is the chest going up?"))
    each_ms = sorted(1000 * seconds(lambda text=text: voice.render(text)) for text in TEXTS)  # type: ignore[misc]
    print(
        f"{voice.name}: open {opened_ms:.1f} ms, first sentence {first_ms:.1f} ms, then median "
        f"{statistics.median(each_ms):.1f} ms, 95% {each_ms[int(0.95 * len(each_ms))]:.1f} ms, "
        f"n {len(each_ms)}"
    )


def main() -> None:
    print(f"import and open the prompter's voice: {started_ms():.1f} ms")
    for kind in (EspeakVoice, Pyttsx3Voice):
        rendering(kind)
    voice = prompter_voice()
    print(f"pyttsx3 and the direct binding differ in {apart(voice, EspeakVoice(), TEXTS)} of {N}")
    with tempfile.TemporaryDirectory() as folder:
        for state in ("cold", "warm"):
            store = ClipStore(Path(folder), voice)
            taken_s = seconds(lambda store=store: store.prepare(TEXTS))  # type: ignore[misc]
            print(f"prepare {N} texts, {state} cache: {taken_s:.2f} s")
        size = sum(file.stat().st_size for file in Path(folder).iterdir())
        print(f"cache: {size / N / 1000:.0f} kB a clip")
        for rate_hz in (limits.MIX_RATE_HZ, 48_000):
            for block in (128, 512):
                percent, slowest_ms = mixing(rate_hz, block, store)
                print(
                    f"mix at {rate_hz} Hz in blocks of {block} ({1000 * block / rate_hz:.1f} ms): "
                    f"{percent:.2f}% of real time, 99.9% of blocks within {slowest_ms:.2f} ms"
                )


if __name__ == "__main__":
    main()
