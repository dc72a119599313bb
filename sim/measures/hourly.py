"""How often does something happen in an hour and in a year of normal winds, and how sure is that?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.labels import Labels
from sim.measures.lifetime import split_hours
from sim.measures.statistics import CONFIDENCE, Interval, cluster_bootstrap

Floats = NDArray[np.float64]

ZERO = "no event: exact one-sided bound on seeds, of runs with an event"


@dataclass(frozen=True)
class HourlyRate:
    """A rate over the hours of normal turbulence.

    Parameters
    ----------
    per_hour : Interval [1/h]
    hours_per_year : float [h]
        For which it stands.
    """

    per_hour: Interval
    hours_per_year: float

    @property
    def per_year(self) -> Interval:
        """The rate over a year [1/a]."""
        rate, hours = self.per_hour, self.hours_per_year
        return Interval(rate.value * hours, rate.low * hours, rate.high * hours, rate.units, rate.method)


def hourly_rate(
    events: ArrayLike, judged_s: ArrayLike, labels: Labels, bin_hours: ArrayLike, seed: int = 0
) -> HourlyRate:
    """Return how often something happens in an hour, from counts in each seed of each bin of wind.

    Parameters
    ----------
    events : (case,) float64 [-]
    judged_s : (case,) float64 [s]
        Not a number where the case did not run.
    labels : Labels
    bin_hours : (case,) float64 [h]
        Hours a year of the case's bin of wind; 0 for what is no normal wind.
    seed : int
        Of the bootstrap.

    Returns
    -------
    HourlyRate

    Notes
    -----
    Sum over cases of hours events / judged, over the sum of hours; the interval draws seeds within bins.
    Where nothing happened at all, `weighted_zero_bound` bounds the share of runs with an event, over their
    length: a run with several counts once, as one cannot tell how many there would be.
    """
    counted = np.asarray(events, dtype=np.float64)
    judged = np.asarray(judged_s, dtype=np.float64)
    ran = np.isfinite(judged) & (judged > 0.0)
    hours = split_hours(labels, bin_hours, ran)
    used = hours > 0.0
    total = float(np.sum(hours))
    if not used.any():
        return HourlyRate(Interval(np.nan, np.nan, np.nan, 0, "undefined: no run in normal wind"), 0.0)
    group = labels.bins()[0][used]
    rate = 3600.0 * counted[used] / judged[used]
    if float(np.sum(counted[used])) == 0.0:
        high = weighted_zero_bound(hours[used] / total, group) * 3600.0 / float(np.min(judged[used]))
        return HourlyRate(Interval(0.0, 0.0, high, int(np.sum(used)), ZERO), total)
    columns = (rate * hours[used])[:, None]
    interval = cluster_bootstrap(lambda sums: sums[:, 0] / total, columns, group, seed=seed)
    return HourlyRate(interval, total)


def weighted_zero_bound(weight: ArrayLike, group: ArrayLike, confidence: float = CONFIDENCE) -> float:
    """Return the largest weighted share of runs with an event that runs without any still allow.

    Parameters
    ----------
    weight : (run,) float64 [-]
        Share of the time that each run stands for; equal within a group.
    group : (run,) int
        Bin of wind.
    confidence : float [-]
        One-sided.

    Returns
    -------
    float [-]

    Raises
    ------
    InputError
        For a confidence out of range.

    Notes
    -----
    The largest sum_b w_b p_b with prod_b (1 - p_b)^n_b >= 1 - confidence, w_b the weight of the bin and n_b
    its runs. Derived here: all p that give the silence at least that chance; the largest is where
    w_b (1 - p_b) / n_b is the same for all bins with p_b > 0. For one bin of n runs
    1 - (1 - confidence)^(1/n): none in 60 shows less than 4.9 %.
    """
    if not 0.0 < confidence < 1.0:
        raise InputError(f"confidence = {confidence}; must lie between 0 and 1")
    number = np.unique(np.asarray(group), return_inverse=True)[1]
    share = np.bincount(number, np.asarray(weight, dtype=np.float64))
    runs = np.bincount(number).astype(np.float64)
    order = np.argsort(-share / runs, kind="stable")
    share, runs = share[order], runs[order]
    best = 0.0
    for used in range(1, share.size + 1):
        w, n = share[:used], runs[:used]
        level = (
            ((1.0 - confidence) / np.prod((n / w) ** n)) ** (1.0 / float(np.sum(n))) if w.min() > 0 else 0.0
        )
        left = level * n / np.where(w > 0.0, w, np.inf)
        if level > 0.0 and np.all(left <= 1.0):
            best = max(best, float(np.sum(w * (1.0 - left))))
    return best
