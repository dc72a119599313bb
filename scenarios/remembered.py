"""Which scenarios were asked of a store, and what of each is there, missing or failed?

One small file for each asking: a scenario's file with what was set on the command line. Asked again, edited
or not, it takes the place of the former one, so that results which no scenario refers to can be told.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
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
    configuration_hash: str  #: of the scenario
    titles: Mapping[str, str]  #: of the cases, by key
    begun: str  #: UTC
    ended: str = ""  #: UTC; empty where the campaign was interrupted, or is still running
    failed: Sequence[Mapping[str, str]] = ()  #: ``key``, ``case``, ``entry``, ``why``
    part: str = ""  #: of the scenario's question; empty for its own cases
    schema: int = SCHEMA

    @property
    def identity(self) -> tuple[str, ...]:
        """Which scenario it was, whatever the part and the edition."""
        return self.scenario, self.file, canonical(self.asked)

    @property
    def name(self) -> str:
        """The file that it is kept in."""
        told = canonical([*self.identity, self.part])
        return f"{FOLDER}/{hashlib.sha256(told.encode()).hexdigest()[:24]}.json"


def begin(
    scenario: Scenario, store: Store, part: str = "", titles: Mapping[str, str] | None = None
) -> Asking:
    """Remember that a scenario is asked for.

    Parameters
    ----------
    scenario : Scenario
    store : Store
    part : str
        Of the scenario's question, where it is not its own cases that are asked for.
    titles : mapping of str to str, optional
        Of the cases, by key; those of the scenario's own when None.

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
        titles=dict(titles) if titles is not None else {c.key: c.title for c in scenario.cases},
        begun=_now(),
        part=part,
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


def outdated(askings: Sequence[Asking]) -> list[Asking]:
    """Return those that nothing refers to: of a file that is gone, or parts of a former edition."""
    latest = {asking.identity: asking for asking in askings if not asking.part}
    return [asking for asking in askings if _is_gone(asking, latest.get(asking.identity, asking))]


def _is_gone(asking: Asking, latest: Asking) -> bool:
    is_newer = latest.begun > asking.begun and latest.configuration_hash != asking.configuration_hash
    return is_newer or not Path(asking.file).exists()


def _put(asking: Asking, store: Store) -> None:
    text = json.dumps(asdict(asking), ensure_ascii=False)
    store.put(asking.name, lambda handle: handle.write(text.encode()))


def _read(path: Path) -> Asking:
    data = json.loads(path.read_bytes())
    if data["schema"] != SCHEMA:
        raise ValueError(f"schema {data['schema']}, expected {SCHEMA}")
    asking = Asking(**data)
    if not all(isinstance(told, str) for told in (*_words(asking), *(row["key"] for row in asking.failed))):
        raise ValueError("no record of a campaign")
    return asking


def _words(asking: Asking) -> tuple[Any, ...]:
    return asking.scenario, asking.file, asking.begun, asking.ended, asking.part


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
