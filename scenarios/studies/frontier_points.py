"""What are the settings of a frontier, and what came of one of them, wind by wind?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, LayerSpec
from scenarios.frontier_keys import FrontierKeys
from scenarios.frontier_run import NOTED, frontier_case
from scenarios.scenario import Entry, Scenario
from scenarios.store import CaseResult
from scenarios.studies.gather import Gathered, gather
from scenarios.studies.ledger import rebounds
from sim.measures.logic import Ledger, make_ledger

Floats = NDArray[np.float64]
KIND = "extreme_turbulence"
PULSE = "amplitude_deg"
"""What is swept of the permanent pulse; of all others ``margin_m``."""


@dataclass(frozen=True)
class Point:
    """One setting of one layer, and the winds that it is to meet."""

    layer: str
    parameter: str
    value: float
    entry: Entry
    cases: tuple[Case, ...]

    @property
    def is_pulse(self) -> bool:
        """Whether it is one of the permanent pulse."""
        return self.parameter == PULSE

    def first(self, seeds: int) -> Point:
        """Return it with the first seeds of each wind alone."""
        return replace(self, cases=tuple(case for case in self.cases if case.number <= seeds))


@dataclass(frozen=True)
class Swept:
    """What came of one setting, against the same winds without logic; one row for each wind that both ran in.

    ``passes`` as `scenarios.studies.gather.Gathered.passes`, with ``noted`` (pass, 3) beside them.
    """

    point: Point
    gathered: Gathered
    ledger: Ledger
    noted: Floats
    kept: NDArray[np.bool_]  #: (case,) of the gathered cases: ran, here and without logic
    demands: Floats  #: (kept case,) passes that break without logic
    broken: Floats  #: (kept case,) passes that break with it
    travel: Floats  #: (kept case,) extra travel [deg], mean of the blades
    hours: Floats  #: (kept case,)

    @property
    def groups(self) -> list[str]:
        """The wind bin of each row."""
        cases = [case for case, kept in zip(self.gathered.cases, self.kept, strict=True) if kept]
        return [f"{case.load_case} {case.wind.speed:g}" for case in cases]

    @property
    def winds(self) -> list[str]:
        """What tells the winds of the rows apart."""
        return [c.wind_key for c, kept in zip(self.gathered.cases, self.kept, strict=True) if kept]

    @property
    def missed_share(self) -> float:
        """Passes that break with the logic over those that break without it [-]."""
        below = float(self.demands.sum())
        return float(self.broken.sum()) / below if below else math.nan

    @property
    def travel_rate(self) -> float:
        """Extra travel [deg/h]."""
        return float(self.travel.sum() / self.hours.sum()) if self.hours.size else math.nan

    @property
    def harmed(self) -> int:
        """Broken passes that would have held without the logic, its rebound included."""
        return round(self.ledger.total()["harmed"]) + len(rebounds(self.gathered))


def settings(scenario: Scenario, keys: FrontierKeys, required_share: float) -> list[Point]:
    """Return every setting of every entry whose stack holds one tower-pass layer with something to sweep."""
    return [point for entry in scenario.entries for point in _of_entry(scenario, entry, keys, required_share)]


def _of_entry(scenario: Scenario, entry: Entry, keys: FrontierKeys, share: float) -> list[Point]:
    passing = [n for n, layer in enumerate(entry.stack) if layer.load().tower_pass]
    if len(passing) != 1:
        return []
    given = dict(entry.stack[passing[0]].parameters)
    if "margin_m" in given:
        name, values = "margin_m", {*keys.margins_m, round(given["margin_m"], 3)}
    elif PULSE in given:
        name, values = PULSE, set(keys.amplitudes_deg)
    else:
        return []
    cases = extreme_cases(scenario, entry)
    return [_point(entry, passing[0], (name, value), cases, share) for value in sorted(values)]


def extreme_cases(scenario: Scenario, entry: Entry) -> list[Case]:
    """Return an entry's cases of extreme turbulence without faults."""
    return [case for case in scenario.cases_of(entry) if case.wind.kind == KIND and not case.faults]


def _point(
    entry: Entry, place: int, setting: tuple[str, float], cases: Sequence[Case], share: float
) -> Point:
    layer = entry.stack[place]
    parameters = tuple(sorted((dict(layer.parameters) | dict([setting])).items()))
    stack: tuple[LayerSpec, ...] = tuple(
        replace(other, parameters=parameters) if n == place else other for n, other in enumerate(entry.stack)
    )
    title = f"{entry.name}, {setting[0]} {setting[1]:g}"
    told = [frontier_case(replace(case, entry=title, stack=stack, required_share=share)) for case in cases]
    return Point(layer.name, *setting, replace(entry, name=title, stack=stack), tuple(told))


def without_logic(
    scenario: Scenario, entry: Entry, cases: Sequence[Case], results: Mapping[str, CaseResult]
) -> Gathered:
    """Line up what the reference's cases brought."""
    return gather(replace(scenario, cases=tuple(cases)), entry, results)


def swept(
    scenario: Scenario, point: Point, results: Mapping[str, CaseResult], base: Gathered, required: float
) -> Swept:
    """Hold one setting against the run without logic in the same winds."""
    gathered = gather(replace(scenario, cases=point.cases), point.entry, results)
    row_of = {case.wind_key: row for row, case in enumerate(base.cases) if base.results[row] is not None}
    kept = np.array(
        [
            result is not None and case.wind_key in row_of
            for case, result in zip(gathered.cases, gathered.results, strict=True)
        ],
        dtype=bool,
    )
    rows = [row_of[case.wind_key] for case, is_kept in zip(gathered.cases, kept, strict=True) if is_kept]
    travel = _travel(gathered)[kept] - _travel(base)[rows]
    return Swept(
        point=point,
        gathered=gathered,
        ledger=make_ledger(gathered.judged_passes, gathered.labels),
        noted=_noted(gathered),
        kept=kept,
        demands=broken_in(base, required)[rows],
        broken=broken_in(gathered, required)[kept],
        travel=travel,
        hours=gathered.column("judged_s")[kept] / 3600.0,
    )


def broken_in(gathered: Gathered, required: float) -> Floats:
    """Return how many passes of each case left less than this, (case,)."""
    passes = gathered.passes
    below = passes["clearance_m"] < required
    return np.bincount(passes["case"], below, len(gathered.cases)).astype(np.float64)


def _travel(gathered: Gathered) -> Floats:
    """Return the pitch travel of each case, mean of the blades [deg]."""
    return np.degrees(gathered.column("pitch_travel_rad").reshape(len(gathered.cases), -1).mean(axis=1))


def _noted(gathered: Gathered) -> Floats:
    parts: list[Any] = [
        np.stack([result[f"passes.{name}"] for name in NOTED], axis=1)
        for result in gathered.results
        if result is not None
    ]
    return np.concatenate(parts) if parts else np.zeros((0, len(NOTED)))
