"""What wind arrives at the rotor: the plane of the moment, and what the tower does to it.

The wind of one lane at one instant is laid out once on the grid of the field (mean profile, event and
turbulence together, all three components in the ground frame), then read at each station by bilinear
interpolation. The field is carried past the rotor frozen and as a whole: the few metres by which stations
stand before or behind the hub shift the arrival of a gust by less than a second and are left out.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import INLINE, LEAN


@njit(**INLINE)
def event_at(event, time, w, wind):
    """Write the event of wind ``w`` at ``time`` [s]; zero for a wind without one.

    Parameters
    ----------
    event : (4,) float64 - written: as `sim.wind.gusts` says, linear between the rows of its table
    """
    k = wind.transient[w]
    if k < 0:
        for column in range(4):
            event[column] = 0.0
        return
    last = wind.transients.shape[1] - 1
    place = min(max((time - wind.transient_start[w]) / wind.transient_step, 0.0), float(last))
    i = min(int(place), last - 1)
    g = place - i
    for column in range(4):
        event[column] = (1.0 - g) * wind.transients[k, i, column] + g * wind.transients[k, i + 1, column]


@njit(**INLINE)
def turbulence_at(plane, time, w, wind):
    """Write the turbulence [m/s] of wind ``w`` at ``time``, linear between its samples, which repeat.

    Parameters
    ----------
    plane : (6 * POINTS,) float64 [m/s] - the rows EDDY_* are written: along, across, up; zero for a wind
        without turbulence
    """
    b = wind.box[w]
    if b < 0:
        for n in range(3 * at.POINTS):
            plane[at.EDDY_U + n] = 0.0
        return
    sigma = wind.mean[w, 4]
    steps, points = wind.boxes.shape[1], wind.points[0] * wind.points[1]
    place = time / wind.box_step
    i = int(place)
    g = place - i
    low, high = sigma * (1.0 - g), sigma * g
    before, after = wind.boxes[b, i % steps], wind.boxes[b, (i + 1) % steps]
    for part in range(3):
        first, to = part * points, at.EDDY_U + part * at.POINTS
        for n in range(points):
            plane[to + n] = low * before[first + n] + high * after[first + n]


@njit(**LEAN)
def lay_out(plane, mean, grid, points, event, tilt):
    """Write the wind of every point in the ground frame: tilted by the upflow, turned by its direction.

    A loop of its own, with its arrays as arguments: so the compiler sees that they stay where they are.
    """
    added, gradient_z, gradient_y = event[0], event[2], event[3]
    sin_gust, cos_gust = 0.0, 1.0
    if event[1] != 0.0:
        sin_gust, cos_gust = math.sin(event[1]), math.cos(event[1])
    rise, level = tilt[0], tilt[1]
    for n in range(points):
        straight = gradient_z * grid[at.ABOVE + n] + gradient_y * grid[at.BESIDE + n]
        u = mean[at.PROFILE + n] + added + straight + plane[at.EDDY_U + n]
        v, up = plane[at.EDDY_V + n], plane[at.EDDY_W + n]
        forward = u * level - up * rise
        sine = mean[at.SINE + n] * cos_gust + mean[at.COSINE + n] * sin_gust
        cosine = mean[at.COSINE + n] * cos_gust - mean[at.SINE + n] * sin_gust
        plane[at.PLANE_X + n] = forward * cosine + v * sine
        plane[at.PLANE_Y + n] = v * cosine - forward * sine
        plane[at.PLANE_Z + n] = u * rise + up * level


@njit(**INLINE)
def wind_plane(work, time, w, wind):
    """Lay the wind [m/s] of wind ``w`` at ``time`` on the grid, in the ground frame.

    Parameters
    ----------
    work : Work - written: the rows PLANE_* of ``plane`` [m/s]; ``at_hub`` (3,), the wind along its own mean
        direction at the hub, and along x and y there [m/s]

    Notes
    -----
    u = profile + added + gradient_z z + gradient_y y + sigma1 u', z from the hub, with v and w the turbulence
    alone; then (u, v, w) is tilted by the upflow and turned by the direction at each height.
    """
    event_at(work.event, time, w, wind)
    turbulence_at(work.plane, time, w, wind)
    points = wind.points[0] * wind.points[1]
    lay_out(work.plane, wind.ground[w], wind.grid, points, work.event, wind.tilt[w])
    middle = points // 2
    work.at_hub[0] = wind.ground[w, at.PROFILE + middle] + work.event[0] + work.plane[at.EDDY_U + middle]
    work.at_hub[1], work.at_hub[2] = work.plane[at.PLANE_X + middle], work.plane[at.PLANE_Y + middle]


@njit(**INLINE)
def dam(x, y, radius):
    """Return (along, across): the wind near a cylinder over the free wind.

    Parameters
    ----------
    x, y : float64 [m] - from the cylinder's axis, x along the wind, y to the left of it
    radius : float64 [m]

    Notes
    -----
    along = 1 - a^2 (x^2 - y^2) / r^4, across = -2 a^2 x y / r^4; inside the cylinder r is held at a.
    Ahead of the cylinder (x < 0) the wind slows and parts to both sides.

    References
    ----------
    Potential flow about a circular cylinder, e.g. Lamb, Hydrodynamics, 6th edition, 1932, article 68.
    """
    a2 = radius * radius
    x2, y2 = x * x, y * y
    r2 = max(x2 + y2, a2)
    k = a2 / max(r2 * r2, 1e-12)
    return 1.0 - k * (x2 - y2), -2.0 * k * x * y


@njit(**INLINE)
def fade(height, top, radius):
    """Return the share [-] of the tower's influence at ``height``: 1 below the top, 0 two radii above it."""
    t = min(max((height - top) / (2.0 * radius), 0.0), 1.0)
    return 1.0 - t * t * (3.0 - 2.0 * t)


@njit(**LEAN)
def wake_shape(x, radius, drag):
    """Return (depth, width): the velocity deficit [-] and full width [m] of a tower's wake ``x`` behind it.

    Notes
    -----
    Width b = D (1.5 + 0.35 sqrt(x/D)) spreads as the square root of the distance; the depth follows from
    the tower's drag by momentum: drag D = b (depth - 0.75 depth^2), depth held below 0.65.
    The spreading law is invented within the range that wind-tunnel wakes of cylinders show.

    References
    ----------
    Powles, The effects of tower shadow on the dynamics of a horizontal-axis wind turbine, Wind Engineering
    7, 1983: the cosine-squared deficit.
    """
    diameter = 2.0 * radius
    width = diameter * (1.5 + 0.35 * math.sqrt(max(x, radius) / diameter))
    inside = max(1.0 - 3.0 * drag * diameter / width, 0.0025)
    return min((1.0 - math.sqrt(inside)) / 1.5, 0.65), width
