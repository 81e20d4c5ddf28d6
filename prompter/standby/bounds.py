"""How long standby listens, keeps, waits and tries; what else it needs stands in `prompter/limits.py`."""

LONGEST_MS = 3_400
"""The start phrase said slowly; so much sound is looked at together, and no more is held."""

PAUSE_BLOCKS = 3
"""Silence (96 ms) at which what was said so far is looked at."""

GAP_BLOCKS = 22
"""A longer pause (704 ms) parts what is said: the two halves of the phrase may have a shorter one."""

SPOKEN_BLOCKS = 22
"""Less speech (704 ms) than this cannot hold the start phrase."""

NEW_BLOCKS = 4
"""Less speech (128 ms) since the last look is no new word."""

WINDOW_FRAMES = 300
"""The shortest analysis window: a third less computing than an answer's."""

UNBROKEN_BLOCKS = 31
"""Speech without a pause is looked at so often (1 s)."""

BEFORE_BLOCKS = 4
"""Sound kept from before the first speech of a piece (128 ms): soft first consonants."""

LOG_BYTES = 200_000
"""The log's bound; with the one before it twice as much: some months of waiting."""

TELL_S = 0.5
"""Telling systemd may wait so long; it is told again."""

WATCHDOG_S = 60.0
"""systemd starts standby anew when it has not told for so long that it is alive."""

STILL_S = 20.0
"""A loop that has not turned for so long tells systemd nothing more: one recognition takes 0.3 s."""

RETRY_S = 3.0
"""Pause between attempts to open a lost microphone."""

EAR_RETRY_S = 60.0
"""Pause before a recogniser that failed is loaded again."""

LOOK_S = 600.0
"""How often the loudspeaker is opened, silently, to see whether it is there."""

COUNTS_S = 3_600.0
"""How often the log gets a line of counts and levels."""

SELF_TEST_S = 300.0
"""The self-test may take so long: making every prompt's sound takes most of a minute."""

SPEAK_S = 20.0
"""A sentence about trouble may take so long, the opening of the loudspeaker included."""

TURN_S = 5.0
"""How often standby looks at what is not urgent: the time of day, its log, the loudspeaker."""

LEVEL_BLOCKS = 31
"""One block's level in so many (1 s) is counted."""
