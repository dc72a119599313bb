"""What does a sampler say of the probability of a rare event, and how sure is it?"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, isnan, log, log1p, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.statistics import CONFIDENCE, clopper_pearson

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

FREEDOM, LEAST_FREEDOM = 2.0, 3.0
"""Degrees of freedom for each independent ancestor that a variance rests on, and the least of them in all."""


@dataclass(frozen=True)
class Estimate:
    """A probability from samples.

    Parameters
    ----------
    probability : float [-]
        0 where no sample reached the event: the interval then is a bound, not an estimate.
    interval : low, high : float [-]
        95 %.
    coefficient_of_variation : float [-]
        Standard deviation of the estimate over the estimate; not a number where no sample reached the event.
    evaluations : int
        Of the limit state.
    message : str
        What was shown instead, where no sample reached the event; empty otherwise.
    warning : str
        Why the interval may hold less often than it says; empty where nothing speaks for that.
    """

    probability: float
    interval: tuple[float, float]
    coefficient_of_variation: float
    evaluations: int
    message: str = ""
    warning: str = ""

    @property
    def is_bound(self) -> bool:
        """Whether no sample reached the event, so that the upper end of the interval is all that is known."""
        return bool(self.message)


@dataclass(frozen=True, eq=False)
class Population:
    """The particles of one level.

    Parameters
    ----------
    values : (particle,) float64 [any]
        Of the limit state.
    families : (particle,) int64
        Number of the first, independent sample that each descends from.
    origins : (particle,) int64
        Number of the evaluation that each was proposed in.
    reached : float [-]
        Probability of the level.
    level : float [any]
        Value at or below which the particles lie; infinite for the first level.
    """

    values: Floats
    families: Integers
    origins: Integers
    reached: float
    level: float = inf

    @property
    def spread(self) -> float:
        """Coefficient of variation of ``reached``, of all families."""
        return family_variation(self.families, np.ones(self.values.size))


def bound(high: float, evaluations: int, nearest: float) -> Estimate:
    """Return what is known where no sample reached the event.

    Parameters
    ----------
    high : float [-]
        Upper bound of the probability.
    evaluations : int
    nearest : float [any]
        Smallest value of the limit state that was seen.
    """
    message = (
        f"no sample reached the limit (nearest: {nearest:.4g} from it); shown is the bound {high:.3g}, "
        "no estimate"
    )
    return Estimate(0.0, (0.0, min(high, 1.0)), nan, evaluations, message)


def family_variation(family: ArrayLike, values: ArrayLike) -> float:
    """Return the coefficient of variation of a sum over particles that descend from independent ancestors.

    Parameters
    ----------
    family : (particle,) int
        Which of the first, independent samples each particle descends from.
    values : (particle,) float64 [any]
        What each particle adds, not negative.

    Returns
    -------
    float [-]
        Infinite where the sum is zero.

    Notes
    -----
    Square root of sum_f (share of family f)^2. Particles of one family share their history, so all that
    chains and levels have in common is in their family's sum; families are independent but for the levels'
    places. Holds the correlation within chains, between chains of one seed and between levels.

    References
    ----------
    H. P. Chan, T. L. Lai, "A general theory of particle filters in hidden Markov models and some
    applications", Annals of Statistics 41 (2013) 2877-2904; A. Lee, N. Whiteley, "Variance estimation in the
    particle filter", Biometrika 105 (2018) 609-625 (both from memory).
    """
    sums = np.bincount(np.asarray(family), np.asarray(values, dtype=np.float64))
    total = float(np.sum(sums))
    return sqrt(float(np.sum((sums / total) ** 2))) if total > 0.0 else inf


def lognormal_interval(value: float, variation: float, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the interval of a positive quantity from an unbiased estimate of it and its scatter.

    Parameters
    ----------
    value : float [any]
        Above 0.
    variation : float [-]
        Coefficient of variation, itself known from about 1 / variation^2 ancestors.
    confidence : float [-]

    Returns
    -------
    low, high : float [any]

    Notes
    -----
    exp(ln p + s^2/2 -+ t s) with s^2 = ln(1 + variation^2): a lognormal estimate of mean p. Student's t with
    2 / variation^2 degrees of freedom, at least 3, since the variation is an estimate too. Derived here; the
    degrees of freedom were chosen so that repeated runs cover the truth as they should.
    """
    from scipy.special import stdtrit

    if isnan(variation) or variation == inf:
        return 0.0, inf
    spread = sqrt(log1p(variation**2))
    freedom = max(FREEDOM / max(variation**2, 1e-12), LEAST_FREEDOM)
    reach = float(stdtrit(freedom, 0.5 * (1.0 + confidence))) * spread
    middle = log(value) + 0.5 * spread**2
    return exp(middle - reach), exp(min(middle + reach, 700.0))


def au_beck_variation(inside: ArrayLike, samples: int) -> float:
    """Return the coefficient of variation of one level's share, from the correlation along its chains.

    Parameters
    ----------
    inside : (step, chain) bool
        Whether each sample lies within the next level.
    samples : int
        Of the level.

    Returns
    -------
    float [-]
        Not a number where none or all lie within.

    Notes
    -----
    delta^2 = (1 - p) / (p N) (1 + gamma), gamma = 2 sum_k (1 - k Nc / N) rho(k), rho the correlation of the
    indicators k steps apart, Nc the number of chains.

    References
    ----------
    S.-K. Au, J. L. Beck, "Estimation of small failure probabilities in high dimensions by subset
    simulation", Prob. Eng. Mech. 16 (2001) 263-277, equations 25-29 (numbers from memory).
    """
    hit = np.asarray(inside, dtype=np.float64)
    share = float(np.mean(hit))
    if share in (0.0, 1.0):
        return nan if share == 0.0 else 0.0
    steps = hit.shape[0]
    variance = share * (1.0 - share)
    lag = np.arange(1, steps)
    alike = np.array([np.mean(hit[k:] * hit[:-k]) - share**2 for k in lag]) / variance
    gamma = 2.0 * float(np.sum((1.0 - lag / steps) * alike))
    return sqrt(max((1.0 - share) / (share * samples) * (1.0 + gamma), 0.0))


def crude_estimate(values: ArrayLike) -> Estimate:
    """Return the probability of a broken limit from independent samples, with its exact interval.

    Parameters
    ----------
    values : (n,) float64 [any]
        Of the limit state; zero or less where it is broken.
    """
    seen = checked(values, np.size(values))
    broken = int(np.count_nonzero(seen <= 0.0))
    low, high = clopper_pearson(broken, seen.size)
    if broken == 0:
        return bound(high, seen.size, float(np.min(seen)))
    share = broken / seen.size
    return Estimate(share, (low, high), sqrt((1.0 - share) / broken), seen.size)


def checked(values: ArrayLike, size: int) -> Floats:
    """Return a limit state's values as an array.

    Raises
    ------
    InputError
        For another shape than (size,), or a value that is not a number.
    """
    told = np.asarray(values, dtype=np.float64)
    if told.shape != (size,):
        raise InputError(f"limit state: values of shape {told.shape}; must be ({size},), one for each point")
    lost = int(np.count_nonzero(np.isnan(told)))
    if lost:
        raise InputError(f"limit state: {lost} of {size} values are not numbers")
    return told
