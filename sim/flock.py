"""What is the whole state of many lanes under one stack of logic, and how is it sensed and commanded?

Every array is lane-first and belongs to its lane alone, so lanes can be taken out, copied and marched on
elsewhere with the same result to the bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.counting import empty_log
from sim.design import Turbine
from sim.faults import FaultSpec, ever_hangs, hangs, lay_out, longest_delay
from sim.interface import Commands, Known, Readings, State
from sim.kernels import breaking, sensing
from sim.kernels import layout as at
from sim.kernels.advance import advance
from sim.one_thread import in_one_thread
from sim.plant.known import gather_known
from sim.plant.pack import begin_state, parts_of
from sim.rest import begin_at_rest, find_balance, hold_still, pack_at_rest
from sim.sensors import SensorSuite, fresh_memory, make_readings, steady_inductions
from sim.stack import Fault, Stack, join_rows, put_rows, take_rows

Array = NDArray[Any]


@dataclass(frozen=True)
class World:
    """What all lanes of a batch share."""

    turbines: Sequence[Turbine]
    design: at.Design
    wind: at.Wind
    suite: SensorSuite
    chain: sensing.Chain  #: what the suite's sensors do, for the kernels
    induction: Array  #: (design, point) of the steady rotor, for the anemometer
    period: float  #: [s] controller period
    parts: int  #: steps in a period
    blade_count: int
    acted_above: float  #: [rad] pitch difference from the reference that counts as acting
    at_rest: Array  #: (design,) bool: its rotor is held, its blades stand at feather

    @classmethod
    @in_one_thread
    def make(
        cls, turbines: Sequence[Turbine], wind: at.Wind, suite: SensorSuite, period: float,
        acted_above: float, at_rest: Sequence[bool] = (),
    ) -> World:  # fmt: skip
        """Pack turbines, those at rest by `sim.rest`, and count the steps that a period needs."""
        held = np.array(at_rest or [False] * len(turbines))
        design = pack_at_rest(turbines, held)
        blades = turbines[0].rotor.blade_count
        return cls(
            turbines, design, wind, suite, suite.chain(period), steady_inductions(turbines), period,
            parts_of(turbines, period), blades, acted_above, held,
        )  # fmt: skip


@dataclass
class Flock:
    """Lanes that march together under one stack."""

    world: World
    stack: Stack
    lanes: at.Lanes
    known: Known
    identity: Array  #: (lane,) uint64
    memory: sensing.Memory  #: of the sensors
    faults: at.Faults
    ring: Array  #: (lane, depth, BLADES + 1) commanded pitch and torque, a ring over ticks
    whole: Array  #: (lane,) int64 ticks of delay between command and servo
    share: Array  #: (lane,) the rest of that delay, in ticks
    held: tuple[Commands, Commands] | None = None  #: the last commands and the reference's, where kept
    states: list[State] = field(default_factory=list)

    @classmethod
    def settle_in(cls, world: World, stack: Stack, *where: Any, **more: Any) -> Flock:
        """Place lanes (see ``place``) and compute their first rates."""
        flock = cls.place(world, stack, *where, **more)
        stand_still(flock.lanes, world)
        find_balance(flock.lanes, np.flatnonzero(flock.at_rest), world)
        return flock

    @classmethod
    @in_one_thread
    def place(
        cls,
        world: World,
        stack: Stack,
        design: Array,
        wind: Array,
        identity: Array,
        azimuth: Array,
        required: Array,
        faults: Sequence[Sequence[FaultSpec]] = (),
        settle: float = 0.0,
    ) -> Flock:
        """Place lanes at the steady point of their mean wind, or unloaded where their rotor is at rest.

        Parameters
        ----------
        design, wind : (lane,) int64 - indices into the world's designs and winds
        identity : (lane,) uint64 - of the sensors' noise
        azimuth : (lane,) float64 [rad] - of blade 0
        required : (lane,) float64 [m] - clearance that must remain
        faults : what breaks in each lane; nothing where none are given
        settle : float [s] - start of the judged time, from which the faults' times count
        """
        count = len(design)
        speeds = world.wind.mean[wind, 0]
        y = np.zeros((count, at.STATE))
        for lane, (d, speed, angle) in enumerate(zip(design, speeds, azimuth, strict=True)):
            turbine, rests = world.turbines[d], world.at_rest[d]
            y[lane] = begin_at_rest(turbine, angle) if rests else begin_state(turbine, speed, angle)
        lanes = empty_lanes(y, design, wind)
        sees_ahead = "wind_preview" in world.suite.fitted
        ahead = world.suite.preview_range if sees_ahead else np.nan
        known = gather_known(world.turbines, design, required, world.period, ahead)
        delays = known.pitch_delay / world.period
        whole = np.floor(delays + 1e-9).astype(np.int64)
        broken = lay_out(list(faults) or [()] * count, settle, world.period)
        depth = int(world.chain.delay.max()) + longest_delay(broken, breaking.DELAYED) + 1
        late = int(whole.max(initial=0)) + longest_delay(broken, breaking.LATE)
        ring = np.zeros((count, late + 2, at.BLADES + 1))
        return cls(
            world, stack, lanes, known, np.asarray(identity, np.uint64), fresh_memory(count, depth), broken,
            ring, whole, np.maximum(delays - whole, 0.0),
        )  # fmt: skip

    @property
    def at_rest(self) -> Array:
        """Whose rotor is held: (lane,) bool."""
        return self.world.at_rest[self.lanes.design]

    def __len__(self) -> int:
        return len(self.identity)

    def sense(self) -> Readings:
        """Return what the sensors report at this tick."""
        world, count = self.world, len(self)
        shape = (count, sensing.CHANNELS)
        reading, valid, age = np.empty(shape), np.empty(shape, bool), np.empty(shape)
        sensing.sense(
            reading, valid, age, self.memory, self.lanes, self.identity, world.chain, self.faults,
            world.design, world.induction, world.wind, world.period, world.blade_count,
        )  # fmt: skip
        return make_readings(reading, valid, age, self.lanes.tick.copy(), world.period, world.blade_count)

    def decide(self, seen: Readings) -> tuple[Commands, Commands, list[Fault]]:
        """Step the stack; return its commands, the reference's, and the lanes that a layer failed."""
        begun: list[Fault] = []
        if not self.states:
            self.states, begun = self.stack.init(self.known, seen)
        if not self.hangs:
            self.states, commands, reference, faults = self.stack.step(self.states, seen, self.known)
            return commands, reference, begun + faults
        hung, anew = hangs(self.faults, self.lanes.tick)
        before = self.states
        if anew.any():
            before, begun = self.stack.init_anew(before, anew, self.known, seen)
        self.states, commands, reference, faults = self.stack.step(before, seen, self.known)
        if self.held is not None and hung.any():
            self.states = put_rows(self.states, before, hung)
            commands, reference = put_rows((commands, reference), self.held, hung)
            faults = [fault for fault in faults if not hung[fault.lane]]
        self.held = (commands, reference)
        return commands, reference, begun + faults

    @cached_property
    def hangs(self) -> bool:
        """Whether the computer of any lane will stand still."""
        return ever_hangs(self.faults)

    def acting(self, commands: Commands, reference: Commands) -> Array:
        """Return where the logic asks for another pitch than the reference: (lane, blade) bool."""
        return np.abs(commands.pitch - reference.pitch) > self.world.acted_above

    def apply(self, commands: Commands) -> tuple[Array, Array]:
        """Return pitch and torque as they reach servos and generator at this tick."""
        pitch, asked = hold_limits(commands, self.known)
        applied, torque = np.empty_like(pitch), np.empty_like(asked)
        world = self.world
        breaking.command(
            applied, torque, self.ring, pitch, asked, commands.stop.copy(), self.lanes, self.faults,
            world.design, self.whole, self.share, world.period,
        )  # fmt: skip
        hold_still(applied, torque, self.lanes, self.at_rest, world)
        return applied, torque

    def advance(self, log: at.Log, commands: Commands, acting: Array) -> None:
        """March one period under these commands."""
        applied, torque = self.apply(commands)
        world = self.world
        advance(
            self.lanes, log, world.design, world.wind, applied, torque, acting,
            world.period, world.parts, world.blade_count,
        )  # fmt: skip

    def take(self, rows: Array) -> Flock:
        """Return copies of the given lanes, ready to march on elsewhere."""
        return replace(
            self,
            known=take_rows(self.known, rows),
            held=take_rows(self.held, rows),
            states=[take_rows(state, rows) for state in self.states],
            **{name: type(packed)(*(column[rows] for column in packed)) for name, packed in self._packed()},
            **{name: getattr(self, name)[rows] for name in ARRAYS},
        )

    def take_reference(self, rows: Array, reference: Commands) -> Flock:
        """Return copies of the given lanes without the tower-pass layers, as if they had never been fitted.

        Parameters
        ----------
        rows : (lane,) int64
        reference : Commands - of the reference at this tick, all lanes
        """
        part = self.take(rows)
        part.states = self.stack.keep_states(part.states)
        part.stack = self.stack.without_tower_pass()
        if part.held is not None:
            kept = take_rows(reference, rows)
            part.held = (kept, kept)
        return part

    def _packed(self) -> list[tuple[str, Any]]:
        return [(name, getattr(self, name)) for name in PACKED]


