"""What did all cases of one entry bring, lined up as the measures want it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, unloaded_of
from scenarios.scenario import Entry, Scenario
from scenarios.store import CaseResult
from scenarios.wind_keys import STEADY
from sim.interface import ENDED, SENTENCE, Status
from sim.measures.labels import Labels
from sim.measures.lifetime import rayleigh_hours, speed_edges, weibull_hours, weibull_scale
from sim.measures.logic import Passes
from sim.measures.spectrum import NOTHING, Spectrum
from sim.plant.geometry import unloaded_clearance
from sim.wind.standard import Site

Floats = NDArray[np.float64]
PASS_COLUMNS = (
    "blade",
    "time_s",
    "azimuth_rad",
    "radius_m",
    "clearance_m",
    "pitch_rad",
    "wind_speed_m_s",
    "acted",
    "clearance_without_m",
    "weight",
)


@dataclass(frozen=True)
class Gathered:
    """The cases of one entry in the order of the file, and what came of each.

    Parameters
    ----------
    entry : Entry
    cases : sequence of Case
    results : [case] CaseResult, None where the case failed
    labels : Labels
    free : (case,) float64 [m]
        Unloaded clearance that each case is judged by: with the rotor at rest that of the feathered blade.
    must : (case,) float64 [m]
        What clearance must remain in each case.
    normal : (case,) bool
        Normal turbulence: the only cases that a rate may come from.
    """

    entry: Entry
    cases: Sequence[Case]
    results: Sequence[CaseResult | None]
    labels: Labels
    free: Floats
    must: Floats
    normal: NDArray[np.bool_]

    @cached_property
    def unloaded(self) -> float:
        """Unloaded clearance of the entry's turbine, at fine pitch [m]."""
        return unloaded_clearance(self.entry.design)

    @cached_property
    def at_rest(self) -> NDArray[np.bool_]:
        """Which cases have the rotor at rest: they have no passes, and enter no rate."""
        return np.array([case.run.at_rest for case in self.cases])

    def row_of(self, condition: str) -> int:
        """Return the row of the first case of a load case."""
        return int(np.argmax(self.labels.condition == condition))

    @property
    def required(self) -> float:
        """The most that must remain in any case with the rotor turning [m]."""
        return float(np.max(self.must[~self.at_rest], initial=0.0))

    def column(self, name: str) -> Floats:
        """Return one number of each case, or one for each blade; not a number where the case failed."""
        shape = next((np.shape(r[f"cases.{name}"]) for r in self.results if r is not None), ())
        empty = np.full(shape, np.nan)
        rows = [empty if r is None else r[f"cases.{name}"] for r in self.results]
        return np.stack([np.asarray(row, dtype=np.float64) for row in rows])

    def turning(self, name: str) -> Floats:
        """Return `column` of the cases with the rotor turning alone."""
        return self.column(name)[~self.at_rest]

    def spectra(self, part: str) -> list[Spectrum]:
        """Return the counted cycles of one part of a channel for each case; empty where the case failed."""
        return [
            NOTHING if r is None else Spectrum(r[f"cycles.{part}"], r[f"turning.{part}"])
            for r in self.results
        ]

    @cached_property
    def passes(self) -> dict[str, NDArray]:
        """Columns of every pass of every case that ran, and ``case``, the row of its case."""
        kept = [(row, r) for row, r in enumerate(self.results) if r is not None]
        table = {name: _joined([r[f"passes.{name}"] for _, r in kept]) for name in PASS_COLUMNS}
        counts = [(row, r["passes.clearance_m"].size) for row, r in kept]
        table["case"] = _joined([np.full(size, row, np.int64) for row, size in counts]).astype(np.int64)
        return table

    @property
    def judged_passes(self) -> Passes:
        """The passes as the ledger wants them."""
        table = self.passes
        return Passes(
            case=table["case"],
            acted=table["acted"].astype(bool),
            clearance=table["clearance_m"],
            clearance_without=table["clearance_without_m"],
            weight=table["weight"],
            required=self.must[table["case"]],
        )


