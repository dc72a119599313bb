"""What do the sensors of every lane report at this tick, and do they vouch for it?"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from sim.kernels import breaking
from sim.kernels import layout as at
from sim.kernels.aero import FLAGS
from sim.kernels.nacelle import forward_wind, nacelle_direction, nacelle_wind
from sim.kernels.random import UNIT, normal_pair, philox

# Channels, three of each where a blade is meant.
PITCH, FLAP, EDGE, DISTANCE, LAST_PASS = 0, 3, 6, 9, 12
AZIMUTH, SPEED, FORE_AFT, SIDE_SIDE, WIND, POWER, DIRECTION, PREVIEW = range(15, 23)
CHANNELS = 23
# Purposes: they keep each random number apart from every other use of a lane's identity.
NOISE, WALK, LOSS = np.uint64(0x53454E53), np.uint64(0x57414C4B), np.uint64(0x4C4F5353)
UNSEEN, GOOD, STALE = 0, 1, 2  #: marks of a sample: never anything, fresh, or the last one kept


class Chain(NamedTuple):
    """What every sensor does to what it measures; by channel, then the few facts of single sensors."""

    fitted: np.ndarray  #: (CHANNELS,) bool
    every: np.ndarray  #: (CHANNELS,) int64 ticks between samples
    delay: np.ndarray  #: (CHANNELS,) int64 ticks from sample to reading
    deviation: np.ndarray  #: (CHANNELS,) standard deviation of the white noise
    bias: np.ndarray  #: (CHANNELS,) constant error
    walk: np.ndarray  #: (CHANNELS,) standard deviation of a step of the drift
    quantum: np.ndarray  #: (CHANNELS,) step of the digits, 0 for none
    enter: np.ndarray  #: (CHANNELS,) chance that a drop-out begins at a sample
    stay: np.ndarray  #: (CHANNELS,) chance that it goes on at the next
    walk_every: int  #: ticks between steps of the drifts
    sight: float  #: azimuth from the tower within which the tip's distance is seen [rad]
    reach: float  #: farthest distance that is seen [m]
    disturbance: float  #: share of the rotor's effect on anemometer and vane [-]
    preview_range: float  #: how far ahead the wind is seen [m]
    preview_length: float  #: half the length over which it is averaged [m]
    preview_height: float  #: above the hub [m]


class Memory(NamedTuple):
    """What the sensors of each lane remember; lane-first, rings over ticks."""

    samples: np.ndarray  #: (lane, depth, CHANNELS)
    stamps: np.ndarray  #: (lane, depth, CHANNELS) int64 tick that a sample tells of, -1 before the first
    marks: np.ndarray  #: (lane, depth, CHANNELS) int8 UNSEEN, GOOD or STALE
    lost: np.ndarray  #: (lane, CHANNELS) int8 a drop-out is going on
    drift: np.ndarray  #: (lane, CHANNELS)


@njit(**FLAGS)
def truth(row, lane, lanes, chain, design, induction, wind, period, blade_count, four):
    """Write what ideal sensors would measure in this lane at this instant; nan where nothing is in sight."""
    out, w, d = lanes.out[lane], lanes.wind[lane], lanes.design[lane]
    for b in range(blade_count):
        row[PITCH + b] = out[at.OUT_PITCH + b]
        row[FLAP + b], row[EDGE + b] = out[at.OUT_FLAP + b], out[at.OUT_EDGE + b]
        row[LAST_PASS + b] = lanes.last_pass[lane, b]
        turn = (out[at.OUT_AZIMUTH] + 2.0 * math.pi * b / blade_count) % (2.0 * math.pi) - math.pi
        distance = out[at.OUT_DISTANCE + b]
        is_seen = abs(turn) <= chain.sight and distance <= chain.reach
        row[DISTANCE + b] = distance if is_seen else math.nan
    row[AZIMUTH], row[SPEED] = out[at.OUT_AZIMUTH], out[at.OUT_SPEED]
    row[FORE_AFT], row[SIDE_SIDE] = out[at.OUT_FA_ACCELERATION], out[at.OUT_SS_ACCELERATION]
    row[POWER] = out[at.OUT_POWER]
    scalars = design.scalars[d]
    row[WIND] = nacelle_wind(out, scalars, induction[d], chain.disturbance, blade_count)
    row[DIRECTION] = nacelle_direction(out, scalars, chain.disturbance)
    if chain.fitted[PREVIEW]:
        row[PREVIEW] = forward_wind(
            lanes.tick[lane] * period,
            w,
            wind,
            chain.preview_range,
            chain.preview_length,
            chain.preview_height,
            four,
        )


@njit(**FLAGS)
def four_normals(counter, block, identity, purpose, four):
    """Write the four standard normal numbers of a counter, block and purpose into ``four``."""
    a, b, c, d = philox(np.uint64(counter), np.uint64(block), identity, purpose)
    four[0], four[1] = normal_pair(a, b)
    four[2], four[3] = normal_pair(c, d)


@njit(**FLAGS)
def wander(lane, tick, memory, identity, chain, four):
    """Let the drifts of one lane make a step of their random walks."""
    block = -1
    for c in range(CHANNELS):
        if chain.walk[c] > 0.0:
            if block != c // 4:
                block = c // 4
                four_normals(tick, block, identity, WALK, four)
            memory.drift[lane, c] += chain.walk[c] * four[c % 4]


@njit(**FLAGS)
def drops(lane, c, tick, memory, identity, chain):
    """Return whether this sample is lost; a drop-out begins and goes on by chance, sample by sample."""
    if chain.enter[c] <= 0.0:
        return False
    a, _, _, _ = philox(np.uint64(tick), np.uint64(c), identity, LOSS)
    chance = chain.stay[c] if memory.lost[lane, c] == 1 else chain.enter[c]
    is_lost = np.float64(a >> np.uint64(11)) * UNIT < chance
    memory.lost[lane, c] = 1 if is_lost else 0
    return is_lost


@njit(**FLAGS)
def sample(row, condition, lane, tick, lanes, memory, identity, chain, four):
    """Take the samples that are due in one lane, and keep the last of the others.

    Notes
    -----
    value = quantised(measured + bias + drift + noise). A sample that is lost, silenced or has nothing in
    sight keeps value and stamp of the last. A measured pass keeps one value for as long as it is the last.
    """
    depth = memory.samples.shape[1]
    here, before = tick % depth, (tick - 1) % depth
    values, stamps, marks = memory.samples[lane], memory.stamps[lane], memory.marks[lane]
    block, drawn = -1, np.int64(-1)
    for c in range(CHANNELS):
        if not chain.fitted[c]:
            continue
        value, stamp, mark = values[before, c], stamps[before, c], marks[before, c]
        if tick % chain.every[c] == 0:
            is_pass = LAST_PASS <= c < LAST_PASS + 3
            instant = lanes.last_pass_tick[lane, c - LAST_PASS] if is_pass else tick
            is_lost = drops(lane, c, tick, memory, identity, chain)
            if is_lost or math.isnan(row[c]) or condition[c] == breaking.SILENT:
                mark = STALE if stamp >= 0 else UNSEEN
            elif is_pass and stamp == instant:
                mark = GOOD
            elif condition[c] == breaking.FROZEN and stamp >= 0:
                stamp, mark = instant, GOOD
            else:
                value = row[c] + chain.bias[c] + memory.drift[lane, c]
                if chain.deviation[c] > 0.0:
                    if block != c // 4 or drawn != instant:
                        block, drawn = c // 4, instant
                        four_normals(instant, block, identity, NOISE, four)
                    value += chain.deviation[c] * four[c % 4]
                if chain.quantum[c] > 0.0:
                    value = math.floor(value / chain.quantum[c] + 0.5) * chain.quantum[c]
                stamp, mark = instant, GOOD
        values[here, c], stamps[here, c], marks[here, c] = value, stamp, mark


@njit(**FLAGS)
def report(reading, valid, age, late, lane, tick, memory, chain, period):
    """Write one lane's readings: the samples of ``delay`` ticks ago, and what the sensor says of them."""
    depth = memory.samples.shape[1]
    for c in range(CHANNELS):
        if not chain.fitted[c]:
            reading[lane, c], valid[lane, c], age[lane, c] = math.nan, False, tick * period
            continue
        seen = max(tick - chain.delay[c] - late[c], 0) % depth
        reading[lane, c] = memory.samples[lane, seen, c]
        valid[lane, c] = memory.marks[lane, seen, c] == GOOD
        stamp = memory.stamps[lane, seen, c]
        age[lane, c] = max(tick - late[c] - stamp, 0) * period if stamp >= 0 else tick * period
    reading[lane, AZIMUTH] = reading[lane, AZIMUTH] % (2.0 * math.pi)


