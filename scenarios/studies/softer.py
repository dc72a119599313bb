"""How soft, and so how light, may the blade become until it just holds, for each stack of logic?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.answer import Answer, ExitCode, Options, to_json
from scenarios.asked import Asked
from scenarios.case import LayerSpec
from scenarios.provenance import origin
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.assess import CHANNELS, Assessment
from scenarios.studies.campbell import campbell
from scenarios.studies.gather import yearly_hours
from scenarios.studies.lever_design import SPAR_SHARE, mass_factor
from scenarios.studies.lever_loads import blade_mass
from scenarios.studies.softer_runs import (
    Margin,
    Try,
    assess_tries,
    entry_of,
    factors_of,
    hard_cases,
    march,
    margin_of,
    margins,
    near_cases,
    with_entries,
    without_logic,
)
from scenarios.studies.softer_search import Search
from scenarios.studies.softer_text import headline, softer_text
from scenarios.studies.telling import governing_text, interval_data
from sim.errors import SimError
from sim.measures.lifetime import paired_ratio
from sim.measures.statistics import clopper_pearson
from sim.plant.trim import steady_table

STACKS = 3
"""Stacks that are looked at: the reference's, and of the others the last ones of the file."""


def run(scenario: Scenario, options: Options) -> Answer:
    """Find the softest blade of each stack, bill it, let its logic fail, and write the page.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; a case failed; the page cannot be written.
    """
    from scenarios.report.page import prepare, render, write
    from scenarios.report.softer_page import softer_page

    prepare(options.out)
    kept = Asked(scenario, Store(options.store), options, "softness")
    stacks = stacks_of(scenario)
    found = {name: Search() for name in stacks}
    seen: dict[tuple[str, float], Margin] = {}
    unsound: dict[float, str] = {}
    while asked := _asked(stacks, found):
        asked = [tried for tried in asked if not _is_unsound(scenario, tried, found, unsound)]
        mine = with_entries(scenario, asked, near_cases(hard_cases(scenario), list(seen.values())))
        for tried, margin in zip(asked, margins(mine, march(mine, kept)), strict=True):
            found[tried.name].tell(tried.factor, margin.value)
            seen[tried.name, tried.factor] = margin
    data = softer_data(scenario, (found, seen), kept)
    page = options.out / f"{scenario.name}-softer.html"
    data |= {"page": str(page), "unsound_factors": [f"{f:g}: {why}" for f, why in unsound.items()]}
    write(page, render(softer_page(scenario, data)))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    holds = math.isfinite(data["stacks"][-1]["softest_factor"])
    return Answer(data, softer_text(data), ExitCode.HOLDS if holds else ExitCode.DOES_NOT_HOLD)


def stacks_of(scenario: Scenario) -> dict[str, tuple[LayerSpec, ...]]:
    """Return the stacks that are looked at, by name: the reference's first, the candidate's last."""
    each = {entry.stack: "+".join(layer.name for layer in entry.stack) for entry in scenario.entries}
    others = [stack for stack in each if stack not in (scenario.reference.stack, scenario.candidate.stack)]
    kept = [scenario.reference.stack, *others[len(others) - (STACKS - 2) :], scenario.candidate.stack]
    named: dict[str, tuple[LayerSpec, ...]] = {}
    for stack in dict.fromkeys(kept):
        name = each[stack]
        named[name if name not in named else f"{name} ({len(named) + 1})"] = stack
    return named


def _asked(stacks: Mapping[str, tuple[LayerSpec, ...]], found: Mapping[str, Search]) -> list[Try]:
    return [Try(name, stacks[name], factor) for name, search in found.items() for factor in search.ask()]


def _is_unsound(
    scenario: Scenario, tried: Try, found: Mapping[str, Search], unsound: dict[float, str]
) -> bool:
    """Say whether a blade folds or has no steady state at all; then it breaks, and why is told."""
    try:
        steady_table(entry_of(scenario.candidate, tried).design)
    except SimError as fault:
        unsound[tried.factor] = str(fault)
        found[tried.name].tell(tried.factor, math.nan)
        return True
    return False


def softer_data(
    scenario: Scenario,
    searched: tuple[Mapping[str, Search], Mapping[tuple[str, float], Margin]],
    kept: Asked,
) -> dict[str, Any]:
    """Return every stack's softest blade, its bill, and what its logic's silent failure does."""
    found, seen = searched
    stacks = stacks_of(scenario)
    file_factor, _ = factors_of(scenario.reference.turbine)
    reference = Try("as the reference's blade is", scenario.reference.stack, file_factor)
    soft = [
        Try(name, stacks[name], search.holds) for name, search in found.items() if math.isfinite(search.holds)
    ]
    judged = assess_tries(scenario, [reference, *soft], kept, scenario.cases_of(scenario.candidate))
    hours = yearly_hours(scenario, judged[0].gathered)
    silent = _silent(scenario, soft, kept)
    by_name = {tried.name: entry for tried, entry in zip(soft, judged[1:], strict=True)}
    base_mass = blade_mass(entry_of(scenario.candidate, reference).design)
    rows = [
        _search_row(name, search, seen)
        | ({} if name not in by_name else _bill(by_name[name], judged[0], hours))
        | (
            {}
            if name not in by_name
            else mass_told(search, margin_of(by_name[name].gathered), file_factor, base_mass)
        )
        | {"fails_silently": silent.get(name)}
        | {"campbell": campbell(by_name[name].gathered.entry.design) if name in by_name else None}
        for name, search in found.items()
    ]
    data = origin(scenario) | {
        "turbine": scenario.candidate.design.name,
        "spar_share": SPAR_SHARE,
        "reference_factor": file_factor,
        "reference_blade_mass_kg": base_mass,
        "required_m": judged[0].gathered.required,
        "winds": winds_of(scenario),
        "stacks": rows,
        "reference_campbell": campbell(entry_of(scenario.candidate, reference).design),
    }
    return data | {"headline": headline(data)}


