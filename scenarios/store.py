"""Where do finished cases live, and how are they found again?

One folder per code version, in it one ``.npz`` per finished batch, written beside and moved into place,
so that a file is whole or not there. A case is found by its key; any number of campaigns may write at once.
"""

from __future__ import annotations

import hashlib
import logging
import os
import time
import uuid
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

import numpy as np

from scenarios.packing import UNREADABLE, CaseResult, pack, read_batch, read_index
from scenarios.provenance import code_version
from sim.compiled import cache_root
from sim.errors import InputError, SimError

__all__ = ["CaseResult", "Store", "StoreError"]

_STALE_S = 3600.0
_LOOKS = 4
"""How often the store is looked through again where files vanish while they are read."""

log = logging.getLogger("wideberth")


class StoreError(SimError):
    """The store cannot be written: disk full, folder gone, permission lost."""


class Store:
    """Results of finished cases, by key.

    Parameters
    ----------
    root : folder of the store; the per-user cache folder when None
    version : code version that names the subfolder; the running code's when None
    is_reader : only look; a folder that is not there or cannot be written is no fault then

    Raises
    ------
    InputError
        The folder cannot be made or written.
    """

    def __init__(
        self, root: str | Path | None = None, version: str | None = None, *, is_reader: bool = False
    ) -> None:
        self.root = Path(root) if root is not None else cache_root() / "store"
        self.version = version or code_version()
        self.folder = self.root / self.version
        self.is_reader = is_reader
        self._indexes: dict[Path, dict[str, Any]] = {}
        self._left_out: set[Path] = set()  # told already
        if not is_reader:
            self._prepare()
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
                index = self.guarded(path, read_index)
                if index is not None:
                    self._indexes[path] = index
        return self._indexes

    def load(self, keys: Iterable[str]) -> dict[str, CaseResult]:
        """Return the results of those of ``keys`` that are in the store."""
        wanted = set(keys)
        found: dict[str, CaseResult] = {}
        for _ in range(_LOOKS):
            if self._collect(found, wanted - found.keys()):
                break
        return found

    def _collect(self, found: dict[str, CaseResult], wanted: set[str]) -> bool:
        """Add what is wanted to ``found``; say whether every file was still there when it was read."""
        is_whole = True
        for path, index in list(self.indexes().items()):
            if wanted.isdisjoint(case["key"] for case in index["cases"]):
                continue
            batch = self.guarded(path, read_batch)
            if batch is None:
                self._indexes.pop(path, None)
                is_whole = False
                continue
            hits = {key: result for key, result in batch.items() if key in wanted}
            if len(hits) < len(batch):  # views would keep the whole batch in memory
                hits = {key: {name: a.copy() for name, a in result.items()} for key, result in hits.items()}
            found |= hits
            wanted = wanted - hits.keys()
        return is_whole

    def write(
        self,
        results: Mapping[str, CaseResult],
        titles: Mapping[str, str] | None = None,
        of: Mapping[str, str] | None = None,
    ) -> Path:
        """Write one batch so that it is there whole or not at all.

        Parameters
        ----------
        results : by key
        titles : for people, by key
        of : by key, the key of the case that a result was made from, where it is not a case's own

        Raises
        ------
        StoreError
            The file cannot be written; the store is left as it was.
        """
        cases = [{"key": key, "title": (titles or {}).get(key, "")} for key in sorted(results)]
        cases = [case | ({"of": of[case["key"]]} if of and case["key"] in of else {}) for case in cases]
        name = hashlib.sha256("".join(case["key"] for case in cases).encode()).hexdigest()[:24]
        members = pack(cases, results)
        return self.put(f"{name}.npz", lambda handle: np.savez(handle, allow_pickle=False, **members))

    def put(self, name: str, fill: Callable[[IO[bytes]], Any]) -> Path:
        """Write a file beside its place and move it there once it is whole.

        Raises
        ------
        StoreError
            The file cannot be written; the store is left as it was.
        """
        path = self.folder / name
        beside = path.with_name(f"{path.stem}.{uuid.uuid4().hex}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with beside.open("wb") as handle:
                fill(handle)
                handle.flush()
                os.fsync(handle.fileno())
            os.replace(beside, path)
            _sync_folder(path.parent)
        except OSError as error:
            _discard(beside)
            raise StoreError(_cannot_write(path, error)) from error
        return path

    def forget(self, keys: Iterable[str]) -> int:
        """Take results out, and what was made from them; return how many there were.

        Raises
        ------
        StoreError
            A file cannot be written or removed; what it holds may still be there.
        """
        unwanted, count = set(keys), 0
        for path, index in list(self.indexes().items()):
            kept = {c["key"]: c for c in index["cases"] if not {c["key"], c.get("of", "")} & unwanted}
            if len(kept) == len(index["cases"]):
                continue
            batch = self.guarded(path, read_batch) if kept else {}
            if batch is None:
                continue
            if kept:
                titles = {key: case["title"] for key, case in kept.items()}
                of = {key: case["of"] for key, case in kept.items() if "of" in case}
                self.write({key: batch[key] for key in kept}, titles, of)
            self.remove(path)
            count += len(index["cases"]) - len(kept)
        return count

    def remove(self, path: Path) -> None:
        """Remove one file of the store.

        Raises
        ------
        StoreError
            It cannot be removed.
        """
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise StoreError(_cannot_write(path, error)) from error
        self._indexes.pop(path, None)

    def others(self) -> list[str]:
        """Return the other code versions that share this root."""
        return sorted(p.name for p in self.root.iterdir() if p.is_dir() and p.name != self.version)

    def size_bytes(self) -> int:
        """Return what this code version's folder holds on disk [bytes]."""
        return sum(path.stat().st_size for path in self.folder.rglob("*") if path.is_file())

    def guarded(self, path: Path, read: Callable[[Path], Any]) -> Any:
        """Return what ``read`` makes of a file: None where it is gone, or was damaged and is set aside."""
        try:
            return read(path)
        except FileNotFoundError:
            return None
        except UNREADABLE as error:
            self._set_aside(path, error)
            return None

    def _set_aside(self, path: Path, error: Exception) -> None:
        told = f"{path} cannot be read ({error})"
        if self.is_reader:
            if path not in self._left_out:
                log.warning("%s; left out", told)
            self._left_out.add(path)
            return
        aside = self.folder / "set-aside"
        log.warning("%s; set aside, its cases are computed again", told)
        try:
            aside.mkdir(exist_ok=True)
            os.replace(path, aside / f"{path.name}.{uuid.uuid4().hex[:8]}")
        except OSError as failure:
            log.warning("%s could not be set aside: %s", path, failure)

    def _prepare(self) -> None:
        """Make the folder, and try whether it can be written."""
        probe = self.folder / f"{uuid.uuid4().hex}.part"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            probe.touch()
            probe.unlink()
        except OSError as error:
            raise InputError(_cannot_write(self.root, error)) from error

    def _sweep(self) -> None:
        """Remove half-written files of runs that were killed, once they are an hour old."""
        for path in self.folder.rglob("*.part"):
            try:
                if time.time() - path.stat().st_mtime > _STALE_S:
                    path.unlink()
            except OSError as error:
                log.debug("%s: %s", path, error)


def _cannot_write(path: Path, error: object) -> str:
    return f"{path}: the store cannot be written ({error}); free the disk, or choose another with --store DIR"


def _discard(path: Path) -> None:
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
