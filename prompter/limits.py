"""Every queue, retry, wait and length that is not the protocol's own, with its name and reason."""

SAMPLE_RATE_HZ = 16_000
"""Microphone side: what the recognisers take."""

BLOCK_SAMPLES = 512
"""One block of microphone sound: 32 ms, what the speech detector takes."""

MIX_RATE_HZ = 22_050
"""Loudspeaker side: what the embedded voice is made at."""

UTTERANCE_MAX_MS = 8_000
"""Longer talk is cut here and not believed: no answer is that long."""

JOURNAL_WAIT_MS = 20
"""A prompt waits this long for the disk to acknowledge its event, then speaks all the same."""

JOURNAL_RETRY_S = 0.5
"""Pause before a failed write to the journal is tried again."""

JOURNAL_STALL_S = 2.0
"""A disk that has not answered for this long is reported as trouble."""

JOURNAL_CLOSE_S = 3.0
"""Closing waits this long for what is still in memory to reach the disk."""

JOURNAL_HELD_MAX = 20_000
"""Events kept in memory while the disk fails: some hours of an emergency."""

JOURNAL_BYTES_MAX = 64 * 1024 * 1024
"""A longer file is no journal of one emergency (which has about 0.3 MB)."""
