"""How well the prompter's own voice is understood, by rate, pitch and voice, in noise.

The judge is the embedded ear: how much likelier the sound makes the right text than silence does
(mean log probability a token; more is better). A machine's judgement, not people's: it can rule a
setting out, not crown one. Run: python tests/bench/bench_voice.py [VOICE,RATE_WPM,PITCH ...]
With --natural instead the voices of the extra `voice` beside the embedded one, and the computing a prompt takes.
With --loudness instead: how much louder prompts become (ITU-T P.56) and how they are understood then,
the noise as loud as the usual prompt.
"""

import sys
import time

import numpy as np
import soxr
from sounds import LEVEL, Spoken, active_rms, in_surroundings, noises, say

from prompter import limits
from prompter.events import Phrase
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.resources import shared_file
from prompter.speak.loudness import louder
from prompter.speak.mixer import SPEECH_GAIN
from prompter.speak.speech_level import active_level
from prompter.speak.voice import EspeakVoice

PROMPTS = (
    "Is the tube in the neck?",
    "Take off the cap or valve.",
    "Inner tube out.",
    "Suction now.",
    "Did the catheter go all the way?",
    "Is the chest moving by itself?",
    "Bag on the tube. Squeeze with me.",
    "Is the chest going up?",
    "Bag off.",
    "Chest flat? Change tube now.",
    "Empty the cuff.",
    "Ties off.",
    "Pull out the old one, along its curve.",
    "New tube in, along the curve.",
    "Do not force. Once more.",
    "Pull the guide out.",
    "Hold the tube.",
    "Stop squeezing.",
    "Take the smaller tube.",
    "Oxygen on face and neck.",
    "Small mask over the neck hole.",
    "Flat on a hard floor.",
    "Push the chest with me.",
    "Stay close. Watch the chest.",
)

SETTINGS = (
    *(("en-us", rate_wpm, 50) for rate_wpm in (120, 140, 150, 160, 180, 200)),
    ("en-us", 150, 30),
    ("en-us", 150, 70),
    ("en-us+f2", 150, 50),
    ("en-us+m3", 150, 50),
    ("en-gb", 150, 50),
)
CONDITIONS = (("baby-cry", 0.0), ("motor", 0.0))
AROUND_MS = 200


def evidence(ear: EmbeddedEar, voice: tuple[str, int, int], kind: str, snr_db: float) -> list[float]:
    rooms = noises(shared_file("audio"), kind)
    found = []
    for seed, text in enumerate(PROMPTS):
        noise = rooms[seed % len(rooms)]
        spoken = in_surroundings(say(text, voice), noise, snr_db, seed)
        first, last = (
            round(at_ms * limits.SAMPLE_RATE_HZ / 1000)
            for at_ms in (spoken.starts_ms - AROUND_MS, spoken.ends_ms + AROUND_MS)
        )
        ranking = ear.score(spoken.sound[first:last], [Phrase(text, "said")])
        found.append(ranking.evidence[text])
    return found


def loudness(ear: EmbeddedEar) -> None:
    """The prompter's own voice, made louder up to the limiter."""
    print("gain asked for: P.56 level gained (least, most), highest peak; evidence (standard error) in noise at 0 dB")
    clips = [EspeakVoice().render(text) for text in PROMPTS]
    for by_db in (-6.0, 0.0, 3.0, 6.0, 9.0):
        made = [louder(clip, by_db, limits.MIX_RATE_HZ) for clip in clips]
        pairs = zip(made, clips, strict=True)
        gained = [active_level(a, limits.MIX_RATE_HZ)[0] - active_level(b, limits.MIX_RATE_HZ)[0] for a, b in pairs]
        peak = SPEECH_GAIN * max(float(np.abs(clip).max()) for clip in made)
        columns = []
        for kind, _ in CONDITIONS:
            scores = []
            for seed, (text, clip, usual) in enumerate(zip(PROMPTS, made, clips, strict=True)):
                rooms = noises(shared_file("audio"), kind)
                scale = LEVEL / active_rms(soxr.resample(usual, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ))
                sound = soxr.resample(clip * scale, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ).astype(np.float32)
                spoken = in_surroundings(sound, rooms[seed % len(rooms)], 0.0, seed, level=None)
                scores.append(ear.score(_cut(spoken), [Phrase(text, "said")]).evidence[text])
            columns.append(f"{kind} {np.mean(scores):.2f} ({np.std(scores) / np.sqrt(len(scores)):.2f})")
        print(f"{by_db:+.0f} dB: {np.mean(gained):+.1f} ({min(gained):+.1f}, {max(gained):+.1f}), {peak:.2f}; {'; '.join(columns)}", flush=True)


