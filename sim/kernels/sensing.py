"""What do the sensors of every lane report at this tick: delayed, noisy, and aware of what they do not see."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import FLAGS
from sim.kernels.random import normal_pair, philox

# Channels, three of each where a blade is meant.
PITCH, FLAP, EDGE, DISTANCE, LAST_PASS = 0, 3, 6, 9, 12
AZIMUTH, SPEED, FORE_AFT, SIDE_SIDE, WIND, POWER = 15, 16, 17, 18, 19, 20
CHANNELS = 21
PURPOSE = np.uint64(0x53454E53)  #: keeps sensor noise apart from every other use of a lane's identity


@njit(**FLAGS)
def truth(row, lane, lanes, blade_count):
    """Write what an ideal sensor would read in this lane at this instant."""
    out = lanes.out[lane]
    for b in range(blade_count):
        row[PITCH + b] = out[at.OUT_PITCH + b]
        row[FLAP + b], row[EDGE + b] = out[at.OUT_FLAP + b], out[at.OUT_EDGE + b]
        row[DISTANCE + b], row[LAST_PASS + b] = out[at.OUT_DISTANCE + b], lanes.last_pass[lane, b]
    row[AZIMUTH], row[SPEED] = out[at.OUT_AZIMUTH], out[at.OUT_SPEED]
    row[FORE_AFT], row[SIDE_SIDE] = out[at.OUT_FA_ACCELERATION], out[at.OUT_SS_ACCELERATION]
    row[WIND], row[POWER] = out[at.OUT_WIND], out[at.OUT_POWER]


@njit(**FLAGS)
def sense(reading, age, history, pass_ticks, lanes, identity, delay, deviation, period, blade_count):
    """Write every lane's readings and their ages.

    Parameters
    ----------
    reading, age : (lane, CHANNELS) float64 - written; a reading is nan where nothing is seen; ages [s]
    history : (lane, depth, CHANNELS) float64 - ring of true values, changed
    pass_ticks : (lane, depth, BLADES) int64 - ring of the ticks at which the last pass was complete
    lanes : Lanes
    identity : (lane,) uint64
    delay : (CHANNELS,) int64 - ticks
    deviation : (CHANNELS,) float64 - standard deviation of the noise, unit of the channel
    period : float64 [s]
    blade_count : int

    Notes
    -----
    A reading is the truth ``delay`` ticks ago (the first truth before that) plus noise that belongs to the
    sampled tick; a measured pass keeps one noise for as long as it is the last. The azimuth comes
    back within [0, 2 pi).
    """
    depth = history.shape[1]
    for lane in range(reading.shape[0]):
        tick = lanes.tick[lane]
        truth(history[lane, tick % depth], lane, lanes, blade_count)
        for b in range(blade_count):
            pass_ticks[lane, tick % depth, b] = lanes.last_pass_tick[lane, b]
        block, block_tick = -1, np.int64(-1)
        n0 = n1 = n2 = n3 = 0.0
        for c in range(CHANNELS):
            seen = max(tick - delay[c], 0)
            value = history[lane, seen % depth, c]
            age[lane, c] = (tick - seen) * period
            mark = seen
            if LAST_PASS <= c < LAST_PASS + blade_count:
                mark = pass_ticks[lane, seen % depth, c - LAST_PASS]
                age[lane, c] = (tick - mark) * period
            if deviation[c] > 0.0 and not math.isnan(value):
                if block != c // 4 or block_tick != mark:
                    block, block_tick = c // 4, mark
                    a, b2, c2, d = philox(np.uint64(mark), np.uint64(block), identity[lane], PURPOSE)
                    n0, n1 = normal_pair(a, b2)
                    n2, n3 = normal_pair(c2, d)
                place = c % 4
                noise = n0 if place == 0 else (n1 if place == 1 else (n2 if place == 2 else n3))
                value += deviation[c] * noise
            reading[lane, c] = value
        reading[lane, AZIMUTH] = reading[lane, AZIMUTH] % (2.0 * math.pi)


@njit(**FLAGS)
def delay_commands(applied, ring, command, tick, whole, share):
    """Write the pitch commands that reach the servos now, ``whole`` + ``share`` ticks after they were given.

    Parameters
    ----------
    applied, command : (lane, blade) float64 [rad]
    ring : (lane, depth, blade) float64 [rad] - changed
    tick : (lane,) int64
    whole : (lane,) int64, share : (lane,) float64 - of each lane's design
    """
    depth = ring.shape[1]
    for lane in range(command.shape[0]):
        for b in range(command.shape[1]):
            ring[lane, tick[lane] % depth, b] = command[lane, b]
            late = ring[lane, max(tick[lane] - whole[lane], 0) % depth, b]
            later = ring[lane, max(tick[lane] - whole[lane] - 1, 0) % depth, b]
            applied[lane, b] = (1.0 - share[lane]) * late + share[lane] * later
