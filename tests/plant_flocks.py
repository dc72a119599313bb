"""Flocks of the shipped turbine under small layers of logic, and what of two records differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sim.design import Turbine
from sim.faults import FaultSpec
from sim.flock import Flock, World
from sim.interface import Commands
from sim.plant.air import wind_arrays
from sim.records import Record
from sim.sensors import Sensor, SensorSuite
from sim.stack import Stack
from sim.wind.field import WindSpec, pack_winds
from tests.plant_lanes import PERIOD, turbine

NOISE = {
    "azimuth": 0.002, "rotor_speed": 0.002, "pitch": 0.001, "root_flap_moment": 1e5, "root_edge_moment": 1e5,
    "tip_distance": 0.1, "last_pass_clearance": 0.1, "tower_acceleration": 0.02, "wind_speed": 0.5,
    "power": 1e4,
}  # fmt: skip


def noisy_suite(delay: float = 0.12) -> SensorSuite:
    return SensorSuite({name: Sensor(delay, deviation) for name, deviation in NOISE.items()})


def flock_of(
    winds: Sequence[WindSpec],
    stack: Stack,
    *,
    machines: Sequence[Turbine] = (),
    design: Sequence[int] | None = None,
    identity: Sequence[int] | None = None,
    rows: Sequence[int] | None = None,
    suite: SensorSuite | None = None,
    acted_above: float = np.radians(0.05),
    seconds: float = 60.0,
    faults: Sequence[Sequence[FaultSpec]] = (),
    settle: float = 0.0,
) -> Flock:
    """One lane a wind; ``rows`` picks lanes and their order, the world stays the same."""
    machines = list(machines) or [turbine()]
    rotor = machines[0].rotor
    pack = pack_winds(list(winds), rotor.hub_height, 2.0 * machines[0].rotor_radius, seconds)
    world = World.make(
        machines, wind_arrays(pack, rotor.hub_height), suite or noisy_suite(), PERIOD, acted_above
    )
    everything = np.arange(len(winds))
    chosen = everything if rows is None else np.asarray(rows)
    names = np.asarray(everything + 100 if identity is None else identity, np.uint64)
    designs = np.zeros(len(winds), np.int64) if design is None else np.asarray(design, np.int64)
    azimuth = 0.4 * everything
    return Flock.settle_in(
        world, stack, designs[chosen], chosen, names[chosen], azimuth[chosen], np.full(len(chosen), 3.9),
        [faults[row] for row in chosen] if faults else (), settle,
    )  # fmt: skip


def differences(record: Record, rows, other: Record, other_rows) -> list[str]:
    """Names of everything in which lanes of one record differ, by a single bit, from those of another."""
    found = []
    for name in record.cases:
        if not np.array_equal(
            record.cases[name][list(rows)], other.cases[name][list(other_rows)], equal_nan=True
        ):
            found.append(f"cases.{name}")
    for a, b in zip(rows, other_rows, strict=True):
        ours, theirs = record.passes["lane"] == a, other.passes["lane"] == b
        for name in record.passes:
            if name != "lane" and not np.array_equal(
                record.passes[name][ours], other.passes[name][theirs], equal_nan=True
            ):
                found.append(f"passes.{name} of lane {a}")
        for kind in ("turning", "cycles"):
            one, two = getattr(record, kind), getattr(other, kind)
            found += [f"{kind}.{n} of lane {a}" for n in one if not np.array_equal(one[n][a], two[n][b])]
    return found


class Steady:
    """Holds rated torque and a small pitch; the lowest layer of these tests."""

    needs: tuple[str, ...] = ()
    tower_pass, power = False, True

    def init(self, known, seen):
        return {"torque": 0.9 * known.rated_torque, "pitch": known.fine_pitch + 0.05}

    def step(self, state, seen, below, reference):
        pitch = state["pitch"][:, None] + 0.0 * below.pitch
        return state, replace(below, pitch=pitch, torque=state["torque"].copy())


class Nothing:
    """A tower-pass layer without effect."""

    needs: tuple[str, ...] = ()
    tower_pass, power = True, False

    def init(self, known, seen):
        return {"none": np.zeros_like(known.rated_power)}

    def step(self, state, seen, below, reference):
        return state, Commands(below.pitch.copy(), below.torque.copy(), below.stop.copy())


class Nudge(Nothing):
    """Pitches every blade up by two degrees from a tick on, until another."""

    def __init__(self, start: int, end: int):
        self.start, self.end = start, end

    def step(self, state, seen, below, reference):
        on = (seen.tick >= self.start) & (seen.tick < self.end)
        return state, replace(below, pitch=below.pitch + np.where(on, np.radians(2.0), 0.0)[:, None])
