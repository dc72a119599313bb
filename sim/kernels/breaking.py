"""What do the faults of a lane make of its readings and of its commands?"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import FLAGS, INLINE, WHOLE
from sim.kernels.random import normal_pair, philox

# Kinds of fault: of sensors, then of servos, computer, generator, and the whole machine.
(BIASED, DRIFTING, NOISY, ECHO, OTHER_BLADE, FROZEN, SILENT, DELAYED) = range(1, 9)
(STUCK, SLOW, TO_FINE, TO_FEATHER, WEAK_STOP) = range(11, 16)
(LATE, HUNG, RESTARTED) = range(21, 24)
(TORQUE_LOST, GRID_LOST, EMERGENCY_STOP) = range(31, 34)
SENSORS_END = 10  #: kinds below are of sensors

PURPOSE = np.uint64(0x4641554C)  #: keeps a fault's noise apart from every other use of a lane's identity
GRID_WAIT = 0.2  #: from the loss of the grid until the safety chain stops the machine [s]; invented


@njit(**WHOLE)
def spoil(rows, condition, late, table, counts, ticks, identity, blade_count):
    """Apply every lane's sensor faults to what its sensors would measure.

    Parameters
    ----------
    rows : (lane, CHANNELS) float64 - changed where a fault bends the value itself
    condition : (lane, CHANNELS) int8 - written: FROZEN or SILENT where a channel is
    late : (lane, CHANNELS) int64 - written: ticks of delay on top of the sensor's own
    table : (lane, room, FAULT_WIDTH) float64
    counts, ticks : (lane,) int64, identity : (lane,) uint64

    Notes
    -----
    A drift grows evenly to its size at the fault's end. A delay grows tick by tick to its size, so that the
    readings stand still first and then run late. An echo replaces what is seen, and nothing unseen.
    """
    clean = np.zeros(rows.shape[1])
    for lane in range(rows.shape[0]):
        if counts[lane] > 0:
            for c in range(rows.shape[1]):
                clean[c] = rows[lane, c]
        tick = ticks[lane]
        for n in range(counts[lane]):
            kind = int(table[lane, n, at.FAULT_KIND])
            begun, until = table[lane, n, at.FAULT_FROM], table[lane, n, at.FAULT_UNTIL]
            if kind >= SENSORS_END or tick < begun or tick >= until:
                continue
            first, columns = int(table[lane, n, at.FAULT_CHANNEL]), int(table[lane, n, at.FAULT_COLUMNS])
            blade, size = int(table[lane, n, at.FAULT_BLADE]), table[lane, n, at.FAULT_SIZE]
            for place in range(columns):
                c = first + place
                if blade >= 0 and place != blade:
                    continue
                if kind == DELAYED:
                    late[lane, c] = max(late[lane, c], int(min(size, tick - begun)))
                elif kind in (FROZEN, SILENT):
                    condition[lane, c] = max(condition[lane, c], kind)
                elif kind == OTHER_BLADE:
                    rows[lane, c] = clean[first + (place + 1) % blade_count]
                elif kind == ECHO:
                    rows[lane, c] = size if not math.isnan(rows[lane, c]) else rows[lane, c]
                else:
                    share = (tick - begun) / (until - begun)
                    rows[lane, c] += size * bend(kind, share, tick, c, identity[lane])


@njit(**INLINE)
def bend(kind, share, tick, c, identity):
    """Return by how many times its size a fault bends a value; ``share`` of its time is over."""
    if kind == DRIFTING:
        return share
    if kind == NOISY:
        a, b, _, _ = philox(np.uint64(tick), np.uint64(c), identity, PURPOSE)
        return normal_pair(a, b)[0]
    return 1.0


@njit(**INLINE)
def lateness(table, count, tick):
    """Return by how many ticks a lane's computer is late now; it grows tick by tick to the fault's size."""
    late = 0
    for n in range(count):
        if int(table[n, at.FAULT_KIND]) == LATE and (
            table[n, at.FAULT_FROM] <= tick < table[n, at.FAULT_UNTIL]
        ):
            late = max(late, int(min(table[n, at.FAULT_SIZE], tick - table[n, at.FAULT_FROM])))
    return late


@njit(**INLINE)
def break_machine(lane, pitch, torque, rate, faults, tick, low, high):
    """Apply one lane's faults of servos, generator and grid to its commands; return the torque.

    Parameters
    ----------
    pitch : (BLADES,) float64 [rad] - commanded, changed
    torque : float64 [N m]
    rate : (BLADES,) float64 [rad/s] - limit of each servo's rate, changed
    low, high : float64 [rad] - stops

    Notes
    -----
    A stuck servo stands (rate limit 0); one that runs away heeds no command, not even an emergency stop.
    """
    table = faults.table[lane]
    for n in range(faults.count[lane]):
        kind = int(table[n, at.FAULT_KIND])
        begun = table[n, at.FAULT_FROM]
        if kind < SENSORS_END or tick < begun or tick >= table[n, at.FAULT_UNTIL]:
            continue
        blade, size = int(table[n, at.FAULT_BLADE]), table[n, at.FAULT_SIZE]
        if kind in (TORQUE_LOST, GRID_LOST):
            torque = 0.0
        for b in range(pitch.shape[0]):
            if blade >= 0 and b != blade:
                continue
            if kind == STUCK:
                rate[b] = 0.0
            elif kind == SLOW or (kind == WEAK_STOP and faults.stopped[lane] >= 0):
                rate[b] *= size
            elif kind == TO_FINE:
                pitch[b] = low
            elif kind == TO_FEATHER:
                pitch[b] = high
    return torque


@njit(**INLINE)
def trip(lane, faults, tick, wait):
    """Latch an emergency stop where a fault calls for one; ``wait`` ticks after the grid is lost."""
    table = faults.table[lane]
    for n in range(faults.count[lane]):
        kind = int(table[n, at.FAULT_KIND])
        begun = table[n, at.FAULT_FROM]
        begins = tick >= begun and kind == EMERGENCY_STOP
        begins = begins or (kind == GRID_LOST and begun + wait <= tick < table[n, at.FAULT_UNTIL])
        if begins and faults.stopped[lane] < 0:
            faults.stopped[lane] = tick


@njit(**FLAGS)
def command(applied, torque, ring, asked, asked_torque, stop, lanes, faults, design, whole, share, period):
    """Write what reaches servos and generator now, of what the layers ask now.

    Parameters
    ----------
    applied : (lane, blade) float64 [rad] - written; ``lanes.rate_limit`` too
    torque : (lane,) float64 [N m] - written
    ring : (lane, depth, BLADES + 1) float64 - what was asked at past ticks, changed
    asked : (lane, blade) float64 [rad], asked_torque : (lane,) float64 [N m], stop : (lane,) bool
    whole : (lane,) int64, share : (lane,) float64 - delay of the pitch commands [ticks], and its fraction
    period : float64 [s]

    Notes
    -----
    An emergency stop does not pass the delay: it is hard-wired. It is latched, drives every blade to
    feather at the stop's rate, and takes the torque away.
    """
    depth, blade_count = ring.shape[1], asked.shape[1]
    wait = math.ceil(GRID_WAIT / period - 1e-9)
    for lane in range(asked.shape[0]):
        tick, d = lanes.tick[lane], lanes.design[lane]
        if stop[lane] and faults.stopped[lane] < 0:
            faults.stopped[lane] = tick
        late = 0
        if faults.count[lane] > 0:
            trip(lane, faults, tick, wait)
            late = lateness(faults.table[lane], faults.count[lane], tick)
        ring[lane, tick % depth, at.BLADES] = asked_torque[lane]
        for b in range(blade_count):
            ring[lane, tick % depth, b] = asked[lane, b]
        given = tick - late
        newer = ring[lane, max(given - whole[lane], 0) % depth]
        older = ring[lane, max(given - whole[lane] - 1, 0) % depth]
        stopped, high = faults.stopped[lane] >= 0, design.scalars[d, at.PITCH_HIGH]
        torque[lane] = 0.0 if stopped else ring[lane, max(given, 0) % depth, at.BLADES]
        for b in range(blade_count):
            servo = design.blades[d, b]
            lanes.rate_limit[lane, b] = servo[at.STOP_RATE] if stopped else servo[at.SERVO_RATE]
            applied[lane, b] = high if stopped else (1.0 - share[lane]) * newer[b] + share[lane] * older[b]
        if faults.count[lane] > 0:
            torque[lane] = break_machine(
                lane,
                applied[lane],
                torque[lane],
                lanes.rate_limit[lane],
                faults,
                tick,
                design.scalars[d, at.PITCH_LOW],
                high,
            )
