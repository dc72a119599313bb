"""What becomes of the margin, the loads and the odd failure when a blade is given another stiffness?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scenarios.asked import Asked
from scenarios.case import Case, LayerSpec, TurbineSpec
from scenarios.scenario import Entry, Scenario
from scenarios.store import CaseResult
from scenarios.studies.assess import Assessment, assess
from scenarios.studies.gather import Gathered, gather
from scenarios.studies.lever_design import SPAR_SHARE, mass_factor
from sim.errors import RunError
from sim.measures.clearance import Verdict, judge
from sim.measures.statistics import percentiles, resample
from sim.turbine import load_turbine

Floats = NDArray[np.float64]
NEAR = 1.0
"""How much more [m] than the worst wind another must leave at every try to be left out of the search."""
FACTOR, MASS = "blade.flap_stiffness_factor", "blade.mass_factor"


@dataclass(frozen=True)
class Try:
    """One stack on a blade of one stiffness factor."""

    name: str
    stack: tuple[LayerSpec, ...]
    factor: float


def factors_of(turbine: TurbineSpec) -> tuple[float, float]:
    """Return the factors on flap stiffness and mass that a turbine's file and overrides state [-]."""
    plain = tuple(pair for pair in turbine.overrides if pair[0] not in (FACTOR, MASS))
    table = load_turbine(turbine.source, (*plain, (FACTOR, 1.0), (MASS, 1.0))).blade
    own = load_turbine(turbine.source, turbine.overrides).blade
    ratios = own.flap_stiffness[0] / table.flap_stiffness[0], own.mass[0] / table.mass[0]
    stiffness, mass = (round(float(ratio), 12) for ratio in ratios)
    return stiffness, mass


def entry_of(base: Entry, tried: Try) -> Entry:
    """Return an entry with that stack and that blade; the blade's mass follows its stiffness.

    Notes
    -----
    The factor is that of the turbine file's key; mass follows `lever_design.mass_factor` from the blade of
    the turbine file, or from that of the entry where it states a factor on mass itself.
    """
    overrides = base.turbine.overrides
    kept = tuple(pair for pair in overrides if pair[0] not in (FACTOR, MASS))
    weighed = overrides if any(pair[0] == MASS for pair in overrides) else kept
    stiffness, mass = factors_of(replace(base.turbine, overrides=weighed))
    mass *= mass_factor(tried.factor, SPAR_SHARE) / mass_factor(stiffness, SPAR_SHARE)
    overrides = (*kept, (FACTOR, tried.factor), (MASS, mass))
    design = load_turbine(base.turbine.source, overrides)
    spec = replace(base.turbine, overrides=overrides, content=design.content_hash())
    return Entry(f"{tried.name}, stiffness x {tried.factor:g}", design, spec, tried.stack)


def with_entries(scenario: Scenario, tries: Sequence[Try], cases: Sequence[Case]) -> Scenario:
    """Return a scenario of other entries, each in the winds of the given cases of the candidate.

    Notes
    -----
    What share of the unloaded clearance must remain stays: stiffness leaves the unloaded one as it is.
    """
    entries = tuple(entry_of(scenario.candidate, tried) for tried in tries)
    made = tuple(
        replace(
            case,
            turbine=entry.turbine,
            stack=() if case.run.at_rest else entry.stack,
            entry=entry.name,
        )
        for entry in entries
        for case in cases
    )
    return replace(scenario, entries=entries, cases=made)


def march(scenario: Scenario, asked: Asked) -> Mapping[str, CaseResult]:
    """Run a scenario's cases.

    Raises
    ------
    RunError
        One of them failed: a margin cannot be told.
    """
    campaign = asked.run(scenario.cases)
    if campaign.tally.failed:
        key, why = next(iter(campaign.tally.failed.items()))
        title = next(case.title for case in scenario.cases if case.key == key)
        raise RunError(f"{title}: {why}")
    return campaign.results


@dataclass(frozen=True)
class Margin:
    """What an entry has to spare: the verdict, and the ends of the margin's interval over seeds [m]."""

    verdict: Verdict
    low: float
    high: float

    @property
    def value(self) -> float:
        """Least characteristic clearance less what must remain [m]."""
        return self.verdict.governing.margin


def margins(scenario: Scenario, results: Mapping[str, CaseResult]) -> list[Margin]:
    """Return what each entry has to spare."""
    return [margin_of(gather(scenario, entry, results)) for entry in scenario.entries]


def margin_of(gathered: Gathered) -> Margin:
    """Return what an entry has to spare, with its interval over seeds; gusts have no scatter."""
    smallest = gathered.column("smallest_clearance_m")
    verdict = judge(gathered.labels, smallest, gathered.must)
    group, names = gathered.labels.bins()
    drawn = resample(group)
    spare = smallest - gathered.must
    found = np.full((drawn.shape[0], len(names)), np.inf)
    for index, (kind, _, _) in enumerate(names):
        inside = group == index
        if kind in ("event", "steady"):
            found[:, index] = np.min(spare[inside])
        else:
            times = drawn[:, inside].astype(float)
            found[:, index] = np.sum(times * spare[inside], axis=1) / np.sum(times, axis=1)
    scattered = np.array([kind not in ("event", "steady") for kind, _, _ in names])[group]
    return Margin(verdict, *ends_of(np.min(found, axis=1), group[scattered]))


def ends_of(draws: Floats, groups: NDArray[np.int64]) -> tuple[float, float]:
    """Return the ends of the interval that bootstrap draws over units in groups give, (low, high)."""
    low, high = percentiles(groups)
    if not np.isfinite(low):
        return float("nan"), float("nan")
    return float(np.quantile(draws, low)), float(np.quantile(draws, high))


def hard_cases(scenario: Scenario) -> list[Case]:
    """Return the candidate's cases in which the softness is sought: all but normal turbulence, if any.

    Notes
    -----
    Normal turbulence leaves more room than extreme turbulence at the same speed; it is marched at the end.
    """
    cases = scenario.cases_of(scenario.candidate)
    hard = [case for case in cases if case.wind.kind != "normal_turbulence"]
    return hard or cases


def without_logic(stack: tuple[LayerSpec, ...]) -> tuple[LayerSpec, ...]:
    """Return a stack without the layers that act for the sake of the tower passage."""
    return tuple(layer for layer in stack if not layer.load().tower_pass)


def near_cases(cases: Sequence[Case], seen: Sequence[Margin]) -> list[Case]:
    """Return the cases whose wind was within NEAR of the worst one in any try; all before the first try."""
    near = {
        (item.condition, item.speed)
        for margin in seen
        for item in margin.verdict.bins
        if not item.margin - margin.value > NEAR
    }
    return [case for case in cases if not seen or (case.load_case, case.wind.speed) in near]


def assess_tries(
    scenario: Scenario, tries: Sequence[Try], asked: Asked, cases: Sequence[Case]
) -> list[Assessment]:
    """March the given winds for each try and judge it; the first try is the reference of bills."""
    whole = with_entries(scenario, tries, cases)
    return assess(whole, march(whole, asked))
