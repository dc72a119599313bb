"""What does the air do to one blade section: momentum balance, inflow lag, section lag.

Scalar functions for one station, without branches where the station loop must vectorise. The book
symbols are a (axial induction), F (loss factor), phi (inflow angle), alpha (angle of attack).
Elementary functions are polynomials here because a call into the mathematics library would keep the
station loop from being vectorised; their errors are stated and tested.
"""

from __future__ import annotations

import math
from typing import Any

from numba import njit

FLAGS: dict[str, Any] = {"fastmath": {"contract", "reassoc", "nsz"}, "error_model": "numpy", "cache": True}
LEAN: dict[str, Any] = FLAGS | {"_nrt": False}
"""For what runs every step: nothing is allocated there, so references to arrays need no count."""
INLINE: dict[str, Any] = LEAN | {"forceinline": True}
"""For what its caller must swallow whole: what stands alone is compiled beside each of its callers, may be
rounded differently in each, and the order of the first calls would decide whose code a process runs."""
WHOLE: dict[str, Any] = FLAGS | {"forceinline": True}
"""As INLINE, where something is allocated."""
INFLOW_COUPLING = 0.6  #: k of the two-filter inflow model [-]
WAGNER_A1, WAGNER_A2 = 0.165, 0.335  #: weights of the two-term Wagner function [-]
WAGNER_B1, WAGNER_B2 = 0.0455, 0.3  #: its exponents per semi-chord travelled [-]
SEPARATION_LAG = 4.0  #: time constant of trailing-edge separation in chords travelled [-]


@njit(**INLINE)
def exp_negative(g):
    """Return exp(-g) for 0 <= g <= 12 (larger g count as 12), relative error below 2e-8.

    Notes
    -----
    Derived here: Taylor's series of exp(-g/32) to the eighth power, squared five times.
    """
    x = -min(g, 12.0) * 0.03125
    e = 1.0 + x * (
        1.0
        + x
        * (
            0.5
            + x
            * (
                1.0 / 6.0
                + x
                * (
                    1.0 / 24.0
                    + x * (1.0 / 120.0 + x * (1.0 / 720.0 + x * (1.0 / 5040.0 + x * (1.0 / 40320.0))))
                )
            )
        )
    )
    e = e * e
    e = e * e
    e = e * e
    e = e * e
    return e * e


@njit(**INLINE)
def arc_cosine(x):
    """Return arccos(x) [rad] for 0 <= x <= 1, error below 3e-8.

    References
    ----------
    Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, equation 4.4.46.
    """
    p = 1.5707963050 + x * (
        -0.2145988016
        + x
        * (
            0.0889789874
            + x
            * (
                -0.0501743046
                + x * (0.0308918810 + x * (-0.0170881256 + x * (0.0066700901 + x * -0.0012624911)))
            )
        )
    )
    return math.sqrt(max(1.0 - x, 0.0)) * p


@njit(**INLINE)
def arc_tangent(y, x):
    """Return the angle of (x, y) in (-pi, pi] [rad], error below 2e-8; (0, 0) gives 0.

    References
    ----------
    Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, equation 4.4.49,
    with the smaller component over the larger, then the octant restored.
    """
    ax, ay = abs(x), abs(y)
    t = min(ax, ay) / max(max(ax, ay), 1e-300)
    z = t * t
    p = 1.0 + z * (
        -0.3333314528
        + z
        * (
            0.1999355085
            + z
            * (
                -0.1420889944
                + z
                * (
                    0.1065626393
                    + z * (-0.0752896400 + z * (0.0429096138 + z * (-0.0161657367 + z * 0.0028662257)))
                )
            )
        )
    )
    angle = t * p
    angle = angle if ay <= ax else 1.5707963267948966 - angle
    angle = angle if x >= 0.0 else 3.141592653589793 - angle
    return angle if y >= 0.0 else -angle


@njit(**INLINE)
def prandtl_loss(blade_count, tip_gap, root_gap, sin_phi):
    """Return the loss factor F of tip and root [-], at least 1e-3.

    Parameters
    ----------
    tip_gap, root_gap : float64 [-] - (R - r) / r to the tip and (r - r_root) / r_root to the root, not
        negative

    Notes
    -----
    F = (2/pi)^2 arccos(exp(-g_tip)) arccos(exp(-g_root)), g = B gap / (2 sin phi); sin phi is held above 0.02
    in amount.

    References
    ----------
    Glauert, Airplane Propellers, in Durand, Aerodynamic Theory IV, 1935, Prandtl's approximation.
    """
    s = 0.5 * blade_count / max(abs(sin_phi), 0.02)
    tip = arc_cosine(exp_negative(s * tip_gap))
    root = arc_cosine(exp_negative(s * root_gap))
    return max(0.4052847345693511 * tip * root, 1e-3)


