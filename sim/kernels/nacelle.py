"""What wind do anemometer and vane on the nacelle meet, and what does a beam ahead of the rotor see?"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import INLINE, induction

TABLE_STEP = 0.5  #: of wind speed in the table of steady inductions [m/s]
DIP, DIP_WIDTH = 0.12, 0.30  #: depth [-] and half width [rad] of a root's wake over the anemometer; invented
MAST, CORE = 0.06, 0.20  #: of the radius: the vane's height over the axis, and the wake's core; invented
BEAM_POINTS = 5


@njit(**INLINE)
def momentary_induction(wind, thrust, density, radius):
    """Return the axial induction [-] that the momentary thrust [N] stands for."""
    speed = max(wind, 2.0)
    head = 0.5 * density * math.pi * radius * radius * speed * speed
    return induction(max(thrust / head, 0.0), 1.0)


@njit(**INLINE)
def steady_induction(table, d, wind):
    """Return the steady rotor's induction [-]; ``table`` (design, point) in steps of TABLE_STEP from 0."""
    place = min(max(wind / TABLE_STEP, 0.0), table.shape[1] - 1.000001)
    i = int(place)
    return table[d, i] + (place - i) * (table[d, i + 1] - table[d, i])


@njit(**INLINE)
def root_dip(azimuth, blade_count):
    """Return by what share [-] the wakes of the blades' roots lower the wind at the mast on the roof."""
    dip = 0.0
    for b in range(blade_count):
        turn = azimuth + 2.0 * math.pi * b / blade_count
        turn -= 2.0 * math.pi * math.floor(turn / (2.0 * math.pi) + 0.5)
        if abs(turn) < DIP_WIDTH:
            dip += DIP * math.cos(0.5 * math.pi * turn / DIP_WIDTH) ** 2
    return dip


@njit(**INLINE)
def nacelle_wind(wind, excess, dip, share):
    """Return the wind at the anemometer [m/s], corrected for the steady rotor's induction.

    Parameters
    ----------
    wind : float64 [m/s] - free wind at the hub
    excess : float64 [-] - momentary induction less that of the steady rotor
    dip : float64 [-] - of the roots' wakes; a rotor behind the mast leaves none
    share : float64 [-] - of the rotor's effect that is counted; 0 gives the free wind

    Notes
    -----
    Derived here: V (1 - share (a - a_steady(V))) (1 - share dip). The mean slowing behind an upwind rotor is
    taken out by a transfer function, as IEC 61400-12-2 does; what a gust adds is not. Each blade root's
    wake dips the reading as it crosses the mast.
    """
    return wind * (1.0 - share * excess) * (1.0 - share * dip)


@njit(**INLINE)
def swirl_angle(wind, slowing, torque, density, radius):
    """Return by what angle [rad] the wake's swirl turns the wind at the vane towards the right.

    Notes
    -----
    Derived here: the torque Q leaves a swirl in the wake, w r = Q / (density u pi R^2) outside a core of CORE
    R and w proportional to r inside it; at the mast's height above the axis it blows against the rotation,
    from the right. A vane before a downwind rotor sees none of it.
    """
    through = max(wind, 2.0) * (1.0 - slowing)
    swirl = torque * MAST / (CORE * CORE * density * through * through * math.pi * radius**3)
    return math.atan(swirl)


@njit(**INLINE)
def beam_place(height, points, z0, dz):
    """Return (lower point, upper point, share of the upper) of the grid's middle column at a height [m]."""
    nz, ny = points
    row = min(max((height - z0) / dz, 0.0), nz - 1.000001)
    j = int(row)
    return j * ny + ny // 2, (j + 1) * ny + ny // 2, row - j


@njit(**INLINE)
def wind_at(time, w, mean, ground, box, boxes, box_step, place):
    """Return the longitudinal wind [m/s] of wind ``w`` at ``time`` on the middle of the disc, events apart.

    Parameters
    ----------
    place : as ``beam_place`` gives it
    mean, ground, box, boxes, box_step : as in ``layout.Wind``
    """
    lower, upper, h = place
    value = (1.0 - h) * ground[w, at.PROFILE + lower] + h * ground[w, at.PROFILE + upper]
    b = box[w]
    if b >= 0:
        steps = boxes.shape[1]
        i = int(time / box_step)
        g = time / box_step - i
        i, after = i % steps, (i + 1) % steps
        early = (1.0 - h) * boxes[b, i, lower] + h * boxes[b, i, upper]
        later = (1.0 - h) * boxes[b, after, lower] + h * boxes[b, after, upper]
        value += mean[w, 4] * ((1.0 - g) * early + g * later)
    return value


@njit(**INLINE)
def forward_wind(time, w, mean, ground, box, boxes, box_step, place, ahead, half_length, event):
    """Return what a beam sees of the wind ``ahead`` [m] of the rotor, averaged along the beam [m/s].

    Parameters
    ----------
    time : float64 [s]
    place : as ``beam_place`` gives it
    ahead : float64 [m] - distance of the point that is looked at
    half_length : float64 [m] - at which the weight along the beam has fallen to a half
    event : float64 [m/s] - what an event adds there; it is not averaged

    Notes
    -----
    The field is carried frozen by its mean wind, so a distance s stands for a time s/V. Weights 1/(1 +
    (s/half_length)^2), of a continuous-wave beam's focus, at five points over twice the half length
    (their tails beyond are left out). The rotor's own slowing of the wind ahead is left out.

    References
    ----------
    Simley, Pao, Frehlich, Jonkman, Kelley, Analysis of light detection and ranging wind speed measurements
    for wind turbine control, Wind Energy 17, 2014, 413-433: range weighting (form from memory).
    """
    speed = max(mean[w, 0], 2.0)
    total = weights = 0.0
    for n in range(BEAM_POINTS):
        along = 2.0 * (2.0 * n / (BEAM_POINTS - 1.0) - 1.0)
        weight = 1.0 / (1.0 + along * along)
        there = max(time + (ahead + along * half_length) / speed, 0.0)
        total += weight * wind_at(there, w, mean, ground, box, boxes, box_step, place)
        weights += weight
    return total / weights + event
