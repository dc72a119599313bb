"""What happens at all stations of all blades at once: where they are, what wind they meet, what they feel.

The loops over stations. Loops that only compute stand apart from loops that look up tables, so that the
compiler vectorises the former; every array is a row of fixed width in one of four packed arrays.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from sim.kernels import aero
from sim.kernels import layout as at
from sim.kernels.aero import LEAN
from sim.kernels.inflow import dam, fade, wake_shape

NEXT, PLANE = np.uint64(1), np.uint64(at.POINTS)  #: to the point beside, to the next component
DEGREE = 57.29577951308232
SLOWEST = 0.5  #: wind through the rotor that the momentum balance sees at least [m/s]
FASTEST = 80.0  #: chords per second beyond which a section's lags are held: 21 ms where a slender tip has 10


@njit(**LEAN)
def place_stations(s, k, first, count, q, qd, hub, frame, scalars):
    """Write position, radius and velocity of one blade's stations into scratch ``s``; ``k`` are constants."""
    cb, sb = frame[0], frame[1]
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    ax, ay, az = frame[10], frame[11], frame[12]
    pitch_rate = frame[20]
    c, lean = scalars[at.COS_CONE], scalars[at.SIDE] * scalars[at.SIN_CONE]
    q0, q1, q2 = q[0], q[1], q[2]
    d0, d1, d2 = qd[0], qd[1], qd[2]
    hx, hy, hz = hub[0], hub[1], hub[2]
    s, k = s[first:], k[first:]
    for i in range(count):
        x0, x1, x2 = k[at.PHI_X + i], k[at.PHI_X + at.WIDTH + i], k[at.PHI_X + 2 * at.WIDTH + i]
        y0, y1, y2 = k[at.PHI_Y + i], k[at.PHI_Y + at.WIDTH + i], k[at.PHI_Y + 2 * at.WIDTH + i]
        x = k[at.PREBEND + i] + x0 * q0 + x1 * q1 + x2 * q2
        y = y0 * q0 + y1 * q1 + y2 * q2
        xd = x0 * d0 + x1 * d1 + x2 * d2
        yd = y0 * d0 + y1 * d1 + y2 * d2
        z = (
            k[at.R + i]
            - (
                k[at.LIFT_P + i] * q0
                + k[at.LIFT_P + at.WIDTH + i] * q1
                + k[at.LIFT_P + 2 * at.WIDTH + i] * q2
            )
            - 0.5
            * (
                k[at.LIFT_S + i] * q0 * q0
                + k[at.LIFT_S + 3 * at.WIDTH + i] * q1 * q1
                + k[at.LIFT_S + 5 * at.WIDTH + i] * q2 * q2
            )
            - (
                k[at.LIFT_S + at.WIDTH + i] * q0 * q1
                + k[at.LIFT_S + 2 * at.WIDTH + i] * q0 * q2
                + k[at.LIFT_S + 4 * at.WIDTH + i] * q1 * q2
            )
        )
        u = x * cb - y * sb
        v = x * sb + y * cb
        s[at.X + i] = hx + ax * z + nx * u + tx * v
        s[at.Y + i] = hy + ay * z + ny * u + ty * v
        s[at.Z + i] = hz + az * z + nz * u + tz * v
        s[at.RHO + i] = z * c - lean * u
        s[at.V + i] = v
        s[at.UD + i] = xd * cb - yd * sb - pitch_rate * v
        s[at.VD + i] = xd * sb + yd * cb + pitch_rate * u


@njit(**LEAN)
def read_wind(s, count, plane, ny, nz, y0, z0, dy, dz):
    """Read the wind of every station from the plane, bilinearly; z0 is a height above ground.

    Outside the grid its edge holds, and for what is no number too. Indices are unsigned, or each look-up
    would first ask for their sign.
    """
    over_y, over_z = 1.0 / dy, 1.0 / dz
    last_c, last_r = ny - 1.000001, nz - 1.000001
    for i in range(count):
        c, r = (s[at.Y + i] - y0) * over_y, (s[at.Z + i] - z0) * over_z
        c, r = c if c > 0.0 else 0.0, r if r > 0.0 else 0.0
        c, r = c if c < last_c else last_c, r if r < last_r else last_r
        column, row = math.floor(c), math.floor(r)
        g, h = c - column, r - row
        s[at.LOW + i] = row * ny + column
        s[at.FAR + i] = g * h
        s[at.RIGHT + i] = g - g * h
        s[at.OVER + i] = h - g * h
    across = np.uint64(ny)
    for i in range(count):
        low = np.uint64(s[at.LOW + i])
        high = low + across
        far, right, over = s[at.FAR + i], s[at.RIGHT + i], s[at.OVER + i]
        near = 1.0 - far - right - over
        for part in range(3):
            s[at.WX + part * at.WIDTH + i] = (
                near * plane[low] + right * plane[low + NEXT] + over * plane[high] + far * plane[high + NEXT]
            )
            low += PLANE
            high += PLANE


