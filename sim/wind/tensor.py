"""How strong is each wave of turbulence that a steady shear has stretched, and how do its components relate?

Lengths are over the tensor's length l, variances over that of the unsheared turbulence; axes 0 downwind, 1 to
the left looking downwind, 2 up. Wave numbers are those of the moment, in the frame carried by the wind.

References
----------
Mann, J., The spatial structure of neutral atmospheric surface-layer turbulence, J. Fluid Mech. 273 (1994)
141-168, equations 2.16 and 3.6 to 3.23. IEC 61400-1:2005, annex B.1 (parameters, from memory).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

SHEAR_PARAMETER = 3.9
"""Gamma of the standard."""

LENGTH_FACTOR = 0.8
"""l / Lambda1."""

ISOTROPIC_SIGMA_FACTOR = 0.55
"""Standard deviation of the unsheared turbulence over sigma1."""

ENERGY_FACTOR = 1.4527621122
"""Makes the energy spectrum k^4 / (1 + k^2)^(17/6) hold 3/2: three components of unit variance.
1.5 / (B(5/2, 1/3) / 2)."""

_LOG_LOW, _LOG_HIGH, _LOG_STEP = -12.0, 12.0, 0.02


@lru_cache(maxsize=4)
def lifetimes(gamma: float = SHEAR_PARAMETER) -> NDArray[Any]:
    """Return the table of eddy lifetimes that `tensor_at` reads: log beta over a uniform grid of log k.

    Notes
    -----
    beta(k) = gamma k^(-2/3) / sqrt(2F1(1/3, 17/6; 4/3; -1/k^2)), the total shear that an eddy has seen. The
    table is read linearly, to a relative error below 2e-5, from k = e^-12 to e^12, and held outside.
    """
    from scipy.special import hyp2f1

    k = np.exp(np.arange(_LOG_LOW, _LOG_HIGH + _LOG_STEP / 2, _LOG_STEP))
    # 2F1(a, b; c; -x) = (1 + x)^-a 2F1(a, c - b; c; x/(1 + x)) keeps its argument in [0, 1).
    x = k**-2.0
    value = (1.0 + x) ** (-1.0 / 3.0) * hyp2f1(1.0 / 3.0, -1.5, 4.0 / 3.0, x / (1.0 + x))
    with np.errstate(divide="ignore"):
        table = np.log(gamma) - 2.0 / 3.0 * np.log(k) - 0.5 * np.log(value)
    table.flags.writeable = False
    return table


@njit(cache=True, nogil=True)
def tensor_at(k1: float, k2: float, k3: float, beta_table: Any, out: Any) -> None:
    """Write the spectral tensor of one wave.

    Parameters
    ----------
    k1, k2, k3 : float [-]
        Wave number times l; k1 not zero.
    beta_table : (n,) float64
        From `lifetimes`.
    out : (6,) float64 [-]
        Written: 00, 11, 22, 01, 02, 12.

    Notes
    -----
    Mann (1994), equations 3.12 to 3.23, over l^3 times the variance of the unsheared turbulence. The arc
    tangent must run on through a right angle for strongly sheared waves (both arguments are given).
    """
    h2 = k1 * k1 + k2 * k2
    kk = h2 + k3 * k3
    place = (0.5 * np.log(kk) - _LOG_LOW) / _LOG_STEP
    place = min(max(place, 0.0), len(beta_table) - 1.001)
    i = int(place)
    beta = np.exp(beta_table[i] + (place - i) * (beta_table[i + 1] - beta_table[i]))
    k30 = k3 + beta * k1
    k0 = h2 + k30 * k30
    energy = ENERGY_FACTOR * k0 * k0 / (1.0 + k0) ** (17.0 / 6.0)
    c1 = beta * k1 * k1 * (k0 - 2.0 * k30 * k30 + beta * k1 * k30) / (kk * h2)
    turn = np.arctan2(beta * abs(k1) * np.sqrt(h2), k0 - k30 * k1 * beta)
    c2 = k2 * k0 / h2**1.5 * (turn if k1 > 0.0 else -turn)
    z1 = c1 - k2 / k1 * c2
    z2 = k2 / k1 * c1 + c2
    old = energy / (4.0 * np.pi * k0 * k0)
    mixed = energy / (4.0 * np.pi * k0 * kk)
    out[0] = old * (k0 - k1 * k1 - 2.0 * k1 * k30 * z1 + h2 * z1 * z1)
    out[1] = old * (k0 - k2 * k2 - 2.0 * k2 * k30 * z2 + h2 * z2 * z2)
    out[2] = energy / (4.0 * np.pi * kk * kk) * h2
    out[3] = old * (-k1 * k2 - k1 * k30 * z2 - k2 * k30 * z1 + h2 * z1 * z2)
    out[4] = mixed * (-k1 * k30 + h2 * z1)
    out[5] = mixed * (-k2 * k30 + h2 * z2)


@njit(cache=True, nogil=True)
def _across(k1: float, beta_table: Any, total: Any) -> None:
    """Add up the tensor over all k2, k3 in polar form about the k1 axis, by the midpoint rule."""
    angles, rings, step = 48, 110, 0.15
    wave = np.empty(6)
    total[:] = 0.0
    for ring in range(rings):
        radius = np.exp(-7.0 + step * (ring + 0.5)) * max(k1, 0.05)
        # Half the circle is enough: 00, 11, 22, 02 are even in k2.
        weight = 2.0 * radius * radius * step * np.pi / angles
        for turn in range(angles):
            angle = np.pi * (turn + 0.5) / angles
            tensor_at(k1, radius * np.sin(angle), radius * np.cos(angle), beta_table, wave)
            total[0] += weight * wave[0]
            total[1] += weight * wave[1]
            total[2] += weight * wave[2]
            total[3] += weight * wave[4]


@lru_cache(maxsize=4)
def point_spectra(gamma: float = SHEAR_PARAMETER) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return the spectra at one point.

    Returns
    -------
    log_k1 : (n,) float64
        Uniform, of k1 l.
    spectra : (4, n) float64 [-]
        Two-sided in k1 l, of uu, vv, ww and uw; uv and vw are zero by symmetry.
    """
    log_k1 = np.linspace(np.log(1e-4), np.log(1e3), 121)
    table = lifetimes(gamma)
    spectra = np.empty((len(log_k1), 4))
    for row, k1 in zip(spectra, np.exp(log_k1), strict=True):
        _across(float(k1), table, row)
    spectra.flags.writeable = log_k1.flags.writeable = False
    return log_k1, spectra.T


