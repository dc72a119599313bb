"""How many of the demands are missed, and how sure is that where few are, and these come in bursts?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.statistics import CONFIDENCE, Interval, check_share

Floats = NDArray[np.float64]


def poisson_limits(events: float, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided interval of the mean of a Poisson count; the count may be an effective one.

    Parameters
    ----------
    events : float [-]
        Not negative.
    confidence : float [-]

    Returns
    -------
    low, high : float [-]

    Raises
    ------
    InputError
        Where either is out of range.

    Notes
    -----
    low and high solve P(N >= n | low) = P(N <= n | high) = (1 - confidence)/2, by the incomplete gamma
    function, which also takes counts that are not whole; low is 0 for n = 0.

    References
    ----------
    F. Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28 (1936) 437-442.
    """
    from scipy.special import gammaincinv

    check_share(confidence, "confidence")
    if not events >= 0.0:
        raise InputError(f"events = {events}; must not be negative")
    tail = 0.5 * (1.0 - confidence)
    low = float(gammaincinv(events, tail)) if events > 0.0 else 0.0
    return low, float(gammaincinv(events + 1.0, 1.0 - tail))


def scatter(events: ArrayLike, trials: ArrayLike, groups: ArrayLike) -> float:
    """Return the variance of the events about what the trials let expect, (unit,) counts each [-].

    Notes
    -----
    Linearised ratio, stratified: sum over groups h of n_h/(n_h - 1) sum (z_i - mean of z in h)^2 with
    z_i = events_i - share trials_i. A group of one unit adds its z_i^2.
    """
    happened, tried = (np.asarray(column, dtype=np.float64) for column in (events, trials))
    off = happened - happened.sum() / tried.sum() * tried
    total = 0.0
    for group in np.unique(np.asarray(groups)):
        mine = off[np.asarray(groups) == group]
        n = mine.size
        total += float(n / (n - 1) * np.sum((mine - mine.mean()) ** 2) if n > 1 else mine[0] ** 2)
    return total


def rare_share(
    events: ArrayLike, trials: ArrayLike, groups: ArrayLike, burst: float | None = None
) -> Interval:
    """Return events per trial with an interval that holds also where events are few and come in bursts.

    Parameters
    ----------
    events, trials : (unit,) float64 [-]
        Counts of each unit (seed); events may exceed trials.
    groups : (unit,) int or str
        Wind bin of each unit.
    burst : float, optional [-]
        Events that come together, where none are seen here; learned elsewhere. Without it, all trials of a
        unit are taken to fail together.

    Returns
    -------
    Interval
        `units` counts the units with trials.

    Notes
    -----
    Resampling seeds says nothing where no event is seen, and too little where one or two are. So the
    interval is Poisson's for an effective count, events/D, scaled back by D/trials. D, the events
    that come together, is their variance over seeds (``scatter``) over their number, at least 1. For no event
    and no ``burst`` D = sum trials^2 / sum trials, the size of the unit that a trial finds itself in: the
    bound is then one on seeds, whatever their sizes. No bound lies above 1, unless the share does.

    References
    ----------
    Derived here, after E. L. Korn, B. I. Graubard, "Confidence intervals for proportions with small expected
    number of positive counts estimated from survey data", Survey Methodology 24 (1998) 193-201 (from memory;
    they do this for the binomial).
    """
    happened, tried = (np.asarray(column, dtype=np.float64) for column in (events, trials))
    if np.any(happened < 0.0) or np.any(tried < 0.0):
        raise InputError("events and trials: must not be negative")
    total, below, units = float(happened.sum()), float(tried.sum()), int(np.sum(tried > 0.0))
    if below == 0.0:
        return Interval(np.nan, np.nan, np.nan, 0, "undefined: no trial")
    if total > 0.0:
        together, method = max(1.0, scatter(happened, tried, groups) / total), "effective count over seeds"
    elif burst is not None:
        together, method = max(1.0, burst), "no event: bound for bursts as at other settings"
    else:
        together, method = float(np.sum(tried**2)) / below, "no event: bound on seeds"
    low, high = poisson_limits(total / together)
    share = total / below
    ends = low * together / below, min(high * together / below, max(1.0, share))
    return Interval(share, *ends, units, method)
