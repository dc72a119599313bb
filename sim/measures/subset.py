"""How is a rare event reached level by level, each sample an offspring of one that came nearer?

Ask for points, evaluate the limit state there in any way, tell the values; the limit is broken where the
value is zero or less.
"""

from __future__ import annotations

from math import ceil, inf, nan, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.estimate import Population, au_beck_variation, checked
from sim.measures.jumps import sharpest
from sim.measures.rungs import next_level
from sim.measures.shells import SHARE, Levels

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

ACCEPTANCE = 0.44
"""Share of moves to be accepted; the length of the moves is steered towards it (Papaioannou et al. 2015)."""
SHORTEST = 0.1
"""Moves do not become shorter: levels that advance by crumbs would pretend progress where there is none."""
MIXED = 0.3
"""Share of the founders of a level that must differ: copies of a few would pass for many."""
PATIENCE = 6
"""How often a level is sampled anew where no chain came nearer, before a bound is given instead."""
SMALLEST = 1e-15
"""Levels end where the estimate falls below this."""
PURPOSE = 0x72617265  # "rare": keeps these random numbers apart


class SubsetSimulation(Levels):
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
    Beside the points: ``parents`` tells from which evaluation each asked point moves (-1: from none), and
    ``length`` by how much, for a caller who keeps further normals of a sample and moves them alike;
    ``cutoff`` is the value beyond which no sample will found the next level.

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
        super().__init__()
        self.levels: list[float] = []
        self._reached = 1.0  #: probability of the present level
        self._changes: list[Floats] = []
        self.length, self._round, self._calls, self._idle = 0.6, 0, 0, 0
        self._asked = self._draw().standard_normal((self.size, self.dimension))
        self.parents = np.full(self.size, -1)
        self._empty()

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
        self._count, self.cutoff = 0, inf
        self._changes = []

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
        (self._propose if self._count < self.size else self._close)()

    def _add(self, points: Floats, values: Floats, families: Integers, origins: Integers) -> None:
        self._points.append(points)
        self._values.append(values)
        self._families.append(families)
        self._origins.append(origins)
        self._count += len(values)
        best = np.concatenate(self._values) if self._count > self.wanted else None
        self.cutoff = inf if best is None else float(np.partition(best, self.wanted)[self.wanted])

    def _move(self, told: Floats, number: Integers) -> None:
        """Let the heads of the chains move where the new point is within the level."""
        moved = np.flatnonzero(told <= self.levels[-1])
        points, values, families, origins = self._heads
        with np.errstate(invalid="ignore"):  # a limit state may be infinite where nothing can happen
            self._changes.append((told - values[: told.size]) / self.length)
        points[moved], values[moved], origins[moved] = self._asked[moved], told[moved], number[moved]
        n = told.size
        self._add(points[:n].copy(), values[:n].copy(), families[:n], origins[:n].copy())
        self._round += 1
        nudge = (moved.size / n - ACCEPTANCE) / sqrt(self._round)
        self.length = min(max(self.length * float(np.exp(nudge)), SHORTEST), 1.0)

    def _propose(self) -> None:
        heads = self._heads[0][: self.size - self._count]
        self.parents = self._heads[3][: len(heads)].copy()
        fresh = self._draw().standard_normal(heads.shape)
        self._asked = sqrt(1.0 - self.length**2) * heads + self.length * fresh

    @property
    def heads(self) -> Integers:
        """Numbers of the evaluations that the next points may move from."""
        return self._heads[3] if self.levels else np.empty(0, np.int64)

    @property
    def wanted(self) -> int:
        """Samples that found the next level."""
        return ceil(SHARE * self.size)

    def _close(self) -> None:
        """End a level: with an estimate, with a bound, or by founding the next."""
        values = np.concatenate(self._values)
        families, origins = np.concatenate(self._families), np.concatenate(self._origins)
        within = self.levels[-1] if self.levels else inf
        self.populations.append(Population(values, families, origins, self._reached, within))
        self.sharpest.append(sharpest(np.concatenate(self._changes or [np.empty(0)])))
        level = max(next_level(values, self.wanted), 0.0)
        inside = values <= level
        share = float(np.mean(inside))
        self._terms.append(self._term(level, share))
        distinct = np.unique(origins[inside]).size
        is_stuck = share == 1.0 or (len(self.levels) > 0 and distinct < MIXED * self.wanted)
        self._idle = self._idle + 1 if is_stuck else 0
        has_lost_patience = is_stuck and (not self.levels or self._idle > PATIENCE)
        if level == 0.0 or has_lost_patience or self._reached * share < self.smallest:
            self.done = True
            self._asked = np.empty((0, self.dimension))
            return
        heads = self._heads if is_stuck else self._founders(values, families, origins, inside)
        if not is_stuck:
            self._reached *= share
            self.levels.append(level)
        self._heads = heads
        self._empty()
        self._round = 0
        self._add(heads[0].copy(), heads[1].copy(), heads[2].copy(), heads[3].copy())
        self._propose()

    def _founders(self, values: Floats, families: Integers, origins: Integers, inside: Any) -> Any:
        """Return the heads of the next level, in random order; a stuck one goes on from its own."""
        rows = self._draw().permutation(np.flatnonzero(inside))
        return np.concatenate(self._points)[rows], values[rows], families[rows], origins[rows]

    def _term(self, level: float, share: float) -> float:
        """Return the squared variation of this level's share by the formula of Au and Beck."""
        if len(self._values) < 2:
            return (1.0 - share) / (share * self.size) if share else nan
        chains = min(len(part) for part in self._values)
        return au_beck_variation(np.array([part[:chains] <= level for part in self._values]), self.size) ** 2
