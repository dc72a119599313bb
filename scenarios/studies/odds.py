"""How probable is a strike in a year, and a broken requirement, with the logic and without it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scenarios.answer import Options
from scenarios.asked import Asked
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.odds_faults import fault_rows
from scenarios.studies.stratum_rows import interval_of, stratum_rows
from scenarios.studies.window_runs import (
    WITH,
    WITHOUT,
    doubt_of,
    grouped,
    run_jobs,
    speed_bins,
    stacks_of,
    stratum_of,
)
from scenarios.window_job import Doubt, Sampling, Span, WindowJob
from scenarios.window_result import LIMITS
from sim.measures.statistics import Interval
from sim.measures.strata import combine

__all__ = ["ALONE", "FAULTY", "QUICK", "THOROUGH", "UNSURE", "WITH", "WITHOUT", "Effort", "Odds", "run_odds"]

ALONE, UNSURE = "wind alone", "with model uncertainty"
FAULTY = "with model uncertainty and faults"

FAULT_BINS = 2
"""Bins of wind in which each fault is sampled: their number times that of the faults is what it costs."""


@dataclass(frozen=True)
class Effort:
    """How much the odds are sampled."""

    span: Span
    samples: int  #: in a level, with model uncertainty, by which a strike is told
    alone: int  #: in a level, of the wind alone
    smallest: float  #: probability of a window below which a bound is given
    crude: int  #: plain samples beside
    fault_samples: int  #: in a level of each fault's stratum; 0 leaves faults out
    bins: int | None  #: of wind speed, neighbours joined; each speed of the scenario where None
    together: bool  #: all winds of a stack in one job, so that few samples still march side by side


QUICK = Effort(Span(16.0, 6.0, 12.0), 180, 100, 1e-11, 200, 0, 2, True)
THOROUGH = Effort(Span(25.0, 8.0, 17.0), 700, 200, 1e-12, 2000, 50, None, False)


@dataclass(frozen=True)
class Odds:
    """Rates per year, and what they were added up from.

    Parameters
    ----------
    yearly : mapping of (stack, doubt, limit) to Interval [1/a]
        Of the machine as it should be, and, as FAULTY, strikes with those that faults add.
    seen : the same, with upper ends that leave out what windows too few could hide
    missed, caused : mapping of doubt to Interval [1/a]
        Strikes with the logic in windows with a strike without it, and in those with none; with logic only.
    strata : rows, one for each stack, doubt and bin of wind
    crude : rows of plain sampling beside the same strata
    faults : rows, one for each stack and fault; none in a quick setting
    failed : what did not come to an answer, and why
    """

    effort: Effort
    yearly: Mapping[tuple[str, str, str], Interval]
    seen: Mapping[tuple[str, str, str], Interval]
    missed: Mapping[str, Interval]
    caused: Mapping[str, Interval]
    strata: Sequence[Mapping[str, Any]]
    crude: Sequence[Mapping[str, Any]]
    faults: Sequence[Mapping[str, Any]]
    failed: Sequence[dict[str, str]]


def run_odds(scenario: Scenario, store: Store, options: Options, effort: Effort) -> Odds:
    """Sample strikes and broken requirements in strata of wind, and add them up over a year.

    Raises
    ------
    InputError
        The scenario has no normal turbulence.
    """
    bins = speed_bins(scenario, effort.bins)
    doubts = {ALONE: Doubt(), UNSURE: doubt_of(scenario)}
    sampling = {
        doubt: Sampling("subset", samples, effort.smallest, scenario.seed)
        for doubt, samples in ((ALONE, effort.alone), (UNSURE, effort.samples))
    }
    stacks = stacks_of(scenario)
    jobs = [
        (doubt, bin_, _job(scenario, effort.span, sampling[doubt], bin_, factors))
        for doubt, factors in doubts.items()
        for bin_ in bins
    ]
    all_ = [job for *_, job in jobs]
    asked = Asked(scenario, store, options, f"odds, {effort.samples} samples")
    found, failed = run_jobs(grouped(all_) if effort.together else all_, asked)
    rows = [
        row
        for doubt, bin_, job in jobs
        if (job.strata[0], job.entry) in found
        for row in stratum_rows(list(stacks), doubt, bin_, job, found[job.strata[0], job.entry])
    ]
    yearly, seen = (_yearly(rows, bins, which) for which in ("", "_as_seen"))
    crude, more = _crude(scenario, asked, effort, rows, bins)
    faults, lost = [], []
    if effort.fault_samples:
        wide = speed_bins(scenario, FAULT_BINS)
        faults, lost = fault_rows(scenario, asked, (effort.span, effort.fault_samples), wide)
    for rates in (yearly, seen):
        rates |= _with_faults(rates, faults)
    missed, caused = (_apart(rows, bins, kind) for kind in ("missed", "caused"))
    lost += [
        ended_of(f"{row['wind_speed_m_s']:g} m/s, {row['uncertainty']}", row)
        for row in rows
        if is_ended_by_layer(row)
    ]
    lost += [ended_of(row["fault"], row) for row in faults if is_ended_by_layer(row)]
    return Odds(effort, yearly, seen, missed, caused, rows, crude, faults, [*failed, *more, *lost])


def _with_faults(
    rates: Mapping[tuple[str, str, str], Interval], faults: Sequence[Mapping[str, Any]]
) -> dict[tuple[str, str, str], Interval]:
    """Add the strikes that faults bring to those of each stack, unless its windows in some wind failed."""
    found = {}
    for stack in dict.fromkeys(row["stack"] for row in faults):
        whole = rates.get((stack, UNSURE, "strike"))
        if whole is not None:
            parts = [whole, *(row["yearly"] for row in faults if row["stack"] == stack)]
            found[stack, FAULTY, "strike"] = combine(parts, [1.0] * len(parts))
    return found


def is_ended_by_layer(row: Mapping[str, Any]) -> bool:
    """Say whether a layer ended windows: it was not seen in them to hold."""
    return row["ended_by_layer"] > 0


def ended_of(place: str, row: Mapping[str, Any]) -> dict[str, str]:
    """Return what is told of windows that a layer ended."""
    why = f"in {row['ended_by_layer']} windows; the first: {row['ended_first']}"
    return {"case": f"odds, {row['stack']} at {place}", "entry": row["stack"], "why": why}


def _job(
    scenario: Scenario, span: Span, sampling: Sampling, bin_: tuple[Any, float, float], doubt: Doubt
) -> WindowJob:
    """Return the windows of one bin of wind, without the logic, and beside it with the logic if there is."""
    stacks = stacks_of(scenario)
    stratum = stratum_of(scenario, stacks[WITHOUT], bin_[0], bin_[1], doubt)
    return WindowJob((stratum,), span, sampling, " and ".join(stacks), stacks.get(WITH, ()))


def _apart(rows: Sequence[Mapping[str, Any]], bins: Sequence[Any], kind: str) -> dict[str, Interval]:
    """Add up over the winds, for each doubt, the strikes with the logic that are missed or caused by it."""
    found = {}
    for doubt in (ALONE, UNSURE):
        mine = [row for row in rows if row["uncertainty"] == doubt and "beside" in row]
        if len(mine) == len(bins):
            parts = [interval_of(row["beside"][kind]) for row in mine]
            found[doubt] = combine(parts, [row["hours_per_year"] for row in mine])
    return found


def _yearly(
    rows: Sequence[Mapping[str, Any]], bins: Sequence[Any], which: str
) -> dict[tuple[str, str, str], Interval]:
    found = {}
    for stack, doubt in dict.fromkeys((row["stack"], row["uncertainty"]) for row in rows):
        mine = [row for row in rows if (row["stack"], row["uncertainty"]) == (stack, doubt)]
        if len(mine) == len(bins):
            for limit in LIMITS:
                parts = [interval_of(row[limit], which) for row in mine]
                found[stack, doubt, limit] = combine(parts, [row["hours_per_year"] for row in mine])
    return found


def _crude(
    scenario: Scenario,
    asked: Asked,
    effort: Effort,
    rows: Sequence[Mapping[str, Any]],
    bins: Sequence[Any],
) -> tuple[list[dict[str, Any]], list[dict[str, str]]]:
    """Sample plainly what subset simulation sampled, where the requirement is broken most often."""
    mine = [row for row in rows if row["uncertainty"] == UNSURE]
    if not mine:
        return [], []
    worst = max(mine, key=lambda row: row["broken"]["probability_per_window"])
    bin_ = next(item for item in bins if item[1] == worst["wind_speed_m_s"])
    sampling = Sampling("crude", effort.crude, effort.smallest, scenario.seed)
    job = _job(scenario, effort.span, sampling, bin_, doubt_of(scenario))
    found, failed = run_jobs([job], asked)
    if failed:
        return [], failed
    stacks = list(stacks_of(scenario))
    return stratum_rows(stacks, UNSURE, bin_, job, found[job.strata[0], job.entry]), []
