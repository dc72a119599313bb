"""What level do the peaks beyond a threshold reach once in a return period?"""

from __future__ import annotations

from collections.abc import Sequence
from math import log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.levels import FIFTY_YEARS, ReturnLevel, explain_width
from sim.measures.statistics import CONFIDENCE, check_share

Floats = NDArray[np.float64]

#: Shapes of the tail that are looked through; 1 is exponential, 2 that of Gaussian peaks.
SHAPES = np.geomspace(0.2, 20.0, 400)


def level_by_exponential(
    peaks: ArrayLike,
    threshold: float,
    exposure_s: float,
    return_period_s: float = FIFTY_YEARS,
    confidence: float = CONFIDENCE,
) -> ReturnLevel:
    """Return the level of the return period for an exponential tail beyond a threshold.

    Parameters
    ----------
    peaks : (peak,) float64 [any]
        Independent peaks (the largest of each excursion); those below the threshold are left out.
    threshold : float [any]
    exposure_s : float [s]
        Time in which the peaks were found.
    return_period_s : float [s]
    confidence : float [-]

    Returns
    -------
    ReturnLevel

    Raises
    ------
    InputError
        For fewer than ten peaks, a return period that expects less than one, or a confidence not between 0
        and 1.

    Notes
    -----
    u + s ln(N T / exposure) with s the mean excess. 2 N s / s_true has the chi-square law of 2 N degrees of
    freedom (exact); the scatter of the number N itself is left out, it is small beside that of s.
    """
    from scipy.special import chdtri

    check_share(confidence, "confidence")
    beyond, growth = _beyond(peaks, threshold, exposure_s, return_period_s)
    number = beyond.size
    scale = float(np.mean(beyond)) - threshold
    tails = np.array([0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)])
    low, high = threshold + growth * 2.0 * number * scale / chdtri(2.0 * number, tails)
    level = threshold + growth * scale
    median = float(np.median(beyond))
    warning = explain_width(level, 0.5 * float(high - low), median, number)
    return ReturnLevel(level, float(low), float(high), np.exp(-growth), number, "peaks, exponential", warning)


def level_by_weibull(
    peaks: ArrayLike,
    threshold: float,
    exposure_s: float,
    return_period_s: float = FIFTY_YEARS,
    confidence: float = CONFIDENCE,
) -> ReturnLevel:
    """Return the level of the return period for a tail of Weibull's shape beyond a threshold above zero.

    Parameters
    ----------
    peaks : (peak,) float64 [any]
        Independent peaks; those below the threshold are left out.
    threshold : float [any]
        Above 0.
    exposure_s : float [s]
        Time in which the peaks were found.
    return_period_s : float [s]
    confidence : float [-]

    Returns
    -------
    ReturnLevel

    Raises
    ------
    InputError
        For fewer than ten peaks, a threshold at zero or below, a return period that expects less than one, or
        a confidence not between 0 and 1.

    Notes
    -----
    P(X > x | X > u) = exp(-a (x^k - u^k)), in units of u. Maximum likelihood over a for each shape k of a
    grid; level x_p = (u^k + ln(N T / exposure) / a)^(1/k). The interval holds all levels whose profile
    likelihood is within half a chi-square quantile of the best; for a given k, with t = a / a_best, that is
    N (t - 1 - ln t) <= drop, solved by Lambert's function. Derived here; the interval is asymptotic.

    References
    ----------
    S. Coles, "An Introduction to Statistical Modeling of Extreme Values", Springer 2001, section 2.6.6
    (profile likelihood).
    """
    from scipy.special import chdtri, lambertw

    check_share(confidence, "confidence")
    if not threshold > 0.0:
        raise InputError(f"threshold = {threshold}; must be > 0 for a tail of Weibull's shape")
    beyond, growth = _beyond(peaks, threshold, exposure_s, return_period_s)
    number = beyond.size
    logs = np.log(beyond / threshold)
    excess = np.array([float(np.sum(np.expm1(shape * logs))) for shape in SHAPES])
    rate = number / excess
    likelihood = number * np.log(rate * SHAPES) + (SHAPES - 1.0) * np.sum(logs) - number
    best = int(np.argmax(likelihood))
    drop = likelihood - likelihood[best] + 0.5 * float(chdtri(1.0, 1.0 - confidence))
    inside = drop >= 0.0
    argument = -np.exp(-1.0 - drop[inside] / number)
    few, many = -lambertw(argument, 0).real, -lambertw(argument, -1).real
    shapes = SHAPES[inside]
    low = float(np.min((1.0 + growth / (rate[inside] * many)) ** (1.0 / shapes)))
    high = float(np.max((1.0 + growth / (rate[inside] * few)) ** (1.0 / shapes)))
    level = float((1.0 + growth / rate[best]) ** (1.0 / SHAPES[best]))
    low, high, level = threshold * low, threshold * high, threshold * level
    open_end = bool(inside[0] or inside[-1])
    half_width = np.inf if open_end else 0.5 * (high - low)
    warning = explain_width(level, half_width, float(np.median(beyond)), number)
    return ReturnLevel(level, low, high, np.exp(-growth), number, "peaks, Weibull tail", warning)


def threshold_stability(
    peaks: ArrayLike, thresholds: Sequence[float], exposure_s: float, return_period_s: float = FIFTY_YEARS
) -> list[ReturnLevel]:
    """Return the exponential level for several thresholds: a tail is straight where it stays the same.

    Parameters
    ----------
    peaks : (peak,) float64 [any]
    thresholds : sequence of float [any]
    exposure_s, return_period_s : float [s]

    Returns
    -------
    list of ReturnLevel
        One for each threshold with at least ten peaks beyond it.
    """
    values = np.asarray(peaks, dtype=np.float64)
    return [
        level_by_exponential(values, threshold, exposure_s, return_period_s)
        for threshold in thresholds
        if np.count_nonzero(values > threshold) >= 10
    ]


def davenport_peak_factor(crossings: float) -> float:
    """Return the mean largest value of a Gaussian process, in standard deviations.

    Parameters
    ----------
    crossings : float [-]
        Upward crossings of the mean in the time considered; above 1.

    Returns
    -------
    float [-]

    References
    ----------
    A. G. Davenport, "Note on the distribution of the largest value of a random function with application to
    gust loading", Proc. Inst. Civ. Eng. 28 (1964) 187-196: g = c + 0.5772 / c, c = sqrt(2 ln(nu T)).
    """
    if not crossings > 1.0:
        raise InputError(f"crossings = {crossings}; must be > 1")
    reach = sqrt(2.0 * log(crossings))
    return reach + np.euler_gamma / reach


def _beyond(
    peaks: ArrayLike, threshold: float, exposure_s: float, return_period_s: float
) -> tuple[Floats, float]:
    """Return the peaks beyond the threshold and the log of how many the return period would hold."""
    values = np.asarray(peaks, dtype=np.float64)
    if not np.all(np.isfinite(values)):
        raise InputError("peaks: must be finite")
    beyond = values[values > threshold]
    if beyond.size < 10:
        raise InputError(f"peaks: {beyond.size} beyond the threshold {threshold:g}; a tail needs at least 10")
    if not 0.0 < exposure_s < np.inf or beyond.size * return_period_s <= exposure_s:
        raise InputError(f"exposure_s = {exposure_s}; must be > 0 and shorter than the return period allows")
    return beyond, log(beyond.size * return_period_s / exposure_s)
