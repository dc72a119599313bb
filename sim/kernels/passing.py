"""How near does a blade come to the tower, and when is it nearest?

The state between two steps is read from the cubic Hermite curve through both ends, so that the minimum of
a pass is found between samples: at a station that sweeps by at eighty metres a second, samples alone
are wrong by centimetres.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels.aero import LEAN
from sim.kernels.layout import (
    CHORD,
    LIFT_P,
    LIFT_S,
    MID,
    PHI_X,
    PHI_Y,
    PREBEND,
    STATIONS,
    THICK,
    TIP_COLUMN,
    TOWER_BASE_RADIUS,
    TOWER_HEIGHT,
    TOWER_TOP_RADIUS,
    TWIST,
    WIDTH,
    R,
)

OUTER = (
    14  #: first station looked at, beyond 0.8 of the radius: further in, an unbent blade is nearer by design
)


@njit(**LEAN)
def hermite(y0, d0, y1, d1, h, t):
    """Return the cubic through (y0, slope d0) and (y1, slope d1), ``h`` apart, at the share ``t`` of h."""
    t2 = t * t
    t3 = t2 * t
    return (
        (2.0 * t3 - 3.0 * t2 + 1.0) * y0
        + (t3 - 2.0 * t2 + t) * h * d0
        + (3.0 * t2 - 2.0 * t3) * y1
        + (t3 - t2) * h * d1
    )


@njit(**LEAN)
def outline_gap(chord, thickness, mid, along, across, distance):
    """Return how far [m] an elliptic section is from a point at ``distance`` [m] of its pitch axis.

    Parameters
    ----------
    chord, thickness : float64 [m] - axes of the ellipse
    mid : float64 [m] - its centre from the pitch axis, towards the leading edge
    along, across : float64 [-] - parts of the direction to the point along chord and thickness

    Notes
    -----
    Derived here: the outline reaches h towards the point where its tangent stands across the direction; that
    place lies e to the side, and the outline is curved there with radius c. Going from there towards the
    direct line, the distance becomes  distance - h + e^2 / (2 (distance - h + c)), up to the fourth power of
    e. The second term is up to 0.05 m with the blade pitched to 30 degrees.
    """
    a, b = 0.5 * chord * along, 0.5 * thickness * across
    root = math.sqrt(a * a + b * b)
    straight = distance - mid * along - root
    aside = -mid * across + 0.25 * (thickness * thickness - chord * chord) * along * across / root
    bend = 0.0625 * (chord * thickness) ** 2 / (root * root * root)
    return straight + 0.5 * aside * aside / max(straight + bend, 0.1)


@njit(**LEAN)
def shape_at(shape, height, top):
    """Return the tower's sway shape at ``height`` from its table of equal steps up to ``top``."""
    last = shape.shape[0] - 1
    share = height / top if height > 0.0 else 0.0  # what is no number counts as the ground
    place = (share if share < 1.0 else 1.0) * last
    i = min(int(place), last - 1)
    return shape[i] + (place - i) * (shape[i + 1] - shape[i])


@njit(**LEAN)
def clearance(q, sway_x, sway_y, hub, frame, first, k, scalars, tower_shape):
    """Return (clearance [m], radius [m] of the nearest station): outline to tower wall, horizontally.

    Parameters
    ----------
    q : (3,) float64 [m] - modal amplitudes of the blade
    sway_x, sway_y : float64 [m] - displacement of the tower top
    hub, frame : as ``step`` lays them out
    first : int - the blade's first station in the rows of ``k``

    Notes
    -----
    Over the outer fifth of the blade and its tip, below the tower top; infinite where there is none. The
    wall moves with the tower's own sway. Negative where outline and wall overlap.
    """
    cb, sb = frame[0], frame[1]
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    ax, ay, az = frame[10], frame[11], frame[12]
    pitch = frame[19]
    top, base = scalars[TOWER_HEIGHT], scalars[TOWER_BASE_RADIUS]
    taper = (scalars[TOWER_TOP_RADIUS] - base) / top
    best, where = math.inf, 0.0
    for i in range(first + OUTER, first + STATIONS + 1):
        j = i if i < first + STATIONS else TIP_COLUMN + first // STATIONS
        x, y, short = k[PREBEND + j], 0.0, 0.0
        for m in range(3):
            x += k[PHI_X + m * WIDTH + j] * q[m]
            y += k[PHI_Y + m * WIDTH + j] * q[m]
            short += k[LIFT_P + m * WIDTH + j] * q[m]
        short += 0.5 * (
            k[LIFT_S + j] * q[0] * q[0]
            + k[LIFT_S + 3 * WIDTH + j] * q[1] * q[1]
            + k[LIFT_S + 5 * WIDTH + j] * q[2] * q[2]
        ) + (
            k[LIFT_S + WIDTH + j] * q[0] * q[1]
            + k[LIFT_S + 2 * WIDTH + j] * q[0] * q[2]
            + k[LIFT_S + 4 * WIDTH + j] * q[1] * q[2]
        )
        z = k[R + j] - short
        u, v = x * cb - y * sb, x * sb + y * cb
        height = hub[2] + az * z + nz * u + tz * v
        if height >= top:
            continue
        px = hub[0] + ax * z + nx * u + tx * v - sway_x * shape_at(tower_shape[0], height, top)
        py = hub[1] + ay * z + ny * u + ty * v - sway_y * shape_at(tower_shape[1], height, top)
        distance = math.sqrt(px * px + py * py)
        gx, gy = -px / distance, -py / distance
        turn = pitch + k[TWIST + j]
        ct, st = math.cos(turn), math.sin(turn)
        normal, motion = gx * nx + gy * ny, gx * tx + gy * ty
        free = outline_gap(
            k[CHORD + j],
            k[THICK + j],
            k[MID + j],
            motion * ct - normal * st,
            normal * ct + motion * st,
            distance,
        )
        gap = free - (base + taper * max(height, 0.0))
        if gap < best:
            best, where = gap, k[R + j]
    return best, where


@njit(**LEAN)
def vertex(before, least, after):
    """Return (offset in steps, value) of the parabola's minimum through three equally spaced samples."""
    bend = before - 2.0 * least + after
    if bend <= 0.0:
        return 0.0, least
    offset = 0.5 * (before - after) / bend
    return offset, least - 0.25 * (before - after) * offset
