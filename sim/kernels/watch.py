"""What of one lane's motion is noticed as it happens: outputs, passes, turning points, sums, ends."""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import layout as at
from sim.kernels import structure
from sim.kernels.aero import INLINE, LEAN
from sim.kernels.cycles import record_turning
from sim.kernels.machine import blade_pitch, servo_torque
from sim.kernels.passing import clearance, hermite, vertex
from sim.kernels.step import blade_frame, place_hub

LOOK = 0.35  #: azimuth from the tower within which a blade is watched [rad]
LOOK_CLOSE = 0.12  #: azimuth within which its path is sampled between steps [rad]
SAMPLES = 8  #: samples in a step while it is close
MOVING = math.radians(0.1)  #: pitch rate above which a servo counts as moving [rad/s]
RUNNING, STRUCK, NOT_FINITE, OVERSPEED, OUT_OF_RANGE = 0, 1, 6, 7, 8  #: as in sim.interface.Status


@njit(**INLINE)
def from_tower(azimuth):
    """Return the azimuth measured from the tower (blade down), in (-pi, pi] [rad]."""
    turns = azimuth / (2.0 * math.pi)
    return 2.0 * math.pi * (turns - math.floor(turns)) - math.pi


@njit(**INLINE)
def put_out(out, y, dy, d, design, work, blade_count):
    """Write what can be measured at this instant; ``work`` is as ``evaluate`` left it."""
    scalars = design.scalars[d]
    accelerations, total = work.accelerations, work.total
    for b in range(blade_count):
        mode_accelerations = work.mode_accelerations
        for i in range(at.MODES):
            mode_accelerations[i] = structure.own_acceleration(
                i, work.couple[b], design.inverse[d, b], accelerations
            )
        matrices = design.matrices[d, b]
        out[at.OUT_FLAP + b] = structure.reaction(
            3, work.couple[b], matrices, mode_accelerations, accelerations
        )
        out[at.OUT_EDGE + b] = structure.reaction(
            4, work.couple[b], matrices, mode_accelerations, accelerations
        )
        root_moment = math.hypot(out[at.OUT_FLAP + b], out[at.OUT_EDGE + b])
        out[at.OUT_SERVO + b] = servo_torque(b, y, dy, d, design, work, root_moment)
        out[at.OUT_PITCH + b] = y[at.PITCH + b]
        out[at.OUT_RATE + b] = y[at.RATE + b]
        tip = design.stations[d]
        column = at.TIP_COLUMN + b
        out[at.OUT_TIP + b] = (
            tip[at.PHI_X + column] * y[at.Q + at.MODES * b]
            + tip[at.PHI_X + at.WIDTH + column] * y[at.Q + at.MODES * b + 1]
            + tip[at.PHI_X + 2 * at.WIDTH + column] * y[at.Q + at.MODES * b + 2]
        )
        mean = 0.0
        for i in range(b * at.STATIONS + at.STATIONS // 2, (b + 1) * at.STATIONS):
            mean += work.scratch[at.WX + i]
        out[at.OUT_STATION_WIND + b] = mean / (at.STATIONS - at.STATIONS // 2)
    out[at.OUT_AZIMUTH] = y[at.AZIMUTH] % (2.0 * math.pi)
    out[at.OUT_SPEED] = y[at.SPEED]
    out[at.OUT_FA_ACCELERATION], out[at.OUT_SS_ACCELERATION] = accelerations[0], accelerations[1]
    out[at.OUT_WIND] = work.at_hub[0]
    out[at.OUT_DIRECTION] = math.atan2(-work.at_hub[2], work.at_hub[1])
    out[at.OUT_POWER] = y[at.TORQUE] * y[at.SPEED] * scalars[at.EFFICIENCY]
    out[at.OUT_THRUST] = total[0]
    out[at.OUT_TORQUE] = total[3]
    out[at.OUT_FA_BASE] = scalars[at.FA_BASE] * y[at.TOWER]
    out[at.OUT_SS_BASE] = scalars[at.SS_BASE] * y[at.TOWER + 2]
    out[at.OUT_FA], out[at.OUT_SS] = y[at.TOWER], y[at.TOWER + 2]


@njit(**INLINE)
def clearance_between(t, h, b, y, dy, d, design, work, blade_count):
    """Return (clearance, radius, azimuth, pitch) of blade ``b`` at the share ``t`` of the last step."""
    y0, d0 = work.start, work.start_rate
    now = work.between
    for i in range(at.FLAT):
        now[i] = hermite(y0[i], d0[i], y[i], dy[i], h, t)
    scalars = design.scalars[d]
    tilt = place_hub(work.hub_between, now, scalars)
    azimuth = now[at.AZIMUTH] + 2.0 * math.pi * b / blade_count
    pitch = blade_pitch(now[at.HELD + b], now[at.PITCH + b], design.blades[d, b, at.HALF_PLAY])
    frame = work.frame_between
    blade_frame(frame, azimuth, pitch + design.blades[d, b, at.PITCH_OFFSET], 0.0, tilt, scalars)
    gap, radius = clearance(
        now[at.Q + at.MODES * b : at.Q + at.MODES * (b + 1)],
        now[at.TOWER],
        now[at.TOWER + 2],
        work.hub_between,
        frame,
        b * at.STATIONS,
        design.stations[d],
        scalars,
        design.tower_shape[d],
    )
    return gap, radius, azimuth, pitch


@njit(**INLINE)
def watch_blade(search, b, time, h, y, dy, d, design, work, blade_count):
    """Follow blade ``b`` past the tower through the last step; return its clearance at the step's end.

    Returns
    -------
    float64 [m] - nan while the blade is out of sight
    int - 1 if a pass was completed in this step, else 0

    Notes
    -----
    While the blade is close, the step is sampled at its eighths and the lowest three samples make a parabola.
    A pass whose least sample has no neighbour on one side keeps that sample.
    """
    shift = 2.0 * math.pi * b / blade_count
    before, after = from_tower(work.start[at.AZIMUTH] + shift), from_tower(y[at.AZIMUTH] + shift)
    if after < -LOOK or after > LOOK:
        done = 1 if search[at.LEAST] < math.inf else 0
        return math.nan, done
    samples = SAMPLES if min(abs(before), abs(after)) < LOOK_CLOSE else 1
    gap = math.nan
    for n in range(1, samples + 1):
        gap, radius, azimuth, pitch = clearance_between(
            n / samples, h, b, y, dy, d, design, work, blade_count
        )
        if gap < search[at.LEAST]:
            search[at.LEAST] = gap
            search[at.LEAST_TIME] = time + h * n / samples
            search[at.LEAST_RADIUS], search[at.LEAST_AZIMUTH] = radius, azimuth % (2.0 * math.pi)
            search[at.LEAST_PITCH] = pitch
            search[at.LEAST_WIND] = work.at_hub[0]
        elif (
            samples == SAMPLES and search[at.LAST] == search[at.LEAST] and search[at.LAST_BUT_ONE] < math.inf
        ):
            offset, least = vertex(search[at.LAST_BUT_ONE], search[at.LAST], gap)
            search[at.LEAST] = least
            search[at.LEAST_TIME] += offset * h / samples
            search[at.LEAST_AZIMUTH] += offset * h / samples * y[at.SPEED]
        search[at.LAST_BUT_ONE] = search[at.LAST] if samples == SAMPLES else math.inf
        search[at.LAST] = gap
    return gap, 0


@njit(**LEAN)
def close_pass(lane, b, tick, lanes, log):
    """Book a completed pass and make ready for the blade's next one."""
    search = lanes.search[lane, b]
    lanes.last_pass[lane, b] = search[at.LEAST]
    lanes.last_pass_tick[lane, b] = tick
    if tick >= log.judged_from[lane]:
        n = log.pass_count[lane]
        if n < log.passes.shape[1]:
            row = log.passes[lane, n]
            row[at.PASS_BLADE], row[at.PASS_TIME] = b, search[at.LEAST_TIME]
            row[at.PASS_AZIMUTH], row[at.PASS_RADIUS] = search[at.LEAST_AZIMUTH], search[at.LEAST_RADIUS]
            row[at.PASS_CLEARANCE], row[at.PASS_PITCH] = search[at.LEAST], search[at.LEAST_PITCH]
            row[at.PASS_WIND] = search[at.LEAST_WIND]
            row[at.PASS_FIRST_ACT], row[at.PASS_TICK] = lanes.first_act[lane, b], tick
            log.pass_count[lane] = n + 1
        lanes.totals[lane, at.MIN_CLEARANCE] = min(lanes.totals[lane, at.MIN_CLEARANCE], search[at.LEAST])
        if search[at.LEAST] <= 0.0 and lanes.status[lane] == RUNNING:
            lanes.status[lane] = STRUCK
            lanes.status_time[lane] = search[at.LEAST_TIME]
    lanes.first_act[lane, b] = -1
    search[at.LEAST] = search[at.LAST] = search[at.LAST_BUT_ONE] = math.inf


@njit(**INLINE)
def add_up(lane, period, lanes, log, channels, blade_count):
    """Add one judged period to the sums, the largest values and the turning points.

    Parameters
    ----------
    channels : (TURNING,) float64 - as ``loads.gather_channels`` wrote them
    """
    out, totals = lanes.out[lane], lanes.totals[lane]
    totals[at.SUM_TIME] += period
    totals[at.SUM_ENERGY] += out[at.OUT_POWER] * period
    totals[at.SUM_WIND] += out[at.OUT_WIND] * period
    totals[at.MAX_SPEED] = max(totals[at.MAX_SPEED], out[at.OUT_SPEED])
    totals[at.MAX_THRUST] = max(totals[at.MAX_THRUST], out[at.OUT_THRUST])
    for b in range(blade_count):
        add_up_servo(b, period, out, totals, channels[at.TURN_RESULTANT + b])
        totals[at.MAX_TIP] = max(totals[at.MAX_TIP], abs(out[at.OUT_TIP + b]))
    for c in range(at.TURNING):
        totals[at.LARGEST + c] = max(totals[at.LARGEST + c], abs(channels[c]))
    if log.turning.shape[2] > 0:
        state, points, count = log.turning_state[lane], log.turning[lane], log.turning_count[lane]
        for c in range(at.TURNING):
            count[c] = record_turning(channels[c], state[c], points[c], count[c])


@njit(**INLINE)
def add_up_servo(b, period, out, totals, root_moment):
    """Add one judged period of servo ``b``: travel, travel under load, motion, starts, work.

    Notes
    -----
    It counts as moving above MOVING, and a start is the first period of a motion.
    """
    rate, torque = abs(out[at.OUT_RATE + b]), out[at.OUT_SERVO + b]
    power = max(torque * out[at.OUT_RATE + b], 0.0)
    totals[at.SUM_TRAVEL + b] += rate * period
    totals[at.SUM_LOADED_TRAVEL + b] += rate * root_moment
    totals[at.SUM_WORK + b] += power * period
    totals[at.MAX_RATE + b] = max(totals[at.MAX_RATE + b], rate)
    totals[at.MAX_SERVO_TORQUE + b] = max(totals[at.MAX_SERVO_TORQUE + b], abs(torque))
    totals[at.MAX_SERVO_POWER + b] = max(totals[at.MAX_SERVO_POWER + b], power)
    moves = 1.0 if rate > MOVING else 0.0
    totals[at.SUM_MOVING + b] += moves * period
    totals[at.SUM_STARTS + b] += moves * (1.0 - totals[at.WAS_MOVING + b])
    totals[at.WAS_MOVING + b] = moves


@njit(**INLINE)
def check_lane(lane, time, lanes, design, blade_count):
    """Set the lane's status where its state left the range in which the model holds."""
    y, d = lanes.y[lane], lanes.design[lane]
    total = 0.0
    for i in range(at.FLAT):  # what is lost at a station is in every blade's motion a period later
        total += y[i] * 0.0
    if total != 0.0:
        lanes.status[lane], lanes.status_time[lane] = NOT_FINITE, time
        return
    for b in range(blade_count):
        if abs(y[at.Q + at.MODES * b]) > design.scalars[d, at.DEFLECTION_LIMIT]:
            lanes.status[lane], lanes.status_time[lane] = OUT_OF_RANGE, time
            return
    if y[at.SPEED] > 1.5 * design.scalars[d, at.RATED_SPEED] and lanes.status[lane] == RUNNING:
        lanes.status[lane], lanes.status_time[lane] = OVERSPEED, time
