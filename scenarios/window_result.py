"""What is kept of sampled windows: probabilities, rates of clusters, and the curve over clearance?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.store import CaseResult
from scenarios.window_job import Span, WindowJob
from sim.measures.clusters import cluster_rate, cluster_starts, joint_rate
from sim.measures.estimate import Estimate, crude_estimate
from sim.measures.rare import SubsetSimulation
from sim.measures.statistics import Interval, clopper_pearson
from sim.measures.subset import SHARE

if TYPE_CHECKING:
    from scenarios.windows import Sampled

Floats = NDArray[np.float64]

LIMITS = ("strike", "broken")
"""A blade that touches the tower; a clearance below the required one."""
POINTS = 41
"""Levels of clearance at which the curve is told, up to where a quarter of plain samples come nearer."""


def sampled_result(job: WindowJob, strata: Sequence[Sampled], required: float) -> CaseResult:
    """Flatten what was sampled, one row a stratum; two columns for the `LIMITS`."""
    rows = [_stratum_row(job.span, item, required) for item in strata]
    if job.beside:
        rows = [row | _beside(item, job.span) for row, item in zip(rows, strata, strict=True)]
    return {name: np.stack([np.asarray(row[name]) for row in rows]) for name in rows[0]} | {
        "required_m": np.asarray(required)
    }


def _stratum_row(span: Span, item: Sampled, required: float) -> dict[str, Any]:
    values = np.array(item.smallest)
    limits = (0.0, required)
    told = [_below(item, limit) for limit in limits]
    first = [_rate(item, limit, span.lead, span) for limit in limits]
    late = [_rate(item, limit, span.lead + 0.5 * span.judged, span) for limit in limits]
    finite = values[np.isfinite(values)]
    plain = finite[: getattr(item.sampler, "size", finite.size)]
    levels = np.linspace(
        min(float(np.min(finite, initial=0.0)), 0.0), float(np.quantile(plain, 0.25)), POINTS
    )
    curve = [_below(item, float(level)) for level in levels]
    return {
        "probability": [estimate.probability for estimate in told],
        "low": [estimate.interval[0] for estimate in told],
        "high": [estimate.interval[1] for estimate in told],
        "variation": [estimate.coefficient_of_variation for estimate in told],
        "is_bound": [estimate.is_bound for estimate in told],
        **_columns("rate", first),
        **_columns("late", late),
        "curve_m": levels,
        "curve_probability": [estimate.probability for estimate in curve],
        "curve_low": [estimate.interval[0] for estimate in curve],
        "curve_high": [estimate.interval[1] for estimate in curve],
        "nearest_m": float(np.min(values)),
        "evaluations": values.size,
        "simulated_s": (values.size + len(item.beside)) * span.whole,
        "ended": item.ended,
        "sharpest": max(getattr(item.sampler, "sharpest", []), default=0.0),
    }


def _beside(item: Sampled, span: Span) -> dict[str, Any]:
    """Return what the stack beside made of the windows that came nearest under the job's own.

    Notes
    -----
    The nearest: in which the own stack strikes, or the tenth that founds the next level where none does.
    """
    sampler = item.sampler
    if not isinstance(sampler, SubsetSimulation):
        return {}
    starts = np.zeros(len(item.smallest))
    least = np.full(len(item.smallest), np.nan)
    for number, (time, clearance) in item.beside.items():
        starts[number] = cluster_starts(time[clearance <= 0.0], span.lead, span.lead)
        least[number] = np.min(clearance, initial=np.inf)
    level = sampler.population(0.0)
    cutoff = max(float(np.quantile(level.values, SHARE, method="lower")), 0.0)
    near = level.origins[level.values <= cutoff]
    known = least[near][np.isfinite(least[near])]
    return {
        **_columns("missed", [joint_rate(sampler, starts, span.judged)]),
        "beside_windows": np.unique(near).size,
        "beside_below_m": np.max(level.values[level.values <= cutoff]),
        "beside_least_m": np.min(known) if known.size else np.nan,
        "beside_median_m": np.median(known) if known.size else np.nan,
    }


def _columns(name: str, rates: Sequence[Interval]) -> dict[str, list[float]]:
    ends = {"per_s": "value", "low_per_s": "low", "high_per_s": "high"}  # rate_per_s, rate_low_per_s, ...
    return {f"{name}_{unit}": [getattr(rate, end) for rate in rates] for unit, end in ends.items()}


def _below(item: Sampled, limit: float) -> Estimate:
    if isinstance(item.sampler, SubsetSimulation):
        return item.sampler.below(limit)
    return crude_estimate(np.array(item.smallest) - limit)


def _rate(item: Sampled, limit: float, judged_from: float, span: Span) -> Interval:
    """Return the rate at which clusters of events begin from this instant to the window's end."""
    exposure = span.lead + span.judged - judged_from
    starts = np.array(
        [cluster_starts(time[clearance <= limit], span.lead, judged_from) for time, clearance in item.passes]
    )
    if isinstance(item.sampler, SubsetSimulation):
        return cluster_rate(item.sampler, starts, exposure, limit)
    with_one = int(np.count_nonzero(starts))
    low, high = clopper_pearson(with_one, starts.size)
    each = float(np.sum(starts)) / max(with_one, 1) / exposure
    each = each if with_one else 1.0 / exposure
    value = float(np.mean(starts)) / exposure
    return Interval(value, low * each, high * each, starts.size, "exact bound on windows")
