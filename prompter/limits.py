"""Every queue, retry, wait and length that is not the protocol's own, with its name and reason."""

SAMPLE_RATE_HZ = 16_000
"""Microphone side: what the recognisers take."""

BLOCK_SAMPLES = 512
"""One block of microphone sound: 32 ms, what the speech detector takes."""

MIX_RATE_HZ = 22_050
"""Loudspeaker side: what the embedded voice is made at."""

UTTERANCE_MAX_MS = 8_000
"""Longer talk is cut here and not believed: no answer is that long."""