@njit(**FLAGS)
def sense(
    reading, valid, age, memory, lanes, identity, chain, faults, design, induction, wind, period, blade_count
):
    """Let every lane's sensors take their samples and write what they report.

    Parameters
    ----------
    reading, age : (lane, CHANNELS) float64, valid : (lane, CHANNELS) bool - written; nan where nothing was
        ever seen; ages [s]
    memory : Memory - changed; to be called once a tick
    lanes : Lanes
    identity : (lane,) uint64
    chain : Chain
    faults : Faults
    induction : (design, point) float64 - see ``nacelle_wind``
    period : float64 [s]

    Notes
    -----
    A reading is what the sensor gave ``delay`` ticks ago (its first sample before that). The validity is the
    sensor's own opinion: a frozen, biased or lying sensor vouches for what it says. A fault's delay is
    unknown to the sensor and makes its ages too small. The azimuth comes back within [0, 2 pi).
    """
    row, clean, four = np.zeros(CHANNELS), np.zeros(CHANNELS), np.zeros(4)
    condition, late = np.zeros(CHANNELS, np.int64), np.zeros(CHANNELS, np.int64)
    for lane in range(reading.shape[0]):
        tick = lanes.tick[lane]
        truth(row, lane, lanes, chain, design, induction, wind, period, blade_count, four)
        if faults.count[lane] > 0:
            clean[:] = row
            condition[:] = breaking.SOUND
            late[:] = 0
            breaking.spoil(
                row,
                clean,
                condition,
                late,
                faults.table[lane],
                faults.count[lane],
                tick,
                identity[lane],
                blade_count,
            )
        if tick > 0 and tick % chain.walk_every == 0:
            wander(lane, tick, memory, identity[lane], chain, four)
        sample(row, condition, lane, tick, lanes, memory, identity[lane], chain, four)
        report(reading, valid, age, late, lane, tick, memory, chain, period)
        if faults.count[lane] > 0:
            condition[:] = breaking.SOUND
            late[:] = 0
