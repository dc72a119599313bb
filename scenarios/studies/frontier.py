"""How many demands does each tower-pass logic miss, for how much extra travel, as its margin is swept?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.answer import Options
from scenarios.asked import Asked
from scenarios.campaign import Engine
from scenarios.case import Case
from scenarios.frontier_keys import FrontierKeys
from scenarios.frontier_run import frontier_case, simulate
from scenarios.load import load_scenario
from scenarios.scenario import Scenario
from scenarios.store import CaseResult, Store
from scenarios.studies.assess import Assessment
from scenarios.studies.frontier_points import (
    KIND,
    Point,
    Swept,
    extreme_cases,
    settings,
    swept,
    without_logic,
)
from scenarios.studies.frontier_reasons import reasons
from scenarios.studies.frontier_verdict import claim, verdicts
from scenarios.studies.gather import Gathered
from scenarios.studies.telling import interval_data
from scenarios.warming import WARM
from sim.errors import InputError
from sim.measures.misses import rare_share, scatter
from sim.measures.statistics import Interval
from sim.plant.trim import steady_table

HOPELESS = 0.1
"""Share of demands missed in the first seeds above which a setting meets no further ones [-]."""
LEARNED_BELOW = 0.2
"""Share of demands missed up to which a setting tells how many are missed together [-]."""


def frontier(
    scenario: Scenario, entries: Sequence[Assessment], store: Store, options: Options
) -> dict[str, Any]:
    """Sweep every entry of power and one tower-pass layer, and the oracle.

    Parameters
    ----------
    scenario : Scenario
        With a reference of power alone, and cases of extreme turbulence.
    entries : sequence of Assessment
    store : Store
    options : Options

    Returns
    -------
    dict
        ``required_clearance_m``, ``points`` (one row for each setting), ``oracle``, ``verdict``,
        ``claim``.

    Raises
    ------
    InputError
        The scenario has no extreme turbulence, or its first entry has tower-pass logic.
    RunError
        As `scenarios.campaign.run_cases`.

    Notes
    -----
    The run without logic in all winds comes first; it says what clearance to ask for, and which passes are
    demands. Then every setting meets the first seeds, and those that do not miss more than HOPELESS
    of their demands meet the rest.
    """
    if entries[0].has_logic or not any(case.wind.kind == KIND for case in scenario.cases):
        raise InputError(
            f"{scenario.path}: questions = frontier; needs a first entry without tower-pass logic and a wind "
            f"of kind {KIND}"
        )
    keys = FrontierKeys(**scenario.keys["frontier"])
    more = in_more_winds(scenario, keys.seeds)
    asked, engine = Asked(scenario, store, options, f"frontier, {keys.seeds} seeds"), Engine(simulate, WARM)

    def run(cases: Sequence[Case]) -> Mapping[str, CaseResult]:
        return asked.run(cases, engine).results

    cases = [frontier_case(case) for case in extreme_cases(more, more.reference)]
    base = without_logic(more, more.reference, cases, run(cases))
    asked_for = float(np.quantile(base.passes["clearance_m"], keys.demand_share))
    share = round(asked_for / base.unloaded, 4)
    required = share * base.unloaded
    points = settings(more, keys, share)
    judged = _in_two_stages(more, points, base, (required, keys.first_seeds), run)
    oracle = oracle_travel(base, required)
    burst = together(judged)
    rows = [row(found, missed(found, burst)) for found in judged]
    verdict = verdicts(judged, rows, oracle)
    return {
        "required_clearance_m": required,
        "share_of_passes_made_demands": keys.demand_share,
        "winds": len(cases),
        "passes_without_logic": int(base.passes["case"].size),
        "demands": int(np.sum(base.passes["clearance_m"] < required)),
        "misses_together": math.nan if burst is None else max(burst, 1.0),
        "points": rows,
        "oracle": {"missed_share": 0.0, "extra_travel_deg_per_hour": oracle},
        "verdict": verdict,
        "claim": claim(verdict),
    }


def in_more_winds(scenario: Scenario, seeds: int) -> Scenario:
    """Return the scenario with this many seeds of every wind of extreme turbulence."""
    winds = enumerate(scenario.keys["winds"])
    asked = [(f"winds[{n}].seeds", seeds) for n, wind in winds if wind["kind"] == KIND]
    return load_scenario(scenario.path, (*scenario.asked, *asked))


def _in_two_stages(
    scenario: Scenario, points: Sequence[Point], base: Gathered, wanted: tuple[float, int], run: Any
) -> list[Swept]:
    """March the first seeds of every setting, then all seeds of those that are not hopeless."""
    required, seeds = wanted
    first = [point.first(seeds) for point in points]
    results = run([case for point in first for case in point.cases])
    tried = [swept(scenario, point, results, base, required) for point in first]
    kept = [n for n, found in enumerate(tried) if points[n].is_pulse or not found.missed_share > HOPELESS]
    results = run([case for n in kept for case in points[n].cases])
    full = {n: swept(scenario, points[n], results, base, required) for n in kept}
    return [full.get(n, tried[n]) for n in range(len(points))]


def together(judged: Sequence[Swept]) -> float | None:
    """Return how many misses come together, learned from the settings that miss some and not many."""
    some = [found for found in judged if 0.0 < found.missed_share <= LEARNED_BELOW]
    if not some:
        return None
    spread = sum(scatter(found.broken, found.demands, found.groups) for found in some)
    return spread / sum(float(found.broken.sum()) for found in some)


def missed(found: Swept, burst: float | None) -> Interval:
    """Return the share of demands missed with its interval."""
    return rare_share(found.broken, found.demands, found.groups, burst)


def row(found: Swept, share: Interval) -> dict[str, Any]:
    """Return one setting's numbers; units in the names.

    ``missed_high_if_winds_fail_whole``: the bound where none is missed, were all demands of a wind missed
    together.
    """
    whole = rare_share(found.broken, found.demands, found.groups) if share.value == 0.0 else share
    point, counts = found.point, found.ledger.total()
    demands, broken = float(found.demands.sum()), float(found.broken.sum())
    acted = float(found.ledger.acted.sum())
    blades = found.gathered.cases[0].blade_count
    travel = float(found.travel.sum()) * blades
    passes = float(found.ledger.passes.sum())
    saved = demands - broken
    return {
        "layer": point.layer,
        "parameter": point.parameter,
        "value": point.value,
        "winds": int(found.kept.sum()),
        "demands": int(demands),
        "broken_passes": int(broken),
        "harmed_passes": found.harmed,
        "missed_share": share.value,
        "missed_interval": interval_data(share),
        "missed_high_if_winds_fail_whole": whole.high,
        "ledger_missed_share": _over(counts["missed"], counts["missed"] + counts["saved"]),
        "acted_share": _over(acted, passes),
        "needless_share_of_actions": _over(counts["needless"], acted),
        "extra_travel_deg_per_hour": found.travel_rate,
        "travel_per_action_deg": _over(travel, acted),
        "travel_per_demand_saved_deg": _over(travel, saved) if saved > 0.0 else math.nan,
        **reasons(found),
    }


def _over(above: float, below: float) -> float:
    return above / below if below else math.nan


def oracle_travel(base: Gathered, required: float) -> float:
    """Return the travel per blade of giving each pass just what it lacked [deg/h].

    Notes
    -----
    2 sum max(0, required - clearance) / (settled relief per degree at the pass's pitch) / blades / hours.
    """
    passes, design = base.passes, base.entry.design
    steady = steady_table(design)
    rising = np.maximum.accumulate(np.asarray(steady.pitch))
    per_rad = np.abs(np.interp(passes["pitch_rad"], rising, np.asarray(steady.deflection_per_pitch)))
    lacked = np.maximum(required - passes["clearance_m"], 0.0)
    hours = float(np.nansum(base.column("judged_s"))) / 3600.0
    blades = design.rotor.blade_count
    return float(2.0 * np.sum(np.degrees(lacked / np.maximum(per_rad, 1e-6)))) / blades / hours