def point_spectrum(k1: NDArray[Any], gamma: float = SHEAR_PARAMETER) -> NDArray[Any]:
    """Return the two-sided spectra (4, n) [-] of uu, vv, ww, uw at wave numbers (n,) k1 l > 0.

    Notes
    -----
    The table times (1 + k1^2)^(5/6) is read by cubic splines over log k1; it is held outside 1e-4 to 1e3.
    """
    from scipy.interpolate import CubicSpline

    log_k1, spectra = point_spectra(gamma)
    flat = CubicSpline(log_k1, spectra * (1.0 + np.exp(2.0 * log_k1)) ** (5.0 / 6.0), axis=1)
    return flat(np.clip(np.log(k1), log_k1[0], log_k1[-1])) / (1.0 + k1 * k1) ** (5.0 / 6.0)


def variances(gamma: float = SHEAR_PARAMETER) -> NDArray[Any]:
    """Return the tensor's own (4,) [-] variances of u, v, w and the covariance of u and w.

    Notes
    -----
    Twice the integral of the point spectra over k1 l from 0; below 1e-4 they are constant, above 1e3 they
    fall with the power -5/3 (uw with -7/3).
    """
    log_k1, spectra = point_spectra(gamma)
    k1 = np.exp(log_k1)
    middle = np.trapezoid(spectra * k1, log_k1, axis=1)
    ends = spectra[:, 0] * k1[0] + spectra[:, -1] * k1[-1] / np.array([2 / 3, 2 / 3, 2 / 3, 4 / 3])
    return 2.0 * (middle + ends)
