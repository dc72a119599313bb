"""What is kept of sampled windows: probabilities, rates of clusters, and the curve over clearance?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.store import CaseResult
from scenarios.window_endings import endings_row
from scenarios.window_job import Span, WindowJob
from sim.measures.clusters import cluster_rate, cluster_starts
from sim.measures.estimate import Estimate, crude_estimate
from sim.measures.rare import SubsetSimulation
from sim.measures.shells import SHARE
from sim.measures.statistics import Interval, clopper_pearson

if TYPE_CHECKING:
    from scenarios.windows import Sampled

Floats = NDArray[np.float64]

LIMITS = ("strike", "broken")
"""A blade that touches the tower; a clearance below the required one."""
POINTS = 41
"""Levels of clearance at which the curve is told, up to where a quarter of plain samples come nearer."""


def sampled_result(job: WindowJob, strata: Sequence[Sampled], required: float) -> CaseResult:
    """Flatten what was sampled: by stratum, stack, and what there is of each, such as the `LIMITS`."""
    found: dict[str, list[Any]] = {}
    for item in strata:
        rows = [_stack_row(job.span, item, number, required) for number in range(len(job.stacks))]
        told = {name: [row[name] for row in rows] for name in rows[0]} | _whole(job.span, item)
        for name, value in told.items():
            found.setdefault(name, []).append(value)
    return {name: np.array(values) for name, values in found.items()} | {"required_m": np.asarray(required)}


def _whole(span: Span, item: Sampled) -> dict[str, Any]:
    """Return what is of a stratum, whatever the stack."""
    sampler = item.sampler
    against = {}
    if len(item.passes) == 2 and isinstance(sampler, SubsetSimulation):
        against = _against(span, item, sampler)
    return {
        "evaluations": len(item.smallest),
        "simulated_s": len(item.smallest) * len(item.passes) * span.whole,
        "sharpest": max(getattr(sampler, "sharpest", []), default=0.0),
    } | against


def _stack_row(span: Span, item: Sampled, stack: int, required: float) -> dict[str, Any]:
    """Return what is of one stack in a stratum."""
    values = np.array(item.smallest)[:, stack]
    limits = (0.0, required)
    told = [_below(item, values, limit) for limit in limits]
    finite = values[np.isfinite(values)]
    plain = finite[: getattr(item.sampler, "size", finite.size)]
    quarter = float(np.quantile(plain, 0.25)) if plain.size else required  # none where all ended at once
    levels = np.linspace(min(float(np.min(finite, initial=0.0)), 0.0), quarter, POINTS)
    curve = [_below(item, values, float(level)) for level in levels]
    rates = {
        "rate": (span.lead, True),
        "seen": (span.lead, False),
        "late": (span.lead + 0.5 * span.judged, True),
    }  # begin of what is counted, and whether the upper end holds what was not seen
    return {
        "probability": [estimate.probability for estimate in told],
        "low": [estimate.interval[0] for estimate in told],
        "high": [estimate.interval[1] for estimate in told],
        "variation": [estimate.coefficient_of_variation for estimate in told],
        "is_bound": [estimate.is_bound for estimate in told],
        **{
            name: value
            for kind, (begin, with_unseen) in rates.items()
            for name, value in _columns(
                kind,
                [
                    _rate(span, item, _starts(span, item, stack, limit, begin), limit, begin, with_unseen)
                    for limit in limits
                ],
            ).items()
        },
        "curve_m": levels,
        "curve_probability": [estimate.probability for estimate in curve],
        "curve_variation": [estimate.coefficient_of_variation for estimate in curve],
        "curve_low": [estimate.interval[0] for estimate in curve],
        "curve_high": [estimate.interval[1] for estimate in curve],
        "nearest_m": float(np.min(values)),
    } | endings_row(item.endings[stack])


def _against(span: Span, item: Sampled, sampler: SubsetSimulation) -> dict[str, Any]:
    """Return what the stack beside makes of the windows in which the job's own strikes, and of the others.

    Notes
    -----
    What it left is told of the windows in which the own stack strikes, or, where none does, of the tenth of
    the last level in which it comes nearest.
    """
    own, beside = np.array(item.smallest).T
    starts = _starts(span, item, 1, 0.0, span.lead)
    every = _rate(span, item, starts, 0.0, span.lead)
    missed, caused = (
        _part(every, _rate(span, item, starts * which, 0.0, span.lead)) for which in (own <= 0.0, own > 0.0)
    )
    origins = sampler.population(item.depth).origins
    cutoff = max(float(np.quantile(own[origins], SHARE, method="lower")), 0.0)
    near = np.unique(origins[own[origins] <= cutoff])
    return {
        **{name: value[0] for name, value in _columns("missed", [missed]).items()},
        **{name: value[0] for name, value in _columns("caused", [caused]).items()},
        "beside_windows": near.size,
        "beside_below_m": cutoff,
        "beside_least_m": np.min(beside[near]),
        "beside_median_m": np.median(beside[near]),
    }


def _part(whole: Interval, part: Interval) -> Interval:
    """Return the rate of some of the events, which is at most that of all."""
    return replace(part, high=min(part.high, whole.high))


def _columns(name: str, rates: Sequence[Interval]) -> dict[str, list[float]]:
    ends = {"per_s": "value", "low_per_s": "low", "high_per_s": "high"}  # rate_per_s, rate_low_per_s, ...
    return {f"{name}_{unit}": [getattr(rate, end) for rate in rates] for unit, end in ends.items()}


def _below(item: Sampled, values: Floats, limit: float) -> Estimate:
    """Return the probability that a window comes nearer than a limit under the stack of these values."""
    if isinstance(item.sampler, SubsetSimulation):
        return item.sampler.event(values <= limit, limit + item.depth)
    return crude_estimate(values - limit)


def _starts(span: Span, item: Sampled, stack: int, limit: float, begin: float) -> Floats:
    """Count the clusters of passes below a limit that begin in each window from this instant."""
    return np.array(
        [
            cluster_starts(time[clearance <= limit], span.lead, begin)
            for time, clearance in item.passes[stack]
        ],
        dtype=np.float64,
    )


def _rate(
    span: Span, item: Sampled, starts: Floats, limit: float, begin: float, with_unseen: bool = True
) -> Interval:
    """Return the rate at which clusters of events begin from this instant to the window's end."""
    exposure = span.lead + span.judged - begin
    if isinstance(item.sampler, SubsetSimulation):
        return cluster_rate(item.sampler, starts, exposure, limit + item.depth, with_unseen)
    with_one = int(np.count_nonzero(starts))
    low, high = clopper_pearson(with_one, starts.size)
    each = float(np.sum(starts)) / max(with_one, 1) / exposure
    each = each if with_one else 1.0 / exposure
    value = float(np.mean(starts)) / exposure
    return Interval(value, low * each, high * each, starts.size, "exact bound on windows")