@njit(**INLINE)
def induction(ct, F):
    """Return the axial induction factor a [-] that balances the local thrust coefficient.

    Notes
    -----
    Momentum theory ct = 4 a F (1 - a) up to a = 0.4, above it the empirical parabola
    ct = 8/9 + (4 F - 40/9) a + (50/9 - 4 F) a^2, tangent at a = 0.4. Negative ct gives negative a.
    The answer is held below 1.

    References
    ----------
    Buhl, A New Empirical Relationship between Thrust Coefficient and Induction Factor for the
    Turbulent Windmill State, NREL/TP-500-36834, 2005.
    """
    slow = 0.5 * (1.0 - math.sqrt(max(1.0 - ct / F, 0.04)))
    root = math.sqrt(max(ct * (50.0 - 36.0 * F) + 12.0 * F * (3.0 * F - 4.0), 0.0))
    fast = (18.0 * F - 20.0 - 3.0 * root) / (36.0 * F - 50.0)
    return slow if ct <= 0.96 * F else min(fast, 1.0)


@njit(**INLINE)
def swirl(a, v0, omega_r):
    """Return the tangential induction factor a' [-] of a drag-free annulus.

    Notes
    -----
    a (1 - a) v0^2 = a' (1 + a') (omega r)^2: the induced velocity is perpendicular to the relative
    wind. Drag is left out of the swirl; a (1 - a) is held above -0.05. a' omega r is at most v0 / 2.

    References
    ----------
    Glauert, Airplane Propellers, in Durand, Aerodynamic Theory IV, 1935.
    """
    ratio = v0 / max(abs(omega_r), 0.1)
    inside = 1.0 + 4.0 * max(a * (1.0 - a), -0.05) * ratio * ratio
    return 0.5 * (math.sqrt(max(inside, 0.0)) - 1.0)


@njit(**INLINE)
def inflow_bandwidths(a, over_tip, lag, v0):
    """Return one over the two time constants of the inflow, (1/tau1, 1/tau2) [1/s].

    Parameters
    ----------
    a : float64 [-] - axial induction factor, held within [0, 0.5]
    over_tip : float64 [1/m] - one over the tip radius R
    lag : float64 [-] - one over (0.39 - 0.26 (r/R)^2)
    v0 : float64 [m/s]

    Notes
    -----
    tau1 = 1.1 / (1 - 1.3 a) R / v0, tau2 = [0.39 - 0.26 (r/R)^2] tau1; the inverse saves the station loop
    two divisions.

    References
    ----------
    Oye, Tjaereborg wind turbine: dynamic inflow, 1990; Snel and Schepers, Joint investigation of dynamic
    inflow effects, ECN-C-94-107, 1995.
    """
    first = (1.0 - 1.3 * min(max(a, 0.0), 0.5)) * v0 * over_tip * (1.0 / 1.1)
    return first, lag * first


@njit(**INLINE)
def inflow_rates(z, w, w_qs, first, second):
    """Return (dz/dt, dw/dt) of the two inflow filters, w being the induced velocity [m/s].

    Parameters
    ----------
    first, second : float64 [1/s] - 1/tau1, 1/tau2

    Notes
    -----
    Oye's pair  w_int + tau1 dw_int/dt = w_qs + k tau1 dw_qs/dt,  w + tau2 dw/dt = w_int, with
    z = w_int - k w_qs so that w_qs need not be differentiated; k = 0.6.
    """
    return ((1.0 - INFLOW_COUPLING) * w_qs - z) * first, (z + INFLOW_COUPLING * w_qs - w) * second


@njit(**INLINE)
def wagner_rates(x1, x2, alpha, two_v_over_c):
    """Return (dx1/dt, dx2/dt) [rad/s] of the attached-flow lag; two_v_over_c in semi-chords per second.

    References
    ----------
    Jones, The unsteady lift of a wing of finite aspect ratio, NACA report 681, 1940: the indicial lift
    1 - 0.165 exp(-0.0455 s) - 0.335 exp(-0.3 s).
    """
    return (
        WAGNER_B1 * two_v_over_c * (WAGNER_A1 * alpha - x1),
        WAGNER_B2 * two_v_over_c * (WAGNER_A2 * alpha - x2),
    )


@njit(**INLINE)
def effective_angle(x1, x2, alpha):
    """Return the angle of attack [rad] that the attached lift feels, alpha taken at three quarter chord."""
    return alpha * (1.0 - WAGNER_A1 - WAGNER_A2) + x1 + x2


@njit(**INLINE)
def separation_rate(f, f_static, v_over_c):
    """Return df/dt [1/s] of the separation point, lagging its static value by four chords of travel.

    References
    ----------
    Hansen, Gaunaa, Madsen, A Beddoes-Leishman type dynamic stall model in state-space and indicial
    formulations, Riso-R-1354(EN), 2004.
    """
    return (f_static - f) * v_over_c / SEPARATION_LAG
