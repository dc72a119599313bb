"""What level do the peaks of all winds together reach once in a return period, the seed being the unit?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.levels import FIFTY_YEARS, ReturnLevel, block_exceedance, explain_width
from sim.measures.lifetime import HOURS_PER_YEAR
from sim.measures.statistics import CONFIDENCE, percentiles, resample

Floats = NDArray[np.float64]

TAIL = 0.2
"""Share of the peaks of each wind that is taken for its tail (our choice; see `threshold_stability`)."""
FEWEST = 10
"""Peaks beyond the threshold that a tail needs."""


def separate_peaks(time_s: ArrayLike, value: ArrayLike, apart_s: float) -> Floats:
    """Return the largest value of each stretch of time, so that peaks of one excursion count once.

    Parameters
    ----------
    time_s, value : (sample,) float64 [s, any]
    apart_s : float [s]
        Length of a stretch, above 0.

    Returns
    -------
    (peak,) float64 [any]
    """
    if not 0.0 < apart_s < np.inf:
        raise InputError(f"apart_s = {apart_s}; must be > 0")
    stretch = np.floor(np.asarray(time_s, dtype=np.float64) / apart_s).astype(np.int64)
    values = np.asarray(value, dtype=np.float64)
    return np.array([np.max(values[stretch == which]) for which in np.unique(stretch)])


def long_term_peaks(
    peaks: Sequence[Sequence[ArrayLike]],
    hours: ArrayLike,
    exposure_s: float,
    claim: tuple[float, float] = (FIFTY_YEARS, CONFIDENCE),
    seed: int = 0,
) -> ReturnLevel:
    """Return the level of the return period over all winds, from the peaks of each seed at each wind speed.

    Parameters
    ----------
    peaks : [bin][seed] (peak,) float64 [any]
        Peaks apart from each other (`separate_peaks`); each bin needs ten beyond its threshold.
    hours : (bin,) float64 [h]
        Hours per year that each bin stands for.
    exposure_s : float [s]
        Length of a seed's history.
    claim : return period [s], confidence [-]
    seed : int
        Of the bootstrap.

    Returns
    -------
    ReturnLevel

    Raises
    ------
    InputError
        For too few peaks beyond the threshold of a bin, or hours that do not fit.

    Notes
    -----
    The x with sum_b h_b r_b exp(-(x - u_b) / s_b) T / year = 1: an exponential tail beyond the threshold u_b
    in each bin, with the rate r_b and the mean excess s_b of its peaks. The interval draws seeds within bins,
    at fixed thresholds. Derived here. Where excesses fall off faster than exponentially, as those of Gaussian
    loads do, the level is on the safe side.
    """
    period, confidence = claim
    often = np.asarray(hours, dtype=np.float64)
    if often.shape != (len(peaks),) or np.any(often < 0.0) or not np.sum(often) > 0.0:
        raise InputError(f"hours: must be {len(peaks)} values >= 0, in all above 0")
    bins = [[np.asarray(part, dtype=np.float64) for part in some] for some in peaks]
    threshold = np.array([np.quantile(np.concatenate(some), 1.0 - TAIL) for some in bins])
    group = np.repeat(np.arange(len(bins)), [len(some) for some in bins])
    number, excess = (
        np.array([measure(part, threshold[b]) for b, some in enumerate(bins) for part in some])
        for measure in (_number, _excess)
    )
    members = group[:, None] == np.arange(len(bins))
    beyond = np.einsum("u,ub->b", number, members)
    if np.any(beyond < FEWEST):
        worst = int(np.argmin(beyond))
        raise InputError(f"peaks of bin {worst}: {beyond[worst]:.0f} beyond; a tail needs {FEWEST}")
    seeds = np.bincount(group)
    scale = often * 3600.0 / (exposure_s * seeds) * period / (HOURS_PER_YEAR * 3600.0)
    beyond_by = np.einsum("u,ub->b", excess, members)
    level = float(_solve(beyond[None, :], beyond_by[None, :], scale, threshold)[0])
    times = resample(group, seed=seed).astype(np.float64)
    drawn = _solve(
        np.einsum("du,u,ub->db", times, number, members, optimize=True),
        np.einsum("du,u,ub->db", times, excess, members, optimize=True),
        scale,
        threshold,
    )
    ends = percentiles(group, confidence)
    low, high = (np.nan, np.nan) if np.isnan(ends[0]) else np.quantile(drawn[np.isfinite(drawn)], ends)
    median = float(np.median(np.concatenate([part for some in bins for part in some])))
    total = int(np.sum(beyond))
    warning = explain_width(level, 0.5 * float(high - low), median, total)
    target = block_exceedance(exposure_s, period)
    return ReturnLevel(level, float(low), float(high), target, total, "peaks, exponential", warning)


def _number(part: Floats, threshold: float) -> float:
    return float(np.count_nonzero(part > threshold))


def _excess(part: Floats, threshold: float) -> float:
    return float(np.sum(np.maximum(part - threshold, 0.0)))


def _solve(number: Floats, excess: Floats, scale: Floats, threshold: Floats) -> Floats:
    """Solve sum_b scale_b n_b exp(-(x - u_b) / s_b) = 1 for x, for many draws at once, by halving."""
    used = scale > 0.0
    number, excess, scale, threshold = number[:, used], excess[:, used], scale[used], threshold[used]
    mean = np.maximum(excess / np.maximum(number, 1.0), 1e-12)
    alone = threshold + mean * np.log(np.maximum(scale * number, 1.0))
    low, high = np.max(alone, axis=1), np.max(alone + mean * np.log(number.shape[1] + 1.0), axis=1)
    for _ in range(50):
        middle = 0.5 * (low + high)
        reach = np.minimum((middle[:, None] - threshold) / mean, 700.0)
        above = np.sum(scale * number * np.exp(-reach), axis=1) > 1.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return 0.5 * (low + high)
