"""What does the turbulent wind do at every point of a grid across the rotor, ten times a second?

Spectral factorisation: at each frequency the coherence matrix of the grid points is factored and multiplied
by complex normals; one inverse Fourier transform per point follows. Where even the closest pair of points has
a coherence below ``INDEPENDENT_BELOW`` the points are taken as independent. Single precision.

Every loop of additions is our own and keeps its order, so that a box has the same bits on every worker, alone
or among many, whatever the number of BLAS threads.

References
----------
Veers, P. S., Three-dimensional wind simulation, SAND88-0152, 1988: the method.
IEC 61400-1:2005, annex B.2: spectrum and coherence.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sim.wind.spectra import coherence, kaimal_share_below

INDEPENDENT_BELOW = 0.01
"""Coherence of the closest pair of points below which points are independent."""

GROUP_WIDTH = 0.04
"""Relative width of the bands of frequency that share a factor."""

CACHE_BYTES = 200_000_000
"""Bound of the factors kept per process."""


@dataclass(frozen=True)
class BoxGrid:
    """Where and when a box holds wind: points across the wind, centred on the hub, and time.

    Parameters
    ----------
    width, height : float [m]
        Between the outermost points.
    duration : float [s]
        Time that must be covered.
    ny, nz : int
        Points, at least 2 each.
    step : float [s]
    """

    width: float
    height: float
    duration: float
    ny: int = 15
    nz: int = 15
    step: float = 0.1

    @property
    def dy(self) -> float:
        """Distance between points along y [m]."""
        return self.width / (self.ny - 1)

    @property
    def dz(self) -> float:
        """Distance between points along z [m]."""
        return self.height / (self.nz - 1)

    @property
    def samples(self) -> int:
        """Time steps that a box holds: enough to interpolate at ``duration`` itself."""
        return math.ceil(round(self.duration / self.step, 6)) + 2

    @property
    def period_samples(self) -> int:
        """Steps after which the field repeats itself: even, of factors 2, 3 and 5, 2 % beyond ``samples``."""
        length = 2 * math.ceil(0.51 * self.samples)
        while not _is_smooth(length):
            length += 2
        return length


def _is_smooth(number: int) -> bool:
    for factor in (2, 3, 5):
        while number % factor == 0:
            number //= factor
    return number == 1


def bin_amplitudes(speed: float, scale: float, grid: BoxGrid, component: int = 0) -> NDArray[Any]:
    """Return the standard deviation carried by each frequency, for a spectrum of unit variance.

    Parameters
    ----------
    speed : float [m/s]
        Mean wind at the hub.
    scale : float [m]
        Lambda1.
    grid : BoxGrid
    component : int
        0 longitudinal, 1 lateral, 2 vertical.

    Returns
    -------
    (bin,) float64 [-]
        Bin k - 1 belongs to frequency k / period, k = 1 to half the steps, the last excluded.

    Notes
    -----
    Each bin carries the integral of the spectrum over its own width. The first carries everything below it
    too (4 to 11 % of the variance, at 25 to 8 m/s and 11 minutes, would else be missing). All that is lost is
    what lies above half the sampling rate; at 10 Hz and Lambda1 = 42 m: 0.8 % of the variance at 8 m/s, 1.1 %
    at 11.4 m/s, 1.8 % at 25 m/s.
    """
    count = grid.period_samples
    edges = (np.arange(1, count // 2 + 1) - 0.5) / (count * grid.step)
    edges[0], edges[-1] = 0.0, 0.5 / grid.step
    return np.sqrt(np.diff(kaimal_share_below(edges, speed, scale, component)))


@njit(cache=True, nogil=True)
def _factor(matrix: Any, packed: Any) -> None:
    """Write the Cholesky factor of a symmetric matrix (point, point), packed by columns."""
    n = matrix.shape[0]
    total = np.empty(n, np.float32)
    start = 0
    for j in range(n):
        for i in range(j, n):
            total[i] = matrix[j, i]
        place = j
        for k in range(j):
            factor = packed[place]
            for i in range(j, n):
                total[i] -= factor * packed[place - j + i]
            place += n - k - 1
        scale = np.float32(1.0) / np.sqrt(total[j])
        for i in range(j, n):
            packed[start - j + i] = scale * total[i]
        start += n - j


@njit(cache=True, nogil=True)
def _colour(normals: Any, packed: Any, group: Any, amplitudes: Any) -> None:
    """Turn normals (bin, point, 2) in place into Fourier coefficients."""
    n = normals.shape[1]
    real = np.empty(n, np.float32)
    imag = np.empty(n, np.float32)
    for k in range(group.shape[0]):
        column = packed[group[k]]
        real[:] = np.float32(0.0)
        imag[:] = np.float32(0.0)
        start = 0
        for j in range(n):
            a, b = normals[k, j, 0], normals[k, j, 1]
            for i in range(j, n):
                real[i] += a * column[start - j + i]
                imag[i] += b * column[start - j + i]
            start += n - j
        for i in range(n):
            normals[k, i, 0] = amplitudes[k] * real[i]
            normals[k, i, 1] = amplitudes[k] * imag[i]
    for k in range(group.shape[0], normals.shape[0]):
        normals[k] *= amplitudes[k]


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


def factors(speed: float, scale: float, grid: BoxGrid) -> Factors:
    """Return the factors for a mean wind [m/s], Lambda1 [m] and grid, kept in the process for the next seed.

    The last few speeds stay, up to ``CACHE_BYTES`` in all.

    Notes
    -----
    Neighbouring bins share a factor while their frequencies lie within ``GROUP_WIDTH`` of each other; it is
    made for the mean of their frequencies. Derived here: the coherence exp(-c f) is then off by at most
    1/e GROUP_WIDTH/2 = 0.7 % of one in a single bin, with opposite signs on both sides of the group.
    """
    key = (speed, scale, grid)
    if key in _kept:
        _kept.move_to_end(key)
        return _kept[key]
    _kept[key] = made = _make_factors(speed, scale, grid)
    while len(_kept) > 1 and sum(kept.packed.nbytes for kept in _kept.values()) > CACHE_BYTES:
        _kept.popitem(last=False)
    return made


def _groups(bins: int) -> NDArray[Any]:
    """Return the group (bin,) of each frequency 1, 2, ... ``bins`` in units of the lowest."""
    group = np.zeros(bins, np.int64)
    first = 1
    for k in range(2, bins + 1):
        new = k > first * (1.0 + GROUP_WIDTH)
        group[k - 1] = group[k - 2] + new
        first = k if new else first
    return group


def _make_factors(speed: float, scale: float, grid: BoxGrid) -> Factors:
    period = grid.period_samples * grid.step
    frequencies = np.arange(1, grid.period_samples // 2) / period
    nearest = coherence(frequencies, min(grid.dy, grid.dz), speed, scale)
    frequencies = frequencies[nearest > INDEPENDENT_BELOW]
    group = _groups(len(frequencies))
    index = np.arange(grid.nz * grid.ny)
    z, y = index // grid.ny, index % grid.ny
    across, up = np.meshgrid(np.arange(grid.ny), np.arange(grid.nz))
    distances = np.hypot(across * grid.dy, up * grid.dz)
    place = abs(z[:, None] - z) * grid.ny + abs(y[:, None] - y)
    count = int(group[-1]) + 1 if len(group) else 0
    packed = np.empty((count, len(z) * (len(z) + 1) // 2), np.float32)
    for k in range(count):
        table = coherence(frequencies[group == k].mean(), distances, speed, scale).astype(np.float32)
        _factor(table.ravel()[place], packed[k])
    packed.flags.writeable = group.flags.writeable = False
    return Factors(packed, group)


def turbulence_box(key: tuple[int, int], speed: float, scale: float, grid: BoxGrid) -> NDArray[Any]:
    """Return one field of longitudinal turbulence.

    Parameters
    ----------
    key : two ints below 2**64
        Philox key: the wind's identity. One key, one field, whatever else is made before or after.
    speed : float [m/s]
        Mean wind at the hub.
    scale : float [m]
        Lambda1.
    grid : BoxGrid

    Returns
    -------
    (step, z, y) float32 [-]
        Of unit standard deviation (over seeds, not in each field), less the share above half the sampling
        rate: see `bin_amplitudes`.

    Notes
    -----
    Coefficient k: (steps / 2) amplitude (a + i b), a and b standard normals, inverse real transform. The
    field is periodic, its period 2 % longer than the box, so the box's own mean is not exactly zero.
    """
    from scipy.fft import irfft

    count, points = grid.period_samples, grid.ny * grid.nz
    normals = np.empty((count // 2 + 1, points, 2), np.float32)
    generator = np.random.Generator(np.random.Philox(key=np.array(key, np.uint64)))
    inner = normals[1:-1]
    generator.standard_normal(dtype=np.float32, out=inner)
    normals[0] = normals[-1] = 0.0
    amplitudes = (0.5 * count * bin_amplitudes(speed, scale, grid)).astype(np.float32)
    made = factors(speed, scale, grid)
    _colour(inner, made.packed, made.group, amplitudes)
    spectrum = normals.view(np.complex64)[..., 0]
    field = np.asarray(irfft(spectrum, n=count, axis=0, overwrite_x=True, workers=1))
    return field[: grid.samples].reshape(grid.samples, grid.nz, grid.ny)
