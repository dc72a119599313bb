"""What happens at all stations of all blades at once: where they are, what wind they meet, what they feel.

The loops over stations. Loops that only compute stand apart from loops that look up tables, so that the
compiler vectorises the former; every array is a row of fixed width in one of four packed arrays.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import aero
from sim.kernels.aero import FLAGS
from sim.kernels.inflow import bilinear, dam, fade, wake_shape
from sim.kernels.layout import (
    ACROSS,
    ALPHA,
    ANGLE,
    ARM,
    CD,
    CHORD,
    CL_ATT,
    CL_SEP,
    COS,
    COS_CONE,
    DENSITY,
    DR,
    F_STATIC,
    FLAT,
    HUB_RADIUS,
    LIFT_P,
    LIFT_S,
    PHI_X,
    PHI_Y,
    PN,
    PREBEND,
    PT,
    RHO,
    ROW_F,
    ROW_W,
    ROW_X1,
    ROW_X2,
    ROW_Z,
    SIDE,
    SIN,
    SIN_CONE,
    SPEED2,
    STATIONS,
    THREE_QUARTER,
    TIP_RADIUS,
    TOWER_BASE_RADIUS,
    TOWER_DRAG,
    TOWER_HEIGHT,
    TOWER_TOP_RADIUS,
    TWIST,
    UD,
    V0,
    VD,
    VN,
    VT,
    WIDTH,
    WX,
    WY,
    WZ,
    A,
    R,
    U,
    V,
    X,
    Y,
    Z,
)

DEGREE = 57.29577951308232
SLOWEST = 0.5  #: wind through the rotor that the momentum balance sees at least [m/s]
FASTEST = 80.0  #: chords per second beyond which a section's lags are held: 21 ms where a slender tip has 10


@njit(**FLAGS)
def place_stations(s, k, first, count, q, qd, hub, frame, scalars):
    """Write position, radius and velocity of one blade's stations into scratch ``s``; ``k`` are constants."""
    cb, sb = frame[0], frame[1]
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    ax, ay, az = frame[10], frame[11], frame[12]
    pitch_rate = frame[20]
    c, lean = scalars[COS_CONE], scalars[SIDE] * scalars[SIN_CONE]
    q0, q1, q2 = q[0], q[1], q[2]
    d0, d1, d2 = qd[0], qd[1], qd[2]
    hx, hy, hz = hub[0], hub[1], hub[2]
    s, k = s[first:], k[first:]
    for i in range(count):
        x0, x1, x2 = k[PHI_X * WIDTH + i], k[(PHI_X + 1) * WIDTH + i], k[(PHI_X + 2) * WIDTH + i]
        y0, y1, y2 = k[PHI_Y * WIDTH + i], k[(PHI_Y + 1) * WIDTH + i], k[(PHI_Y + 2) * WIDTH + i]
        x = k[PREBEND * WIDTH + i] + x0 * q0 + x1 * q1 + x2 * q2
        y = y0 * q0 + y1 * q1 + y2 * q2
        xd = x0 * d0 + x1 * d1 + x2 * d2
        yd = y0 * d0 + y1 * d1 + y2 * d2
        z = (
            k[R * WIDTH + i]
            - (
                k[LIFT_P * WIDTH + i] * q0
                + k[(LIFT_P + 1) * WIDTH + i] * q1
                + k[(LIFT_P + 2) * WIDTH + i] * q2
            )
            - 0.5
            * (
                k[LIFT_S * WIDTH + i] * q0 * q0
                + k[(LIFT_S + 3) * WIDTH + i] * q1 * q1
                + k[(LIFT_S + 5) * WIDTH + i] * q2 * q2
            )
            - (
                k[(LIFT_S + 1) * WIDTH + i] * q0 * q1
                + k[(LIFT_S + 2) * WIDTH + i] * q0 * q2
                + k[(LIFT_S + 4) * WIDTH + i] * q1 * q2
            )
        )
        u = x * cb - y * sb
        v = x * sb + y * cb
        s[X * WIDTH + i] = hx + ax * z + nx * u + tx * v
        s[Y * WIDTH + i] = hy + ay * z + ny * u + ty * v
        s[Z * WIDTH + i] = hz + az * z + nz * u + tz * v
        s[RHO * WIDTH + i] = z * c - lean * u
        s[V * WIDTH + i] = v
        s[UD * WIDTH + i] = xd * cb - yd * sb - pitch_rate * v
        s[VD * WIDTH + i] = xd * sb + yd * cb + pitch_rate * u


