"""The prompter's voice for the first word: nothing has to start before it."""

from typing import Any


def voice_at_once() -> tuple[Any, str]:
    """The prompter's voice, or None and why there is none."""
    try:
        return _AtOnce(), ""
    except Exception as error:  # noqa: BLE001 - clips made before, or the screen, do without it
        return None, str(error) or type(error).__name__


class _AtOnce:
    """The prompter's voice, so that its kept clips are used; what is missing is rendered by the
    direct binding: it gives the same samples, and no process has to start before the first word."""

    def __init__(self) -> None:
        from prompter.speak.own_voice import prompter_voice
        from prompter.speak.voice import EspeakVoice

        usual = prompter_voice()
        self.name, self.version = usual.name, usual.version
        self.render = EspeakVoice().render
