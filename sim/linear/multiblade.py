"""How do the blades' own quantities look from the standing frame?

With three blades, blade b at azimuth a + 2 pi b / 3, a quantity z_b of the blades is carried by three parts:
collective (its mean over the blades), cosine and sine (its once-per-turn content). A blade's own frequency w
then appears as w (collective) and w -+ speed (backward and forward).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

BLADES = 3
"""Two blades have no such coordinates: they cannot tell the cosine part from the sine part."""
PARTS = ("collective", "cosine", "sine")


def parts_matrix(azimuth: float) -> Array:
    """Return the matrix that makes the blades' quantities of the parts, (3, 3), at blade 0's azimuth [rad].

    Notes
    -----
    z_b = collective + cosine cos(a_b) + sine sin(a_b), a_b = azimuth + 2 pi b / 3.

    References
    ----------
    R. P. Coleman, A. M. Feingold, Theory of self-excited mechanical oscillations of helicopter rotors with
    hinged blades, NACA report 1351, 1958; G. Bir, Multiblade coordinate transformation and its application to
    wind turbine analysis, NREL/CP-500-42553, 2008 (from memory).
    """
    angle = azimuth + 2.0 * np.pi / BLADES * np.arange(BLADES)
    return np.stack([np.ones(BLADES), np.cos(angle), np.sin(angle)], axis=1)


def blades_matrix(azimuth: float) -> Array:
    """Return the inverse of `parts_matrix`: what makes the parts of the blades' quantities, (3, 3)."""
    angle = azimuth + 2.0 * np.pi / BLADES * np.arange(BLADES)
    weight = np.stack([np.full(BLADES, 0.5), np.cos(angle), np.sin(angle)])
    return 2.0 / BLADES * weight


def to_blades(parts: Array, azimuth: float) -> Array:
    """Return the blades' quantities of (..., part)."""
    return np.asarray(parts, float) @ parts_matrix(azimuth).T


def to_parts(blades: Array, azimuth: float) -> Array:
    """Return collective, cosine and sine part of (..., blade)."""
    return np.asarray(blades, float) @ blades_matrix(azimuth).T


def rates_of_parts(rates: Array, parts: Array, azimuth: float, speed: Array) -> Array:
    """Return the rates of the parts, (..., 3).

    Parameters
    ----------
    rates : (..., blade) float64 - of the blades' quantities
    parts : (..., part) float64 - of the quantities themselves
    azimuth : float [rad]
    speed : (...) float64 [rad/s] - of the rotor

    Notes
    -----
    Derived here: the derivative of z_b in `parts_matrix` holds speed (sine cos(a_b) - cosine sin(a_b)), so
    the parts of the blades' rates are (collective', cosine' + speed sine, sine' - speed cosine).
    """
    found = to_parts(rates, azimuth)
    found[..., 1] -= speed * parts[..., 2]
    found[..., 2] += speed * parts[..., 1]
    return found
