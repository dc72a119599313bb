"""What does a load or a gain amount to over a life, and against a reference in the same winds?"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.curve import check_exponent
from sim.measures.labels import Labels
from sim.measures.statistics import Interval, cluster_bootstrap

Floats = NDArray[np.float64]

HOURS_PER_YEAR = 8766.0  #: with leap years


@dataclass(frozen=True)
class PairedRatio:
    """A lifetime value against that of a reference in the same winds.

    Parameters
    ----------
    value, reference : float [any]
        Each of its own worst part (blade).
    part, reference_part : int
        Which part that is.
    ratio : Interval
        Value over reference; not a number where the reference has none.
    damage_ratio : float [-]
        The ratio to the power of the exponent.
    exponent : float [-]
    reference_frequency : float [Hz]
    cases_lost : int
        Cases left out since one of the two did not run.
    """

    value: float
    reference: float
    part: int
    reference_part: int
    ratio: Interval
    damage_ratio: float
    exponent: float
    reference_frequency: float
    cases_lost: int


def weibull_hours(edges: ArrayLike, scale: float, shape: float, hours: float = HOURS_PER_YEAR) -> Floats:
    """Return the hours that the wind speed spends in each bin.

    Parameters
    ----------
    edges : (bin + 1,) float64 [m/s]
        Rising, from zero or more.
    scale : float [m/s]
        Above 0.
    shape : float [-]
        Above 0.
    hours : float [h]
        To share out over all speeds, those outside the edges too.

    Returns
    -------
    (bin,) float64 [h]

    Raises
    ------
    InputError
        Where edges do not rise or a parameter is not positive.

    Notes
    -----
    hours (F(upper) - F(lower)) with F(V) = 1 - exp(-(V / scale)^shape).

    References
    ----------
    W. Weibull, "A statistical distribution function of wide applicability", J. Appl. Mech. 18 (1951).
    """
    speeds = np.asarray(edges, dtype=np.float64)
    if speeds.ndim != 1 or speeds.size < 2 or speeds[0] < 0.0 or not np.all(np.diff(speeds) > 0.0):
        raise InputError("edges: must rise from zero or more, and hold at least two values")
    for name, value in (("scale", scale), ("shape", shape), ("hours", hours)):
        if not 0.0 < value < np.inf:
            raise InputError(f"wind distribution: {name} = {value}; must be > 0")
    return -hours * np.diff(np.exp(-((speeds / scale) ** shape)))


def rayleigh_hours(edges: ArrayLike, mean: float, hours: float = HOURS_PER_YEAR) -> Floats:
    """Return the hours in each bin for a Rayleigh distribution of the given mean speed.

    Parameters
    ----------
    edges : (bin + 1,) float64 [m/s]
    mean : float [m/s]
        Above 0.
    hours : float [h]

    Returns
    -------
    (bin,) float64 [h]

    Notes
    -----
    Weibull of shape 2 and scale mean / Gamma(1 + 1/2) = 2 mean / sqrt(pi), as in IEC 61400-1 (from memory).
    """
    return weibull_hours(edges, 2.0 * mean / sqrt(pi), 2.0, hours)


def weibull_scale(mean: float, shape: float) -> float:
    """Return the scale of a Weibull distribution of given mean: mean / Gamma(1 + 1/shape).

    Parameters
    ----------
    mean : float [m/s]
    shape : float [-]

    Returns
    -------
    float [m/s]
    """
    return mean / gamma(1.0 + 1.0 / shape)


def speed_edges(speeds: ArrayLike, cut_in: float, cut_out: float) -> Floats:
    """Return the edges of the bins that the simulated speeds stand for.

    Parameters
    ----------
    speeds : (bin,) float64 [m/s]
        Rising, within cut-in and cut-out.
    cut_in, cut_out : float [m/s]

    Returns
    -------
    (bin + 1,) float64 [m/s]
        Midway between neighbours, cut-in and cut-out at the ends.

    Raises
    ------
    InputError
        Where speeds do not rise or lie outside.
    """
    middle = np.asarray(speeds, dtype=np.float64)
    if middle.size == 0 or not np.all(np.diff(middle) > 0.0):
        raise InputError("speeds: must rise, and hold at least one")
    if not (cut_in <= middle[0] and middle[-1] <= cut_out and cut_in < cut_out):
        raise InputError(
            f"speeds: {middle[0]:g}..{middle[-1]:g} m/s must lie within {cut_in:g}..{cut_out:g} m/s"
        )
    return np.concatenate([[cut_in], 0.5 * (middle[1:] + middle[:-1]), [cut_out]])


def split_hours(labels: Labels, bin_hours: ArrayLike, ran: ArrayLike) -> Floats:
    """Share the hours of each bin of wind out over the cases in it that ran.

    Parameters
    ----------
    labels : Labels
    bin_hours : () or (case,) float64 [h]
        Hours of the bin to which the case belongs; 0 keeps the bin out.
    ran : (case,) bool

    Returns
    -------
    (case,) float64 [h]
        0 for a case that did not run. A bin without any that ran drops out, with its hours.
    """
    group = labels.bins()[0]
    used = np.asarray(ran, dtype=bool)
    hours = np.broadcast_to(np.asarray(bin_hours, dtype=np.float64), (labels.size,))
    number = np.bincount(group, used, labels.size)[group]
    return np.where(used, hours / np.maximum(number, 1.0), 0.0)


def paired_ratio(
    rates: tuple[ArrayLike, ArrayLike],
    labels: Labels,
    bin_hours: ArrayLike,
    exponent: float = 1.0,
    reference_frequency: float = 1.0,
    seed: int = 0,
) -> PairedRatio:
    """Return the lifetime value of an entry against its reference, case by case in the same winds.

    Parameters
    ----------
    rates : two of (case, part) float64 [any^m / s]
        Of the entry and of the reference, rows in the order of the labels: sums of n S^m per second
        (`cycle_rates`), or with exponent 1 any mean rate, like power. Not a number where a case did not run.
    labels : Labels
    bin_hours : () or (case,) float64 [h]
        As in `split_hours`: give 0 to all that is not normal production.
    exponent : float [-]
        m, at least 1.
    reference_frequency : float [Hz]
    seed : int
        Of the bootstrap.

    Returns
    -------
    PairedRatio

    Raises
    ------
    InputError
        Where shapes do not fit or the exponent is below 1.

    Notes
    -----
    Value: (sum_i h_i r_i / (f sum_i h_i))^(1/m), the largest over parts. The interval draws cases within each
    bin of wind, the same for both, and looks for the worst part anew in each draw.
    """
    check_exponent(exponent, "exponent")
    mine, other = (_by_part(part, labels.size) for part in rates)
    ran = np.all(np.isfinite(mine), axis=1) & np.all(np.isfinite(other), axis=1)
    asked = np.broadcast_to(np.asarray(bin_hours, dtype=np.float64), (labels.size,)) > 0.0
    hours = split_hours(labels, bin_hours, ran)
    used = hours > 0.0
    parts = mine.shape[1]
    columns = np.concatenate([mine, other], axis=1)[used] * hours[used, None]

    def statistic(sums: Floats) -> Floats:
        return _over(np.max(sums[:, :parts], axis=1), np.max(sums[:, parts:], axis=1)) ** (1.0 / exponent)

    interval = cluster_bootstrap(statistic, columns, labels.bins()[0][used], seed=seed)
    total = float(np.sum(hours))
    sums = np.sum(columns, axis=0) / total if total > 0.0 else np.full(2 * parts, np.nan)
    worst, worst_other = int(np.argmax(sums[:parts])), int(np.argmax(sums[parts:]))
    level = (sums / reference_frequency) ** (1.0 / exponent)
    return PairedRatio(
        value=float(level[worst]),
        reference=float(level[parts + worst_other]),
        part=worst,
        reference_part=worst_other,
        ratio=_explained(interval),
        damage_ratio=interval.value**exponent,
        exponent=exponent,
        reference_frequency=reference_frequency,
        cases_lost=int(np.count_nonzero(asked & ~ran)),
    )


def _over(above: Floats, below: Floats) -> Floats:
    return above / np.where(below > 0.0, below, np.nan)


def _explained(interval: Interval) -> Interval:
    if interval.method != "undefined":
        return interval
    reason = "undefined: the reference has none" if interval.units else "undefined: no case ran in both"
    return Interval(np.nan, np.nan, np.nan, interval.units, reason)


def _by_part(rates: ArrayLike, size: int) -> Floats:
    values = np.asarray(rates, dtype=np.float64)
    values = values[:, None] if values.ndim == 1 else values
    if values.ndim != 2 or values.shape[0] != size:
        raise InputError(f"rates: shape {values.shape}; must be ({size}, parts)")
    return values
