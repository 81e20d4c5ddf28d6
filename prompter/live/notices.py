"""What the program says about itself: short, so that it may be spoken over a beat."""

NO_PLAN = "No care plan found."
KEYS_ONLY = "Please use the keys."
LOST = {
    "microphone": "No microphone. Use the keys.",
    "loudspeaker": "",  # nobody would hear it: the screen says it
    "ear": "Cannot hear words. Use keys.",
    "disk": "No record is kept now.",
    "keys": "",
    "screen": "",
    "voice": "",
}
BACK = {
    "microphone": "The microphone is back.",
    "loudspeaker": "The sound is back.",
    "ear": "I can hear again.",
}
ANOTHER_RUNS = "Another prompter runs. Use keys."
OTHER_VOICE = "This is my other voice."
NOT_SEALED = "Record is not encrypted."
CLOSE_AGAIN = "To close, press that again."

WORDS_MOST = 5
"""Words a prompt may have while breaths or pushes are paced (the flow's own rule)."""


def texts() -> list[str]:
    """Every notice that is spoken."""
    return [NO_PLAN, KEYS_ONLY, ANOTHER_RUNS, NOT_SEALED, OTHER_VOICE, CLOSE_AGAIN, *filter(None, (*LOST.values(), *BACK.values()))]
