"""Which strata of windows does a scenario amount to, and how are they sampled?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from scenarios.asked import Asked
from scenarios.campaign import Engine, Limits
from scenarios.case import Case, LayerSpec
from scenarios.scenario import Scenario
from scenarios.store import CaseResult
from scenarios.studies.bench import Breakage
from scenarios.studies.gather import site_of
from scenarios.warming import WARM
from scenarios.window_job import Doubt, Stratum, WindowJob
from scenarios.windows import middle_case, simulate
from sim.errors import InputError
from sim.measures.lifetime import rayleigh_hours, speed_edges

WITHOUT, WITH = "without logic", "with logic"


def stacks_of(scenario: Scenario) -> dict[str, tuple[LayerSpec, ...]]:
    """Return the candidate's layers without and with tower-pass logic; the first alone where it has none."""
    layers = scenario.candidate.stack
    plain = tuple(layer for layer in layers if not layer.load().tower_pass)
    return {WITHOUT: plain} if plain == layers else {WITHOUT: plain, WITH: layers}


def speed_bins(scenario: Scenario, most: int | None = None) -> list[tuple[tuple[float, float], float, float]]:
    """Return bins of mean wind speed: ends [m/s], the speed of their spectra [m/s], hours a year [h].

    Parameters
    ----------
    most : int, optional
        Join neighbours until there are no more bins than this, where each sample counts; the mean wind is
        drawn within its bin all the same, and the spectra are those of the speed nearest to its mean.
    """
    speeds = sorted({c.wind.speed for c in scenario.cases_of(scenario.candidate) if is_normal(c)})
    if not speeds:
        raise InputError(
            f"{scenario.path}: the scenario has no winds of kind 'normal_turbulence'; odds are counted there "
            "(`--only ledger` needs no turbulence, `--only faults` and `--only room` need any)"
        )
    machine = scenario.candidate.design.machine
    edges = speed_edges(speeds, machine.cut_in, machine.cut_out)
    hours = rayleigh_hours(edges, site_of(scenario).vave)
    bins = list(zip(edges[:-1].tolist(), edges[1:].tolist(), speeds, hours.tolist(), strict=True))
    groups = np.array_split(np.arange(len(bins)), min(most or len(bins), len(bins)))
    joined = [[bins[n] for n in group] for group in groups]
    return [((group[0][0], group[-1][1]), _middle(group), sum(part[3] for part in group)) for group in joined]


def _middle(group: Sequence[tuple[float, float, float, float]]) -> float:
    """Return that speed of joined bins which is nearest to their mean over the hours."""
    hours = sum(part[3] for part in group)
    mean = sum(0.5 * (part[0] + part[1]) * part[3] for part in group) / hours
    return min((part[2] for part in group), key=lambda speed: abs(speed - mean))


def doubt_of(scenario: Scenario) -> Doubt:
    """Return the model uncertainty that the scenario states."""
    keys = scenario.keys["reliability"]
    names = ("aerodynamics", "stiffness", "damping", "exposure")
    return Doubt(**{name: keys[f"{name}_variation"] for name in names})


def is_normal(case: Case) -> bool:
    return case.wind.kind == "normal_turbulence" and case.is_sound_turbulence


def stratum_of(
    scenario: Scenario,
    layers: tuple[LayerSpec, ...],
    speeds: tuple[float, float],
    middle: float,
    doubt: Doubt,
    fault: Breakage | None = None,
) -> Stratum:
    case = next(c for c in scenario.cases_of(scenario.candidate) if is_normal(c))
    base = replace(middle_case(case, middle), stack=layers)
    name = f"{middle:g} m/s" + (f", {fault.name}" if fault else "")
    return Stratum(base, speeds, site_of(scenario), doubt, fault.specs if fault else (), name)


def grouped(jobs: Sequence[WindowJob]) -> list[WindowJob]:
    """Join the strata of one stack, doubt and sampling to one job: few samples are to march together."""
    groups: dict[Any, list[WindowJob]] = {}
    for job in jobs:
        groups.setdefault((job.entry, job.beside, job.strata[0].doubt, job.sampling, job.span), []).append(
            job
        )
    return [
        replace(group[0], strata=tuple(stratum for job in group for stratum in job.strata))
        for group in groups.values()
    ]


def run_jobs(
    jobs: Sequence[WindowJob], asked: Asked
) -> tuple[dict[Any, tuple[CaseResult, int]], list[dict[str, str]]]:
    """Sample jobs; return by stratum and stack the result and the stratum's row in it, and what failed."""
    engine = Engine(simulate, WARM)  # type: ignore[arg-type]
    campaign = asked.run(jobs, engine, Limits(lanes=1))
    found, failed = {}, []
    for job in jobs:
        result = campaign.results.get(job.key)
        if result is None:
            failed.append({"case": job.title, "entry": job.entry, "why": campaign.tally.failed[job.key]})
            continue
        for row, stratum in enumerate(job.strata):
            found[stratum, job.entry] = (result, row)
    return found, failed
