"""How do per-blade and fixed-frame quantities translate: the multi-blade coordinates?"""

from __future__ import annotations

import numpy as np

from controllers.signals import blade_mean, spread
from sim.interface import Array


def circle(azimuth: Array, blade_count: int, harmonic: int = 1) -> tuple[Array, Array]:
    """Return cosine and sine of ``harmonic`` times each blade's azimuth, both (lane, blade).

    Parameters
    ----------
    azimuth : (lane,) float64 [rad] - of blade 0; blade b stands 2 pi b / blade_count further on
    """
    angle = azimuth[:, None] + spread(blade_count)
    return np.cos(harmonic * angle), np.sin(harmonic * angle)


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
    return 2.0 * blade_mean(per_blade * cosine), 2.0 * blade_mean(per_blade * sine)


def to_blades(cosine_part: Array, sine_part: Array, cosine: Array, sine: Array, lead: Array) -> Array:
    """Return c cos(n psi_b + lead) + s sin(n psi_b + lead), (lane, blade); ``lead`` (lane,) [rad]."""
    ahead, aside = np.cos(lead), np.sin(lead)
    along = cosine_part * ahead + sine_part * aside
    across = sine_part * ahead - cosine_part * aside
    return along[:, None] * cosine + across[:, None] * sine