@njit(**LEAN)
def face_wind(s, first, count, frame, air):
    """Write the wind of one blade's stations, relative to the moving tower top, along n and t of the blade.

    Parameters
    ----------
    air : (3,) float64 - rotor speed [rad/s], fore-aft and side-side rates of the tower top [m/s]
    """
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    az, slope, lever_x, lever_y = frame[12], frame[16], frame[17], frame[18]
    omega, rate_x, rate_y = air[0], air[1], air[2]
    s = s[first:]
    for i in range(count):
        wx = s[at.WX + i] - rate_x * (lever_x + slope * az * s[at.RHO + i])
        wy = s[at.WY + i] - rate_y * lever_y
        wz = s[at.WZ + i]
        s[at.VN + i] = wx * nx + wy * ny + wz * nz
        s[at.VT + i] = omega * s[at.RHO + i] + s[at.VD + i] - (wx * tx + wy * ty + wz * tz)


@njit(**LEAN)
def meet_air(s, y, k, first, count, frame, omega):
    """Write speed, inflow angle and angle of attack of one blade's stations, induction included."""
    pitch, pitch_rate = frame[19], frame[20]
    s, k, y = s[first:], k[first:], y[at.FLAT + first :]
    for i in range(count):
        w = y[at.ROW_W + i]
        v0 = max(abs(s[at.VN + i]), SLOWEST)
        a = min(max(w / v0, -0.5), 0.95)
        turning = omega * s[at.RHO + i]
        vt = s[at.VT + i] + aero.swirl(a, v0, turning) * turning
        vn = s[at.VN + i] - s[at.UD + i] - w
        speed2 = vn * vn + vt * vt + 1e-6
        over = 1.0 / math.sqrt(speed2)
        s[at.SPEED2 + i] = speed2
        s[at.SIN + i] = vn * over
        s[at.COS + i] = vt * over
        s[at.V0 + i] = v0
        s[at.A + i] = a
        angle = aero.arc_tangent(vn, vt) - pitch - k[at.TWIST + i]
        three_quarter = angle - k[at.ARM + i] * pitch_rate * over
        s[at.ANGLE + i] = angle
        s[at.THREE_QUARTER + i] = three_quarter
        s[at.ALPHA + i] = aero.effective_angle(y[at.ROW_X1 + i], y[at.ROW_X2 + i], three_quarter)


@njit(**LEAN)
def part_air(s, first, count, scalars):
    """Let the tower slow and part the wind of the stations before it (rotors upwind of the tower).

    Notes
    -----
    Potential flow is linear in the wind: the part along x and the part along y each flow around the cylinder,
    so that the dam stands to the wind of the moment at the station, whatever its direction.
    """
    base_radius, top = scalars[at.TOWER_BASE_RADIUS], scalars[at.TOWER_HEIGHT]
    taper = (scalars[at.TOWER_TOP_RADIUS] - base_radius) / top
    s = s[first:]
    for i in range(count):
        height = s[at.Z + i]
        radius = base_radius + taper * min(height, top)
        along, across = dam(s[at.X + i], s[at.Y + i], radius)
        share = fade(height, top, radius)
        slowed, parted = share * (along - 1.0), share * across
        wx, wy = s[at.WX + i], s[at.WY + i]
        s[at.WX + i] = wx + wx * slowed + wy * parted
        s[at.WY + i] = wy + wx * parted - wy * slowed


@njit(**LEAN)
def shade_air(s, first, count, scalars):
    """Lower the wind of the stations in the tower's wake (rotors downwind of the tower).

    The wake follows the horizontal wind of the moment at the station.
    """
    base_radius, top = scalars[at.TOWER_BASE_RADIUS], scalars[at.TOWER_HEIGHT]
    taper = (scalars[at.TOWER_TOP_RADIUS] - base_radius) / top
    s = s[first:]
    for i in range(count):
        height = s[at.Z + i]
        radius = base_radius + taper * min(height, top)
        wx, wy = s[at.WX + i], s[at.WY + i]
        over = 1.0 / math.sqrt(wx * wx + wy * wy + 1e-12)
        px = (s[at.X + i] * wx + s[at.Y + i] * wy) * over
        py = (s[at.Y + i] * wx - s[at.X + i] * wy) * over
        depth, width = wake_shape(px, radius, scalars[at.TOWER_DRAG])
        if px > 0.0 and abs(py) < 0.5 * width:
            shape = math.cos(math.pi * py / width)
            kept = 1.0 - depth * shape * shape * fade(height, top, radius)
            s[at.WX + i] *= kept
            s[at.WY + i] *= kept
            s[at.WZ + i] *= kept


