"""Shows the caregiver what to say, big and one at a time, and what was heard."""

import shutil
import sys

from rich.console import Console
from rich.text import Text

from prompter.hear.tuning import Judged
from prompter.live.letters import BLOCKS, BOLD, PLAIN, big


class TuneScreen:
    """The terminal. Questions are answered by Enter or one letter; Ctrl-C stops."""

    def __init__(self, to_standard_error: bool = False) -> None:
        self._console = Console(stderr=to_standard_error, highlight=False)

    def tell(self, text: str) -> None:
        self._console.print(Text(text))

    def begin(self, occasion: str, words: int) -> bool:
        count = "1 answer" if words == 1 else f"{words} answers"
        self._console.print(Text(f"\nNext: {occasion} ({count})", style="bold"))
        return self._asked("Enter goes on; s stops for today: ") != "s"

    def say(self, wording: str, occasion: str, take: int) -> None:
        again = "Say" if take == 1 else "Once more, say"
        self._console.print(Text(f"\n{occasion}", style="dim"))
        self._console.print(Text(f"{again}: {wording}\n", style="bold"))
        self._console.print(Text(self._large(wording), style="bold"))

    def nothing_heard(self) -> None:
        self.tell("Nothing was heard. Is the microphone on? Come nearer.")

    def heard(self, judged: Judged, wording: str) -> None:
        self.tell(f"  {told(judged, wording)}")

    def keep(self) -> bool:
        return self._asked("Enter keeps it; r if it was a slip, to say it again: ") != "r"

    def other_wording(self, wording: str) -> bool:
        self.tell("\nThere is another way to say it, which may be heard better.")
        return self._asked(f"Enter tries “{wording}”; n leaves it: ") != "n"

    def _asked(self, question: str) -> str:
        self._console.print(Text(question), end="")
        if not sys.stdin or not (answer := sys.stdin.readline()):
            raise EOFError
        return answer.strip().lower()

    def _large(self, wording: str) -> str:
        columns = shutil.get_terminal_size().columns - 2
        try:
            BLOCKS.encode(self._console.encoding)
            blocks = True
        except (UnicodeError, LookupError):
            blocks = False
        drawn = big(wording, BOLD, columns, blocks) or big(wording, PLAIN, columns, blocks)
        return drawn or f"    {wording.upper()}"


def told(judged: Judged, wording: str) -> str:
    """What was heard, in plain words."""
    if judged.outcome == "believed":
        return f"Heard: {judged.heard}. Good."
    if judged.outcome == "taken for another":
        return f"Not good: it was taken for “{judged.heard}”."
    if judged.outcome == "not heard" or judged.heard is None:
        return "No words were found in it. The voice would ask again."
    if judged.heard == wording:
        return f"Heard: {judged.heard}, but not surely enough. The voice would ask again."
    return f"Not sure: it sounded like “{judged.heard}”. The voice would ask again."
