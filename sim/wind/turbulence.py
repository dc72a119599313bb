"""What does the turbulent wind do at every point of a grid across the rotor, ten times a second?

Spectral factorisation: at each frequency the factor of the grid points' coherence matrix is multiplied by
complex normals; one inverse Fourier transform per point follows. Where even the closest pair of points has a
coherence below `sim.wind.factors.INDEPENDENT_BELOW` the points are taken as independent. Single precision.

Every loop of additions is our own and keeps its order, so that a box has the same bits on every worker, alone
or among many, whatever the number of BLAS threads.

References
----------
Veers, P. S., Three-dimensional wind simulation, SAND88-0152, 1988: the method.
IEC 61400-1:2005, annex B.2: spectrum and coherence.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sim.wind.factors import factors
from sim.wind.grid import BoxGrid
from sim.wind.spectra import SIGMA_FACTORS, kaimal_share_below


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
def _colour(normals: Any, packed: Any, group: Any, amplitudes: Any) -> None:
    """Turn normals (bin, point, 2) in place into Fourier coefficients."""
    n = normals.shape[1]
    real = np.empty(n, np.float32)
    imag = np.empty(n, np.float32)
    for k in range(group.shape[0]):
        lower = packed[group[k]]
        real[:] = np.float32(0.0)
        imag[:] = np.float32(0.0)
        start = 0
        for j in range(n):
            a, b = normals[k, j, 0], normals[k, j, 1]
            column, to_real, to_imag = lower[start : start + n - j], real[j:], imag[j:]
            for i in range(n - j):
                to_real[i] += a * column[i]
                to_imag[i] += b * column[i]
            start += n - j
        for i in range(n):
            normals[k, i, 0] = amplitudes[k] * real[i]
            normals[k, i, 1] = amplitudes[k] * imag[i]
    for k in range(group.shape[0], normals.shape[0]):
        for i in range(n):
            normals[k, i, 0] *= amplitudes[k]
            normals[k, i, 1] *= amplitudes[k]


def turbulence_box(
    key: tuple[int, int], speed: float, scale: float, grid: BoxGrid, component: int = 0
) -> NDArray[Any]:
    """Return one field of one component of turbulence.

    Parameters
    ----------
    key : two ints below 2**64
        Philox key: the wind's identity. One key, one field, whatever else is made before or after.
    speed : float [m/s]
        Mean wind at the hub.
    scale : float [m]
        Lambda1.
    grid : BoxGrid
    component : int
        0 longitudinal, 1 lateral, 2 vertical. Each needs a key of its own.

    Returns
    -------
    (step, z, y) float32 [-]
        One whole period, so that the first step follows the last. Of unit standard deviation (over seeds, not
        in each field), less the share above half the sampling rate: see `bin_amplitudes`.

    Notes
    -----
    Coefficient k: (steps / 2) amplitude (a + i b), a and b standard normals, inverse real transform. The
    period is 2 % longer than what the grid must cover, so the mean over that time is not exactly zero.
    """
    from scipy.fft import irfft

    count, points = grid.period_samples, grid.ny * grid.nz
    normals = np.empty((count // 2 + 1, points, 2), np.float32)
    generator = np.random.Generator(np.random.Philox(key=np.array(key, np.uint64)))
    inner = normals[1:-1]
    generator.standard_normal(dtype=np.float32, out=inner)
    normals[0] = normals[-1] = 0.0
    amplitudes = (0.5 * count * bin_amplitudes(speed, scale, grid, component)).astype(np.float32)
    made = factors(speed, scale, grid, component)
    _colour(inner, made.packed, made.group, amplitudes)
    spectrum = normals.view(np.complex64)[..., 0]
    field = np.asarray(irfft(spectrum, n=count, axis=0, overwrite_x=True, workers=1))
    return field.reshape(count, grid.nz, grid.ny)


def three_components(
    keys: Sequence[tuple[int, int]],
    speed: float,
    scale: float,
    grid: BoxGrid,
    out: NDArray[Any] | None = None,
) -> NDArray[Any]:
    """Return a field of all three components, the longitudinal one as `turbulence_box` gives it.

    Parameters
    ----------
    keys : three pairs of ints below 2**64
        Philox keys of the components.
    speed : float [m/s]
        Mean wind at the hub.
    scale : float [m]
        Lambda1.
    grid : BoxGrid
    out : (step, component, z, y) float32, optional
        Where the field is written; a new array unless given.

    Returns
    -------
    (step, component, z, y) float32 [-]
        In units of sigma1: standard deviations 1, 0.8 and 0.5, less the share above half the sampling rate,
        which is larger for the smaller scales (at 11.4 m/s and 10 Hz: 2.2 and 5.7 % of the variance).
    """
    field = np.empty((grid.period_samples, 3, grid.nz, grid.ny), np.float32) if out is None else out
    for component, (key, factor) in enumerate(zip(keys, SIGMA_FACTORS, strict=True)):
        one = turbulence_box(key, speed, scale, grid, component)
        np.multiply(one, np.float32(factor), out=field[:, component])
    return field
