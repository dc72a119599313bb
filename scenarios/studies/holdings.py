"""What does a result store hold?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from scenarios.answer import Answer, table
from scenarios.provenance import code_version
from scenarios.store import Store
from sim.compiled import cache_root
from sim.errors import InputError


def run(root: Path | None) -> Answer:
    """Return what is in a store, by code version; the per-user store when ``root`` is None.

    Raises
    ------
    InputError
        There is no such folder.
    """
    folder = root if root is not None else cache_root() / "store"
    if not folder.is_dir():
        raise InputError(f"{folder}: no such store; a study makes one with --store DIR")
    found = sorted(path.name for path in folder.iterdir() if path.is_dir())
    kept = [_version(folder, name) for name in found]
    data = {"store": str(folder), "code_version": code_version(), "versions": kept}
    rows = [
        [
            row["code_version"] + (" (this code)" if row["is_current"] else ""),
            *(str(row[name]) for name in ("cases", "batches", "set_aside")),
            f"{row['size_bytes'] / 1e6:.1f}",
        ]
        for row in kept
    ]
    text = table(["code version", "cases", "batches", "set aside", "MB"], rows) if rows else "empty"
    return Answer(data, f"{folder}\n{text}\nResults of another code version are kept and never mixed in.")


def _version(root: Path, name: str) -> dict[str, Any]:
    store = Store(root, name)
    return {
        "code_version": name,
        "is_current": name == code_version(),
        "cases": len(store.keys()),
        "batches": len(store.indexes()),
        "set_aside": len(list((store.folder / "set-aside").glob("*"))),
        "size_bytes": store.size_bytes(),
    }
