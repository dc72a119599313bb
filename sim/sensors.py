"""What do the sensors of a lane report?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import cache
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.errors import InputError, closest
from sim.interface import SENSED, Readings
from sim.kernels import sensing
from sim.kernels.aero import induction
from sim.kernels.nacelle import TABLE_STEP

Array = NDArray[Any]

CHANNELS: Mapping[str, tuple[int, int]] = {
    "pitch": (sensing.PITCH, 3),
    "root_flap_moment": (sensing.FLAP, 3),
    "root_edge_moment": (sensing.EDGE, 3),
    "tip_distance": (sensing.DISTANCE, 3),
    "last_pass_clearance": (sensing.LAST_PASS, 3),
    "azimuth": (sensing.AZIMUTH, 0),
    "rotor_speed": (sensing.SPEED, 0),
    "tower_acceleration": (sensing.FORE_AFT, 2),
    "wind_speed": (sensing.WIND, 0),
    "wind_direction": (sensing.DIRECTION, 0),
    "wind_preview": (sensing.PREVIEW, 0),
    "power": (sensing.POWER, 0),
}
"""First column of each sensor and how many it has; 0 stands for one number a lane."""
DRIFT_STEP = 1.0
"""Time between the steps of a drift's random walk [s], or one period where that is longer."""
HOUR = 3600.0


@dataclass(frozen=True)
class Sensor:
    """One fitted sensor; errors in the channel's SI unit.

    Notes
    -----
    Drift is a random walk of steps a second apart, which stands at 0 when the lane starts and has the
    standard deviation ``drift`` after an hour. Drop-outs begin and end by chance, sample by sample: their
    lengths follow the geometric law of mean ``loss_length``, and ``loss_share`` of all samples is lost.
    """

    delay: float  #: [s] age of what it reports; a whole number of periods
    deviation: float  #: standard deviation of its white noise
    sampling: float = 0.0  #: [s] between samples, a whole number of periods; 0: every period
    bias: float = 0.0
    drift: float = 0.0
    quantum: float = 0.0  #: step of the digits, 0 for none
    loss_share: float = 0.0  #: [-] of the samples that never arrive
    loss_length: float = 0.0  #: [s] mean length of a drop-out; at least one sample

    def problems(self) -> list[str]:
        """Return what is wrong with its numbers."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        found = [
            f"{name} = {value}; must be finite" + ("" if name == "bias" else " and >= 0")
            for name, value in values.items()
            if not math.isfinite(value) or (value < 0.0 and name != "bias")
        ]
        if self.loss_share > 0.9:
            found.append(f"loss_share = {self.loss_share}; must be at most 0.9")
        return found


@dataclass(frozen=True)
class SensorSuite:
    """The sensors that a scenario fits, by the names of the readings; what is not fitted reads nan."""

    fitted: Mapping[str, Sensor] = field(default_factory=dict)
    sight: float = 0.35  #: [rad] azimuth from the tower within which the tip's distance is seen
    reach: float = math.inf  #: [m] farthest tip distance that is seen
    disturbance: float = 1.0  #: [-] share of the rotor's effect on anemometer and vane
    preview_range: float = 150.0  #: [m] how far ahead of the rotor the wind is seen
    preview_length: float = 20.0  #: [m] half length of the beam's weighting
    preview_height: float = 0.0  #: [m] of the seen point above the hub

    def __post_init__(self) -> None:
        problems = []
        for name, sensor in self.fitted.items():
            if name not in SENSED:
                problems.append(f"sensors.{name}: unknown sensor{closest(name, SENSED)}")
            problems += [f"sensors.{name}: {told}" for told in sensor.problems()]
        if problems:
            raise InputError(problems)

    def chain(self, period: float) -> sensing.Chain:
        """Return what the kernels need to know of the sensors, by channel.

        Raises
        ------
        InputError
            If a delay or a sampling interval is no whole number of periods.
        """
        empty = sensing.CHANNELS
        told = {
            "fitted": np.zeros(empty, bool),
            "every": np.ones(empty, np.int64),
            "delay": np.zeros(empty, np.int64),
        } | {
            name: np.zeros(empty)
            for name in ("deviation", "bias", "walk", "quantum", "finer", "enter", "stay")
        }
        walk_every = max(round(DRIFT_STEP / period), 1)
        for name, sensor in self.fitted.items():
            columns = _columns(name)
            told["fitted"][columns] = True
            told["delay"][columns] = _ticks(name, "delay", sensor.delay, period)
            every = max(_ticks(name, "sampling", sensor.sampling, period), 1)
            told["every"][columns] = every
            told["deviation"][columns], told["bias"][columns] = sensor.deviation, sensor.bias
            told["walk"][columns] = sensor.drift * math.sqrt(walk_every * period / HOUR)
            told["quantum"][columns] = sensor.quantum
            told["finer"][columns] = 1.0 / sensor.quantum if sensor.quantum > 0.0 else 0.0
            run = max(sensor.loss_length / (every * period), 1.0)
            told["stay"][columns] = 1.0 - 1.0 / run
            told["enter"][columns] = sensor.loss_share / ((1.0 - sensor.loss_share) * run)
        return sensing.Chain(
            **told,
            channels=np.flatnonzero(told["fitted"]),
            quantiles=quantile_table(),
            walks=bool((told["walk"] > 0.0).any()),
            loses=bool((told["enter"] > 0.0).any()),
            walk_every=walk_every,
            sight=self.sight,
            reach=self.reach,
            disturbance=self.disturbance,
            preview_range=self.preview_range,
            preview_length=self.preview_length,
            preview_height=self.preview_height,
        )


@cache
def quantile_table(count: int = 1024) -> Array:
    """Return the table of ``sim.kernels.random.normal_quantile``; its infinite ends are not used."""
    law = NormalDist()
    table = np.zeros((count + 1, 2))
    for k in range(1, count):
        value = law.inv_cdf(k / count)
        table[k] = value, 1.0 / (law.pdf(value) * count)
    return table


def _ticks(name: str, what: str, seconds: float, period: float) -> int:
    whole = round(seconds / period)
    if abs(whole * period - seconds) > 1e-9:
        raise InputError(
            f"sensors.{name}: {what} = {seconds} s is no whole number of controller periods "
            f"({period} s); use {whole * period:g} s or another period"
        )
    return whole


def _columns(name: str) -> slice:
    first, count = CHANNELS[name]
    return slice(first, first + max(count, 1))


def fresh_memory(lanes: int, depth: int) -> sensing.Memory:
    """Return the sensors' memory before anything was measured; ``depth`` ticks of samples, at least 2."""
    shape = (lanes, max(depth, 2), sensing.CHANNELS)
    return sensing.Memory(
        np.full(shape, np.nan),
        np.full(shape, -1, np.int64),
        np.zeros(shape, np.int8),
        np.zeros((lanes, sensing.CHANNELS), np.int8),
        np.zeros((lanes, sensing.CHANNELS)),
    )


