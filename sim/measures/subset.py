"""How is a rare event reached level by level, each sample an offspring of one that came nearer?

Ask for points, evaluate the limit state there in any way, tell the values; the limit is broken where the
value is zero or less.
"""

from __future__ import annotations

from math import ceil, nan, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.estimate import Estimate, au_beck_variation, bound, family_variation, lognormal_interval
from sim.measures.statistics import CONFIDENCE, clopper_pearson

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

SHARE = 0.1
"""Share of a level's samples that found the next (Au & Beck 2001; measured here: the cheapest of 0.1-0.5)."""
ACCEPTANCE = 0.44
"""Share of moves to be accepted; the length of the moves is steered towards it (Papaioannou et al. 2015)."""
SMALLEST = 1e-15
"""Levels end where the estimate falls below this."""
PURPOSE = 0x72617265  # "rare": keeps these random numbers apart


class SubsetSimulation:
    """Subset simulation in standard-normal space, ask and tell.

    Parameters
    ----------
    dimension : int
        Independent standard normals.
    seed : int
    samples_per_level : int
        At least 20.
    smallest : float [-]
        Where the estimate falls below this without a broken limit, a bound is given instead.

    Raises
    ------
    InputError
        For a dimension below 1 or fewer than 20 samples.

    Notes
    -----
    The first level is crude. Each further level starts from the tenth of samples with the smallest values,
    and chains grow from them by conditional sampling: u' = sqrt(1 - s^2) u + s w with w standard normal, kept
    where its value is within the level. The length s is steered by the share of moves that are kept.

    References
    ----------
    S.-K. Au, J. L. Beck, "Estimation of small failure probabilities in high dimensions by subset
    simulation", Prob. Eng. Mech. 16 (2001) 263-277. I. Papaioannou, W. Betz, K. Zwirglmaier, D. Straub,
    "MCMC algorithms for subset simulation", Prob. Eng. Mech. 41 (2015) 89-103 (from memory).
    """

    def __init__(
        self, dimension: int, *, seed: int, samples_per_level: int = 1000, smallest: float = SMALLEST
    ) -> None:
        if int(dimension) != dimension or dimension < 1:
            raise InputError(f"dimension = {dimension}; must be a whole number of at least 1")
        if int(samples_per_level) != samples_per_level or samples_per_level < 20:
            raise InputError(f"samples_per_level = {samples_per_level}; must be a whole number from 20")
        if not 0.0 < smallest < 1.0:
            raise InputError(f"smallest = {smallest}; must lie between 0 and 1")
        self.dimension, self.seed, self.size = int(dimension), int(seed), int(samples_per_level)
        self.smallest = smallest
        self.levels: list[float] = []
        self.evaluations = 0
        self.done = False
        self._reached = 1.0  #: probability of the present level
        self._terms: list[float] = []  #: squared variation of each level by the formula of Au and Beck
        self._length, self._round, self._calls = 0.6, 0, 0
        self._asked = self._first()
        self._empty()

    def _first(self) -> Floats:
        return self._draw().standard_normal((self.size, self.dimension))

    def _draw(self) -> np.random.Generator:
        """Return the random numbers of the next call: keyed by seed and number of the call."""
        self._calls += 1
        key = np.array([PURPOSE, self.seed & (2**64 - 1)], dtype=np.uint64)
        return np.random.Generator(np.random.Philox(key=key, counter=[0, 0, self._calls, 0]))

    def _empty(self) -> None:
        self._points: list[Floats] = []
        self._values: list[Floats] = []
        self._families: list[Integers] = []
        self._origins: list[Integers] = []
        self._count = 0

    def ask(self) -> Floats:
        """Return the points at which the limit state is to be evaluated next: (n, dimension) float64."""
        return self._asked.copy()

    def tell(self, values: ArrayLike) -> None:
        """Take the values of the limit state at the points that were asked for.

        Parameters
        ----------
        values : (n,) float64 [any]
            Zero or less where the limit is broken.

        Raises
        ------
        InputError
            For another number of values, or one that is not a number.
        """
        told = checked(values, len(self._asked))
        number = np.arange(self.evaluations, self.evaluations + told.size)
        self.evaluations += told.size
        if not self.levels:
            self._add(self._asked, told, number, number)
        else:
            self._move(told, number)
        if self._count < self.size:
            self._propose()
            return
        self._close()

    def _add(self, points: Floats, values: Floats, families: Integers, origins: Integers) -> None:
        self._points.append(points)
        self._values.append(values)
        self._families.append(families)
        self._origins.append(origins)
        self._count += len(values)

    def _move(self, told: Floats, number: Integers) -> None:
        """Let the heads of the chains move where the new point is within the level."""
        moved = np.flatnonzero(told <= self.levels[-1])
        points, values, families, origins = self._heads
        points[moved], values[moved], origins[moved] = self._asked[moved], told[moved], number[moved]
        n = told.size
        self._add(points[:n].copy(), values[:n].copy(), families[:n], origins[:n].copy())
        self._round += 1
        nudge = (moved.size / n - ACCEPTANCE) / sqrt(self._round)
        self._length = min(self._length * float(np.exp(nudge)), 1.0)

    def _propose(self) -> None:
        heads = self._heads[0][: self.size - self._count]
        fresh = self._draw().standard_normal(heads.shape)
        self._asked = sqrt(1.0 - self._length**2) * heads + self._length * fresh

    def _close(self) -> None:
        """End a level: with an estimate, with a bound, or by founding the next."""
        values = np.concatenate(self._values)
        self.families, self.origins = np.concatenate(self._families), np.concatenate(self._origins)
        self.values = values
        wanted = ceil(SHARE * self.size)
        level = max(float(np.partition(values, wanted - 1)[wanted - 1]), 0.0)
        inside = values <= level
        share = float(np.mean(inside))
        self._terms.append(self._term(level, share))
        if level == 0.0 or share == 1.0 or self._reached * share < self.smallest:
            self.done = True
            self._asked = np.empty((0, self.dimension))
            return
        self._reached *= share
        self.levels.append(level)
        rows = np.flatnonzero(inside)
        rows = rows[self._draw().permutation(rows.size)]
        points = np.concatenate(self._points)
        heads = points[rows], values[rows], self.families[rows], self.origins[rows]
        self._heads = heads
        self._empty()
        self._round = 0
        self._add(heads[0].copy(), heads[1].copy(), heads[2].copy(), heads[3].copy())
        self._propose()

    def _term(self, level: float, share: float) -> float:
        """Return the squared variation of this level's share by the formula of Au and Beck."""
        if len(self._values) < 2:
            return (1.0 - share) / (share * self.size) if share else nan
        chains = min(len(part) for part in self._values)
        return au_beck_variation(np.array([part[:chains] <= level for part in self._values]), self.size) ** 2

    @property
    def formula_variation(self) -> float:
        """The estimate's coefficient of variation after Au & Beck, levels taken as independent."""
        return sqrt(sum(self._terms))

    def expect(
        self, weights: ArrayLike, confidence: float = CONFIDENCE
    ) -> tuple[float, tuple[float, float], float]:
        """Return the expectation of a quantity that is zero unless the limit is broken.

        Parameters
        ----------
        weights : (particle,) float64 [any]
            Of the last level's particles (evaluation numbers: ``origins``), not negative.

        Returns
        -------
        value : float, interval : (low, high), coefficient of variation : float
        """
        counted = np.where(self.values <= 0.0, np.asarray(weights, dtype=np.float64), 0.0)
        value = self._reached * float(np.mean(counted))
        variation = family_variation(self.families, counted)
        ends = lognormal_interval(value, variation, confidence) if value > 0.0 else (0.0, nan)
        return value, ends, variation

    def result(self) -> Estimate:
        """Return the estimate, or the bound where no sample reached the limit.

        Raises
        ------
        InputError
            Before all values were told.
        """
        if not self.done:
            raise InputError("subset simulation: not all values were told; ask and tell until done")
        if not np.any(self.values <= 0.0):
            return self._bound()
        if not self.levels:
            return crude_estimate(self.values)
        value, (low, high), variation = self.expect(np.ones(self.size))
        return Estimate(value, (low, min(high, 1.0)), variation, self.evaluations)

    def _bound(self) -> Estimate:
        """Bound the probability by that of the last level times what its independent ancestors can hide."""
        variation = family_variation(self.families, np.ones(self.size))
        hidden = 1.0 - (0.5 * (1.0 - CONFIDENCE)) ** (variation**2)
        outer = lognormal_interval(self._reached, variation)[1] if self.levels else 1.0
        return bound(outer * hidden, self.evaluations, float(np.min(self.values)))


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
