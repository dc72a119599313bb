"""How is the standard's turbulence spread over frequency and space?

References
----------
IEC 61400-1:2005, annex B.2 (Kaimal spectrum and exponential coherence model); values from memory.
Kaimal, Wyngaard, Izumi, Cote, Spectral characteristics of surface-layer turbulence,
Q. J. R. Meteorol. Soc. 98 (1972) 563-589: the form of the spectrum.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

SCALE_FACTORS = (8.1, 2.7, 0.66)
"""L_k / Lambda1 of the longitudinal, lateral and vertical component."""

SIGMA_FACTORS = (1.0, 0.8, 0.5)
"""sigma_k / sigma1 of the three components."""

COHERENCE_DECAY = 12.0


def kaimal_density(
    frequency: ArrayLike, speed: float, sigma: float, scale: float, component: int = 0
) -> NDArray[Any]:
    """Return the one-sided spectral density of one component.

    Parameters
    ----------
    frequency : (...) float64 [Hz]
        Not negative.
    speed : float [m/s]
        Mean wind at the hub.
    sigma : float [m/s]
        Longitudinal standard deviation sigma1, for every component.
    scale : float [m]
        Lambda1.
    component : int
        0 longitudinal, 1 lateral, 2 vertical.

    Returns
    -------
    (...) float64 [m2/s]

    Notes
    -----
    f S / sigma_k^2 = 4 x / (1 + 6 x)^(5/3) with x = f L_k / V. At f = 0 it is 4 sigma_k^2 L_k / V.
    """
    time = SCALE_FACTORS[component] * scale / speed
    variance = (SIGMA_FACTORS[component] * sigma) ** 2
    return variance * 4.0 * time / (1.0 + 6.0 * time * np.asarray(frequency, float)) ** (5.0 / 3.0)


def kaimal_share_below(frequency: ArrayLike, speed: float, scale: float, component: int = 0) -> NDArray[Any]:
    """Return the share (...) [-] of a component's variance that lies below a frequency [Hz].

    Notes
    -----
    Derived here: the integral of the density from 0 is 1 - (1 + 6 f L_k / V)^(-2/3), which tends to 1.
    """
    time = SCALE_FACTORS[component] * scale / speed
    return 1.0 - (1.0 + 6.0 * time * np.asarray(frequency, float)) ** (-2.0 / 3.0)


def coherence(
    frequency: ArrayLike, distance: ArrayLike, speed: float, scale: float, component: int = 0
) -> NDArray[Any]:
    """Return the coherence of one component between two points.

    Parameters
    ----------
    frequency : (...) float64 [Hz]
    distance : (...) float64 [m]
        Across the wind, broadcast against ``frequency``.
    speed : float [m/s]
        Mean wind at the hub.
    scale : float [m]
        Lambda1.
    component : int
        0 longitudinal, 1 lateral, 2 vertical.

    Returns
    -------
    (...) float64 [-]
        Magnitude of the cross spectrum over the auto spectrum (not squared).

    Notes
    -----
    exp{-12 [(f r/V)^2 + (0.12 r/Lc)^2]^0.5}, Lc = 8.1 Lambda1. The standard gives it for the longitudinal
    component alone. Chosen here for the others: the same form with the component's own length L_k in the
    place of Lc (2.7 and 0.66 Lambda1), so that slow lateral and vertical motion reaches less far, as their
    shorter scales ask for. Components are taken as independent of each other.
    """
    r = np.asarray(distance, float)
    reduced = np.asarray(frequency, float) * r / speed
    return np.exp(-COHERENCE_DECAY * np.hypot(reduced, 0.12 * r / (SCALE_FACTORS[component] * scale)))
