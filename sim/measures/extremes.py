"""How far does the blade bend once in fifty years, and do the seeds carry that claim?

Give deflections, or clearances with their sign turned: the functions look for the largest. No tail may be
fitted across the trigger of a logic, which bends it: fit beyond the knee (`sim.measures.peaks` with a
threshold there), or count and bound (`exceedance_bound`).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.levels import FIFTY_YEARS, ReturnLevel, block_exceedance, explain_width
from sim.measures.lifetime import HOURS_PER_YEAR
from sim.measures.statistics import CONFIDENCE, DRAWS, KEY, check_share, clopper_pearson

Floats = NDArray[np.float64]


def gumbel_variate(exceedance: ArrayLike) -> Floats:
    """Return the reduced variate -ln(-ln(1 - p)) of an exceedance probability p.

    Parameters
    ----------
    exceedance : (...) float64 [-]
        Each between 0 and 1.

    Returns
    -------
    (...) float64 [-]

    Raises
    ------
    InputError
        Where a probability is not between 0 and 1.
    """
    chance = np.asarray(exceedance, dtype=np.float64)
    for wrong in chance[~((chance > 0.0) & (chance < 1.0))].ravel()[:1]:
        check_share(float(wrong), "exceedance")
    return -np.log(-np.log1p(-chance))


def fit_gumbel(maxima: ArrayLike) -> tuple[Floats, Floats]:
    """Fit Gumbel's distribution of largest values by its first two L-moments.

    Parameters
    ----------
    maxima : (..., block) float64 [any]
        At least two blocks.

    Returns
    -------
    location, scale : (...) float64 [any]

    Notes
    -----
    scale = l2 / ln 2, location = l1 - 0.5772 scale. It moves with shift and scale of the data, which makes
    the intervals below exact.

    References
    ----------
    J. R. M. Hosking, "L-moments: analysis and estimation of distributions using linear combinations of order
    statistics", J. R. Stat. Soc. B 52 (1990) 105-124, table 2 (from memory).
    """
    ordered = np.sort(np.asarray(maxima, dtype=np.float64), axis=-1)
    size = ordered.shape[-1]
    mean = np.mean(ordered, axis=-1)
    rank = np.arange(size) / (size - 1.0)
    scale = (2.0 * np.mean(ordered * rank, axis=-1) - mean) / log(2.0)
    return mean - np.euler_gamma * scale, scale


def return_level(
    maxima: ArrayLike,
    exposure_s: float,
    return_period_s: float = FIFTY_YEARS,
    confidence: float = CONFIDENCE,
    seed: int = 0,
) -> ReturnLevel:
    """Return the level of the return period from the largest value of each of several blocks of one wind.

    Parameters
    ----------
    maxima : (block,) float64 [any]
        One block per seed (blocks must be independent); at least three.
    exposure_s : float [s]
        Length of a block, like 600.
    return_period_s : float [s]
    confidence : float [-]
    seed : int
        Of the random numbers.

    Returns
    -------
    ReturnLevel

    Raises
    ------
    InputError
        For fewer than three blocks, values not finite or all equal, a block not shorter than the period, or
        a confidence not between 0 and 1.

    Notes
    -----
    `long_term_level` of a single bin: exact coverage for a Gumbel parent, whatever the number of blocks. For
    a parent of another tail it is an approximation that more blocks do not cure: compare
    `sim.measures.peaks`.
    """
    return long_term_level([maxima], [HOURS_PER_YEAR], exposure_s, (return_period_s, confidence), seed)


def long_term_level(
    maxima: Sequence[ArrayLike],
    hours: ArrayLike,
    exposure_s: float,
    claim: tuple[float, float] = (FIFTY_YEARS, CONFIDENCE),
    seed: int = 0,
) -> ReturnLevel:
    """Return the level of the return period over all winds, from block maxima at each wind speed.

    Parameters
    ----------
    maxima : [bin] (block,) float64 [any]
        At least three blocks in each bin of wind speed.
    hours : (bin,) float64 [h]
        Hours per year that each bin stands for, at most a year in all.
    exposure_s : float [s]
        Length of a block.
    claim : return period [s], confidence [-]
    seed : int

    Returns
    -------
    ReturnLevel

    Raises
    ------
    InputError
        For fewer than three blocks in a bin, values not finite or all equal, hours beyond a year, a block not
        shorter than the period, or a confidence not between 0 and 1.

    Notes
    -----
    The x with sum_b (h_b / year) [1 - G_b(x)] = exposure / period, G_b Gumbel's distribution fitted in bin b.
    Interval: the same x for parameters drawn as scale' = s / s*, location' = m - m* scale', where (m, s) is
    the fit and (m*, s*) fits standard Gumbel samples of the same number. Derived here: (m - location) / scale
    and s / scale have a distribution that depends on the number of blocks alone, so that for one bin the
    interval has exactly the confidence stated.
    """
    period, confidence = claim
    check_share(confidence, "confidence")
    share = _shares(hours, len(maxima))
    target = block_exceedance(exposure_s, period)
    samples = [_blocks(values, index) for index, values in enumerate(maxima)]
    location, scale = (
        np.array(part) for part in zip(*(fit_gumbel(values) for values in samples), strict=True)
    )
    level = float(_solve(location[None, :], scale[None, :], share, target)[0])
    drawn_location, drawn_scale = np.empty((DRAWS, share.size)), np.empty((DRAWS, share.size))
    for index, values in enumerate(samples):
        bits = np.random.Philox(key=np.array([KEY, seed], dtype=np.uint64), counter=[0, 0, index, 1])
        standard = np.random.Generator(bits).gumbel(size=(DRAWS, values.size))
        star_location, star_scale = fit_gumbel(standard)
        drawn_scale[:, index] = scale[index] / star_scale
        drawn_location[:, index] = location[index] - star_location * drawn_scale[:, index]
    drawn = _solve(drawn_location, drawn_scale, share, target)
    low, high = np.quantile(drawn, [0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)])
    number = sum(values.size for values in samples)
    median = float(np.median(np.concatenate(samples)))
    warning = explain_width(level, 0.5 * float(high - low), median, number)
    return ReturnLevel(level, float(low), float(high), target, number, "block maxima, Gumbel", warning)


def convergence(
    maxima: ArrayLike, exposure_s: float, numbers: Sequence[int], return_period_s: float = FIFTY_YEARS
) -> list[ReturnLevel]:
    """Return the level against the number of seeds that were used, the first ones each time.

    Parameters
    ----------
    maxima : (block,) float64 [any]
    exposure_s : float [s]
    numbers : sequence of int
        Each from three to all.
    return_period_s : float [s]

    Returns
    -------
    list of ReturnLevel

    Raises
    ------
    InputError
        Where a number is below three or beyond the blocks that there are; or as `return_level`.
    """
    values = np.asarray(maxima, dtype=np.float64)
    if not all(3 <= number <= values.size for number in numbers):
        raise InputError(f"numbers: each must be 3 to the {values.size} blocks; a tail needs 3 seeds")
    return [return_level(values[:number], exposure_s, return_period_s) for number in numbers]


def exceedance_bound(maxima: ArrayLike, level: float, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact interval of the chance that one block exceeds a level, by counting alone.

    Parameters
    ----------
    maxima : (block,) float64 [any]
        One block per seed.
    level : float [any]
    confidence : float [-]

    Returns
    -------
    low, high : float [-]

    Raises
    ------
    InputError
        Where a value is not a number: it would count as below the level.
    """
    values = np.asarray(maxima, dtype=np.float64)
    if np.isnan(values).any() or np.isnan(level):
        raise InputError("maxima, level: must be numbers")
    return clopper_pearson(int(np.count_nonzero(values > level)), values.size, confidence)


