"""What does a result store hold: what is there, missing, failed, how large, and what could go?"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from scenarios.answer import Answer, table
from scenarios.provenance import code_version
from scenarios.pruning import Plan, plan, remove, unasked, versions_in
from scenarios.remembered import Asking, remembered
from scenarios.store import Store
from scenarios.studies.telling import shortened
from sim.compiled import cache_root
from sim.errors import InputError

APART = "Results of another code version are kept apart and never mixed in; that code finds them again."


def run(
    root: Path | None, is_pruning: bool = False, with_versions: bool = False, is_sure: bool = False
) -> Answer:
    """Return what is in a store, by code version; the per-user store when ``root`` is None.

    Parameters
    ----------
    root : folder of the store
    is_pruning : name what no scenario refers to
    with_versions : count whole other code versions among that
    is_sure : and remove it

    Raises
    ------
    InputError
        There is no such folder, or it cannot be written when something is to be removed.
    """
    folder = root if root is not None else cache_root() / "store"
    if not folder.is_dir():
        raise InputError(f"{folder}: no such store; a study makes one with --store DIR")
    if not is_pruning and (with_versions or is_sure):
        raise InputError("--yes and --all-versions belong to --prune")
    planned = plan(Store(folder, is_reader=True), with_versions) if is_pruning else None
    if planned is not None and is_sure and planned.told():
        remove(planned, Store(folder))
    kept = [_version(folder, name) for name in versions_in(folder)]
    data: dict[str, Any] = {"store": str(folder), "code_version": code_version(), "versions": kept}
    parts = [str(folder), _text(kept)]
    if planned is not None:
        data["pruned"] = _plan_data(planned, is_sure)
        parts.append(_plan_text(planned, is_sure))
        if not with_versions and any(not row["is_current"] for row in kept):
            parts.append("--all-versions names the results of other code versions too.")
    return Answer(data, "\n\n".join(parts))


def _version(root: Path, name: str) -> dict[str, Any]:
    store = Store(root, name, is_reader=True)
    keys = store.keys()
    return {
        "code_version": name,
        "is_current": name == code_version(),
        "cases": len(keys),
        "batches": len(store.indexes()),
        "unasked": len(unasked(store)),
        "set_aside": len(list((store.folder / "set-aside").glob("*"))),
        "size_bytes": store.size_bytes(),
        "scenarios": [_asked(asking, keys) for asking in remembered(store)],
    }


def _asked(asking: Asking, keys: set[str]) -> dict[str, Any]:
    failed = {row["key"] for row in asking.failed}  # entries that share a case list it each
    missing = [title for key, title in asking.titles.items() if key not in keys | failed]
    return {
        "scenario": asking.scenario,
        "part": asking.part,
        "file": asking.file,
        "file_is_there": Path(asking.file).exists(),
        "set": [list(pair) for pair in asking.asked],
        "configuration_hash": asking.configuration_hash,
        "begun": asking.begun,
        "ended": asking.ended or None,
        "total": len(asking.titles),
        "there": sum(key in keys for key in asking.titles),
        "missing": len(missing),
        "failed": len(failed),
        "missing_cases": missing,
        "failed_cases": list(asking.failed),
    }


def _text(kept: list[dict[str, Any]]) -> str:
    if not kept:
        return "empty"
    head = ["code version", "results", "batches", "of no scenario", "set aside", "MB"]
    rows = [
        [
            row["code_version"] + (" (this code)" if row["is_current"] else ""),
            *(str(row[name]) for name in ("cases", "batches", "unasked", "set_aside")),
            f"{row['size_bytes'] / 1e6:.1f}",
        ]
        for row in kept
    ]
    parts = [f"{table(head, rows)}\n{APART}"]
    parts += [_scenarios_text(row) for row in kept if row["is_current"] and row["scenarios"]]
    return "\n\n".join(parts)


def _scenarios_text(version: Mapping[str, Any]) -> str:
    head = ["scenario", "set", "last asked", "cases", "there", "missing", "failed", "ended"]
    rows, trouble = [], []
    for row in version["scenarios"]:
        given = " ".join(f"{key}={value}" for key, value in row["set"])
        ended = "yes" if row["ended"] else "no"
        rows.append(
            [_who(row), shorten(given), row["begun"]]
            + [str(row[name]) for name in ("total", "there", "missing", "failed")]
            + [ended]
        )
        trouble += [f"{failure['case']}: {failure['why']}" for failure in row["failed_cases"]]
        trouble += [f"{title}: missing" for title in row["missing_cases"]]
    text = f"What was asked of this code:\n{table(head, rows, left=3)}"
    return "\n".join([text, "", "Missing or failed:", *shortened(trouble)]) if trouble else text


def _who(row: Mapping[str, Any]) -> str:
    part = f", {row['part']}" if row["part"] else ""
    return row["scenario"] + part + ("" if row["file_is_there"] else " (file gone)")


def shorten(text: str, limit: int = 40) -> str:
    """Return a text that fits into a cell."""
    return text if len(text) <= limit else text[: limit - 3] + "..."


def _plan_data(planned: Plan, is_sure: bool) -> dict[str, Any]:
    return {
        "is_removed": is_sure,
        "results": [{"key": key, "title": title} for key, title in planned.results.items()],
        "files": [str(path) for path in (*planned.askings, *planned.files)],
        "folders": [str(path) for path in planned.folders],
    }


def _plan_text(planned: Plan, is_sure: bool) -> str:
    told = planned.told()
    if not told:
        return "Every result belongs to a scenario; there is nothing to remove."
    head = "Removed:" if is_sure else "No scenario refers to these; --prune --yes removes them:"
    return "\n".join([head, *shortened(told)])