@njit(**FLAGS)
def read_wind(s, count, plane, ny, nz, y0, z0, dy, dz):
    """Read the longitudinal wind of every station from the plane; z0 is a height above ground."""
    over_y, over_z = 1.0 / dy, 1.0 / dz
    for i in range(count):
        s[ACROSS * WIDTH + i] = 0.0
        s[U * WIDTH + i] = bilinear(
            plane, ny, nz, (s[Y * WIDTH + i] - y0) * over_y, (s[Z * WIDTH + i] - z0) * over_z
        )


@njit(**FLAGS)
def face_wind(s, first, count, hub, frame, air):
    """Write the wind of one blade's stations, relative to the moving tower top, along n and t of the blade.

    Parameters
    ----------
    air : (8,) float64 - sine and cosine of the wind's direction, tangent and cosine of its upflow, veer
        [rad/m], rotor speed [rad/s], fore-aft and side-side rates of the tower top [m/s]

    Notes
    -----
    Two loops, because one is not vectorised: ground components first, then components of the blade.
    """
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    az, slope, lever_x, lever_y = frame[12], frame[16], frame[17], frame[18]
    sin_dir, cos_dir, rise, level = air[0], air[1], air[2], air[3]
    veer, omega, rate_x, rate_y = air[4], air[5], air[6], air[7]
    hz = hub[2]
    s = s[first:]
    for i in range(count):
        turn = veer * (s[Z * WIDTH + i] - hz)
        sd = sin_dir + turn * (cos_dir - 0.5 * turn * sin_dir)
        cd = cos_dir - turn * (sin_dir + 0.5 * turn * cos_dir)
        along, across = s[U * WIDTH + i] * level, s[ACROSS * WIDTH + i] * level
        s[WX * WIDTH + i] = along * cd + across * sd - rate_x * (lever_x + slope * az * s[RHO * WIDTH + i])
        s[WY * WIDTH + i] = across * cd - along * sd - rate_y * lever_y
        s[WZ * WIDTH + i] = along * rise
    for i in range(count):
        wx, wy, wz = s[WX * WIDTH + i], s[WY * WIDTH + i], s[WZ * WIDTH + i]
        s[VN * WIDTH + i] = wx * nx + wy * ny + wz * nz
        s[VT * WIDTH + i] = omega * s[RHO * WIDTH + i] + s[VD * WIDTH + i] - (wx * tx + wy * ty + wz * tz)


@njit(**FLAGS)
def meet_air(s, y, k, first, count, frame, omega):
    """Write speed, inflow angle and angle of attack of one blade's stations, induction included."""
    pitch, pitch_rate = frame[19], frame[20]
    s, k, y = s[first:], k[first:], y[FLAT + first :]
    for i in range(count):
        w = y[ROW_W * WIDTH + i]
        v0 = max(abs(s[VN * WIDTH + i]), SLOWEST)
        a = min(max(w / v0, -0.5), 0.95)
        turning = omega * s[RHO * WIDTH + i]
        vt = s[VT * WIDTH + i] + aero.swirl(a, v0, turning) * turning
        vn = s[VN * WIDTH + i] - s[UD * WIDTH + i] - w
        speed2 = vn * vn + vt * vt + 1e-6
        over = 1.0 / math.sqrt(speed2)
        s[SPEED2 * WIDTH + i] = speed2
        s[SIN * WIDTH + i] = vn * over
        s[COS * WIDTH + i] = vt * over
        s[V0 * WIDTH + i] = v0
        s[A * WIDTH + i] = a
        angle = aero.arc_tangent(vn, vt) - pitch - k[TWIST * WIDTH + i]
        three_quarter = angle - k[ARM * WIDTH + i] * pitch_rate * over
        s[ANGLE * WIDTH + i] = angle
        s[THREE_QUARTER * WIDTH + i] = three_quarter
        s[ALPHA * WIDTH + i] = aero.effective_angle(
            y[ROW_X1 * WIDTH + i], y[ROW_X2 * WIDTH + i], three_quarter
        )


