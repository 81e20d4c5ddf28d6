"""Puts what was found beside the page: each table as CSV and as Parquet, and what was set apart."""

from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from prompter.review.export import harmless
from prompter.review.files import write_private
from prompter.review.many.engines import ORDER, Answers
from prompter.review.many.gathering import Gathered, SetApart


def write_tables(answers: Answers, gathered: Gathered, folder: Path) -> None:
    """`<table>.csv` and `<table>.parquet` for each, and `set-apart.csv`. Raises OSError."""
    tables = {name: getattr(answers, name) for name in ORDER}
    columns = zip(*gathered.apart, strict=True) if gathered.apart else ([], [])
    tables["set-apart"] = pa.table([pa.array(c, pa.string()) for c in columns], names=list(SetApart._fields))
    for name, table in tables.items():
        write_private(folder / f"{name}.csv", _csv(table))
        sink = pa.BufferOutputStream()
        pyarrow.parquet.write_table(table, sink)
        write_private(folder / f"{name}.parquet", sink.getvalue().to_pybytes())


def _csv(table: pa.Table) -> bytes:
    """RFC 4180 with a header; texts that a spreadsheet would run as a formula are made harmless."""
    for number, field in enumerate(table.schema):
        if pa.types.is_string(field.type) or pa.types.is_large_string(field.type):
            texts = [harmless(text) for text in table[number].to_pylist()]
            table = table.set_column(number, field.name, pa.array(texts, pa.string()))
    sink = pa.BufferOutputStream()
    pyarrow.csv.write_csv(table, sink)
    return sink.getvalue().to_pybytes()
