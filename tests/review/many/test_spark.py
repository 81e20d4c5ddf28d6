"""The questions run unchanged on the distributed engine, here a local Spark: every table, every row."""

import os

import pytest

for library in ("ibis", "duckdb", "msgspec", "pyarrow"):
    pytest.importorskip(library, reason="the extra 'many' is not installed")
pytest.importorskip("pyspark", reason="pyspark (extra 'spark') is not installed")

from prompter.errors import CannotDo
from prompter.review.many.engines import Engine, ask, connected
from prompter.review.many.gathering import gather

SMALL = "--master local[2] --conf spark.sql.shuffle.partitions=1 --conf spark.ui.enabled=false --conf spark.sql.adaptive.enabled=false --conf spark.sql.codegen.wholeStage=false --conf spark.sql.codegen.factoryMode=NO_CODEGEN --conf spark.log.level=ERROR pyspark-shell"


@pytest.mark.timeout(600)  # Spark alone begins slowly, and on a busy machine much more so
def test_spark_answers_as_duckdb_does(group, tmp_path, monkeypatch):
    monkeypatch.setitem(os.environ, "PYSPARK_SUBMIT_ARGS", SMALL)
    gather(group, tmp_path, processes=1)
    with connected(Engine.duckdb) as connection:
        here = ask(connection, tmp_path, rehearsals=False)
    try:
        with connected(Engine.spark) as connection:
            there = ask(connection, tmp_path, rehearsals=False)
    except CannotDo as error:
        pytest.skip(f"no Spark here: {error.one_line()}")
    assert here.incidents.num_rows == 3
    for name in here.__slots__:
        ours, theirs = (getattr(answers, name).to_pylist() for answers in (here, there))
        assert len(theirs) == len(ours), name
        for one, other in zip(ours, theirs, strict=True):
            assert other == pytest.approx(one, nan_ok=True), name
