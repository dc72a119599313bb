"""Lanes of one turbine in one wind each, to be marched under commands held by the test."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from sim.counting import empty_log
from sim.design import Turbine
from sim.flock import empty_lanes
from sim.kernels import layout as at
from sim.kernels.advance import advance
from sim.plant.air import wind_arrays
from sim.plant.pack import begin_state, pack_designs, parts_of
from sim.plant.trim import steady_table
from sim.turbine import load_turbine
from sim.wind.field import WindSpec, pack_winds

PERIOD = 0.04


@cache
def turbine(*overrides: tuple[str, object]) -> Turbine:
    """The shipped turbine with keys changed."""
    return load_turbine("skerry", overrides)


def downwind() -> Turbine:
    """The shipped turbine with its rotor behind the tower."""
    skerry = turbine()
    return replace(skerry, rotor=replace(skerry.rotor, side=1.0))


def steady_wind(speed: float, shear: float = 0.0, **more: float) -> WindSpec:
    told = {"upflow": 0.0, "yaw": 0.0, "veer": 0.0, "sigma": 0.0, "turbulence_scale": 42.0} | more
    return WindSpec("steady", speed, shear, **told)


def look_up(table, name: str, speed: float) -> float:
    return float(np.interp(speed, table.wind_speed, getattr(table, name)))


@dataclass
class Rig:
    """Lanes, one a wind; pitch and torque commands are those of the steady table until changed."""

    design: at.Design
    wind: at.Wind
    lanes: at.Lanes
    log: at.Log
    pitch: np.ndarray
    torque: np.ndarray
    blade_count: int
    parts: int = 1
    period: float = PERIOD
    history: list[np.ndarray] = field(default_factory=list)

    def march(self, seconds: float, *, keep: str = "") -> Rig:
        """March; ``keep`` names the array of the lanes that is kept after every period."""
        acting = np.zeros((len(self.torque), self.blade_count), bool)
        for _ in range(round(seconds / self.period)):
            advance(
                self.lanes, self.log, self.design, self.wind, self.pitch, self.torque, acting,
                self.period, self.parts, self.blade_count,
            )  # fmt: skip
            if keep:
                self.history.append(getattr(self.lanes, keep).copy())
        return self

    def restart(self) -> Rig:
        """Compute rates and outputs anew, after a state or a design was changed by hand."""
        still = np.zeros((len(self.torque), self.blade_count), bool)
        advance(
            self.lanes, self.log, self.design, self.wind, self.pitch, self.torque, still,
            self.period, 0, self.blade_count,
        )  # fmt: skip
        return self

    @property
    def kept(self) -> np.ndarray:
        """(period, lane, ...) of what ``march`` kept."""
        return np.stack(self.history)

    def passes(self, lane: int = 0) -> np.ndarray:
        return self.log.passes[lane, : self.log.pass_count[lane]]


def rig(
    machine: Turbine,
    winds,
    *,
    azimuth: float = 0.3,
    parts: int = 1,
    period: float = PERIOD,
    seconds: float = 200.0,
    edit=None,
    turning: bool = False,
) -> Rig:
    """Lanes of ``machine`` at the steady point of each wind; ``edit`` may change the packed design first."""
    pack = pack_winds(list(winds), machine.rotor.hub_height, 2.0 * machine.rotor_radius, seconds)
    wind = wind_arrays(pack, machine.rotor.hub_height)
    design = pack_designs([machine])
    if edit is not None:
        edit(design)
    speeds = [spec.speed for spec in winds]
    table = steady_table(machine)
    y = np.stack([begin_state(machine, speed, azimuth) for speed in speeds])
    count, blades = len(speeds), machine.rotor.blade_count
    log = empty_log(count, 0, round(seconds / period), turning=turning, period=period)
    made = Rig(
        design, wind, empty_lanes(y, np.zeros(count), np.arange(count)), log,
        np.array([[look_up(table, "pitch", v)] * blades for v in speeds]),
        np.array([look_up(table, "torque", v) for v in speeds]),
        blades, max(parts, parts_of([machine], period)), period,
    )  # fmt: skip
    return made.restart()
