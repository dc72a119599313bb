"""How does every lane advance by one controller period: the one place where the parts meet.

Fourth-order Runge-Kutta with commands held over the period. The rate at the end of a step is that at the
beginning of the next, so it is computed once; the servos' and the generator's part, which alone see the
new commands, is written anew.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import layout as at
from sim.kernels import stations, structure
from sim.kernels.aero import INLINE, LEAN
from sim.kernels.inflow import wind_plane
from sim.kernels.machine import blade_pitch, servo_acceleration, torque_rate


@njit(**INLINE)
def place_hub(hub, y, scalars):
    """Write the hub centre [m] and return the tilt [rad] of the shaft, both moved by the tower's sway."""
    side, tilt = scalars[at.SIDE], scalars[at.TILT]
    x, ss = y[at.TOWER], y[at.TOWER + 2]
    hub[0] = side * scalars[at.OVERHANG] * math.cos(tilt) + scalars[at.FA_LEVER] * x
    hub[1] = scalars[at.SS_LEVER] * ss
    hub[2] = scalars[at.HUB_HEIGHT]
    return tilt - side * scalars[at.FA_SLOPE] * x


@njit(**INLINE)
def blade_frame(frame, azimuth, pitch, pitch_rate, tilt, scalars):
    """Write one blade's directions.

    Parameters
    ----------
    frame : (21,) float64 - written: cosine and sine of pitch; sine and cosine of azimuth; unit vectors
        normal n (downwind), motion t, along the blade a, radial r in the ground frame; the tower's slope
        and levers; pitch [rad] and its rate [rad/s]
    azimuth, pitch, tilt : float64 [rad] - of this blade, its own pitch offset included
    """
    side, c, s = scalars[at.SIDE], scalars[at.COS_CONE], scalars[at.SIN_CONE]
    ct, st = math.cos(tilt), side * math.sin(tilt)
    ca, sa = math.cos(azimuth), math.sin(azimuth)
    frame[0], frame[1] = math.cos(pitch), math.sin(pitch)
    frame[2], frame[3] = sa, ca
    rx, ry, rz = -st * ca, -sa, ct * ca
    frame[4], frame[5], frame[6] = c * ct - side * s * rx, -side * s * ry, c * st - side * s * rz
    frame[7], frame[8], frame[9] = st * sa, -ca, -ct * sa
    frame[10], frame[11], frame[12] = c * rx + side * s * ct, c * ry, c * rz + side * s * st
    frame[13], frame[14], frame[15] = rx, ry, rz
    frame[16], frame[17], frame[18] = scalars[at.FA_SLOPE], scalars[at.FA_LEVER], scalars[at.SS_LEVER]
    frame[19], frame[20] = pitch, pitch_rate


@njit(**INLINE)
def blow(s, y, hub, frames, work, blade_count, wind, k, scalars):
    """Let the air of the moment meet every station: positions, wind, inflow angles."""
    air = work.air
    air[0], air[1], air[2] = y[at.SPEED], y[at.TOWER + 1], y[at.TOWER + 3]
    count = blade_count * at.STATIONS
    for b in range(blade_count):
        q = y[at.Q + at.MODES * b : at.Q + at.MODES * (b + 1)]
        qd = y[at.QD + at.MODES * b : at.QD + at.MODES * (b + 1)]
        stations.place_stations(s, k, b * at.STATIONS, at.STATIONS, q, qd, hub, frames[b], scalars)
    stations.read_wind(
        s,
        count,
        work.plane,
        wind.points[1],
        wind.points[0],
        wind.box_y0,
        wind.box_z0 + scalars[at.HUB_HEIGHT],
        wind.box_dy,
        wind.box_dz,
    )
    for b in range(blade_count):
        if frames[b, 12] < 0.0:
            if scalars[at.SIDE] < 0.0:
                stations.part_air(s, b * at.STATIONS, at.STATIONS, scalars)
            else:
                stations.shade_air(s, b * at.STATIONS, at.STATIONS, scalars)
        stations.face_wind(s, b * at.STATIONS, at.STATIONS, frames[b], air)
        stations.meet_air(s, y, k, b * at.STATIONS, at.STATIONS, frames[b], y[at.SPEED])


