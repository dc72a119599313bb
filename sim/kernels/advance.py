"""How do all lanes advance by one controller period?"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import LEAN
from sim.kernels.loads import gather_channels
from sim.kernels.step import runge_kutta
from sim.kernels.watch import OVERSPEED, STRUCK, add_up, check_lane, close_pass, put_out, watch_blade


class Work(NamedTuple):
    """Scratch of one evaluation, allocated once a call and overwritten by every lane."""

    scratch: np.ndarray
    plane: np.ndarray
    event: np.ndarray
    at_hub: np.ndarray
    hub: np.ndarray
    frames: np.ndarray
    air: np.ndarray
    load: np.ndarray
    total: np.ndarray
    couple: np.ndarray
    shared: np.ndarray
    accelerations: np.ndarray
    mode_accelerations: np.ndarray
    start: np.ndarray
    start_rate: np.ndarray
    rate_2: np.ndarray
    rate_3: np.ndarray
    between: np.ndarray
    hub_between: np.ndarray
    frame_between: np.ndarray
    channels: np.ndarray


def make_work() -> Work:
    """Allocate the scratch."""
    return Work(
        np.ones(at.SCRATCH_ROWS * at.WIDTH),
        np.zeros(6 * at.POINTS),
        np.zeros(4),
        np.zeros(3),
        np.zeros(3),
        np.zeros((at.BLADES, 21)),
        np.zeros(3),
        np.zeros((at.BLADES, at.SHAPES)),
        np.zeros(4),
        np.zeros((at.BLADES, 4, at.SHAPES)),
        np.zeros(9),
        np.zeros(3),
        np.zeros(at.MODES),
        np.zeros(at.STATE),
        np.zeros(at.STATE),
        np.zeros(at.STATE),
        np.zeros(at.STATE),
        np.zeros(at.FLAT),
        np.zeros(3),
        np.zeros(21),
        np.zeros(at.TURNING),
    )


@njit(**LEAN)
def march_lanes(
    work, lanes, log, design, wind, pitch_command, torque_command, acting, period, parts, blade_count
):
    """March every lane as ``advance`` says; ``work`` is scratch.

    Notes
    -----
    Python calls this function, and nothing that is compiled contains it (see `sim.kernels.aero.INLINE`).
    """
    h = period / parts if parts > 0 else 0.0
    for lane in range(lanes.y.shape[0]):
        status = lanes.status[lane]
        if status > STRUCK and status != OVERSPEED:
            continue
        y, dy, out = lanes.y[lane], lanes.dy[lane], lanes.out[lane]
        d, w, tick = lanes.design[lane], lanes.wind[lane], lanes.tick[lane]
        for b in range(blade_count):
            if acting[lane, b] and lanes.first_act[lane, b] < 0:
                lanes.first_act[lane, b] = tick
        for part in range(max(parts, 1)):
            time = tick * period + part * h
            runge_kutta(
                y,
                dy,
                time,
                h,
                d,
                design,
                w,
                wind,
                pitch_command[lane],
                lanes.rate_limit[lane],
                torque_command[lane],
                work,
                blade_count,
            )
            for b in range(blade_count if parts > 0 else 0):
                gap, done = watch_blade(
                    lanes.search[lane, b], b, time, h, y, dy, d, design, work, blade_count
                )
                out[at.OUT_DISTANCE + b] = gap
                if done == 1:
                    close_pass(lane, b, tick + 1, lanes, log)
        put_out(out, y, dy, d, design, work, blade_count)
        if parts == 0:
            out[at.OUT_DISTANCE : at.OUT_DISTANCE + blade_count] = math.nan
            continue
        lanes.tick[lane] = tick + 1
        check_lane(lane, (tick + 1) * period, lanes, design, blade_count)
        if tick >= log.judged_from[lane]:
            gather_channels(work.channels, out, y, design.scalars[d], work, blade_count)
            add_up(lane, period, lanes, log, work.channels, blade_count)


_WORK = make_work()  # one serves every call: compiled code holds the interpreter's lock


def advance(lanes, log, design, wind, pitch_command, torque_command, acting, period, parts, blade_count):
    """March every lane that is not ended by one period.

    Parameters
    ----------
    lanes : Lanes - changed
    log : Log - written
    design : Design
    wind : Wind
    pitch_command : (lane, blade) float64 [rad]
    torque_command : (lane,) float64 [N m]
    acting : (lane, blade) bool - the logic acts on this blade in this period
    period : float64 [s]
    parts : int - steps that a period is divided into; with 0 no time passes, but rates and outputs are
        computed, as the first period needs them
    blade_count : int
    """
    march_lanes(
        _WORK,
        lanes,
        log,
        design,
        wind,
        pitch_command,
        torque_command,
        acting,
        period,
        parts,
        blade_count,
    )
