"""Turns rows into columns of Arrow and a part of a Parquet file, without pandas, which takes long to load."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq


def write_part(path: Path, rows: Sequence[tuple], row: type, types: Sequence[str]) -> None:
    """Writes rows, each with the fields of `row`, a NamedTuple. Raises OSError."""
    columns = [_column(values, kind) for values, kind in zip(zip(*rows, strict=True), types, strict=True)]
    # Repeated words are told once by the dictionaries: to compress them again gains little.
    pq.write_table(pa.table(columns, names=row._fields), path, compression="none", write_statistics=False)


def _column(values: Sequence[Any], kind: str) -> pa.Array:
    if kind == "string":
        return _words(values)
    if kind == "float64":
        there = np.fromiter((value is not None for value in values), bool, len(values))
        filled = np.fromiter((0.0 if value is None else value for value in values), np.float64, len(values))
        return pa.Array.from_buffers(pa.float64(), len(values), [_bits(there), pa.py_buffer(filled)])
    if kind == "bool":
        return pa.Array.from_buffers(pa.bool_(), len(values), [None, _bits(np.fromiter(values, bool, len(values)))])
    numbers = np.fromiter(values, np.dtype(kind), len(values))
    return pa.Array.from_buffers(pa.type_for_alias(kind), len(values), [None, pa.py_buffer(numbers)])


def _words(values: Sequence[str | None]) -> pa.DictionaryArray:
    """Each different word once, and which of them stands where; None as null."""
    words = {word: n for n, word in enumerate(word for word in dict.fromkeys(values) if word is not None)}
    places = words | {None: -1}
    codes = np.fromiter(map(places.__getitem__, values), np.int32, len(values))
    there = codes >= 0
    texts = [word.encode() for word in words]
    ends = np.cumsum([0, *map(len, texts)], dtype=np.int32)
    dictionary = pa.StringArray.from_buffers(len(texts), pa.py_buffer(ends), pa.py_buffer(b"".join(texts)))
    indices = pa.Array.from_buffers(
        pa.int32(), len(values), [None if there.all() else _bits(there), pa.py_buffer(np.maximum(codes, 0))]
    )
    return pa.DictionaryArray.from_arrays(indices, dictionary)


def _bits(holds: np.ndarray) -> pa.Buffer:
    return pa.py_buffer(np.packbits(holds, bitorder="little"))