@njit(**INLINE)
def move(y, dy, d, design, frames, work, blade_count, shapes):
    """Write the accelerations of blades, tower top and rotor under the loads in ``work``."""
    scalars = design.scalars[d]
    shared, couple, total, accelerations = work.shared, work.couple, work.total, work.accelerations
    x, rate_x, ss, rate_y = y[at.TOWER], y[at.TOWER + 1], y[at.TOWER + 2], y[at.TOWER + 3]
    torque = y[at.TORQUE]
    shared[:] = 0.0
    shared[structure.M_XX] = scalars[at.FA_MASS]
    shared[structure.M_YY] = scalars[at.SS_MASS]
    shared[structure.M_OO] = scalars[at.ROTOR_INERTIA]
    shared[structure.R_X] = (
        scalars[at.FA_LEVER] * total[0]
        + scalars[at.FA_SLOPE] * total[2]
        + scalars[at.FA_GRAVITY]
        - scalars[at.FA_STIFFNESS] * x
        - scalars[at.FA_DAMPING] * rate_x
    )
    shared[structure.R_Y] = (
        scalars[at.SS_LEVER] * total[1]
        - scalars[at.SS_SLOPE] * torque
        - scalars[at.SS_STIFFNESS] * ss
        - scalars[at.SS_DAMPING] * rate_y
    )
    shared[structure.R_O] = total[3] - torque
    for b in range(blade_count):
        structure.blade_terms(
            couple[b],
            shared,
            y[at.Q + at.MODES * b : at.Q + at.MODES * (b + 1)],
            y[at.QD + at.MODES * b : at.QD + at.MODES * (b + 1)],
            work.load[b],
            y[at.SPEED],
            rate_x,
            frames[b],
            scalars,
            design.blades[d, b],
            design.vectors[d, b],
            design.matrices[d, b],
            shapes,
        )
        structure.eliminate_blade(shared, couple[b], design.inverse[d, b])
    structure.solve_shared(accelerations, shared)
    for b in range(blade_count):
        for i in range(at.MODES):
            dy[at.Q + at.MODES * b + i] = y[at.QD + at.MODES * b + i]
            dy[at.QD + at.MODES * b + i] = structure.own_acceleration(
                i, couple[b], design.inverse[d, b], accelerations
            )
        dy[at.PITCH + b] = y[at.RATE + b]
    dy[at.TOWER], dy[at.TOWER + 1] = rate_x, accelerations[0]
    dy[at.TOWER + 2], dy[at.TOWER + 3] = rate_y, accelerations[1]
    dy[at.AZIMUTH], dy[at.SPEED] = y[at.SPEED], accelerations[2]


@njit(**LEAN)
def evaluate(y, dy, d, design, wind, work, blade_count, shapes):
    """Write the rate of one lane's state, all but the servos' and the generator's part.

    ``shapes`` is MODES, or SHAPES where root moments are wanted from ``work`` afterwards.
    """
    scalars, k = design.scalars[d], design.stations[d]
    s, hub, frames = work.scratch, work.hub, work.frames
    tilt = place_hub(hub, y, scalars)
    for b in range(blade_count):
        azimuth = y[at.AZIMUTH] + 2.0 * math.pi * b / blade_count
        half_play = design.blades[d, b, at.HALF_PLAY]
        pitch = blade_pitch(y[at.HELD + b], y[at.PITCH + b], half_play)
        rate = 0.0 if abs(y[at.PITCH + b] - pitch) < half_play else y[at.RATE + b]
        blade_frame(frames[b], azimuth, pitch + design.blades[d, b, at.PITCH_OFFSET], rate, tilt, scalars)
    blow(s, y, hub, frames, work, blade_count, wind, k, scalars)
    count = blade_count * at.STATIONS
    stations.read_polars(s, blade_count, design.polars[d])
    stations.feel_loads(s, y, dy, k, count, scalars, blade_count)
    work.total[:] = 0.0
    for b in range(blade_count):
        stations.sum_loads(
            work.load[b], work.total, s, k, b * at.STATIONS, at.STATIONS, hub, frames[b], scalars
        )
    move(y, dy, d, design, frames, work, blade_count, shapes)


