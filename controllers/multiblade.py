"""How do per-blade and fixed-frame quantities translate: the multi-blade coordinates?"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from controllers.signals import TWO, blade_mean, lane_of, number, spread_out
from sim.interface import Array


def circle(azimuth: Array, blade_count: int, harmonic: int = 1) -> tuple[Array, Array]:
    """Return cosine and sine of ``harmonic`` times each blade's azimuth, both (lane, blade).

    Parameters
    ----------
    azimuth : (lane,) float64 [rad] - of blade 0; blade b stands 2 pi b / blade_count further on
    """
    lanes = len(azimuth)
    angle = number(harmonic) * (azimuth[lane_of(lanes, blade_count)] + spread_out(lanes, blade_count))
    return np.cos(angle), np.sin(angle)


def to_fixed(per_blade: Array, cosine: Array, sine: Array) -> tuple[Array, Array]:
    """Return the cosine and the sine part of a per-blade quantity, (lane,) each.

    Notes
    -----
    x_c = (2/B) sum x_b cos(n psi_b), x_s alike: for three blades and n = 1, x_b = m + c cos psi_b
    + s sin psi_b gives back c and s exactly. For two blades, and for n = 2 of four, a ripple at 2 n P of
    the same size rides on both; the mean over a turn is still c and s.

    References
    ----------
    R. P. Coleman, A. M. Feingold, Theory of self-excited mechanical oscillations of helicopter rotors with
    hinged blades, NACA Report 1351, 1958 (from memory).
    """
    return TWO * blade_mean(per_blade * cosine), TWO * blade_mean(per_blade * sine)


def first_parts(per_blade: Array, azimuth: Array) -> tuple[Array, Array]:
    """Return ``to_fixed`` of the first harmonic from blade 0's sine and cosine alone, (lane,) each.

    Notes
    -----
    psi_b = psi + d_b with d_b constant, so
    sum x_b cos psi_b = cos psi sum x_b cos d_b - sin psi sum x_b sin d_b, and the sine part alike.
    """
    ahead, aside = to_fixed(per_blade, *places(*per_blade.shape))
    cosine, sine = np.cos(azimuth), np.sin(azimuth)
    return cosine * ahead - sine * aside, sine * ahead + cosine * aside


@lru_cache(maxsize=64)
def places(lanes: int, blades: int) -> tuple[Array, Array]:
    """Return cosine and sine of where each blade stands ahead of blade 0, (lane, blade) each; read only."""
    found = np.cos(spread_out(lanes, blades)), np.sin(spread_out(lanes, blades))
    for array in found:
        array.flags.writeable = False
    return found


def to_blades(cosine_part: Array, sine_part: Array, cosine: Array, sine: Array, lead: Array) -> Array:
    """Return c cos(n psi_b + lead) + s sin(n psi_b + lead), (lane, blade); ``lead`` (lane,) [rad]."""
    ahead, aside = np.cos(lead), np.sin(lead)
    along = cosine_part * ahead + sine_part * aside
    across = sine_part * ahead - cosine_part * aside
    return along[:, None] * cosine + across[:, None] * sine
