"""Shows a rehearsal in the terminal as it goes: when, who, what was said, what was heard and how sure."""

from typing import Any

from rich.console import Console
from rich.text import Text


class Story:
    """Prints what a listener in the room would hear, one line an utterance."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._says: dict[int, dict[str, Any]] = {}
        self._paces: dict[int, dict[str, Any]] = {}

    def begin(self, title: str, plan: str, room: str) -> None:
        self._console.rule(Text(title))
        self._console.print(Text(f"{plan}  {room}"), style="dim")

    def saw(self, record: dict[str, Any]) -> None:
        kind = record["kind"]
        if kind == "say":
            self._says[record["cue"]] = record
        elif kind == "pace":
            self._paces[record["cue"]] = record
        elif kind == "prompt started":
            self._played(record)
        elif kind == "said":
            self._line(record["at_ms"], "caregiver", f"“{record['words']}”", "")
        elif kind == "heard":
            self._heard(record)
        elif kind == "moved" and record["how"] == "assumed":
            self._line(record["at_ms"], "", "(nobody answered: it goes on)", "")
        elif kind == "answered" and record["how"] == "keyed":
            self._line(record["at_ms"], "key", f"“{record['wording']}”", "")

    def _played(self, record: dict[str, Any]) -> None:
        """A clip or a beat begins to sound now."""
        at_ms, cue = record["sound_ms"], record["cue"]
        if say := self._says.get(cue):
            self._line(at_ms, "prompter", say["text"], "the call" if say["role"] == "call" else "")
        elif pace := self._paces.get(cue):
            self._line(at_ms, "tones", _pace(pace), "")

    def _heard(self, record: dict[str, Any]) -> None:
        score = "" if record["score"] is None else f"score {record['score']:.1f}"
        if record["number"]:
            what = f"heard: {record['number'][0]} {record['number'][1]}"
        else:
            what = f"heard: {record['heard']}" if record["heard"] else "heard: nothing like an answer"
        sure = "sure" if record["believed"] else f"not believed ({record['why']})"
        self._line(record["at_ms"], "ears", f"{what} · {sure}", score)

    def _line(self, at_ms: int, who: str, words: str, note: str) -> None:
        minutes, ms = divmod(at_ms, 60_000)
        text = Text(f"{minutes:2d}:{ms / 1000:04.1f}  ", style="dim")
        text.append(f"{who:<10}", style="bold" if who == "prompter" else "")
        text.append(words, style="bold" if who == "prompter" else "dim" if who in ("ears", "tones") else "")
        if note:
            text.append(f"  [{note}]", style="dim")
        self._console.print(text, soft_wrap=True)

    def end(self, record: dict[str, Any]) -> None:
        """A clear end: how it went, and where the account is."""
        answers = [a for a in record["answers"] if a["answer"]]
        believed = sum(a["believed"] for a in answers)
        replies = sorted(a["reply_ms"] for a in answers if a["reply_ms"] is not None and a["over"] is None)
        middle = f", reply in {replies[len(replies) // 2]} ms (median)" if replies else ""
        verdict = "as the script expects" if record["as_expected"] else "NOT as the script expects"
        outcome = {"better": "breathing better, being watched", "handed over": "handed over to the paramedics", "open": "still going on"}
        print_ = self._console.print
        print_(Text(f"End: {outcome.get(record['outcome'], record['outcome'])}; {verdict}.", style="bold"))
        print_(Text(
            f"     {record['simulated_s']:.0f} simulated seconds in {record['wall_s']:.1f}; {believed} of {len(answers)} answers believed; "
            f"{record['asked_again']} asked again; {record['assumed']} assumed; {record['wrong_branches']} wrong branches{middle}"
        ), soft_wrap=True)  # fmt: skip
        for name, key in (("account", "report"), ("sound", "sound"), ("journal", "journal")):
            if record[key]:
                print_(Text(f"     {name:<8} {record[key]}"), soft_wrap=True)
        print_()


def _pace(record: dict[str, Any]) -> str:
    count = f"{record['count']} " if record["count"] else ""
    return {
        "breaths": f"{count}breaths, {record['per_minute']:g} a minute",
        "pushes": f"pushes, {record['per_minute']:g} a minute",
        "suction": f"suction, {count}seconds",
    }[record["what"]]