@njit(**INLINE)
def command_machine(y, dy, d, design, pitch_command, rate_limit, torque_command, blade_count):
    """Write the part of the rate that sees the commands: pitch accelerations and generator torque."""
    scalars = design.scalars[d]
    for b in range(blade_count):
        servo = design.blades[d, b]
        dy[at.RATE + b] = servo_acceleration(
            y[at.PITCH + b],
            y[at.RATE + b],
            pitch_command[b],
            servo[at.SERVO_FREQUENCY],
            scalars[at.PITCH_DAMPING],
            servo[at.SERVO_RATE] if rate_limit[b] < 0.0 else rate_limit[b],
            servo[at.SERVO_ACCELERATION],
        )
    dy[at.TORQUE] = torque_rate(y[at.TORQUE], torque_command, scalars[at.TORQUE_LAG])


@njit(**INLINE)
def hold_stops(y, d, design, blade_count):
    """Keep every servo within its mechanical stops, and let each blade follow through its servo's play."""
    low, high = design.scalars[d, at.PITCH_LOW], design.scalars[d, at.PITCH_HIGH]
    for b in range(blade_count):
        if y[at.PITCH + b] < low:
            y[at.PITCH + b], y[at.RATE + b] = low, max(y[at.RATE + b], 0.0)
        elif y[at.PITCH + b] > high:
            y[at.PITCH + b], y[at.RATE + b] = high, min(y[at.RATE + b], 0.0)
        y[at.HELD + b] = blade_pitch(y[at.HELD + b], y[at.PITCH + b], design.blades[d, b, at.HALF_PLAY])


@njit(**INLINE)
def runge_kutta(
    y, dy, time, h, d, design, w, wind, pitch_command, rate_limit, torque_command, work, blade_count
):
    """Advance one lane by ``h`` [s]; ``dy`` is the rate at the start and becomes that at the end."""
    y0, k1, k2, k3 = work.start, work.start_rate, work.rate_2, work.rate_3
    command_machine(y, dy, d, design, pitch_command, rate_limit, torque_command, blade_count)
    for i in range(at.STATE):
        y0[i] = y[i]
        k1[i] = dy[i]
        y[i] = y0[i] + 0.5 * h * k1[i]
    wind_plane(work, time + 0.5 * h, w, wind)
    evaluate(y, k2, d, design, wind, work, blade_count, at.MODES)
    command_machine(y, k2, d, design, pitch_command, rate_limit, torque_command, blade_count)
    for i in range(at.STATE):
        y[i] = y0[i] + 0.5 * h * k2[i]
    evaluate(y, k3, d, design, wind, work, blade_count, at.MODES)
    command_machine(y, k3, d, design, pitch_command, rate_limit, torque_command, blade_count)
    for i in range(at.STATE):
        y[i] = y0[i] + h * k3[i]
    wind_plane(work, time + h, w, wind)
    evaluate(y, dy, d, design, wind, work, blade_count, at.MODES)
    command_machine(y, dy, d, design, pitch_command, rate_limit, torque_command, blade_count)
    for i in range(at.STATE):
        y[i] = y0[i] + h / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + dy[i])
    hold_stops(y, d, design, blade_count)
    evaluate(y, dy, d, design, wind, work, blade_count, at.SHAPES)
    command_machine(y, dy, d, design, pitch_command, rate_limit, torque_command, blade_count)
