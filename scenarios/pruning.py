"""What in a store does no scenario refer to, and how is it taken out?"""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from scenarios.remembered import outdated, remembered
from scenarios.store import Store, StoreError

VERSION = re.compile(r"[0-9a-f]{16}")
"""What the folder of a code version is called; other folders are not ours."""


@dataclass(frozen=True)
class Plan:
    """What would be removed from a store."""

    results: Mapping[str, str]  #: of this code version that no scenario refers to: key and title
    askings: Sequence[Path]  #: of scenarios whose file is gone, of parts of a former edition
    files: Sequence[Path]  #: damaged or foreign, set aside
    folders: Sequence[Path]  #: of other code versions

    def told(self) -> list[str]:
        """Return one line for each thing."""
        return [
            *(title or key for key, title in self.results.items()),
            *(str(path) for path in (*self.askings, *self.files)),
            *(f"{path} (another code version)" for path in self.folders),
        ]


def versions_in(root: Path) -> list[str]:
    """Return the code versions that have a folder in a store."""
    return sorted(path.name for path in root.iterdir() if path.is_dir() and VERSION.fullmatch(path.name))


def unasked(store: Store) -> dict[str, str]:
    """Return the results that no scenario refers to, by key with their titles.

    Notes
    -----
    A scenario refers to its cases as it was last asked for (`scenarios.remembered`), as long as its file is
    there, and to what was made from them. So does each part of its question, until the scenario is asked for
    in another edition.
    """
    askings = remembered(store)
    gone = {asking.name for asking in outdated(askings)}
    asked = {key for asking in askings if asking.name not in gone for key in asking.titles}
    cases = [case for index in store.indexes().values() for case in index["cases"]]
    return {case["key"]: case["title"] for case in cases if not asked & {case["key"], case.get("of", "")}}


def plan(store: Store, with_versions: bool) -> Plan:
    """Return what a store could do without; nothing is touched."""
    gone = [store.folder / asking.name for asking in outdated(remembered(store))]
    aside = sorted(path for path in (store.folder / "set-aside").glob("*") if path.is_file())
    others = [store.root / name for name in versions_in(store.root) if name != store.version]
    return Plan(unasked(store), gone, aside, others if with_versions else [])


def remove(planned: Plan, store: Store) -> None:
    """Remove what was planned.

    Raises
    ------
    StoreError
        Something cannot be removed; the rest of the store is sound.
    """
    store.forget(planned.results)
    for path in (*planned.askings, *planned.files):
        store.remove(path)
    for folder in planned.folders:
        try:
            shutil.rmtree(folder)
        except OSError as error:
            raise StoreError(f"{folder}: cannot be removed ({error})") from error
