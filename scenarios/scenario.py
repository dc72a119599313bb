"""What does a scenario ask, once its file has been read and found sound?"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from scenarios.case import Case, LayerSpec, TurbineSpec, canonical
from scenarios.life import Life
from scenarios.requirement import Requirement
from sim.design import Turbine


@dataclass(frozen=True)
class Entry:
    """One turbine with one stack of logic."""

    name: str
    design: Turbine
    turbine: TurbineSpec
    stack: tuple[LayerSpec, ...]


@dataclass(frozen=True)
class Scenario:
    """A scenario file, read and checked, with every case that it asks for."""

    path: Path
    name: str
    title: str
    seed: int
    questions: tuple[str, ...]
    requirement: Requirement
    site: Mapping[str, Any]  #: the file's own words, for the report
    entries: tuple[Entry, ...]
    cases: tuple[Case, ...]
    life: Life | None = None  #: over which fatigue is reckoned
    keys: Mapping[str, Any] = field(default_factory=dict)  #: all of the file's, checked, as it was written
    asked: tuple[tuple[str, Any], ...] = ()  #: keys and values set besides the file, as they were given

    @property
    def reference(self) -> Entry:
        """The entry that the others are compared with: the first."""
        return self.entries[0]

    @property
    def candidate(self) -> Entry:
        """The entry that the verdict is about: the last."""
        return self.entries[-1]

    @property
    def candidate_case(self) -> Case:
        """The candidate's first case, of those with the rotor turning if any: stack, sensors and clock."""
        return self.first_case_of(self.candidate)

    def first_case_of(self, entry: Entry) -> Case:
        """Return the first case of an entry, of those with the rotor turning where there are any."""
        return min(self.cases_of(entry), key=lambda case: case.run.at_rest)

    def cases_of(self, entry: Entry) -> list[Case]:
        """Return an entry's cases in the order of the file."""
        return [case for case in self.cases if case.entry == entry.name]

    @cached_property
    def configuration_hash(self) -> str:
        """The sha256 of what is asked: the cases of each entry, the requirement, the questions."""
        asked = [[case.entry, case.load_case, case.key] for case in self.cases]
        return hashlib.sha256(
            canonical([asked, self.requirement, self.life, sorted(self.questions)]).encode()
        ).hexdigest()
