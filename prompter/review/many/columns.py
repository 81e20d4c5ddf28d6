"""Turns rows into columns of Arrow and a part of a Parquet file, without pandas, which takes long to load."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq


def write_rows(path: Path, rows: Sequence[tuple], row: type, types: Sequence[str]) -> None:
    """Writes rows, each with the fields of `row`, a NamedTuple. Raises OSError."""
    columns = [_column(values, kind) for values, kind in zip(zip(*rows, strict=True), types, strict=True)]
    _write(path, dict(zip(row._fields, columns, strict=True)))


def write_coded(
    path: Path, rows: Sequence[int], place: Mapping[str, str], words: Iterable[tuple], word: type, types: Sequence[str]
) -> None:
    """Writes rows that stand one after the other: for each the numbers of `place`, and which of `words` it says.

    words: each with the fields of `word`, a NamedTuple. Raises OSError.
    """
    numbers = np.array(rows, np.int64).reshape(-1, len(place) + 1).T
    columns = {name: _numbers(numbers[n].astype(kind)) for n, (name, kind) in enumerate(place.items())}
    which = numbers[-1]
    for name, values, kind in zip(word._fields, zip(*words, strict=True), types, strict=True):
        columns[name] = _column(values, kind, which)
    _write(path, columns)


def _write(path: Path, columns: Mapping[str, pa.Array]) -> None:
    # Repeated words are told once by the dictionaries: to compress them again gains little.
    words = [name for name, column in columns.items() if pa.types.is_dictionary(column.type)]
    table = pa.table(dict(columns))
    pq.write_table(table, path, compression="none", write_statistics=False, use_dictionary=words)


def _column(values: Sequence[Any], kind: str, which: np.ndarray | slice = slice(None)) -> pa.Array:
    """The values as a column; or, with `which`, those of them that it numbers, in its order."""
    if kind == "string":
        return _words(values, which)
    if kind == "float64":
        there = np.fromiter((value is not None for value in values), bool, len(values))[which]
        filled = np.fromiter((0.0 if value is None else value for value in values), np.float64, len(values))[which]
        return pa.Array.from_buffers(pa.float64(), len(filled), [_bits(there), pa.py_buffer(filled)])
    if kind == "bool":
        holds = np.fromiter(values, bool, len(values))[which]
        return pa.Array.from_buffers(pa.bool_(), len(holds), [None, _bits(holds)])
    return _numbers(np.fromiter(values, np.dtype(kind), len(values))[which])


def _numbers(values: np.ndarray) -> pa.Array:
    """(`pa.array` would load pandas.)"""
    return pa.Array.from_buffers(pa.from_numpy_dtype(values.dtype), len(values), [None, pa.py_buffer(values)])


def _words(values: Sequence[str | None], which: np.ndarray | slice) -> pa.DictionaryArray:
    """Each different word once, and which of them stands where; None as null."""
    words = {word: n for n, word in enumerate(word for word in dict.fromkeys(values) if word is not None)}
    places = words | {None: -1}
    codes = np.fromiter(map(places.__getitem__, values), np.int32, len(values))[which]
    there = codes >= 0
    texts = [word.encode() for word in words]
    ends = np.cumsum([0, *map(len, texts)], dtype=np.int32)
    dictionary = pa.StringArray.from_buffers(len(texts), pa.py_buffer(ends), pa.py_buffer(b"".join(texts)))
    indices = pa.Array.from_buffers(
        pa.int32(), len(codes), [None if there.all() else _bits(there), pa.py_buffer(np.maximum(codes, 0))]
    )
    return pa.DictionaryArray.from_arrays(indices, dictionary)


def _bits(holds: np.ndarray) -> pa.Buffer:
    return pa.py_buffer(np.packbits(holds, bitorder="little"))