def _blocks(values: ArrayLike, index: int) -> Floats:
    blocks = np.asarray(values, dtype=np.float64)
    if blocks.ndim != 1:
        raise InputError(f"maxima of bin {index}: have {blocks.ndim} dimensions; must have 1, one per seed")
    if blocks.size < 3:
        raise InputError(f"maxima of bin {index}: {blocks.size} blocks; a tail needs at least 3 seeds")
    if not np.all(np.isfinite(blocks)):
        raise InputError(f"maxima of bin {index}: must be finite")
    if np.ptp(blocks) == 0.0:
        raise InputError(f"maxima of bin {index}: all are {blocks[0]:g}; no scatter, no tail")
    return blocks


def _shares(hours: ArrayLike, bins: int) -> Floats:
    share = np.asarray(hours, dtype=np.float64) / HOURS_PER_YEAR
    if share.shape != (bins,) or np.any(share < 0.0) or not 0.0 < np.sum(share) <= 1.0 + 1e-9:
        raise InputError(
            f"hours: must be {bins} values >= 0, in all above 0 and at most {HOURS_PER_YEAR:g} h"
        )
    return share


def _solve(location: Floats, scale: Floats, share: Floats, target: float) -> Floats:
    """Solve sum_b share_b [1 - G_b(x)] = target for x, for many draws at once, by halving."""
    used = share > 0.0
    location, scale, share = location[:, used], scale[:, used], share[used]
    alone = location + scale * gumbel_variate(min(target / np.sum(share), 0.999))
    low, high = np.min(alone, axis=1), np.max(alone, axis=1)
    for _ in range(60):
        middle = 0.5 * (low + high)
        reduced = np.maximum((middle[:, None] - location) / scale, -700.0)
        exceeded = -np.expm1(-np.exp(-reduced))
        above = np.sum(share * exceeded, axis=1) > target
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return 0.5 * (low + high)
