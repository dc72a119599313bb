"""What do the probabilities of separate strata (winds, events, faults) add up to, and how surely?"""

from __future__ import annotations

from collections.abc import Sequence
from math import expm1, sqrt

from sim.errors import InputError
from sim.measures.estimate import Estimate
from sim.measures.statistics import Interval


def combine(estimates: Sequence[Estimate | Interval], weights: Sequence[float]) -> Interval:
    """Return the weighted sum of independent estimates with its interval.

    Parameters
    ----------
    estimates : sequence of Estimate or Interval
        One for each stratum, sampled apart.
    weights : sequence of float [any]
        What each stratum counts: its share of the time, its hours, its rate; not negative.

    Returns
    -------
    Interval
        ``units`` counts the strata. Strata without any event add to the upper end alone.

    Raises
    ------
    InputError
        For another number of weights, none, or a negative one.

    Notes
    -----
    T = sum w p; T - sqrt(sum w^2 (p - l)^2), T + sqrt(sum w^2 (u - p)^2), where l and u are the ends of each
    stratum's own interval; the lower end is at least the largest w l. Bounds of strata where no sample
    reached the event are added whole, not in squares: nothing is known of where below the bound they lie.

    References
    ----------
    G. Y. Zou, A. Donner, "Construction of confidence limits about effect measures: a general approach",
    Statistics in Medicine 27 (2008) 1693-1702 (recovering variances from the ends; from memory).
    """
    if len(estimates) != len(weights) or not estimates:
        raise InputError(
            f"strata: {len(estimates)} estimates and {len(weights)} weights; must be as many, not 0"
        )
    if any(not weight >= 0.0 for weight in weights):
        raise InputError(f"strata: weights = {list(weights)}; must be >= 0")
    total = below = above = bounds = floor = 0.0
    for estimate, weight in zip(estimates, weights, strict=True):
        value, low, high = ends(estimate)
        total += weight * value
        floor = max(floor, weight * low)
        if value == 0.0:
            bounds += weight * high
        else:
            below += (weight * (value - low)) ** 2
            above += (weight * (high - value)) ** 2
    method = "strata added" if total > 0.0 else "no event: bounds of the strata added"
    return Interval(
        total, max(total - sqrt(below), floor), total + sqrt(above) + bounds, len(weights), method
    )


def ends(estimate: Estimate | Interval) -> tuple[float, float, float]:
    """Return value, low and high of either kind of estimate."""
    if isinstance(estimate, Estimate):
        return estimate.probability, *estimate.interval
    return estimate.value, estimate.low, estimate.high


def probability_within(rate: Interval) -> Interval:
    """Return the probability of at least one event in the time that a rate is counted over.

    Parameters
    ----------
    rate : Interval [1/time]
        Events in one unit of time, each independent of the others (count clusters, not passes).

    Notes
    -----
    1 - exp(-rate), a Poisson process.
    """
    value, low, high = (-expm1(-number) for number in (rate.value, rate.low, rate.high))
    return Interval(value, low, high, rate.units, rate.method)