def steady_inductions(turbines: Sequence[Turbine]) -> Array:
    """Return the steady rotor's induction over wind speed, (design, point), steps of half a m/s from 0."""
    from sim.plant.trim import steady_table

    wind = TABLE_STEP * np.arange(81)
    rows = []
    for turbine in turbines:
        steady = steady_table(turbine)
        head = 0.5 * turbine.air_density * math.pi * turbine.rotor_radius**2 * steady.wind_speed**2
        told = [induction(max(load, 0.0), 1.0) for load in steady.thrust / head]
        rows.append(np.interp(wind, steady.wind_speed, told))
    return np.stack(rows)


def make_readings(
    reading: Array, valid: Array, age: Array, tick: Array, period: float, blade_count: int
) -> Readings:
    """Dress arrays of readings as what the layers see.

    Parameters
    ----------
    reading, age : (lane, channel) float64 - handed over, not copied
    valid : (lane, channel) bool
    tick : (lane,) int64
    period : float [s]
    blade_count : int
    """
    values, vouched, ages = {}, {}, {}
    for name, (first, count) in CHANNELS.items():
        columns: Any = first if count == 0 else slice(first, first + (blade_count if count == 3 else count))
        values[name], vouched[name], ages[name] = reading[:, columns], valid[:, columns], age[:, columns]
    return Readings(tick=tick, time=tick * period, valid=vouched, age=ages, **values)