@njit(**FLAGS)
def part_air(s, first, count, sin_dir, cos_dir, scalars):
    """Let the tower slow and part the wind of the stations before it (rotors upwind of the tower)."""
    base_radius, top = scalars[TOWER_BASE_RADIUS], scalars[TOWER_HEIGHT]
    taper = (scalars[TOWER_TOP_RADIUS] - base_radius) / top
    s = s[first:]
    for i in range(count):
        height = s[Z * WIDTH + i]
        radius = base_radius + taper * min(height, top)
        px = s[X * WIDTH + i] * cos_dir - s[Y * WIDTH + i] * sin_dir
        py = s[X * WIDTH + i] * sin_dir + s[Y * WIDTH + i] * cos_dir
        along, across = dam(px, py, radius)
        share = fade(height, top, radius) * s[U * WIDTH + i]
        s[U * WIDTH + i] += share * (along - 1.0)
        s[ACROSS * WIDTH + i] = share * across


@njit(**FLAGS)
def shade_air(s, first, count, sin_dir, cos_dir, scalars):
    """Lower the wind of the stations in the tower's wake (rotors downwind of the tower)."""
    base_radius, top = scalars[TOWER_BASE_RADIUS], scalars[TOWER_HEIGHT]
    taper = (scalars[TOWER_TOP_RADIUS] - base_radius) / top
    s = s[first:]
    for i in range(count):
        height = s[Z * WIDTH + i]
        radius = base_radius + taper * min(height, top)
        px = s[X * WIDTH + i] * cos_dir - s[Y * WIDTH + i] * sin_dir
        py = s[X * WIDTH + i] * sin_dir + s[Y * WIDTH + i] * cos_dir
        depth, width = wake_shape(px, radius, scalars[TOWER_DRAG])
        if px > 0.0 and abs(py) < 0.5 * width:
            shape = math.cos(math.pi * py / width)
            s[U * WIDTH + i] *= 1.0 - depth * shape * shape * fade(height, top, radius)


@njit(**FLAGS)
def read_polars(s, count, polars):
    """Read every station's section tables at its effective angle of attack; linear between whole degrees."""
    for i in range(count):
        place = (s[ALPHA * WIDTH + i] * DEGREE + 180.0) % 360.0
        j = min(int(place), 359)
        g = place - j
        table = polars[i % STATIONS]
        s[CL_ATT * WIDTH + i] = table[j, 0] + g * (table[j + 1, 0] - table[j, 0])
        s[F_STATIC * WIDTH + i] = table[j, 1] + g * (table[j + 1, 1] - table[j, 1])
        s[CL_SEP * WIDTH + i] = table[j, 2] + g * (table[j + 1, 2] - table[j, 2])
        s[CD * WIDTH + i] = table[j, 3] + g * (table[j + 1, 3] - table[j, 3])


