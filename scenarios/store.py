"""Where do finished cases live, and how are they found again?

One folder per code version, in it one ``.npz`` per finished batch, written beside and moved into place,
so that a file is whole or not there. A case is found by its key; any number of campaigns may write at once.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import time
import uuid
import zipfile
import zlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from scenarios.provenance import code_version
from sim.compiled import cache_root
from sim.errors import InputError, SimError

CaseResult = Mapping[str, np.ndarray]
"""One case's results: flat names, plain numpy arrays (numbers, booleans, text; never objects)."""

SCHEMA = 1
_UNREADABLE = (OSError, EOFError, ValueError, KeyError, TypeError, zipfile.BadZipFile, zlib.error)
_STALE_S = 3600.0

log = logging.getLogger("wideberth")


class StoreError(SimError):
    """The store cannot be written: disk full, folder gone, permission lost."""


class Store:
    """Results of finished cases, by key.

    Parameters
    ----------
    root : folder of the store; the per-user cache folder when None
    version : code version that names the subfolder; the running code's when None

    Raises
    ------
    InputError
        The folder cannot be made or written.
    """

    def __init__(self, root: str | Path | None = None, version: str | None = None) -> None:
        self.root = Path(root) if root is not None else cache_root() / "store"
        self.version = version or code_version()
        self.folder = self.root / self.version
        self._indexes: dict[Path, dict[str, Any]] = {}
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(_cannot_write(self.root, error)) from error
        if not os.access(self.folder, os.W_OK | os.X_OK):
            raise InputError(_cannot_write(self.root, "permission denied"))
        self._sweep()

    def keys(self) -> set[str]:
        """Return the keys of all cases that are in the store now."""
        return {case["key"] for index in self.indexes().values() for case in index["cases"]}

    def indexes(self) -> dict[Path, dict[str, Any]]:
        """Return each batch file's index; a file that cannot be read is set aside with a warning."""
        present = sorted(self.folder.glob("*.npz"))
        self._indexes = {path: self._indexes[path] for path in present if path in self._indexes}
        for path in present:
            if path not in self._indexes:
                index = self._guarded(path, _read_index)
                if index is not None:
                    self._indexes[path] = index
        return self._indexes

    def load(self, keys: Iterable[str]) -> dict[str, CaseResult]:
        """Return the results of those of ``keys`` that are in the store."""
        wanted = set(keys)
        found: dict[str, CaseResult] = {}
        for path, index in list(self.indexes().items()):
            if wanted.isdisjoint(case["key"] for case in index["cases"]):
                continue
            batch = self._guarded(path, _read_batch)
            if batch is None:
                self._indexes.pop(path, None)
                continue
            hits = {key: result for key, result in batch.items() if key in wanted}
            found |= hits
            wanted -= hits.keys()
        return found

    def write(self, results: Mapping[str, CaseResult], titles: Mapping[str, str] | None = None) -> Path:
        """Write one batch so that it is there whole or not at all.

        Raises
        ------
        StoreError
            The file cannot be written; the store is left as it was.
        """
        keys = sorted(results)
        name = hashlib.sha256("".join(keys).encode()).hexdigest()[:24]
        path, beside = self.folder / f"{name}.npz", self.folder / f"{name}.{uuid.uuid4().hex}.part"
        members = _pack(keys, results, titles or {})
        try:
            with beside.open("wb") as handle:
                np.savez(handle, allow_pickle=False, **members)
                handle.flush()
                os.fsync(handle.fileno())
            os.replace(beside, path)
            _sync_folder(self.folder)
        except OSError as error:
            beside.unlink(missing_ok=True)
            raise StoreError(_cannot_write(path, error)) from error
        return path

    def others(self) -> list[str]:
        """Return the other code versions that share this root."""
        return sorted(p.name for p in self.root.iterdir() if p.is_dir() and p.name != self.version)

    def size_bytes(self) -> int:
        """Return what this code version's folder holds on disk [bytes]."""
        return sum(path.stat().st_size for path in self.folder.rglob("*") if path.is_file())

    def _guarded(self, path: Path, read: Any) -> Any:
        try:
            return read(path)
        except FileNotFoundError:
            return None
        except _UNREADABLE as error:
            self._set_aside(path, error)
            return None

    def _set_aside(self, path: Path, error: Exception) -> None:
        aside = self.folder / "set-aside"
        log.warning("%s cannot be read (%s); set aside, its cases are computed again", path, error)
        try:
            aside.mkdir(exist_ok=True)
            os.replace(path, aside / f"{path.name}.{uuid.uuid4().hex[:8]}")
        except OSError as failure:
            log.warning("%s could not be set aside: %s", path, failure)

    def _sweep(self) -> None:
        """Remove half-written files of runs that were killed, once they are an hour old."""
        for path in self.folder.glob("*.part"):
            try:
                if time.time() - path.stat().st_mtime > _STALE_S:
                    path.unlink()
            except OSError as error:
                log.debug("%s: %s", path, error)


def _cannot_write(path: Path, error: object) -> str:
    return f"{path}: the store cannot be written ({error}); free the disk, or choose another with --store DIR"


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _pack(
    keys: Sequence[str], results: Mapping[str, CaseResult], titles: Mapping[str, str]
) -> dict[str, np.ndarray]:
    """Lay one column per (name, dtype) end to end, so that a batch has few members and reads fast."""
    columns: dict[tuple[str, str], dict[int, np.ndarray]] = {}
    for row, key in enumerate(keys):
        for name, value in results[key].items():
            array = np.asarray(value)
            if array.dtype.hasobject:
                raise TypeError(f"case {key}: '{name}' holds objects; a result is numbers, booleans or text")
            columns.setdefault((name, array.dtype.str), {})[row] = array
    index: dict[str, Any] = {
        "schema": SCHEMA,
        "cases": [{"key": key, "title": titles.get(key, "")} for key in keys],
        "columns": [],
    }
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


def _read_index(path: Path) -> dict[str, Any]:
    with np.load(path, allow_pickle=False) as archive:
        return _index_of(archive)


def _read_batch(path: Path) -> dict[str, CaseResult]:
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