def natural(ear: EmbeddedEar) -> None:
    """The natural voices and the embedded one, each clip as loud as the noise."""
    from prompter.speak.natural import SPEAKERS, NaturalVoice

    print("voice: seconds a prompt; seconds of computing a prompt; evidence (standard error) in noise at 0 dB")
    for voice in (EspeakVoice(), *map(NaturalVoice, SPEAKERS)):
        voice.render(PROMPTS[0])  # what loads with the first is not counted
        began_s = time.process_time()
        clips = [voice.render(text) for text in PROMPTS]
        computing_s = (time.process_time() - began_s) / len(PROMPTS)
        columns = []
        for kind, snr_db in CONDITIONS:
            rooms, scores = noises(shared_file("audio"), kind), []
            for seed, (text, clip) in enumerate(zip(PROMPTS, clips, strict=True)):
                sound = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ).astype(np.float32)
                spoken = in_surroundings(sound, rooms[seed % len(rooms)], snr_db, seed)
                scores.append(ear.score(_cut(spoken), [Phrase(text, "said")]).evidence[text])
            columns.append(f"{kind} {np.mean(scores):.2f} ({np.std(scores) / np.sqrt(len(scores)):.2f})")
        long_s = np.mean([len(clip) for clip in clips]) / limits.MIX_RATE_HZ
        levels = [active_level(clip, limits.MIX_RATE_HZ)[0] for clip in clips]
        print(f"{voice.name}: {long_s:.2f} s; {computing_s:.2f} s; {'; '.join(columns)}; P.56 level {np.median(levels):.1f} dB", flush=True)


def _cut(spoken: Spoken) -> np.ndarray:
    first, last = (
        round(at_ms * limits.SAMPLE_RATE_HZ / 1000) for at_ms in (spoken.starts_ms - AROUND_MS, spoken.ends_ms + AROUND_MS)
    )
    return spoken.sound[first:last]


def main() -> None:
    if "--loudness" in sys.argv:
        ear = EmbeddedEar()
        ear.load()
        loudness(ear)
        return
    if "--natural" in sys.argv:
        ear = EmbeddedEar()
        ear.load()
        natural(ear)
        return
    given = [setting.split(",") for setting in sys.argv[1:]]
    settings = [(name, int(rate), int(pitch)) for name, rate, pitch in given] or SETTINGS
    ear = EmbeddedEar()
    ear.load()
    print(
        "voice, words a minute, pitch: seconds a prompt; evidence (standard error) in noise at 0 dB"
    )
    for voice in settings:
        long_s = np.mean([len(say(text, voice)) for text in PROMPTS]) / limits.SAMPLE_RATE_HZ
        columns = []
        for kind, snr_db in CONDITIONS:
            scores = evidence(ear, voice, kind, snr_db)
            error = np.std(scores) / np.sqrt(len(scores))
            columns.append(f"{kind} {np.mean(scores):.2f} ({error:.2f})")
        print(f"{', '.join(map(str, voice))}: {long_s:.2f} s; {'; '.join(columns)}", flush=True)


if __name__ == "__main__":
    main()