ARRAYS = ("identity", "ring", "whole", "share")
PACKED = ("lanes", "memory", "faults")


def stand_still(lanes: at.Lanes, world: World) -> None:
    """Compute every lane's rate and outputs at its present instant, before its first step."""
    count = len(lanes.tick)
    log = empty_log(count, 0, 0, turning=False, period=world.period)
    nothing = np.zeros((count, world.blade_count))
    advance(
        lanes, log, world.design, world.wind, nothing, np.zeros(count), nothing > 0.0, world.period, 0,
        world.blade_count,
    )  # fmt: skip


def join_flocks(flocks: Sequence[Flock]) -> Flock:
    """Return lanes of one world and one stack as one flock, in their order."""
    first = flocks[0]
    packed = {
        name: type(getattr(first, name))(*_joined([getattr(f, name) for f in flocks])) for name in PACKED
    }
    return replace(
        first,
        known=join_rows([f.known for f in flocks]),
        held=None if first.held is None else join_rows([f.held for f in flocks]),
        states=[join_rows(list(states)) for states in zip(*(f.states for f in flocks), strict=True)],
        **packed,
        **{name: np.concatenate([getattr(f, name) for f in flocks]) for name in ARRAYS},
    )


def _joined(packs: Sequence[Any]) -> list[Array]:
    return [np.concatenate(columns) for columns in zip(*packs, strict=True)]


def hold_limits(commands: Commands, known: Known) -> tuple[Array, Array]:
    """Return pitch within fine and feather and torque not below 0."""
    low, high = known.fine_pitch[:, None], known.feather_pitch[:, None]
    pitch = np.minimum(np.maximum(commands.pitch, low), high)
    return pitch, np.maximum(commands.torque, 0.0)


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