def gather(scenario: Scenario, entry: Entry, results: Mapping[str, CaseResult]) -> Gathered:
    """Line up what the cases of one entry brought.

    Parameters
    ----------
    scenario : Scenario
    entry : Entry
    results : mapping of a case's key to its result
    """
    cases = scenario.cases_of(entry)
    found = [results.get(case.key) for case in cases]
    one_of = {case.run.at_rest: case for case in cases}
    unloaded = {at_rest: unloaded_of(case, entry.design) for at_rest, case in one_of.items()}
    free = np.array([unloaded[case.run.at_rest] for case in cases])
    return Gathered(
        entry=entry,
        cases=cases,
        results=[None if result is None or has_ended(result) else result for result in found],
        labels=Labels(
            kind=np.array([_kind(case) for case in cases]),
            condition=np.array([case.load_case for case in cases]),
            speed=np.array([case.wind.speed for case in cases]),
            number=np.array([case.number for case in cases]),
        ),
        free=free,
        must=np.array([case.required_share for case in cases]) * free,
        normal=np.array([case.wind.kind == "normal_turbulence" and not case.faults for case in cases]),
    )


def _kind(case: Case) -> str:
    if case.is_event:
        is_calm = case.wind.kind in STEADY and not case.faults and not case.run.at_rest
        return "steady" if is_calm else "event"
    return "fault" if case.faults else "turbulence"


def has_ended(result: CaseResult) -> bool:
    """Say whether a case ended before its time, so that it cannot be judged."""
    return Status(int(result["cases.status"])) in ENDED


def trouble_of(result: CaseResult, is_storm: bool = False) -> str:
    """Return why a case ended, or what is amiss with it though it ran; empty for a sound one.

    Parameters
    ----------
    result : CaseResult
    is_storm : bool
        Its wind is above cut-out, where a turbine stands still; the march lets it turn, and that is said.
    """
    status = Status(int(result["cases.status"]))
    if status <= Status.STRUCK:
        return ""
    told = str(result["fault"]) if "fault" in result else ""
    words = SENTENCE[status]
    detail = "" if not told or told == status.name.lower() else f": {told}"
    time = float(result["cases.status_time_s"])
    when = f"{abs(time):.2f} s {'into' if time >= 0.0 else 'before'} the judged time"
    storm = (
        "; its wind is above cut-out, where a turbine stands still: it is marched turning" if is_storm else ""
    )
    return f"{words}, {when}{detail}{storm}"


def is_whole(result: CaseResult | None) -> bool:
    """Say whether a case was marched to its end."""
    return result is not None and not has_ended(result)


def why_lost(result: CaseResult | None, why: str) -> str:
    """Return why a run tells nothing, or less than it should; empty for one that ran to its end."""
    if result is None:
        return why
    return trouble_of(result) if has_ended(result) else ""


def site_of(scenario: Scenario) -> Site:
    """Return the scenario's site, at the reference's hub."""
    site, design = scenario.site, scenario.reference.design
    return Site(
        site["wind_class"],
        site["turbulence_category"],
        design.rotor.hub_height,
        2.0 * design.rotor_radius,
        site.get("reference_wind_speed_m_s"),
        site.get("average_wind_speed_m_s"),
        site.get("reference_turbulence_intensity"),
    )


def mean_wind(scenario: Scenario) -> float:
    """Return the annual mean wind speed of the scenario's site [m/s]."""
    return site_of(scenario).vave


def life_wind(scenario: Scenario) -> float:
    """Return the annual mean wind speed over which a life is reckoned: its own, else the site's [m/s]."""
    life = scenario.life
    return mean_wind(scenario) if life is None or life.mean is None else life.mean


def yearly_hours(scenario: Scenario, gathered: Gathered) -> Floats:
    """Return the hours a year of the bin of wind that each case of normal turbulence belongs to.

    Returns
    -------
    (case,) float64 [h]
        0 for extreme turbulence and events: they enter no rate.

    Notes
    -----
    The distribution of the scenario's life, else Rayleigh's of the site's annual mean. A simulated speed
    stands for the winds that are nearest to it, the first from cut-in and the last up to cut-out. Several
    conditions of normal turbulence at one speed share its hours.
    """
    hours = np.zeros(gathered.labels.size)
    if not gathered.normal.any():
        return hours
    speed, normal = gathered.labels.speed, gathered.normal
    machine = gathered.entry.design.machine
    speeds = np.unique(speed[normal])
    edges = speed_edges(speeds, machine.cut_in, machine.cut_out)
    for value, share in zip(speeds, _wind_hours(scenario, edges), strict=True):
        inside = normal & (speed == value)
        hours[inside] = share / np.unique(gathered.labels.condition[inside]).size
    return hours


def _wind_hours(scenario: Scenario, edges: Floats) -> Floats:
    life = scenario.life
    if life is None:
        return rayleigh_hours(edges, mean_wind(scenario))
    scale = weibull_scale(life_wind(scenario), life.shape)
    return life.availability * weibull_hours(edges, scale, life.shape)


def _joined(parts: list[NDArray]) -> NDArray:
    return np.concatenate(parts) if parts else np.zeros(0)
