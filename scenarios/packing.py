"""How do the results of a batch lie in one file?"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

CaseResult = Mapping[str, np.ndarray]
"""One case's results: flat names, plain numpy arrays (numbers, booleans, text; never objects)."""

SCHEMA = 1
UNREADABLE = (OSError, EOFError, ValueError, KeyError, TypeError, zipfile.BadZipFile, zlib.error)
"""What a damaged or foreign file makes a reader raise."""


def pack(cases: Sequence[Mapping[str, str]], results: Mapping[str, CaseResult]) -> dict[str, Any]:
    """Lay one column per (name, dtype) end to end, so that a batch has few members and reads fast.

    Parameters
    ----------
    cases : what the file's index says of each result: its ``key``, and a ``title`` for people
    results : by key

    Raises
    ------
    TypeError
        A result holds objects.
    """
    columns: dict[tuple[str, str], dict[int, np.ndarray]] = {}
    keys = [case["key"] for case in cases]
    for row, key in enumerate(keys):
        for name, value in results[key].items():
            array = np.asarray(value)
            if array.dtype.hasobject:
                raise TypeError(f"case {key}: '{name}' holds objects; a result is numbers, booleans or text")
            columns.setdefault((name, array.dtype.str), {})[row] = array
    index: dict[str, Any] = {"schema": SCHEMA, "cases": [dict(case) for case in cases], "columns": []}
    members: dict[str, np.ndarray] = {}
    for number, ((name, dtype), arrays) in enumerate(columns.items()):
        shapes = [list(arrays[row].shape) if row in arrays else None for row in range(len(keys))]
        index["columns"].append({"name": name, "member": f"column_{number}", "shapes": shapes})
        members[f"column_{number}"] = np.concatenate([a.ravel() for a in arrays.values()]).astype(dtype)
    return {"index": np.frombuffer(json.dumps(index).encode(), dtype=np.uint8)} | members


def _index_of(archive: Any) -> dict[str, Any]:
    index = json.loads(archive["index"].tobytes())
    if index["schema"] != SCHEMA:
        raise ValueError(f"schema {index['schema']}, expected {SCHEMA}")
    if not all(isinstance(case["key"], str) for case in index["cases"]):
        raise ValueError("a case without a key")
    return index


def read_index(path: Path) -> dict[str, Any]:
    """Return what a batch file says of itself: its schema, its cases, its columns.

    Raises
    ------
    Exception
        One of UNREADABLE: it is no batch file, or not a whole one.
    """
    with np.load(path, allow_pickle=False) as archive:
        return _index_of(archive)


def read_batch(path: Path) -> dict[str, CaseResult]:
    """Return every result of a batch file, by key.

    Raises
    ------
    Exception
        One of UNREADABLE: it is no batch file, or not a whole one.
    """
    with np.load(path, allow_pickle=False) as archive:
        index = _index_of(archive)
        keys = [case["key"] for case in index["cases"]]
        batch: dict[str, dict[str, np.ndarray]] = {key: {} for key in keys}
        for column in index["columns"]:
            flat, at = archive[column["member"]], 0
            for key, shape in zip(keys, column["shapes"], strict=True):
                if shape is not None:
                    size = int(np.prod(shape))
                    batch[key][column["name"]] = flat[at : at + size].reshape(shape)
                    at += size
    return dict(batch)
