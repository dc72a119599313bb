"""What do the sensors of a lane report?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError, closest
from sim.interface import SENSED, Readings
from sim.kernels import sensing

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
    "power": (sensing.POWER, 0),
}
"""First column of each sensor and how many it has; 0 stands for one number a lane."""


@dataclass(frozen=True)
class Sensor:
    """One fitted sensor."""

    delay: float  #: [s] age of what it reports; a whole number of periods
    deviation: float  #: standard deviation of its white noise, in the channel's SI unit


@dataclass(frozen=True)
class SensorSuite:
    """The sensors that a scenario fits, by the names of the readings; what is not fitted reads nan."""

    fitted: Mapping[str, Sensor] = field(default_factory=dict)

    def __post_init__(self) -> None:
        problems = []
        for name, sensor in self.fitted.items():
            if name not in SENSED:
                problems.append(f"sensors.{name}: unknown sensor{closest(name, SENSED)}")
            if not (np.isfinite(sensor.delay) and sensor.delay >= 0.0):
                problems.append(f"sensors.{name}: delay = {sensor.delay} s; must be finite and >= 0")
            if not (np.isfinite(sensor.deviation) and sensor.deviation >= 0.0):
                problems.append(f"sensors.{name}: noise = {sensor.deviation}; must be finite and >= 0")
        if problems:
            raise InputError(problems)

    def delays(self, period: float) -> Array:
        """Return the delay of each channel in ticks: (channel,) int64.

        Raises
        ------
        InputError
            If a delay is no whole number of periods.
        """
        ticks = np.zeros(sensing.CHANNELS, np.int64)
        for name, sensor in self.fitted.items():
            whole = round(sensor.delay / period)
            if abs(whole * period - sensor.delay) > 1e-9:
                raise InputError(
                    f"sensors.{name}: delay = {sensor.delay} s is no whole number of controller periods "
                    f"({period} s); use {whole * period:g} s or another period"
                )
            ticks[_columns(name)] = whole
        return ticks

    def deviations(self) -> Array:
        """Return the standard deviation of each channel's noise: (channel,) float64."""
        values = np.zeros(sensing.CHANNELS)
        for name, sensor in self.fitted.items():
            values[_columns(name)] = sensor.deviation
        return values

    def missing(self) -> Array:
        """Return which channels no fitted sensor reports: (channel,) bool."""
        absent = np.ones(sensing.CHANNELS, bool)
        for name in self.fitted:
            absent[_columns(name)] = False
        return absent


def _columns(name: str) -> slice:
    first, count = CHANNELS[name]
    return slice(first, first + max(count, 1))


def make_readings(reading: Array, age: Array, tick: Array, period: float, blade_count: int) -> Readings:
    """Dress arrays of readings as what the layers see.

    Parameters
    ----------
    reading, age : (lane, channel) float64 - handed over, not copied
    tick : (lane,) int64
    period : float [s]
    blade_count : int
    """
    known = ~np.isnan(reading)
    values, valid, ages = {}, {}, {}
    for name, (first, count) in CHANNELS.items():
        columns: Any = first if count == 0 else slice(first, first + (blade_count if count == 3 else count))
        values[name], valid[name], ages[name] = reading[:, columns], known[:, columns], age[:, columns]
    return Readings(tick=tick, time=tick * period, valid=valid, age=ages, **values)
