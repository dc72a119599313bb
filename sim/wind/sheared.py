"""What do all three components of the wind do across the rotor, when the shear has stretched the eddies?

A box of the sheared tensor by Fourier transform. The waves that the grid resolves, and those that fold
onto them, follow the tensor itself; what lies beyond is spread evenly over them, and above
``INDEPENDENT_ABOVE`` the points are independent. So each point has the tensor's own spectra and covariance
of u and w, whatever the grid.

References
----------
Mann, J., Wind field simulation, Prob. Eng. Mech. 13 (1998) 269-282: the method, with the tensor averaged over
cells of wave numbers. Folding, and the even remainder, are chosen here, because the rotor is read at points
and not at averages over the space between them.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sim.wind.factors import bands
from sim.wind.grid import BoxGrid
from sim.wind.tensor import (
    ISOTROPIC_SIGMA_FACTOR,
    LENGTH_FACTOR,
    lifetimes,
    point_spectrum,
    tensor_at,
)

INDEPENDENT_ABOVE = 4.0
"""Wave number along the wind times the distance of the closest points, above which points are independent."""

PERIODS = 3
"""Period across the wind over the width of the grid."""

FOLDS = 2
"""How many times the resolved range is folded in on either side."""

_CHUNK = 64
_CROWD = 24


@njit(cache=True, nogil=True)
def _samples(number: int, step: float, place: Any, weight: Any) -> int:
    """Write where a cell of width ``step``, ``number`` steps from 0, is sampled; return how many samples.

    The tensor peaks sharply where a wave number passes zero: there the samples crowd together (cube of a
    uniform grid), in the next cells four are enough, elsewhere one.
    """
    count = _CROWD if number == 0 else 4 if abs(number) <= 3 else 1
    for i in range(count):
        at = (2.0 * i + 1.0) / count - 1.0
        if number == 0:
            place[i] = 0.5 * step * at**3
            weight[i] = 3.0 * at * at * count / (count - 1.0 / count) / count
        else:
            place[i] = step * (number + 0.5 * at)
            weight[i] = 1.0 / count
    return count


@njit(cache=True, nogil=True)
def _cell(k1: float, numbers: Any, steps: Any, beta_table: Any, total: Any) -> None:
    """Add the integral of the tensor over one cell of k2, k3 to ``total`` (6,)."""
    place2, weight2 = np.empty(_CROWD), np.empty(_CROWD)
    place3, weight3 = np.empty(_CROWD), np.empty(_CROWD)
    count2 = _samples(numbers[0], steps[0], place2, weight2)
    count3 = _samples(numbers[1], steps[1], place3, weight3)
    wave = np.empty(6)
    for i in range(count2):
        for j in range(count3):
            # The wind carries the waves past: time runs against x, so k2 and k3 change sign.
            tensor_at(k1, -place2[i], -place3[j], beta_table, wave)
            share = steps[0] * steps[1] * weight2[i] * weight3[j]
            for c in range(6):
                total[c] += share * wave[c]


@njit(cache=True, nogil=True)
def _fold(k1: float, steps: Any, beta_table: Any, out: Any) -> None:
    """Write the tensor (n3, n2, 6) seen by a grid, per k1: folded, integrated over k2 and k3."""
    n3, n2 = out.shape[0], out.shape[1]
    for m3 in range(n3):
        for m2 in range(n2 // 2 + 1):
            total = np.zeros(6)
            for turn3 in range(-FOLDS, FOLDS + 1):
                for turn2 in range(-FOLDS, FOLDS + 1):
                    number2 = (m2 + n2 // 2) % n2 - n2 // 2 + turn2 * n2
                    number3 = (m3 + n3 // 2) % n3 - n3 // 2 + turn3 * n3
                    _cell(k1, (number2, number3), steps, beta_table, total)
            mirror = (n2 - m2) % n2
            for c in range(6):
                out[m3, m2, c] = total[c]
                if mirror != m2:
                    out[m3, mirror, c] = -total[c] if c == 3 or c == 5 else total[c]


@njit(cache=True, nogil=True)
def _factor_waves(tensor: Any, out: Any) -> None:
    """Write the lower Cholesky factors (n3, n2, 6) of many tensors: 00, 10, 11, 20, 21, 22."""
    for m3 in range(tensor.shape[0]):
        for m2 in range(tensor.shape[1]):
            t = tensor[m3, m2]
            tiny = 1e-9 * (t[0] + t[1] + t[2]) + 1e-300
            a = np.sqrt(max(t[0], tiny))
            b, c = t[3] / a, t[4] / a
            d = np.sqrt(max(t[1] - b * b, tiny))
            e = (t[5] - b * c) / d
            out[m3, m2, 0] = a
            out[m3, m2, 1] = b
            out[m3, m2, 2] = d
            out[m3, m2, 3] = c
            out[m3, m2, 4] = e
            out[m3, m2, 5] = np.sqrt(max(t[2] - c * c - e * e, 0.0))


@njit(cache=True, nogil=True)
def _colour(normals: Any, lower: Any, band: Any, amplitudes: Any, out: Any) -> None:
    """Turn normals (bin, ..., 3, 2) into coefficients ``out`` (bin, 3, ..., 2)."""
    for k in range(len(band)):
        for m3 in range(normals.shape[1]):
            for m2 in range(normals.shape[2]):
                f = lower[band[k], m3, m2]
                for part in range(2):
                    u = normals[k, m3, m2, 0, part]
                    v = normals[k, m3, m2, 1, part]
                    w = normals[k, m3, m2, 2, part]
                    out[k, 0, m3, m2, part] = amplitudes[0, k] * (f[0] * u)
                    out[k, 1, m3, m2, part] = amplitudes[1, k] * (f[1] * u + f[2] * v)
                    out[k, 2, m3, m2, part] = amplitudes[2, k] * (f[3] * u + f[4] * v + f[5] * w)


def _even_size(points: int) -> int:
    """Return the points of a period: a multiple of 8 of at least ``PERIODS`` widths."""
    return 8 * -(-PERIODS * (points - 1) // 8)


def _complete(tensor: NDArray[Any], target: NDArray[Any]) -> None:
    """Complete a folded tensor (n3, n2, 6) to the point spectra ``target`` (uu, vv, ww, uw), in place.

    What is missing is spread evenly; what is too much is scaled off (it is below 1 %). Then each component is
    scaled to a sum of 1.
    """
    cells = tensor.shape[0] * tensor.shape[1]
    missing = target - tensor.sum(axis=(0, 1))[[0, 1, 2, 4]]
    even = np.maximum(missing[:3], 0.0)
    limit = 0.95 * np.sqrt(even[0] * even[2])
    tensor[..., :3] += even / cells
    tensor[..., 4] += np.clip(missing[3], -limit, limit) / cells
    size = np.sqrt(tensor[..., :3].sum(axis=(0, 1)))
    tensor /= size[[0, 1, 2, 0, 0, 1]] * size[[0, 1, 2, 1, 2, 2]]


@lru_cache(maxsize=8)
def wave_factors(speed: float, scale: float, grid: BoxGrid) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return the factors (band, k3, k2, 6) float32 of the waves across the wind, and each bin's band (bin,).

    Bins beyond the length of the second array are independent from point to point.
    """
    length = LENGTH_FACTOR * scale
    first = 2.0 * np.pi * length / (speed * grid.period_samples * grid.step)
    count = int(INDEPENDENT_ABOVE * length / min(grid.dy, grid.dz) / first)
    band = bands(min(count, grid.period_samples // 2 - 1))
    n3, n2 = _even_size(grid.nz), _even_size(grid.ny)
    steps = 2.0 * np.pi * length / np.array([n2 * grid.dy, n3 * grid.dz])
    factors = np.empty((int(band[-1]) + 1 if len(band) else 0, n3, n2, 6), np.float32)
    tensor = np.empty((n3, n2, 6))
    for place in range(len(factors)):
        k1 = first * (1.0 + np.flatnonzero(band == place).mean())
        _fold(k1, steps, lifetimes(), tensor)
        _complete(tensor, point_spectrum(np.array([k1]))[:, 0])
        _factor_waves(tensor, factors[place])
    factors.flags.writeable = band.flags.writeable = False
    return factors, band


def bin_variances(speed: float, scale: float, grid: BoxGrid) -> NDArray[Any]:
    """Return what each frequency carries: (4, bin) [-] of uu, vv, ww, uw over sigma1 squared.

    Notes
    -----
    The first bin carries all that lies below it as well, as in `sim.wind.turbulence.bin_amplitudes`.
    """
    count = grid.period_samples
    first = 2.0 * np.pi * LENGTH_FACTOR * scale / (speed * count * grid.step)
    spectra = point_spectrum(first * np.arange(1, count // 2))
    spectra[:, 0] += 0.5 * point_spectrum(np.array([0.25 * first]))[:, 0]
    return 2.0 * first * ISOTROPIC_SIGMA_FACTOR**2 * spectra


def tensor_box(key: tuple[int, int], speed: float, scale: float, grid: BoxGrid) -> NDArray[Any]:
    """Return one field of all three components.

    Parameters
    ----------
    key : two ints below 2**64
        Philox key: one key, one field.
    speed : float [m/s]
        Mean wind at the hub; the field is carried past the rotor with it, unchanged.
    scale : float [m]
        Lambda1.
    grid : BoxGrid

    Returns
    -------
    (step, component, z, y) float32 [-]
        One whole period, in units of sigma1. The standard's parameters give variances of 0.98, 0.50, 0.26 and
        a covariance of u and w of -0.23, less what lies above half the sampling rate.

    Notes
    -----
    Coefficient of u_i: steps sqrt(variance / 2) L_ij n_j with n complex, of unit variance in all. The shear
    leans the eddies: what happens high up comes first. Averaging over cells of wave numbers weakens the
    coherence of two points d apart by sin(x)/x with x = pi d / period: 3 % at half the rotor's diameter, 12 %
    from edge to edge.
    """
    from scipy.fft import irfft

    count = grid.period_samples
    generator = np.random.Generator(np.random.Philox(key=np.array(key, np.uint64)))
    variances = bin_variances(speed, scale, grid)
    amplitudes = (0.5 * count * np.sqrt(variances[:3])).astype(np.float32)
    factors, band = wave_factors(speed, scale, grid)
    low = len(band)
    spectrum = np.zeros((count // 2 + 1, 3, grid.nz, grid.ny, 2), np.float32)
    for start in range(0, low, _CHUNK):
        part = slice(start, min(start + _CHUNK, low))
        waves = _waves(generator, factors, band[part], amplitudes[:, part])
        spectrum[1 + start : 1 + part.stop] = waves[:, :, : grid.nz, : grid.ny]
    _fill_independent(generator, spectrum[1 + low : -1], amplitudes[:, low:], variances[:, low:])
    coefficients = spectrum.view(np.complex64)[..., 0]
    field = irfft(coefficients, n=count, axis=0, overwrite_x=True, workers=1)
    return np.asarray(field)


def _waves(
    generator: np.random.Generator, factors: NDArray[Any], band: NDArray[Any], amplitudes: NDArray[Any]
) -> NDArray[Any]:
    """Return coefficients (bin, component, z, y, 2) on the whole period across the wind."""
    from scipy.fft import ifft2

    n3, n2 = factors.shape[1:3]
    normals = generator.standard_normal((len(band), n3, n2, 3, 2), np.float32)
    waves = np.empty((len(band), 3, n3, n2, 2), np.float32)
    _colour(normals, factors, band, amplitudes, waves)
    plane = ifft2(waves.view(np.complex64)[..., 0], overwrite_x=True, workers=1, norm="forward")
    return np.asarray(plane).view(np.float32).reshape(waves.shape)


def _fill_independent(
    generator: np.random.Generator, out: NDArray[Any], amplitudes: NDArray[Any], variances: NDArray[Any]
) -> None:
    """Write coefficients (bin, component, z, y, 2) that are independent from point to point."""
    out[...] = generator.standard_normal(out.shape, np.float32)
    common = (variances[3] / np.sqrt(variances[0] * variances[2])).astype(np.float32)[:, None, None, None]
    out[:, 2] = common * out[:, 0] + np.sqrt(1.0 - common**2) * out[:, 2]
    out *= amplitudes.T[:, :, None, None, None]
