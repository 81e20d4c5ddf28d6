"""When the program itself fails: breaths go on to a beat, with a few sentences, until it is closed.

It knows nothing of where the care was, so it says only what holds at every step: breaths if there
are none, the call, and what was trained. It uses the mixer and the clock, nothing else of ours.
"""

import itertools
import time
from collections.abc import Callable

from prompter import limits
from prompter.events import Pace, Say
from prompter.speak.mixer import Mixer

FIRST = "Program failed. Trust your training."
NOT_BREATHING = "Not breathing well? Squeeze with me."
SENTENCES = ("Make the call. Speaker on.", "Keep going with me.", "Trust your training.")
BREATHS_PER_MINUTE = 20.0
"""When not even the plan could be read: within the guideline's 20 to 30 for infant and child (2020
AHA Guidelines Part 4, Circulation 2020;142(suppl 2)); faster than an adult's, so never too few."""

_FIRST_CUE = 1_000_000
"""Above every number the flow gives its cues."""


def texts() -> list[str]:
    """Every sentence it may say, to be rendered ahead."""
    return [FIRST, NOT_BREATHING, *SENTENCES]


def run(
    mixer: Mixer,
    breaths_per_minute: float,
    over: Callable[[], bool],
    show: Callable[[str], None] = lambda text: None,
    wait: Callable[[float], None] = time.sleep,
) -> None:
    """Speaks and paces until `over()` is true. A beat that runs already (pushes) is left alone.

    `show` puts a sentence on the screen; `wait` waits so many seconds. A mixer that refuses
    everything silences it, and then the sentences are still shown.
    """
    cues = itertools.count(_FIRST_CUE)

    def say(text: str) -> None:
        _quietly(lambda: mixer.enqueue(Say(0, next(cues), text, "care", "last resort")))
        _quietly(lambda: show(text))

    _quietly(mixer.hush)
    say(FIRST)
    if not mixer.pacing:
        say(NOT_BREATHING)
    sentences = itertools.cycle(SENTENCES)
    next_sentence_s, next_pace_s, waited_s = limits.LAST_RESORT_EVERY_S, 0.0, 0.0
    while not over():
        if not mixer.pacing and waited_s >= next_pace_s:
            next_pace_s = waited_s + limits.LAST_RESORT_EVERY_S  # it begins after what is being said
            _quietly(lambda: mixer.enqueue(Pace(0, next(cues), "breaths", breaths_per_minute)))
        if waited_s >= next_sentence_s:
            next_sentence_s += limits.LAST_RESORT_EVERY_S
            say(next(sentences))
        _quietly(mixer.take_reports)  # nobody else fetches them now
        wait(limits.TURN_S)
        waited_s += limits.TURN_S


def _quietly(work: Callable[[], object]) -> None:
    try:
        work()
    except Exception:  # noqa: BLE001 - the last resort has nobody to tell
        pass
