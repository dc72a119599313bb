"""What is the whole state of many lanes under one stack of logic, and how is it sensed and commanded?

Every array is lane-first and belongs to its lane alone, so lanes can be taken out, copied and marched on
elsewhere with the same result to the bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.interface import Commands, Known, Readings, State
from sim.kernels import layout as at
from sim.kernels import sensing
from sim.kernels.advance import advance, begin
from sim.plant.known import gather_known
from sim.plant.pack import begin_state, pack_designs, parts_of
from sim.sensors import SensorSuite, make_readings
from sim.stack import Fault, Stack, join_rows, take_rows

Array = NDArray[Any]


@dataclass(frozen=True)
class World:
    """What all lanes of a batch share."""

    turbines: Sequence[Turbine]
    design: at.Design
    wind: at.Wind
    suite: SensorSuite
    period: float  #: [s] controller period
    parts: int  #: steps in a period
    blade_count: int
    acted_above: float  #: [rad] pitch difference from the reference that counts as acting

    @classmethod
    def make(
        cls, turbines: Sequence[Turbine], wind: at.Wind, suite: SensorSuite, period: float, acted_above: float
    ) -> World:
        """Pack turbines and count the steps that a period needs."""
        design = pack_designs(turbines)
        blades = turbines[0].rotor.blade_count
        return cls(turbines, design, wind, suite, period, parts_of(turbines, period), blades, acted_above)


@dataclass
class Flock:
    """Lanes that march together under one stack."""

    world: World
    stack: Stack
    lanes: at.Lanes
    known: Known
    identity: Array  #: (lane,) uint64
    history: Array  #: (lane, depth, channel) true values, a ring over ticks
    pass_ticks: Array  #: (lane, depth, blade)
    ring: Array  #: (lane, depth, blade) commanded pitch, a ring over ticks
    whole: Array  #: (lane,) int64 ticks of delay between command and servo
    share: Array  #: (lane,) the rest of that delay, in ticks
    states: list[State] = field(default_factory=list)

    @classmethod
    def settle_in(
        cls,
        world: World,
        stack: Stack,
        design: Array,
        wind: Array,
        identity: Array,
        azimuth: Array,
        required: Array,
    ) -> Flock:
        """Place lanes at the steady point of their mean wind and compute their first rates.

        Parameters
        ----------
        design, wind : (lane,) int64 - indices into the world's designs and winds
        identity : (lane,) uint64 - of the sensors' noise
        azimuth : (lane,) float64 [rad] - of blade 0
        required : (lane,) float64 [m] - clearance that must remain
        """
        count = len(design)
        speeds = world.wind.mean[wind, 0]
        y = np.stack(
            [begin_state(world.turbines[d], v, a) for d, v, a in zip(design, speeds, azimuth, strict=True)]
        )
        lanes = empty_lanes(y, design, wind)
        begin(lanes, world.design, world.wind, world.period, world.blade_count)
        known = gather_known(world.turbines, design, required, world.period)
        delays = known.pitch_delay / world.period
        whole = np.floor(delays + 1e-9).astype(np.int64)
        depth = int(world.suite.delays(world.period).max()) + 1
        ring = np.repeat(
            lanes.out[:, None, at.OUT_PITCH : at.OUT_PITCH + world.blade_count], int(whole.max()) + 2, axis=1
        )
        return cls(
            world, stack, lanes, known, np.asarray(identity, np.uint64),
            np.full((count, depth, sensing.CHANNELS), np.nan),
            np.zeros((count, depth, at.BLADES), np.int64), ring.copy(), whole,
            np.maximum(delays - whole, 0.0),
        )  # fmt: skip

    def __len__(self) -> int:
        return len(self.identity)

    def sense(self) -> Readings:
        """Return what the sensors report at this tick."""
        world, count = self.world, len(self)
        reading, age = np.empty((count, sensing.CHANNELS)), np.empty((count, sensing.CHANNELS))
        sensing.sense(
            reading, age, self.history, self.pass_ticks, self.lanes, self.identity,
            world.suite.delays(world.period), world.suite.deviations(), world.period, world.blade_count,
        )  # fmt: skip
        reading[:, world.suite.missing()] = np.nan
        return make_readings(reading, age, self.lanes.tick.copy(), world.period, world.blade_count)

    def decide(self, seen: Readings) -> tuple[Commands, Commands, list[Fault]]:
        """Step the stack; return its commands, the reference's, and the lanes that a layer failed."""
        if not self.states:
            self.states = self.stack.init(self.known, seen)
        self.states, commands, reference, faults = self.stack.step(self.states, seen, self.known)
        return commands, reference, faults

    def acting(self, commands: Commands, reference: Commands) -> Array:
        """Return where the logic asks for another pitch than the reference: (lane, blade) bool."""
        return np.abs(commands.pitch - reference.pitch) > self.world.acted_above

    def advance(self, log: at.Log, commands: Commands, acting: Array) -> None:
        """March one period under these commands."""
        pitch, torque = hold_limits(commands, self.known)
        applied = np.empty_like(pitch)
        sensing.delay_commands(applied, self.ring, pitch, self.lanes.tick, self.whole, self.share)
        world = self.world
        advance(
            self.lanes, log, world.design, world.wind, applied, torque, acting,
            world.period, world.parts, world.blade_count,
        )  # fmt: skip

    def take(self, rows: Array) -> Flock:
        """Return copies of the given lanes, ready to march on elsewhere."""
        arrays = ("identity", "history", "pass_ticks", "ring", "whole", "share")
        return replace(
            self,
            lanes=at.Lanes(*(column[rows] for column in self.lanes)),
            known=take_rows(self.known, rows),
            states=[take_rows(state, rows) for state in self.states],
            **{name: getattr(self, name)[rows] for name in arrays},
        )