@njit(**FLAGS)
def feel_loads(s, y, dy, k, count, scalars, blade_count):
    """Write the loads per unit length of all stations and the rates of their inflow and lag states."""
    half_density, tip, root = 0.5 * scalars[DENSITY], scalars[TIP_RADIUS], scalars[HUB_RADIUS]
    y, dy = y[FLAT:], dy[FLAT:]
    for i in range(count):
        speed2 = s[SPEED2 * WIDTH + i]
        speed = math.sqrt(speed2)
        sin, cos = s[SIN * WIDTH + i], s[COS * WIDTH + i]
        chord, radius = k[CHORD * WIDTH + i], k[R * WIDTH + i]
        f = y[ROW_F * WIDTH + i]
        lift = f * s[CL_ATT * WIDTH + i] + (1.0 - f) * s[CL_SEP * WIDTH + i]
        drag = s[CD * WIDTH + i] + (s[ANGLE * WIDTH + i] - s[ALPHA * WIDTH + i]) * lift
        cn = lift * cos + drag * sin
        head = half_density * speed2 * chord
        s[PN * WIDTH + i] = head * cn
        s[PT * WIDTH + i] = head * (lift * sin - drag * cos)
        loss = aero.prandtl_loss(blade_count, radius, tip, root, sin)
        v0 = s[V0 * WIDTH + i]
        ct = blade_count * chord * speed2 * cn / (6.283185307179586 * radius * v0 * v0)
        w_qs = aero.induction(ct, loss) * v0
        tau1, tau2 = aero.inflow_time_constants(s[A * WIDTH + i], radius, tip, v0)
        z, w = y[ROW_Z * WIDTH + i], y[ROW_W * WIDTH + i]
        dz, dw = aero.inflow_rates(z, w, w_qs, tau1, tau2)
        dy[ROW_Z * WIDTH + i] = dz
        dy[ROW_W * WIDTH + i] = dw
        over_chord = min(speed / chord, FASTEST)
        d1, d2 = aero.wagner_rates(
            y[ROW_X1 * WIDTH + i],
            y[ROW_X2 * WIDTH + i],
            s[THREE_QUARTER * WIDTH + i],
            2.0 * over_chord,
        )
        dy[ROW_X1 * WIDTH + i] = d1
        dy[ROW_X2 * WIDTH + i] = d2
        dy[ROW_F * WIDTH + i] = aero.separation_rate(f, s[F_STATIC * WIDTH + i], over_chord)


@njit(**FLAGS)
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
    inward = scalars[SIDE] * scalars[SIN_CONE]
    fx = fy = my = torque = 0.0
    l0 = l1 = l2 = l3 = l4 = 0.0
    hx, hz = hub[0], hub[2]
    s, k = s[first:], k[first:]
    for i in range(count):
        width = k[DR * WIDTH + i]
        pn, pt = s[PN * WIDTH + i] * width, s[PT * WIDTH + i] * width
        px, py = pn * cb + pt * sb, pt * cb - pn * sb
        l0 += px * k[PHI_X * WIDTH + i] + py * k[PHI_Y * WIDTH + i]
        l1 += px * k[(PHI_X + 1) * WIDTH + i] + py * k[(PHI_Y + 1) * WIDTH + i]
        l2 += px * k[(PHI_X + 2) * WIDTH + i] + py * k[(PHI_Y + 2) * WIDTH + i]
        l3 += px * k[(PHI_X + 3) * WIDTH + i] + py * k[(PHI_Y + 3) * WIDTH + i]
        l4 += px * k[(PHI_X + 4) * WIDTH + i] + py * k[(PHI_Y + 4) * WIDTH + i]
        gx = pn * nx + pt * tx
        fx += gx
        fy += pn * ny + pt * ty
        my += (s[Z * WIDTH + i] - hz) * gx - (s[X * WIDTH + i] - hx) * (pn * nz + pt * tz)
        torque += s[RHO * WIDTH + i] * pt + inward * s[V * WIDTH + i] * pn
    load[0], load[1], load[2], load[3], load[4] = l0, l1, l2, l3, l4
    total[0] += fx
    total[1] += fy
    total[2] += my
    total[3] += torque
