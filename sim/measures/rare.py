"""How probable is an event that plain sampling would hardly ever meet?

Estimators in standard-normal space. A limit state g(u) takes many points u (n, dimension) of independent
standard normals at once and returns n values; the limit is broken where g <= 0.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.measures.estimate import Estimate, checked, crude_estimate
from sim.measures.subset import PURPOSE, SMALLEST, SubsetSimulation

__all__ = [
    "CrudeSampling",
    "Estimate",
    "Sampler",
    "SubsetSimulation",
    "crude_sampling",
    "drive",
    "subset_simulation",
]

Floats = NDArray[np.float64]
LimitState = Callable[[Floats], Any]


class Sampler(Protocol):
    """What asks for points and is told their values."""

    done: bool

    def ask(self) -> Floats:
        """Return points (n, dimension)."""
        ...

    def tell(self, values: Any) -> None:
        """Take the values at the points."""
        ...

    def result(self) -> Estimate:
        """Return the estimate."""
        ...


class CrudeSampling:
    """Independent samples, in blocks.

    Parameters
    ----------
    dimension : int
    seed : int
    samples : int
        In all.
    block : int
        Points that are asked for at once; it changes nothing in the result.
    """

    def __init__(self, dimension: int, *, seed: int, samples: int, block: int = 10_000) -> None:
        for name, value in (("dimension", dimension), ("samples", samples), ("block", block)):
            if int(value) != value or value < 1:
                raise InputError(f"{name} = {value}; must be a whole number of at least 1")
        key = np.array([PURPOSE + 1, seed & (2**64 - 1)], dtype=np.uint64)
        self._generator = np.random.Generator(np.random.Philox(key=key))
        self._left, self._block, self.dimension = int(samples), int(block), int(dimension)
        self._values: list[Floats] = []
        self._next()

    def _next(self) -> None:
        count = min(self._block, self._left)
        self._left -= count
        self._asked = self._generator.standard_normal((count, self.dimension))
        self.done = count == 0

    def ask(self) -> Floats:
        """Return the next points."""
        return self._asked.copy()

    def tell(self, values: Any) -> None:
        """Take the values at the points that were asked for."""
        self._values.append(checked(values, len(self._asked)))
        self._next()

    def result(self) -> Estimate:
        """Return the share of broken limits with its exact interval (Clopper & Pearson)."""
        if not self._values:
            raise InputError("crude sampling: no value was told yet")
        return crude_estimate(np.concatenate(self._values))


def drive(sampler: Sampler, limit_state: LimitState) -> Estimate:
    """Ask, evaluate and tell until a sampler has enough.

    Parameters
    ----------
    sampler : Sampler
    limit_state : (n, dimension) float64 -> (n,) float64 [any]

    Raises
    ------
    InputError
        Where the limit state returns another shape, or what is not a number.
    """
    while not sampler.done:
        sampler.tell(limit_state(sampler.ask()))
    return sampler.result()


def subset_simulation(
    limit_state: LimitState,
    dimension: int,
    *,
    seed: int,
    samples_per_level: int = 1000,
    smallest: float = SMALLEST,
) -> Estimate:
    """Return the probability that a limit state is broken, by subset simulation.

    Parameters
    ----------
    limit_state : (n, dimension) float64 -> (n,) float64 [any]
        Of independent standard normals; broken where zero or less.
    dimension : int
    seed : int
        The same seed gives the same result.
    samples_per_level : int
    smallest : float [-]
        Below this a bound is given.

    Returns
    -------
    Estimate
        With ``probability``, ``interval`` (95 %), ``coefficient_of_variation``, ``evaluations``, a
        ``message`` where no sample reached the limit, and a ``warning`` where the limit state jumps.

    Raises
    ------
    InputError
        For a dimension or number of samples out of range, or a limit state of wrong shape or without numbers.

    Notes
    -----
    The interval holds the truth in 93 to 98 of 100 runs, with 1000 samples a level and with 100 (planes in 2
    to 1000 dimensions, 1e-3 to 1e-9; spheres; several regions); the estimate is without bias within what
    repeated runs can tell. A limit state that jumps between near samples is found out in most runs and said
    in ``warning``: there the interval held in 75 to 90 of 100 (a gate behind which the region opens).

    One run finds separate regions as far as its samples spread over them from level to level. A region that
    shows only close to it, behind another that shows early, can be missed: sample by event then, and add
    (`sim.measures.strata`).

    Examples
    --------
    >>> found = subset_simulation(lambda u: 4.0 - u[:, 0], 2, seed=1)
    >>> found.interval[0] < 3.167e-5 < found.interval[1]
    True
    """
    sampler = SubsetSimulation(dimension, seed=seed, samples_per_level=samples_per_level, smallest=smallest)
    return drive(sampler, limit_state)


def crude_sampling(limit_state: LimitState, dimension: int, *, seed: int, samples: int) -> Estimate:
    """Return the probability that a limit state is broken, by plain sampling.

    Parameters
    ----------
    limit_state : (n, dimension) float64 -> (n,) float64 [any]
    dimension : int
    seed : int
    samples : int

    Returns
    -------
    Estimate
    """
    return drive(CrudeSampling(dimension, seed=seed, samples=samples), limit_state)
