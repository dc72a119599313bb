"""How do the points of a grid share their turbulence, frequency by frequency?

The coherence matrix of the grid points is factored where the closest pair is coherent at all, once for each
band of frequencies, and the factors are kept in the process for the next seed. Our own loops, not BLAS: the
bits of a factor do not depend on how many threads a worker has.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sim.wind.grid import BoxGrid
from sim.wind.spectra import coherence

INDEPENDENT_BELOW = 0.01
"""Coherence of the closest pair of points below which points are independent."""

GROUP_WIDTH = 0.04
"""Relative width of the bands of frequency that share a factor."""

CACHE_BYTES = 200_000_000
"""Bound of the factors kept per process."""


@njit(cache=True, nogil=True)
def _factor(matrix: Any, packed: Any) -> None:
    """Write the Cholesky factor of a symmetric matrix (point, point), packed by columns."""
    n = matrix.shape[0]
    total = np.empty(n, np.float32)
    start = 0
    for j in range(n):
        size = n - j
        for i in range(size):
            total[i] = matrix[j, j + i]
        place = j
        for k in range(j):
            column = packed[place : place + size]
            factor = column[0]
            for i in range(size):
                total[i] -= factor * column[i]
            place += n - k - 1
        scale = np.float32(1.0) / np.sqrt(total[0])
        for i in range(size):
            packed[start + i] = scale * total[i]
        start += size


@dataclass(frozen=True)
class Factors:
    """Cholesky factors of the coherence matrices of a grid's points.

    Parameters
    ----------
    packed : (group, point (point + 1) / 2) float32 [-]
        Lower triangles by columns.
    group : (bin,) int64
        Which factor a bin uses; bins beyond its length are independent from point to point.
    """

    packed: NDArray[Any]
    group: NDArray[Any]


_kept: OrderedDict[Any, Factors] = OrderedDict()


def factors(speed: float, scale: float, grid: BoxGrid, component: int = 0) -> Factors:
    """Return the factors for a mean wind [m/s], Lambda1 [m], grid and component; kept for the next seed.

    The last few speeds stay, up to ``CACHE_BYTES`` in all.

    Notes
    -----
    Neighbouring bins share a factor while their frequencies lie within ``GROUP_WIDTH`` of each other; it is
    made for the mean of their frequencies. Derived here: the coherence exp(-c f) is then off by at most
    1/e GROUP_WIDTH/2 = 0.7 % of one in a single bin, with opposite signs on both sides of the group.
    """
    key = (speed, scale, grid, component)
    if key in _kept:
        _kept.move_to_end(key)
        return _kept[key]
    _kept[key] = made = _make_factors(speed, scale, grid, component)
    while len(_kept) > 1 and sum(kept.packed.nbytes for kept in _kept.values()) > CACHE_BYTES:
        _kept.popitem(last=False)
    return made


def bands(bins: int) -> NDArray[Any]:
    """Return the band (bin,) int64 of each frequency 1, 2, ... ``bins`` in units of the lowest."""
    group = np.zeros(bins, np.int64)
    first = 1
    for k in range(2, bins + 1):
        new = k > first * (1.0 + GROUP_WIDTH)
        group[k - 1] = group[k - 2] + new
        first = k if new else first
    return group


def _make_factors(speed: float, scale: float, grid: BoxGrid, component: int) -> Factors:
    period = grid.period_samples * grid.step
    frequencies = np.arange(1, grid.period_samples // 2) / period
    nearest = coherence(frequencies, min(grid.dy, grid.dz), speed, scale, component)
    frequencies = frequencies[nearest > INDEPENDENT_BELOW]
    group = bands(len(frequencies))
    index = np.arange(grid.nz * grid.ny)
    z, y = index // grid.ny, index % grid.ny
    across, up = np.meshgrid(np.arange(grid.ny), np.arange(grid.nz))
    distances = np.hypot(across * grid.dy, up * grid.dz)
    place = abs(z[:, None] - z) * grid.ny + abs(y[:, None] - y)
    count = int(group[-1]) + 1 if len(group) else 0
    packed = np.empty((count, len(z) * (len(z) + 1) // 2), np.float32)
    for k in range(count):
        table = coherence(frequencies[group == k].mean(), distances, speed, scale, component)
        _factor(table.astype(np.float32).ravel()[place], packed[k])
    packed.flags.writeable = group.flags.writeable = False
    return Factors(packed, group)
