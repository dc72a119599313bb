"""Which scenarios were asked of a store, and what of each is there, missing or failed?

One small file for each asking: a scenario's file with what was set on the command line. Asked again, edited
or not, it takes the place of the former one, so that results which no scenario refers to can be told.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scenarios.case import canonical
from scenarios.scenario import Scenario
from scenarios.store import Store

FOLDER = "asked"
SCHEMA = 1


@dataclass(frozen=True)
class Asking:
    """One campaign as it was last asked for."""

    scenario: str  #: its name
    file: str  #: where it stood
    asked: Sequence[Sequence[Any]]  #: keys and values set on the command line
    configuration_hash: str
    titles: Mapping[str, str]  #: of the cases, by key
    begun: str  #: UTC
    ended: str = ""  #: UTC; empty where the campaign was interrupted, or is still running
    failed: Sequence[Mapping[str, str]] = field(default_factory=tuple)  #: ``case``, ``entry``, ``why``
    schema: int = SCHEMA

    @property
    def name(self) -> str:
        """The file that it is kept in."""
        told = canonical([self.scenario, self.file, self.asked])
        return f"{FOLDER}/{hashlib.sha256(told.encode()).hexdigest()[:24]}.json"


def begin(scenario: Scenario, store: Store) -> Asking:
    """Remember that a scenario is asked for.

    Raises
    ------
    StoreError
        The store cannot be written.
    """
    asking = Asking(
        scenario=scenario.name,
        file=str(scenario.path.resolve()),
        asked=[list(pair) for pair in scenario.asked],
        configuration_hash=scenario.configuration_hash,
        titles={case.key: case.title for case in scenario.cases},
        begun=_now(),
    )
    _put(asking, store)
    return asking


def end(asking: Asking, failed: Iterable[Mapping[str, str]], store: Store) -> None:
    """Remember how it ended.

    Raises
    ------
    StoreError
        The store cannot be written.
    """
    _put(replace(asking, ended=_now(), failed=list(failed)), store)


def remembered(store: Store) -> list[Asking]:
    """Return what was asked of a store, the latest last; a file that cannot be read is set aside."""
    found = [store.guarded(path, _read) for path in sorted((store.folder / FOLDER).glob("*.json"))]
    return sorted((asking for asking in found if asking is not None), key=lambda asking: asking.begun)


def _put(asking: Asking, store: Store) -> None:
    text = json.dumps(asdict(asking), ensure_ascii=False)
    store.put(asking.name, lambda handle: handle.write(text.encode()))


def _read(path: Path) -> Asking:
    data = json.loads(path.read_bytes())
    if data["schema"] != SCHEMA:
        raise ValueError(f"schema {data['schema']}, expected {SCHEMA}")
    asking = Asking(**data)
    if not all(isinstance(told, str) for told in (asking.scenario, asking.file, asking.begun, asking.ended)):
        raise ValueError("no record of a campaign")
    return asking


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
