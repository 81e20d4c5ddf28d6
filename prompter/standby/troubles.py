"""What is broken now: each thing is said once, when it breaks, and once when it is well again."""

from collections.abc import Callable

SAID = {
    "microphone": "Standby cannot hear. Check the microphone, or start by key.",
    "ear": "Standby understands no words. Start it by key.",
    "loudspeaker": "",  # nobody would hear it
    "disk": "Standby cannot keep its log. Check the disk.",
}
SAID_AGAIN = {"microphone": "Standby hears again.", "ear": "Standby hears again."}


class Troubles:
    """`tell(line)` for screen and log, `say(sentence)` for the loudspeaker."""

    def __init__(self, tell: Callable[[str], None], say: Callable[[str], None]) -> None:
        self._tell, self._say = tell, say
        self.now: dict[str, str] = {}

    def broke(self, part: str, why: str) -> None:
        """Told where it was well before; the same trouble again is no news, whatever its reason."""
        new = part not in self.now
        self.now[part] = why
        if new:
            self._tell(f"{part}: {why}")
            if SAID.get(part):
                self._say(SAID[part])

    def well(self, part: str) -> None:
        if self.now.pop(part, None) is not None:
            self._tell(f"{part}: works again")
            if SAID_AGAIN.get(part):
                self._say(SAID_AGAIN[part])
