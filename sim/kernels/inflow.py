"""What wind arrives at a blade station: the plane of the moment, interpolation in it, tower dam.

The longitudinal wind of one lane at one instant is laid out once on the grid of the field (mean profile,
transient and turbulence together), then read at each station by bilinear interpolation. The field is
carried past the rotor frozen and as a whole: the few metres by which stations stand before or behind the
hub shift the arrival of a gust by less than a second and are left out.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels.aero import FLAGS, INLINE


@njit(**FLAGS)
def wind_plane(plane, gust, time, w, wind):
    """Lay the longitudinal wind [m/s] of wind ``w`` at ``time`` [s] on the grid.

    Parameters
    ----------
    plane : (nz * ny,) float64 [m/s] - written
    gust : (2,) float64 - written: added direction [rad], added speed at the hub [m/s]

    Notes
    -----
    V(z, y) = profile(z) + added + gradient_z z + gradient_y y + sigma u(t, y, z), z from the hub; turbulence
    and transients are linear between their samples; boxes repeat after their end.
    """
    nz = wind.profile.shape[1]
    ny = plane.shape[0] // nz
    added = gradient_z = gradient_y = 0.0
    gust[0] = gust[1] = 0.0
    k = wind.transient[w]
    if k >= 0:
        last = wind.transients.shape[1] - 1
        place = min(max((time - wind.transient_start[w]) / wind.transient_step, 0.0), float(last))
        i = min(int(place), last - 1)
        g = place - i
        table = wind.transients[k]
        added = (1.0 - g) * table[i, 0] + g * table[i + 1, 0]
        gust[0] = (1.0 - g) * table[i, 1] + g * table[i + 1, 1]
        gust[1] = added
        gradient_z = (1.0 - g) * table[i, 2] + g * table[i + 1, 2]
        gradient_y = (1.0 - g) * table[i, 3] + g * table[i + 1, 3]
    for iz in range(nz):
        base = wind.profile[w, iz] + added + gradient_z * (wind.box_z0 + iz * wind.box_dz)
        for iy in range(ny):
            plane[iz * ny + iy] = base + gradient_y * (wind.box_y0 + iy * wind.box_dy)
    b = wind.box[w]
    if b >= 0:
        sigma = wind.mean[w, 4]
        nt = wind.boxes.shape[1]
        place = time / wind.box_step
        i = int(place)
        g = place - i
        before = wind.boxes[b, i % nt].reshape(-1)
        after = wind.boxes[b, (i + 1) % nt].reshape(-1)
        low, high = sigma * (1.0 - g), sigma * g
        for s in range(nz * ny):
            plane[s] += low * before[s] + high * after[s]


@njit(**INLINE)
def bilinear(plane, ny, nz, column, row):
    """Return the plane's value at fractional (column, row); outside the grid its edge holds."""
    c = min(max(column, 0.0), ny - 1.000001)
    r = min(max(row, 0.0), nz - 1.000001)
    i, j = int(c), int(r)
    g, h = c - i, r - j
    at = j * ny + i
    low = plane[at] + g * (plane[at + 1] - plane[at])
    high = plane[at + ny] + g * (plane[at + ny + 1] - plane[at + ny])
    return low + h * (high - low)


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


@njit(**FLAGS)
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
