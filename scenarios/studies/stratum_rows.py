"""What is said of one stratum of windows, for machines and for adding up?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.store import CaseResult
from scenarios.window_job import WindowJob
from scenarios.window_result import LIMITS
from sim.measures.statistics import Interval

SECONDS_PER_HOUR = 3600.0


def stratum_rows(
    stacks: Sequence[str],
    doubt: str,
    bin_: tuple[Any, float, float],
    job: WindowJob,
    found: tuple[CaseResult, int],
) -> list[dict[str, Any]]:
    """Return one stratum for machines and for adding up, a row for each stack that met its windows."""
    return [_row(stack, doubt, bin_, job, (*found, number)) for number, stack in enumerate(stacks)]


def _row(
    stack: str,
    doubt: str,
    bin_: tuple[Any, float, float],
    job: WindowJob,
    found: tuple[CaseResult, int, int],
) -> dict[str, Any]:
    result, at, which = found
    row: dict[str, Any] = {
        "stack": stack,
        "uncertainty": doubt,
        "wind_speed_m_s": bin_[1],
        "speed_bin_m_s": list(bin_[0]),
        "hours_per_year": bin_[2],
        "method": job.sampling.method,
    }
    for n, limit in enumerate(LIMITS):
        row[limit] = _limit(result, at, which, n)
    if which == 0 and "missed_per_s" in result:
        row["beside"] = _beside(result, at)
    row["sharpest_change"] = float(result["sharpest"][at])
    row["evaluations"] = int(result["evaluations"][at])
    row["simulated_s"] = float(result["simulated_s"][at])
    row |= ended_early(result, at, which)
    row["nearest_m"] = float(result["nearest_m"][at, which])
    row["curve"] = {
        name: result[f"curve_{name}"][at, which].tolist() for name in ("m", "probability", "low", "high")
    }
    return row


def ended_early(result: CaseResult, at: int, which: int) -> dict[str, Any]:
    """Return how many windows ended before their time, how many of them by a layer, and the first of them."""
    return {
        "ended_early": int(result["ended"][at, which]),
        "ended_by_layer": int(result["ended_by_layer"][at, which]),
        "ended_first": str(result["ended_first"][at, which]),
    }


def _limit(result: CaseResult, at: int, which: int, n: int) -> dict[str, Any]:
    here = at, which, n
    rate = [float(result[f"rate{end}_per_s"][here]) for end in ("", "_low", "_high")]
    variation = float(result["variation"][here])
    within = -np.expm1(-rate[0] * 600.0)
    crude_s = 600.0 * (1.0 - within) / (within * variation**2) if within > 0.0 else np.nan
    return {
        "probability_per_window": float(result["probability"][here]),
        "low": float(result["low"][here]),
        "high": float(result["high"][here]),
        "coefficient_of_variation": variation,
        "is_bound": bool(result["is_bound"][here]),
        "rate_per_hour": rate[0] * SECONDS_PER_HOUR,
        "rate_per_hour_low": rate[1] * SECONDS_PER_HOUR,
        "rate_per_hour_high": rate[2] * SECONDS_PER_HOUR,
        "rate_per_hour_high_as_seen": float(result["seen_high_per_s"][here]) * SECONDS_PER_HOUR,
        "probability_per_ten_minutes": within,
        "crude_over_simulated_s": crude_s / float(result["simulated_s"][at]),
    }


def _beside(result: CaseResult, at: int) -> dict[str, Any]:
    """Return what the logic made of the windows that came nearest without it."""
    return {
        "windows": int(result["beside_windows"][at]),
        "without_below_m": float(result["beside_below_m"][at]),
        "least_m": float(result["beside_least_m"][at]),
        "median_m": float(result["beside_median_m"][at]),
        **{kind: _kind(result, at, kind) for kind in ("missed", "caused")},
    }


def _kind(result: CaseResult, at: int, kind: str) -> dict[str, Any]:
    """Return the rate of strikes that the logic does not prevent, or that it causes."""
    rate = [float(result[f"{kind}{end}_per_s"][at]) for end in ("", "_low", "_high")]
    return {
        "is_bound": rate[0] == 0.0,
        "rate_per_hour": rate[0] * SECONDS_PER_HOUR,
        "rate_per_hour_low": rate[1] * SECONDS_PER_HOUR,
        "rate_per_hour_high": rate[2] * SECONDS_PER_HOUR,
    }


def interval_of(told: Mapping[str, Any], which: str = "") -> Interval:
    """Return a rate; its upper end without what was not seen where ``which`` is "_as_seen"."""
    low, high = told["rate_per_hour_low"], told[f"rate_per_hour_high{which}"]
    return Interval(told["rate_per_hour"], low, high, 1, "bound" if told["is_bound"] else "sampled")
