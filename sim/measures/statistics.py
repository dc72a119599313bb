"""How sure can one be of a share or a ratio, when the seed and not the pass is the unit?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, log, log1p, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError

Floats = NDArray[np.float64]

CONFIDENCE = 0.95
DRAWS = 4000
KEY = 0x77_69_64_65  # "wide": the purpose of these random numbers


@dataclass(frozen=True)
class Interval:
    """An estimate with the interval that carries it.

    Parameters
    ----------
    value, low, high : float [any]
        Not a number where it is undefined.
    units : int
        Independent units (seeds) behind it.
    method : str
        How the interval was made, or why there is none.
    """

    value: float
    low: float
    high: float
    units: int
    method: str


def clopper_pearson(events: int, trials: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided interval of a probability.

    Parameters
    ----------
    events, trials : int
        0 <= events <= trials.
    confidence : float [-]
        Between 0 and 1.

    Returns
    -------
    low, high : float [-]
        0 and 1 for no trials.

    Raises
    ------
    InputError
        Where the counts or the confidence are out of range.

    References
    ----------
    C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
    binomial", Biometrika 26 (1934) 404-413.
    """
    from scipy.special import betaincinv

    if not 0 <= events <= trials:
        raise InputError(f"events = {events}; must lie between 0 and the {trials} trials")
    check_share(confidence, "confidence")
    if trials == 0:
        return 0.0, 1.0
    tail = 0.5 * (1.0 - confidence)
    low = 0.0 if events == 0 else float(betaincinv(events, trials - events + 1, tail))
    high = 1.0 if events == trials else float(betaincinv(events + 1, trials - events, 1.0 - tail))
    return low, high


def zero_failure_trials(probability: float, confidence: float = CONFIDENCE) -> int:
    """Return how many trials without a failure show that a failure is rarer than a stated probability.

    Parameters
    ----------
    probability, confidence : float [-]
        Both between 0 and 1; the confidence is one-sided.

    Returns
    -------
    int

    Raises
    ------
    InputError
        Where either is out of range.

    Notes
    -----
    The smallest n with (1 - p)^n <= 1 - confidence. Derived here: the chance to see no failure in n
    independent trials, if the probability were p.
    """
    check_share(probability, "probability")
    check_share(confidence, "confidence")
    return ceil(log(1.0 - confidence) / log1p(-probability))


def resample(groups: ArrayLike, draws: int = DRAWS, seed: int = 0) -> NDArray[np.int64]:
    """Draw bootstrap samples of units, within each group of units.

    Parameters
    ----------
    groups : (unit,) int or str
        The group (wind bin) of each unit (seed); group sizes are kept in every draw.
    draws : int
    seed : int
        Part of the key of the counter-based random numbers.

    Returns
    -------
    (draw, unit) int64
        How often each unit was drawn, read only: one draw serves every channel of a bill. The numbers of one
        group depend on its size and rank alone.
    """
    label = np.unique(np.asarray(groups), return_inverse=True)[1]
    return _drawn(tuple(label.ravel().tolist()), draws, seed)


@lru_cache(maxsize=8)
def _drawn(labels: tuple[int, ...], draws: int, seed: int) -> NDArray[np.int64]:
    label = np.array(labels, dtype=np.int64)
    times = np.zeros((draws, label.size), dtype=np.int64)
    for group in range(int(label.max(initial=-1)) + 1):
        members = np.flatnonzero(label == group)
        bits = np.random.Philox(key=np.array([KEY, seed], dtype=np.uint64), counter=[0, 0, group, 0])
        equal = np.full(members.size, 1.0 / members.size)
        times[:, members] = np.random.Generator(bits).multinomial(members.size, equal, size=draws)
    times.flags.writeable = False
    return times


