"""What wind do anemometer and vane on the nacelle meet, and what does a beam ahead of the rotor see?"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import FLAGS, induction
from sim.kernels.inflow import event_at

TABLE_STEP = 0.5  #: of wind speed in the table of steady inductions [m/s]
DIP, DIP_WIDTH = 0.12, 0.30  #: depth [-] and half width [rad] of a root's wake over the anemometer; invented
MAST, CORE = 0.06, 0.20  #: of the radius: the vane's height over the axis, and the wake's core; invented
BEAM_POINTS = 5


@njit(**FLAGS)
def momentary_induction(out, scalars):
    """Return the axial induction [-] that the momentary thrust stands for."""
    wind = max(out[at.OUT_WIND], 2.0)
    head = 0.5 * scalars[at.DENSITY] * math.pi * scalars[at.TIP_RADIUS] ** 2 * wind * wind
    return induction(max(out[at.OUT_THRUST] / head, 0.0), 1.0)


@njit(**FLAGS)
def nacelle_wind(out, scalars, steady, share, blade_count):
    """Return the wind at the anemometer [m/s], corrected for the steady rotor's induction.

    Parameters
    ----------
    out : (OUTPUTS,) float64
    steady : (point,) float64 - induction of the steady rotor over wind speed, steps of TABLE_STEP from 0
    share : float64 [-] - of the rotor's effect that is counted; 0 gives the free wind

    Notes
    -----
    Derived here: V (1 - share (a - a_steady(V))) (1 - share dip). The mean slowing behind an upwind rotor is
    taken out by a transfer function, as IEC 61400-12-2 does; what a gust adds is not. Each blade root's
    wake dips the reading as it crosses the mast on the roof. A rotor downwind of it leaves no dip.
    """
    wind = out[at.OUT_WIND]
    place = min(max(wind / TABLE_STEP, 0.0), steady.shape[0] - 1.000001)
    i = int(place)
    mean = steady[i] + (place - i) * (steady[i + 1] - steady[i])
    dip = 0.0
    if scalars[at.SIDE] < 0.0:
        for b in range(blade_count):
            turn = (out[at.OUT_AZIMUTH] + 2.0 * math.pi * b / blade_count + math.pi) % (
                2.0 * math.pi
            ) - math.pi
            if abs(turn) < DIP_WIDTH:
                dip += DIP * math.cos(0.5 * math.pi * turn / DIP_WIDTH) ** 2
    return wind * (1.0 - share * (momentary_induction(out, scalars) - mean)) * (1.0 - share * dip)


@njit(**FLAGS)
def nacelle_direction(out, scalars, share):
    """Return the wind's direction at the vane [rad], positive from the left of the shaft.

    Notes
    -----
    Derived here: the torque Q leaves a swirl in the wake, w r = Q / (density u pi R^2) outside a core of CORE
    R and w proportional to r inside it; at the mast's height above the axis it blows against the rotation,
    from the right. A vane before a downwind rotor sees none of it.
    """
    if scalars[at.SIDE] > 0.0:
        return out[at.OUT_DIRECTION]
    radius = scalars[at.TIP_RADIUS]
    through = max(out[at.OUT_WIND], 2.0) * (1.0 - momentary_induction(out, scalars))
    swirl = out[at.OUT_TORQUE] * MAST / (CORE * CORE)
    swirl /= scalars[at.DENSITY] * through * through * math.pi * radius**3
    return out[at.OUT_DIRECTION] - share * math.atan(swirl)


@njit(**FLAGS)
def wind_at(time, height, w, wind, event):
    """Return the longitudinal wind [m/s] of wind ``w`` at ``time``, ``height`` [m] above the hub.

    Parameters
    ----------
    event : (4,) float64 - scratch

    Notes
    -----
    As ``inflow.wind_plane`` lays it out, at one height and in the middle only.
    """
    nz, ny = wind.points
    row = min(max((height - wind.box_z0) / wind.box_dz, 0.0), nz - 1.000001)
    j = int(row)
    h = row - j
    lower, upper = j * ny + ny // 2, (j + 1) * ny + ny // 2
    ground = wind.ground[w]
    value = (1.0 - h) * ground[at.PROFILE + lower] + h * ground[at.PROFILE + upper]
    event_at(event, time, w, wind)
    value += event[0] + height * event[2]
    b = wind.box[w]
    if b >= 0:
        steps = wind.boxes.shape[1]
        place = time / wind.box_step
        i = int(place)
        g = place - i
        before, after = wind.boxes[b, i % steps], wind.boxes[b, (i + 1) % steps]
        early = (1.0 - h) * before[lower] + h * before[upper]
        value += wind.mean[w, 4] * ((1.0 - g) * early + g * ((1.0 - h) * after[lower] + h * after[upper]))
    return value


@njit(**FLAGS)
def forward_wind(time, w, wind, ahead, half_length, height, event):
    """Return what a beam sees of the wind ``ahead`` [m] of the rotor, averaged along the beam [m/s].

    Parameters
    ----------
    time : float64 [s]
    ahead : float64 [m] - distance of the point that is looked at
    half_length : float64 [m] - at which the weight along the beam has fallen to a half
    height : float64 [m] - of the point above the hub
    event : (4,) float64 - scratch

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
    speed = max(wind.mean[w, 0], 2.0)
    total = weights = 0.0
    for n in range(BEAM_POINTS):
        along = 2.0 * (2.0 * n / (BEAM_POINTS - 1.0) - 1.0)
        weight = 1.0 / (1.0 + along * along)
        total += weight * wind_at(time + (ahead + along * half_length) / speed, height, w, wind, event)
        weights += weight
    return total / weights
