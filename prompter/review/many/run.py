"""The review of many, whole: gathers, asks, and writes the page and its tables."""

import tempfile
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from prompter.errors import CannotDo
from prompter.review.files import write_private
from prompter.review.many.engines import Answers, Engine, ask, connected
from prompter.review.many.gathering import Gathered, gather
from prompter.review.many.page import render_many
from prompter.review.many.writing import write_tables

PAGE = "many.html"


@dataclass(frozen=True, slots=True)
class Reviewed:
    """What was found, and where the page stands."""

    answers: Answers
    gathered: Gathered
    page: Path


def review_many(
    folder: Path,
    out: Path,
    rehearsals: bool = False,
    engine: Engine = Engine.duckdb,
    processes: int | None = None,
) -> Reviewed:
    """Reviews every journal below `folder` and writes `many.html` and the tables into `out`.

    rehearsals: these instead of the emergencies; they are taken as well if there is nothing else.
    Raises CannotDo if there is no journal or none is sound, OSError if `out` cannot be written,
    ImportError without a library of the extra.
    """
    if folder.is_file():
        raise CannotDo("a file, where a folder of journals is wanted", str(folder), "prompter review FILE for one.")
    if not folder.is_dir():
        raise CannotDo("no such folder", str(folder), "give the folder of journals.")
    out.mkdir(parents=True, exist_ok=True)  # at once: whether it can be written is known in time
    with tempfile.TemporaryDirectory(prefix="prompter-many-") as work, ExitStack() as opened:
        connections = []
        gathered = gather(folder, Path(work), processes, lambda: connections.append(opened.enter_context(connected(engine))))
        practised, live = gathered.rehearsals, gathered.journals - gathered.rehearsals
        if not gathered.journals:
            raise CannotDo("no sound journal is below it", str(folder), "see prompter journal verify FILE.")
        rehearsals = rehearsals or not live
        if not (practised if rehearsals else live):
            raise CannotDo("no rehearsal is below it", str(folder), "leave out --rehearsals.")
        answers = ask(connections[0], Path(work), rehearsals)
    write_tables(answers, gathered, out)
    text = render_many(answers, gathered, rehearsals, live if rehearsals else practised)
    return Reviewed(answers, gathered, write_private(out / PAGE, text))