def percentiles(groups: ArrayLike, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return which percentiles of a bootstrap make an interval of the stated confidence.

    Parameters
    ----------
    groups : (unit,) int or str
        As in `resample`.
    confidence : float [-]

    Returns
    -------
    low, high : float [-]
        Shares between 0 and 1; not a number where no group has two units: nothing is known of the scatter.

    Notes
    -----
    The plain percentiles are too near for few units. Expanded: Phi(-+ t sqrt(n / (n - 1))) with Student's t
    of units less groups degrees of freedom, and n the mean size of a group. A group of one unit adds no
    scatter, which its user must be told.

    References
    ----------
    T. C. Hesterberg, "What teachers should know about the bootstrap", The American Statistician 69 (2015)
    371-386, section 5.3 (expanded percentile interval; section number from memory).
    """
    from scipy.special import ndtr, stdtrit

    check_share(confidence, "confidence")
    sizes = np.unique(np.asarray(groups), return_counts=True)[1]
    sizes = sizes[sizes > 1]
    if sizes.size == 0:
        return np.nan, np.nan
    freedom = float(np.sum(sizes - 1))
    mean_size = float(np.mean(sizes))
    reach = stdtrit(freedom, 0.5 * (1.0 + confidence)) * sqrt(mean_size / (mean_size - 1.0))
    return float(ndtr(-reach)), float(ndtr(reach))


def cluster_bootstrap(
    statistic: Callable[[Floats], Floats],
    sums: ArrayLike,
    groups: ArrayLike,
    confidence: float = CONFIDENCE,
    seed: int = 0,
) -> Interval:
    """Return a statistic of sums over units with its bootstrap interval.

    Parameters
    ----------
    statistic : (draw, column) float64 -> (draw,) float64
        From column sums to the statistic, for many draws at once. Not a number where it is undefined.
    sums : (unit, column) float64
        What each unit (seed) adds to the columns.
    groups : (unit,) int or str
        Units are drawn within their group (wind bin).
    confidence : float [-]
    seed : int

    Returns
    -------
    Interval

    Notes
    -----
    Draws in which the statistic is undefined are left out; where they are more than half, there is no
    interval.
    """
    columns = np.asarray(sums, dtype=np.float64)
    units = columns.shape[0]
    value = float(statistic(np.sum(columns, axis=0)[None, :])[0]) if units else np.nan
    low, high = percentiles(groups, confidence)
    if np.isnan(low) or np.isnan(value):
        reason = "undefined" if np.isnan(value) else "no interval: one seed per wind"
        return Interval(value, np.nan, np.nan, units, reason)
    drawn = statistic(np.einsum("du,uc->dc", resample(groups, seed=seed).astype(np.float64), columns))
    drawn = drawn[np.isfinite(drawn)]
    if drawn.size < DRAWS // 2:
        return Interval(value, np.nan, np.nan, units, "no interval: undefined in most resamples")
    ends = np.quantile(drawn, [low, high])
    return Interval(value, float(ends[0]), float(ends[1]), units, "bootstrap over seeds")


def ratio(sums: Floats) -> Floats:
    """Return the first column over the second, not a number where the second is zero.

    Parameters
    ----------
    sums : (draw, 2) float64

    Returns
    -------
    (draw,) float64
    """
    below = np.where(sums[:, 1] != 0.0, sums[:, 1], np.nan)
    return sums[:, 0] / below


def share_over_units(
    events: ArrayLike, trials: ArrayLike, groups: ArrayLike, confidence: float = CONFIDENCE, seed: int = 0
) -> Interval:
    """Return the share of trials with an event, its interval with the unit and not the trial as the unit.

    Parameters
    ----------
    events, trials : (unit,) float64 [-]
        Per unit (seed); 0 <= events <= trials.
    groups : (unit,) int or str
        Wind bin of each unit.
    confidence : float [-]
    seed : int

    Returns
    -------
    Interval
        `units` counts the units with trials.

    Raises
    ------
    InputError
        Where events exceed trials.

    Notes
    -----
    Ratio estimator, sum of events over sum of trials, with a cluster bootstrap. With no event at all, or
    nothing but events, resampling says nothing: then the bound is the exact one of Clopper and Pearson on the
    share of *units* with an event. It holds for the share of trials where units have like numbers of trials,
    as no unit can add more than all of its trials. A unit without trials is drawn like any other: that others
    of its group had some is part of the scatter.
    """
    happened = np.asarray(events, dtype=np.float64)
    tried = np.asarray(trials, dtype=np.float64)
    if np.any(happened > tried * (1.0 + 1e-9)) or np.any(happened < 0.0):
        raise InputError("events: must lie between 0 and trials in every unit")
    units = int(np.sum(tried > 0.0))
    if units == 0:
        return Interval(np.nan, np.nan, np.nan, 0, "undefined: no trial")
    total = float(np.sum(happened))
    if total == 0.0:
        bound = clopper_pearson(0, units, confidence)[1]
        return Interval(0.0, 0.0, bound, units, "no event: exact bound on seeds")
    if total >= float(np.sum(tried)) * (1.0 - 1e-12):
        bound = clopper_pearson(units, units, confidence)[0]
        return Interval(1.0, bound, 1.0, units, "nothing but events: exact bound on seeds")
    found = cluster_bootstrap(ratio, np.stack([happened, tried], axis=1), groups, confidence, seed)
    return replace(found, units=units)


def check_share(value: float, name: str) -> None:
    """Refuse a probability or confidence that does not lie between 0 and 1, with the name its user knows.

    Raises
    ------
    InputError
        Where it is 0, 1, beyond them, or not a number.
    """
    if not 0.0 < value < 1.0:
        raise InputError(f"{name} = {value}; must lie between 0 and 1")