def join_flocks(flocks: Sequence[Flock]) -> Flock:
    """Return lanes of one world and one stack as one flock, in their order."""
    arrays = ("identity", "history", "pass_ticks", "ring", "whole", "share")
    return replace(
        flocks[0],
        lanes=at.Lanes(
            *(np.concatenate(columns) for columns in zip(*(f.lanes for f in flocks), strict=True))
        ),
        known=join_rows([f.known for f in flocks]),
        states=[join_rows(list(states)) for states in zip(*(f.states for f in flocks), strict=True)],
        **{name: np.concatenate([getattr(f, name) for f in flocks]) for name in arrays},
    )


def hold_limits(commands: Commands, known: Known) -> tuple[Array, Array]:
    """Return pitch and torque within what the machine takes; a stop sends the blades to feather, torque to 0."""
    low, high = known.fine_pitch[:, None], known.feather_pitch[:, None]
    pitch = np.clip(commands.pitch, low, high)
    stop = commands.stop
    return np.where(stop[:, None], high, pitch), np.where(stop, 0.0, np.maximum(commands.torque, 0.0))


def empty_lanes(y: Array, design: Array, wind: Array) -> at.Lanes:
    """Return lanes at tick 0 with these states."""
    n, b = len(y), at.BLADES
    totals = np.zeros((n, at.TOTALS))
    totals[:, at.MIN_CLEARANCE] = np.inf
    return at.Lanes(
        y=y,
        dy=np.zeros_like(y),
        out=np.zeros((n, at.OUTPUTS)),
        design=np.asarray(design, np.int64),
        wind=np.asarray(wind, np.int64),
        tick=np.zeros(n, np.int64),
        status=np.zeros(n, np.int64),
        status_time=np.full(n, np.nan),
        search=np.full((n, b, at.SEARCH), np.inf),
        first_act=np.full((n, b), -1, np.int64),
        last_pass=np.full((n, b), np.nan),
        last_pass_tick=np.zeros((n, b), np.int64),
        totals=totals,
        rate_limit=np.full((n, b), -1.0),
    )


def empty_log(lanes: int, judged_from: int, ticks: int, *, turning: bool, period: float) -> at.Log:
    """Return room for what ``ticks`` periods can bring."""
    passes = int(ticks * period * 1.0) + 12
    points = ticks // 2 + 8 if turning else 0
    return at.Log(
        judged_from=np.full(lanes, judged_from, np.int64),
        passes=np.zeros((lanes, passes, at.PASS_COLUMNS)),
        pass_count=np.zeros(lanes, np.int64),
        turning=np.zeros((lanes, at.TURNING, points)),
        turning_state=np.zeros((lanes, at.TURNING, 2)),
        turning_count=np.zeros((lanes, at.TURNING), np.int64),
    )