@njit(**LEAN)
def read_polars(s, blade_count, polars):
    """Read every station's section tables at its effective angle of attack; linear between whole degrees.

    What is no number reads the first row, never out of range: its lane is ended when the period is over.
    """
    for b in range(blade_count):
        for n in range(at.STATIONS):
            i = b * at.STATIONS + n
            place = s[at.ALPHA + i] * DEGREE + 180.0
            place -= 360.0 * math.floor(place * (1.0 / 360.0))
            row = place if place > 0.0 else 0.0
            j = int(row if row < 359.0 else 359.0)
            g = place - j
            low, high = polars[n, j], polars[n, j + 1]
            s[at.CL_ATT + i] = low[0] + g * (high[0] - low[0])
            s[at.F_STATIC + i] = low[1] + g * (high[1] - low[1])
            s[at.CL_SEP + i] = low[2] + g * (high[2] - low[2])
            s[at.CD + i] = low[3] + g * (high[3] - low[3])


@njit(**LEAN)
def feel_loads(s, y, dy, k, count, scalars, blade_count):
    """Write the loads per unit length of all stations and the rates of their inflow and lag states."""
    half_density, over_tip = 0.5 * scalars[at.DENSITY], 1.0 / scalars[at.TIP_RADIUS]
    y, dy = y[at.FLAT :], dy[at.FLAT :]
    for i in range(count):
        speed2, sin, cos = s[at.SPEED2 + i], s[at.SIN + i], s[at.COS + i]
        f = y[at.ROW_F + i]
        lift = f * s[at.CL_ATT + i] + (1.0 - f) * s[at.CL_SEP + i]
        drag = s[at.CD + i] + (s[at.ANGLE + i] - s[at.ALPHA + i]) * lift
        cn = lift * cos + drag * sin
        head = half_density * speed2 * k[at.CHORD + i]
        s[at.PN + i] = head * cn
        s[at.PT + i] = head * (lift * sin - drag * cos)
        loss = aero.prandtl_loss(blade_count, k[at.TIP_GAP + i], k[at.ROOT_GAP + i], sin)
        v0 = s[at.V0 + i]
        ct = k[at.SOLIDITY + i] * speed2 * cn / (v0 * v0)
        w_qs = aero.induction(ct, loss) * v0
        first, second = aero.inflow_bandwidths(s[at.A + i], over_tip, k[at.INFLOW_LAG + i], v0)
        dz, dw = aero.inflow_rates(y[at.ROW_Z + i], y[at.ROW_W + i], w_qs, first, second)
        dy[at.ROW_Z + i] = dz
        dy[at.ROW_W + i] = dw
        chords = min(math.sqrt(speed2) * k[at.OVER_CHORD + i], FASTEST)
        d1, d2 = aero.wagner_rates(y[at.ROW_X1 + i], y[at.ROW_X2 + i], s[at.THREE_QUARTER + i], 2.0 * chords)
        dy[at.ROW_X1 + i] = d1
        dy[at.ROW_X2 + i] = d2
        dy[at.ROW_F + i] = aero.separation_rate(f, s[at.F_STATIC + i], chords)


@njit(**LEAN)
def sum_loads(load, total, s, k, first, count, hub, frame, scalars):
    """Sum one blade's loads: generalised loads of its shapes, and the hub's totals.

    Parameters
    ----------
    load : (SHAPES,) float64 [N] or, for hinges, [N m] - written
    total : (4,) float64 - added to: force along x [N], along y [N], moment about y at the hub [N m],
        torque about the shaft [N m]
    """
    cb, sb = frame[0], frame[1]
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    inward = scalars[at.SIDE] * scalars[at.SIN_CONE]
    fx = fy = my = torque = 0.0
    l0 = l1 = l2 = l3 = l4 = 0.0
    hx, hz = hub[0], hub[2]
    s, k = s[first:], k[first:]
    for i in range(count):
        width = k[at.DR + i]
        pn, pt = s[at.PN + i] * width, s[at.PT + i] * width
        px, py = pn * cb + pt * sb, pt * cb - pn * sb
        l0 += px * k[at.PHI_X + i] + py * k[at.PHI_Y + i]
        l1 += px * k[at.PHI_X + at.WIDTH + i] + py * k[at.PHI_Y + at.WIDTH + i]
        l2 += px * k[at.PHI_X + 2 * at.WIDTH + i] + py * k[at.PHI_Y + 2 * at.WIDTH + i]
        l3 += px * k[at.PHI_X + 3 * at.WIDTH + i] + py * k[at.PHI_Y + 3 * at.WIDTH + i]
        l4 += px * k[at.PHI_X + 4 * at.WIDTH + i] + py * k[at.PHI_Y + 4 * at.WIDTH + i]
        gx = pn * nx + pt * tx
        fx += gx
        fy += pn * ny + pt * ty
        my += (s[at.Z + i] - hz) * gx - (s[at.X + i] - hx) * (pn * nz + pt * tz)
        torque += s[at.RHO + i] * pt + inward * s[at.V + i] * pn
    load[0], load[1], load[2], load[3], load[4] = l0, l1, l2, l3, l4
    total[0] += fx
    total[1] += fy
    total[2] += my
    total[3] += torque
