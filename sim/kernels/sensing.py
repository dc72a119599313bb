"""What do the sensors of every lane report at this tick, and do they vouch for it?"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from sim.kernels import breaking
from sim.kernels import layout as at
from sim.kernels.aero import FLAGS, INLINE, WHOLE
from sim.kernels.chance import NOISE, draw, lose, wander
from sim.kernels.inflow import event_at
from sim.kernels.nacelle import (
    beam_place,
    forward_wind,
    momentary_induction,
    nacelle_wind,
    root_dip,
    steady_induction,
    swirl_angle,
)
from sim.kernels.random import normal_quantile

# Channels, three of each where a blade is meant.
PITCH, FLAP, EDGE, DISTANCE, LAST_PASS = 0, 3, 6, 9, 12
AZIMUTH, SPEED, FORE_AFT, SIDE_SIDE, WIND, POWER, DIRECTION, PREVIEW = range(15, 23)
CHANNELS = 23
UNSEEN, GOOD, STALE = 0, 1, 2  #: marks of a sample: never anything, fresh, or the last one kept


class Chain(NamedTuple):
    """What every sensor does to what it measures; by channel, then the few facts of single sensors."""

    fitted: np.ndarray  #: (CHANNELS,) bool
    channels: np.ndarray  #: (n,) int64 those that are fitted
    every: np.ndarray  #: (CHANNELS,) int64 ticks between samples
    delay: np.ndarray  #: (CHANNELS,) int64 ticks from sample to reading
    deviation: np.ndarray  #: (CHANNELS,) standard deviation of the white noise
    bias: np.ndarray  #: (CHANNELS,) constant error
    walk: np.ndarray  #: (CHANNELS,) standard deviation of a step of the drift
    quantum: np.ndarray  #: (CHANNELS,) step of the digits, 0 for none
    finer: np.ndarray  #: (CHANNELS,) one over it
    enter: np.ndarray  #: (CHANNELS,) chance that a drop-out begins at a sample
    stay: np.ndarray  #: (CHANNELS,) chance that it goes on at the next
    quantiles: np.ndarray  #: see ``random.normal_quantile``
    walks: bool  #: whether any sensor drifts
    loses: bool  #: whether any loses samples
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


@njit(**INLINE)
def from_tower(azimuth):
    """Return an azimuth from 0 to 4 pi [rad] as measured from the tower, in [-pi, pi)."""
    return azimuth - math.pi if azimuth < 2.0 * math.pi else azimuth - 3.0 * math.pi


@njit(**INLINE)
def measure(rows, out, last_pass, design, scalars, induction, fitted, sight, reach, disturbance, blade_count):
    """Write what ideal sensors would measure in every lane at this instant, but for the wind ahead.

    Parameters
    ----------
    rows : (lane, CHANNELS) float64 - written; nan where nothing is in sight
    out : (lane, OUTPUTS) float64, last_pass : (lane, BLADES) float64, design : (lane,) int64
    scalars : (design, SCALARS) float64, induction : (design, point) float64
    fitted, sight, reach, disturbance : as in Chain
    """
    sees_wind = fitted[WIND] or fitted[DIRECTION]
    for lane in range(rows.shape[0]):
        azimuth = out[lane, at.OUT_AZIMUTH]
        for b in range(blade_count):
            rows[lane, PITCH + b] = out[lane, at.OUT_PITCH + b]
            rows[lane, FLAP + b] = out[lane, at.OUT_FLAP + b]
            rows[lane, EDGE + b] = out[lane, at.OUT_EDGE + b]
            rows[lane, LAST_PASS + b] = last_pass[lane, b]
            turn = from_tower(azimuth + 2.0 * math.pi * b / blade_count)
            distance = out[lane, at.OUT_DISTANCE + b]
            is_seen = abs(turn) <= sight and distance <= reach
            rows[lane, DISTANCE + b] = distance if is_seen else math.nan
        rows[lane, AZIMUTH], rows[lane, SPEED] = azimuth, out[lane, at.OUT_SPEED]
        rows[lane, FORE_AFT] = out[lane, at.OUT_FA_ACCELERATION]
        rows[lane, SIDE_SIDE] = out[lane, at.OUT_SS_ACCELERATION]
        rows[lane, POWER] = out[lane, at.OUT_POWER]
        if sees_wind:
            d, wind = design[lane], out[lane, at.OUT_WIND]
            density, radius = scalars[d, at.DENSITY], scalars[d, at.TIP_RADIUS]
            slowing = momentary_induction(wind, out[lane, at.OUT_THRUST], density, radius)
            share = disturbance if scalars[d, at.SIDE] < 0.0 else 0.0
            dip = root_dip(azimuth, blade_count) if share > 0.0 else 0.0
            turned = swirl_angle(wind, slowing, out[lane, at.OUT_TORQUE], density, radius)
            usual = steady_induction(induction, d, wind)
            rows[lane, WIND] = nacelle_wind(wind, slowing - usual, dip, disturbance)
            rows[lane, DIRECTION] = out[lane, at.OUT_DIRECTION] - share * turned


@njit(**WHOLE)
def look_ahead(rows, tick, wind_of, wind, ahead, half_length, height, period):
    """Write what a beam ahead of the rotor sees in every lane."""
    event = np.zeros(4)
    place = beam_place(height, wind.points, wind.box_z0, wind.box_dz)
    for lane in range(rows.shape[0]):
        w = wind_of[lane]
        if wind.transient[w] >= 0:
            event_at(event, tick[lane] * period + ahead / max(wind.mean[w, 0], 2.0), w, wind)
        else:
            event[:] = 0.0
        rows[lane, PREVIEW] = forward_wind(
            tick[lane] * period, w, wind.mean, wind.ground, wind.box, wind.boxes, wind.box_step, place,
            ahead, half_length, event[0] + height * event[2],
        )  # fmt: skip


@njit(**WHOLE)
def sample(
    rows, condition, tick, pass_tick, identity, samples, stamps, marks, lost, drift, channels,
    every, deviation, bias, quantum, finer, quantiles,
):  # fmt: skip
    """Take the samples that are due in every lane, and keep the last of the others.

    Parameters
    ----------
    rows : (lane, CHANNELS) float64 - what is measured
    condition : (lane, CHANNELS) int8 - what faults do to a channel
    pass_tick : (lane, BLADES) int64 - tick at which the last pass was complete
    samples, stamps, marks, lost, drift : as in Memory
    channels : (n,) int64 - those that are fitted
    every, deviation, bias, quantum, finer, quantiles : as in Chain

    Notes
    -----
    value = quantised(measured + bias + drift + noise). A sample that is lost, silenced or has nothing in
    sight keeps value and stamp of the last. A measured pass keeps one value for as long as it is the last.
    """
    depth = samples.shape[1]
    block, words = np.zeros(2, np.int64), np.zeros(4, np.uint64)
    for lane in range(rows.shape[0]):
        now = tick[lane]
        here = now % depth
        before = here - 1 if here > 0 else depth - 1
        block[0] = -1
        for n in range(channels.shape[0]):
            c = channels[n]
            value, stamp = samples[lane, before, c], stamps[lane, before, c]
            mark = marks[lane, before, c]
            if every[c] == 1 or now % every[c] == 0:
                measured = rows[lane, c]
                is_pass = LAST_PASS <= c < LAST_PASS + 3
                instant = pass_tick[lane, c - LAST_PASS] if is_pass else now
                state = condition[lane, c]
                if lost[lane, c] == 1 or math.isnan(measured) or state == breaking.SILENT:
                    mark = STALE if stamp >= 0 else UNSEEN
                elif is_pass and stamp == instant:
                    mark = GOOD
                elif state == breaking.FROZEN and stamp >= 0:
                    stamp, mark = instant, GOOD
                else:
                    value = measured + bias[c] + drift[lane, c]
                    if deviation[c] > 0.0:
                        drawn = draw(c, instant, identity[lane], NOISE, block, words)
                        value += deviation[c] * normal_quantile(drawn, quantiles)
                    if quantum[c] > 0.0:
                        value = math.floor(value * finer[c] + 0.5) * quantum[c]
                    stamp, mark = instant, GOOD
            samples[lane, here, c], stamps[lane, here, c], marks[lane, here, c] = value, stamp, mark


@njit(**INLINE)
def report(reading, valid, age, late, tick, samples, stamps, marks, channels, delay, period):
    """Write the readings: the samples of ``delay`` ticks ago, and what each sensor says of them.

    Parameters
    ----------
    late : (lane, CHANNELS) int64 - ticks of delay that a fault adds
    """
    depth = samples.shape[1]
    for lane in range(reading.shape[0]):
        now = tick[lane]
        here = now % depth
        for c in range(CHANNELS):
            reading[lane, c], valid[lane, c], age[lane, c] = math.nan, False, now * period
        for n in range(channels.shape[0]):
            c = channels[n]
            place = here - min(delay[c] + late[lane, c], now)
            place = place if place >= 0 else place + depth
            reading[lane, c] = samples[lane, place, c]
            valid[lane, c] = marks[lane, place, c] == GOOD
            stamp = stamps[lane, place, c]
            age[lane, c] = max(now - late[lane, c] - stamp, 0) * period if stamp >= 0 else now * period
        turn = reading[lane, AZIMUTH]
        if not 0.0 <= turn < 2.0 * math.pi:
            reading[lane, AZIMUTH] = turn % (2.0 * math.pi)


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
    count, tick = reading.shape[0], lanes.tick
    rows = np.empty((count, CHANNELS))
    condition, late = np.zeros((count, CHANNELS), np.int8), np.zeros((count, CHANNELS), np.int64)
    measure(
        rows, lanes.out, lanes.last_pass, lanes.design, design.scalars, induction, chain.fitted,
        chain.sight, chain.reach, chain.disturbance, blade_count,
    )  # fmt: skip
    if chain.fitted[PREVIEW]:
        look_ahead(
            rows, tick, lanes.wind, wind, chain.preview_range, chain.preview_length, chain.preview_height,
            period,
        )  # fmt: skip
    breaking.spoil(rows, condition, late, faults.table, faults.count, tick, identity, blade_count)
    if chain.walks:
        wander(memory.drift, tick, identity, chain.walk, chain.walk_every, chain.quantiles)
    if chain.loses:
        lose(memory.lost, tick, identity, chain.every, chain.enter, chain.stay)
    sample(
        rows, condition, tick, lanes.last_pass_tick, identity, memory.samples, memory.stamps, memory.marks,
        memory.lost, memory.drift, chain.channels, chain.every, chain.deviation, chain.bias, chain.quantum,
        chain.finer, chain.quantiles,
    )  # fmt: skip
    report(
        reading, valid, age, late, tick, memory.samples, memory.stamps, memory.marks, chain.channels,
        chain.delay, period,
    )  # fmt: skip