def winds_of(scenario: Scenario) -> list[str]:
    """Return the winds that the softness is sought in."""
    cases = hard_cases(scenario)
    names = dict.fromkeys((case.load_case, case.wind.speed) for case in cases)
    counts = [sum((case.load_case, case.wind.speed) == name for case in cases) for name in names]
    return [f"{name[0]} {name[1]:g} m/s ({n})" for name, n in zip(names, counts, strict=True)]


def _search_row(name: str, search: Search, seen: Mapping[tuple[str, float], Margin]) -> dict[str, Any]:
    factor = search.holds
    known = sorted(((f, m) for (n, f), m in seen.items() if n == name), key=lambda pair: pair[0])
    tried = [
        {
            "factor": each,
            "margin_m": margin.value,
            "governing": governing_text(margin.verdict.governing),
        }
        for each, margin in known
    ]
    return {
        "stack": name,
        "softest_factor": factor,
        "breaks_at": search.breaks,
        "margin_m": seen[name, factor].value if math.isfinite(factor) else math.nan,
        "tried": tried,
        "note": _note(search),
    }


def _note(search: Search) -> str:
    if math.isnan(search.holds):
        return f"does not hold even at {max(search.margins):g}"
    if math.isnan(search.breaks):
        return f"holds even at {search.holds:g}, the softest that was tried"
    return ""


def mass_told(search: Search, margin: Margin, reference: float, base_mass: float) -> dict[str, Any]:
    """Return factor's interval, and what the blade loses in mass, with its interval.

    Where only gusts decide there is no scatter, and so no interval; the factor itself holds with a little to
    spare, and belongs to its interval.
    """
    factor, slope = search.holds, search.slope
    is_known = slope > 0.0 and margin.high > margin.low
    ends = [factor - end / slope if is_known else math.nan for end in (margin.high, margin.low)]
    ends = [min(ends[0], factor), max(ends[1], factor)] if is_known else ends
    root = factor - margin.value / slope if slope > 0.0 else math.nan
    per = base_mass / mass_factor(reference, SPAR_SHARE)

    def saved(at: float) -> float:
        return base_mass - per * mass_factor(at, SPAR_SHARE)

    return {
        "interval": {"low": ends[0], "high": ends[1], "confidence": 0.95},
        "root_factor": root,
        "mass_saved_kg": saved(factor),
        "mass_saved_interval_kg": {"low": saved(ends[1]), "high": saved(ends[0])},
        "mass_saved_share": saved(factor) / base_mass,
    }


def _bill(mine: Assessment, reference: Assessment, hours: np.ndarray) -> dict[str, Any]:
    """Return the softened blade's bill against the reference's blade and stack, in all winds."""
    travel = paired_ratio((_travel(mine), _travel(reference)), mine.gathered.labels, hours)
    struck = _struck(mine)
    return {
        "holds_in_all_winds": mine.verdict.holds,
        "margin_in_all_winds_m": mine.verdict.governing.margin,
        "governing_in_all_winds": governing_text(mine.verdict.governing),
        "travel_ratio": travel.ratio.value,
        "travel_ratio_interval": interval_data(travel.ratio),
        "travel_deg_per_hour": mine.bill.travel.value,
        "reference_travel_deg_per_hour": reference.bill.travel.value,
        "energy_ratio": mine.bill.energy.ratio.value,
        "energy_ratio_interval": interval_data(mine.bill.energy.ratio),
        "fatigue": {
            name: {
                "ratio": mine.bill.equivalent[name].ratio.value,
                "interval": interval_data(mine.bill.equivalent[name].ratio),
                "largest_ratio": mine.largest[name] / reference.largest[name],
            }
            for name in CHANNELS
        },
    } | struck


def _travel(entry: Assessment) -> np.ndarray:
    travel = entry.gathered.column("pitch_travel_rad")
    mean = np.mean(travel, axis=1) if travel.ndim == 2 else travel
    return mean / entry.gathered.column("judged_s")


def _struck(entry: Assessment) -> dict[str, Any]:
    """Return passes, and in how many cases the blade struck, with the exact bounds of that share."""
    smallest = entry.gathered.column("smallest_clearance_m")
    ran = np.isfinite(smallest)
    hit = int(np.count_nonzero(smallest[ran] <= 0.0))
    return {
        "passes": entry.pass_count,
        "broken": entry.broken,
        "strikes": entry.strikes,
        "cases": int(np.count_nonzero(ran)),
        "cases_with_a_strike": hit,
        "strike_share_at_most": clopper_pearson(hit, int(np.count_nonzero(ran)))[1],
        "smallest_clearance_m": float(np.min(smallest[ran])) if ran.any() else math.nan,
    }


def _silent(scenario: Scenario, soft: Sequence[Try], kept: Asked) -> dict[str, dict[str, Any]]:
    """Return what remains at each softness when the tower-pass layers do nothing and nobody notices.

    In the winds that the softness is sought in.
    """
    tries = [
        Try(tried.name, bare, tried.factor)
        for tried in soft
        if (bare := without_logic(tried.stack)) != tried.stack
    ]
    if not tries:
        return {}
    judged = assess_tries(scenario, tries, kept, hard_cases(scenario))
    return {
        tried.name: {
            "margin_m": entry.verdict.governing.margin,
            "characteristic_m": entry.verdict.governing.characteristic,
            "governing": governing_text(entry.verdict.governing),
        }
        | _struck(entry)
        for tried, entry in zip(tries, judged, strict=True)
    }
