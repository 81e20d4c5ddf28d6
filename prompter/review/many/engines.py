"""Runs the questions on an engine: DuckDB within this process, or Spark where a group has its data."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa

from prompter.errors import CannotDo
from prompter.review.many.gathering import EVENTS, JOURNALS

if TYPE_CHECKING:  # loaded where they are used: they take longer than all else, and journals are read meanwhile
    from ibis.backends import BaseBackend
    from ibis.expr.types import Table


class Engine(StrEnum):
    duckdb = "duckdb"
    spark = "spark"


@dataclass(frozen=True, slots=True)
class Answers:
    """One table a question; see `questions.py` for their columns."""

    incidents: pa.Table
    flows: pa.Table
    steps: pa.Table
    answers: pa.Table
    confusions: pa.Table
    prompts: pa.Table


ORDER = {
    "incidents": ("started", "id"),
    "flows": ("flow",),
    "steps": ("flow", "step"),
    "answers": ("flow", "step", "answer"),
    "confusions": ("flow", "step", "answer", "then"),
    "prompts": ("flow", "step", "text", "stays"),
}
"""Rows in the same order on every engine."""


@contextmanager
def connected(engine: Engine) -> Iterator["BaseBackend"]:
    """The engine's connection. Spark: the session that is there, or a local one.

    Raises CannotDo without the engine's library, ImportError without Ibis.
    """
    import ibis

    if engine is Engine.duckdb:
        connection = ibis.duckdb.connect()
        try:
            _fetched(connection, ibis.literal(0).name("n").as_table())  # the first answer loads half of the libraries: now, not later
            yield connection
        finally:
            connection.disconnect()
        return
    try:
        from pyspark.errors import PySparkException
        from pyspark.sql import SparkSession

        session = SparkSession.builder.appName("prompter review").getOrCreate()  # conf: spark-submit's
    except ImportError as error:
        raise CannotDo("needs Spark for Python", "review --engine spark", 'pip install "prompter[spark]"') from error
    except (PySparkException, OSError, RuntimeError) as error:
        text = f"Spark does not start ({' '.join(str(error).split())[:120]})"
        raise CannotDo(text, "review --engine spark", "install Java 17, or use --engine duckdb.") from error
    try:
        yield ibis.pyspark.connect(session)
    finally:
        session.stop()


def ask(connection: "BaseBackend", parts: Path, rehearsals: bool) -> Answers:
    """Every question, of the Parquet parts below `parts`. What several questions need is kept meanwhile."""
    from prompter.review.many import questions

    journals = questions.chosen(connection.read_parquet(str(parts / JOURNALS)), rehearsals)
    events = connection.read_parquet(str(parts / EVENTS))
    journals = _kept(connection, "journals", journals)
    events = _kept(connection, "events", events.semi_join(journals, "journal"))
    incidents = _kept(connection, "incidents", questions.incidents(journals, events))
    asked = {
        "incidents": incidents,
        "flows": questions.flows(incidents),
        "steps": questions.steps(journals, events),
        "answers": questions.answers(journals, events),
        "confusions": questions.confusions(journals, events),
        "prompts": questions.prompts(journals, events),
    }
    return Answers(**{name: _fetched(connection, table.order_by(ORDER[name])) for name, table in asked.items()})


def _fetched(connection: "BaseBackend", table: "Table") -> pa.Table:
    """The answer. DuckDB gives Arrow itself; by way of Ibis it would load pandas, which takes as long as a question."""
    if connection.name != "duckdb":
        return table.to_pyarrow()
    found: pa.Table = connection.con.sql(connection.compile(table)).to_arrow_table()
    return found.cast(table.schema().to_pyarrow())


def _kept(connection: "BaseBackend", name: str, table: "Table") -> "Table":
    """The table, worked out once. Spark has no temporary tables, and works it out where it needs it."""
    return connection.create_table(name, table, temp=True) if connection.name == "duckdb" else table
