"""Marches of plant and closed loop, with and without a small step, to hold linear models against."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np

from controllers.registry import find
from sim.design import Turbine
from sim.flock import empty_lanes, empty_log, join_flocks
from sim.kernels import layout as at
from sim.kernels.advance import advance
from sim.linear.multiblade import BLADES, parts_matrix
from sim.linear.plant import COMMANDS, WINDS, PlantModel, linearise
from sim.linear.point import OperatingPoint, linear_turbine, periodic_motion, wind_of
from sim.linear.settle import Settled, hold_turbine
from sim.plant.pack import pack_designs, parts_of
from sim.stack import Stack
from sim.turbine import load_turbine

PERIOD, DELAY, SHEAR = 0.04, 0.12, 0.2
STARTS = 10
"""Azimuths at which marches start; their mean is free of what turns three times as fast as the rotor."""
COMPARED = {
    "rotor_speed": at.OUT_SPEED,
    "fore_aft_displacement": at.OUT_FA,
    "tip_deflection_collective": at.OUT_TIP,
    "root_flap_moment_collective": at.OUT_FLAP,
}
"""Outputs that are compared, and where the march puts them; of blades the first of three."""


def stack_of(*names: str) -> Stack:
    return Stack([find(name) for name in names], list(names))


@cache
def machine(source: str) -> Turbine:
    return load_turbine(source)


@cache
def held(source: str, speed: float, *names: str) -> Settled:
    """A turbine that a stack holds in a steady wind."""
    return hold_turbine(machine(source), stack_of(*(names or ("power",))), speed, SHEAR, DELAY, PERIOD)


@cache
def model(source: str, speed: float, *names: str) -> PlantModel:
    return linearise(machine(source), held(source, speed, *names).point)


def told(out: np.ndarray) -> np.ndarray:
    """The compared outputs of lanes, (lane, output): of blades their mean."""
    columns = [
        out[:, k : k + BLADES].mean(axis=1) if k in (at.OUT_TIP, at.OUT_FLAP) else out[:, k]
        for k in COMPARED.values()
    ]
    return np.stack(columns, axis=1)


def told_of_tips(out: np.ndarray) -> np.ndarray:
    """Cosine and sine part of the tips' deflection, (lane, 2)."""
    angle = out[:, at.OUT_AZIMUTH, None] + 2.0 * np.pi / BLADES * np.arange(BLADES)
    tips = 2.0 / BLADES * out[:, at.OUT_TIP : at.OUT_TIP + BLADES]
    return np.stack([(tips * np.cos(angle)).sum(axis=1), (tips * np.sin(angle)).sum(axis=1)], axis=1)


def windier(wind: at.Wind, size: float, input_: str = "wind_speed") -> at.Wind:
    """The first wind, and the same with ``size`` [m/s] more of it everywhere, or of its slope [1/s]."""
    ground = np.repeat(wind.ground[:1], 2, axis=0)
    above = wind.grid[at.ABOVE : at.ABOVE + at.POINTS]
    ground[1, at.PROFILE : at.PROFILE + at.POINTS] += size * (above if input_ == "vertical_shear" else 1.0)
    each = ("mean", "tilt", "box", "transient", "transient_start")
    return wind._replace(ground=ground, **{name: np.repeat(getattr(wind, name), 2, axis=0) for name in each})


def marched_step(turbine: Turbine, point: OperatingPoint, sizes: dict[str, float], seconds: float) -> dict:
    """What the plant does after small steps of its inputs, less what it does without: (time, start, output).

    Commands are held through each period at the parts that they have in its middle.
    """
    turbine = linear_turbine(turbine)
    motion = periodic_motion(turbine, point, STARTS)
    n, cases = len(motion), list(sizes.items())
    y = np.concatenate([motion] * (1 + len(cases)))
    wind_index = np.zeros(len(y), np.int64)
    commands = np.repeat(np.array([*point.pitch, point.torque])[None], len(y), axis=0)
    for k, (name, size) in enumerate(cases, start=1):
        rows = slice(k * n, (k + 1) * n)
        if name in WINDS:
            wind_index[rows] = 1
        else:
            commands[rows, list(COMMANDS).index(name)] += size
    wind = windier(wind_of(turbine, point), sizes.get("wind_speed", 0.0))
    lanes, design = empty_lanes(y, np.zeros(len(y)), wind_index), pack_designs([turbine])
    log, parts = empty_log(len(y), 2**40, 0, turning=False, period=PERIOD), parts_of([turbine], PERIOD)
    quiet, kept = np.zeros((len(y), BLADES), bool), []

    def step(count: int) -> None:
        angle = lanes.y[:, at.AZIMUTH] + 0.5 * PERIOD * lanes.y[:, at.SPEED]
        turned = np.stack([parts_matrix(a) for a in angle])
        pitch = np.einsum("lbp,lp->lb", turned, commands[:, :BLADES])
        advance(lanes, log, design, wind, pitch, commands[:, BLADES].copy(), quiet, PERIOD, count, BLADES)
        kept.append(told(lanes.out))

    step(0)
    for _ in range(round(seconds / PERIOD)):
        step(parts)
    found = np.array(kept).reshape(len(kept), 1 + len(cases), n, -1)
    return {name: found[:, k] - found[:, 0] for k, (name, _) in enumerate(cases, start=1)}


def linear_step(plant: PlantModel, name: str, size: float, seconds: float) -> np.ndarray:
    """The same of the linear model, by python-control: (time, output)."""
    import control

    time = PERIOD * np.arange(round(seconds / PERIOD) + 1)
    rows = list(COMPARED)
    answer = control.forced_response(plant.state_space[rows, [name]], time, np.full(len(time), size))
    return np.asarray(answer.outputs).reshape(len(rows), -1).T


def marched_gust(
    settled: Settled, size: float, seconds: float, input_: str = "wind_speed", tell=told
) -> np.ndarray:
    """What the held turbine does after a step of the wind, less what it does without."""
    flock, starts = settled.flock.take(np.zeros(1, np.int64)), []
    quiet = np.zeros((1, BLADES), bool)
    log = empty_log(1, 2**40, 0, turning=False, period=PERIOD)
    ticks = round(2.0 * np.pi / settled.point.rotor_speed / STARTS / PERIOD)
    for _ in range(STARTS):
        starts.append(flock.take(np.zeros(1, np.int64)))
        for _ in range(ticks):
            flock.advance(log, flock.decide(flock.sense())[0], quiet)
    both = join_flocks([*starts, *(start.take(np.zeros(1, np.int64)) for start in starts)])
    both.world = dataclasses.replace(both.world, wind=windier(both.world.wind, size, input_))
    both.lanes.wind[STARTS:] = 1
    log = empty_log(2 * STARTS, 2**40, 0, turning=False, period=PERIOD)
    quiet, kept = np.zeros((2 * STARTS, BLADES), bool), []
    for _ in range(round(seconds / PERIOD) + 1):
        kept.append(tell(both.lanes.out))
        both.advance(log, both.decide(both.sense())[0], quiet)
    found = np.array(kept)
    return found[:, STARTS:] - found[:, :STARTS]


def apart(ours: np.ndarray, marched: np.ndarray) -> np.ndarray:
    """Largest difference after the first sample, over the largest of the march, of every output.

    The first sample is left out: the march shows a step of the wind in the loads one period late.
    """
    return np.abs(ours[1:] - marched[1:]).max(axis=0) / np.abs(marched).max(axis=0)
