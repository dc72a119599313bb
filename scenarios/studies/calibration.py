"""How near does the clearance that the logic foresees come to what happens without it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import Options
from scenarios.asked import Asked
from scenarios.calibration_run import calibration_case, simulate
from scenarios.campaign import Engine
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.warming import WARM
from sim.measures.statistics import Interval, cluster_bootstrap, ratio

Floats = NDArray[np.float64]

NONE = "no layer of the stack keeps what it foresees"


def run_calibration(
    scenario: Scenario, store: Store, options: Options, limits: tuple[int, float]
) -> tuple[dict[str, Any], list[dict[str, str]]]:
    """March the candidate in turbulence once more and hold its forecasts against its forks.

    Parameters
    ----------
    limits : seeds of each wind, and judged time [s]
        At most.

    Returns
    -------
    data, failed
    """
    seeds, duration = limits
    chosen = [
        case
        for case in scenario.cases_of(scenario.candidate)
        if case.is_sound_turbulence and case.number <= seeds
    ]
    cases = [calibration_case(case, duration) for case in chosen]
    asked = Asked(scenario, store, options, f"calibration, {seeds} seeds of {duration:g} s")
    campaign = asked.run(cases, Engine(simulate, WARM))
    failed = [
        {"case": case.title, "entry": case.entry, "why": campaign.tally.failed[case.key]}
        for case in cases
        if case.key not in campaign.results
    ]
    kept = [case for case in cases if case.key in campaign.results]
    winds = [f"{case.load_case} {case.wind.speed:g}" for case in kept]
    return calibrated([campaign.results[case.key] for case in kept], winds), failed


def calibrated(results: Sequence[Mapping[str, Any]], winds: Sequence[str]) -> dict[str, Any]:
    """Return bias, scatter and slope of foreseen against counterfactual clearance, over seeds.

    Parameters
    ----------
    results : one mapping for each seed: ``foreseen_m``, ``without_m``, ``weight``, ``actions``
    winds : the bin of wind of each

    Notes
    -----
    Error: foreseen less what would have been, positive where too much was hoped for. Slope: of what would
    have been over what was foreseen, by weighted least squares; 1 for a calibrated forecast. The requirement
    cancels, so spares and clearances have the same error. All weighted by the forks' draw.
    """
    if not results or not any(np.size(result["foreseen_m"]) for result in results):
        return {"problem": NONE if results else "no run", "actions": 0, "pairs": 0}
    sums = np.array([_sums(result) for result in results])
    told = {
        "error_mean_m": cluster_bootstrap(lambda s: ratio(s[:, [1, 0]]), sums, winds),
        "error_deviation_m": cluster_bootstrap(_deviation, sums, winds),
        "slope": cluster_bootstrap(_slope, sums, winds),
        "too_hopeful_share": cluster_bootstrap(lambda s: ratio(s[:, [6, 0]]), sums, winds),
    }
    return {
        "actions": int(sum(int(result["actions"]) for result in results)),
        "pairs": int(sum(np.size(result["foreseen_m"]) for result in results)),
        **{name: _plain(interval) for name, interval in told.items()},
        "foreseen_m": np.concatenate([result["foreseen_m"] for result in results]).tolist(),
        "without_m": np.concatenate([result["without_m"] for result in results]).tolist(),
    }


def _sums(result: Mapping[str, Any]) -> list[float]:
    weight, foreseen, without = (np.asarray(result[name]) for name in ("weight", "foreseen_m", "without_m"))
    error = foreseen - without
    columns = (
        1.0 + 0.0 * error,
        error,
        error**2,
        foreseen,
        foreseen**2,
        foreseen * without,
        error > 0.0,
        without,
    )
    return [float(np.sum(weight * column)) for column in columns]


def _deviation(sums: Floats) -> Floats:
    mean = ratio(sums[:, [1, 0]])
    return np.sqrt(np.maximum(ratio(sums[:, [2, 0]]) - mean**2, 0.0))


def _slope(sums: Floats) -> Floats:
    number, x, xx, xy, y = (sums[:, n] for n in (0, 3, 4, 5, 7))
    below = number * xx - x**2
    return (number * xy - x * y) / np.where(below > 0.0, below, np.nan)


def _plain(interval: Interval) -> dict[str, float]:
    return {"value": interval.value, "low": interval.low, "high": interval.high}


def calibration_text(name: str, data: Mapping[str, Any]) -> str:
    """Return the calibration for people, in a sentence."""
    if "problem" in data:
        return f"Calibration of {name}: {data['problem']}."

    def told(key: str, style: str, factor: float = 1.0) -> str:
        ends = [format(factor * data[key][end], style) for end in ("value", "low", "high")]
        between = "no interval" if np.isnan(data[key]["low"]) else f"{ends[1]}..{ends[2]}"
        return f"{ends[0]} ({between})"

    return (
        f"Calibration of {name}, {data['pairs']} actions that a fork tells of: the foreseen clearance is "
        f"{told('error_mean_m', '+.2f')} m off on average, scatters by {told('error_deviation_m', '.2f')} m, "
        f"was too hopeful in {told('too_hopeful_share', '.0f', 100.0)} %; what came grows by "
        f"{told('slope', '.2f')} m for each metre foreseen."
    )
