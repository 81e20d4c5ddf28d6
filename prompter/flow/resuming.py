"""Goes on after a stop of which nothing is known: the step begins anew, and nothing is taken for silence."""

from prompter.events import Resumed
from prompter.flow.engine import Engine
from prompter.flow.moving import Moving
from prompter.flow.outstanding import Outstanding
from prompter.flow.table import Table


class Resuming(Moving):
    """What stood in the journal stands; what was being said, paced or waited for is over."""

    def __init__(self, table: Table, engine: Engine | None = None) -> None:
        super().__init__(table, engine)
        self._started = False
        self._noting = False  # what is said next is a note

    @property
    def started(self) -> bool:
        """The emergency has begun."""
        return self._started

    def _resumed(self, event: Resumed) -> None:
        if not self._started:
            self._refuse("resumed", "it has not begun")
            return
        self._noting = False
        if self._beat in ("breaths", "pushes") and not self._before_beat:
            # The last breath anybody knows of; those of the gap are unknown and count as missing.
            self._last_breath, self._cut_short_at = event.at_ms - (event.gap_ms or 0), None
        self._outstanding = Outstanding()
        self._beat, self._pace_cue, self._pace_began = "", None, None
        self._before_beat = set()
        self._not_confirmed()
        stand = self.table.stands[self.step]
        self.say(self.table.continuing(stand.name), "notice")
        self._begin(stand)
