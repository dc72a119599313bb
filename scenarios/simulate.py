"""What comes of a batch of cases: descriptions in, one flat result each out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, SensorSpec, TurbineSpec, unloaded_of
from scenarios.heartbeat import beat
from scenarios.store import CaseResult
from sim.design import Turbine
from sim.flock import Flock, World
from sim.interface import Commands, Readings, Status
from sim.kernels import layout as at
from sim.march import Observer, march
from sim.plant.air import wind_arrays
from sim.records import Record
from sim.sensors import Sensor, SensorSuite
from sim.stack import Stack
from sim.wind.field import pack_winds

Array = NDArray[Any]
Packed = tuple[TurbineSpec, bool]
"""What a design of a world is made from: a turbine, and whether its rotor is at rest."""
AIMINGS = 3
"""Marches that aim a rotor at its event."""
ACTED_ABOVE = float(np.radians(0.05))
"""Difference from the reference's pitch command that counts as acting [rad]."""


def simulate(cases: list[Case]) -> Sequence[CaseResult]:
    """March compatible cases together and return one result for each, in their order.

    Parameters
    ----------
    cases : list of Case
        Of one period, settling and judged time and number of blades; any turbines, winds and stacks.
    """
    results: dict[str, CaseResult] = {}
    world, design_of, wind_of = make_world(cases)
    beat()  # what is slow and our own is done: a layer that hangs in its first call is told from it
    for stack_key in dict.fromkeys(case.stack_key for case in cases):
        mine = [case for case in cases if case.stack_key == stack_key]
        flock = make_flock(mine, world, design_of, wind_of)
        run = mine[0].run
        record = march(flock, run.settle, run.duration, observe=_beat)
        results |= {case.key: lane_result(record, lane) for lane, case in enumerate(mine)}
    return [results[case.key] for case in cases]


def watch(case: Case, observe: Observer) -> CaseResult:
    """March one case again and let ``observe`` see every tick; the result is the same to the bit."""
    world, design_of, wind_of = make_world([case])
    flock = make_flock([case], world, design_of, wind_of)
    record = march(flock, case.run.settle, case.run.duration, observe=observe)
    return lane_result(record, 0)


def _beat(flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
    beat()


def make_world(
    cases: Sequence[Case], duration: float | None = None
) -> tuple[World, dict[Packed, int], dict[str, int]]:
    """Build what a batch shares, and say which design and wind each case has."""
    designs = list(dict.fromkeys((case.turbine, case.run.at_rest) for case in cases))
    turbines = [spec.load() for spec, _ in designs]
    design_of = {design: n for n, design in enumerate(designs)}
    winds = {case.wind_key: case.wind for case in cases}
    first = turbines[0]
    span = cases[0].simulated_s if duration is None else duration
    pack = pack_winds(list(winds.values()), first.rotor.hub_height, 2.0 * first.rotor_radius, span)
    world = World.make(
        turbines,
        wind_arrays(pack, first.rotor.hub_height),
        sensor_suite(cases[0].sensors),
        cases[0].run.period,
        ACTED_ABOVE,
        [rests for _, rests in designs],
    )
    return world, design_of, {key: n for n, key in enumerate(winds)}


def sensor_suite(spec: SensorSpec) -> SensorSuite:
    """Fit the sensors that a case describes."""
    noises, details = dict(spec.noises), dict(spec.details)
    fitted = {name: Sensor(delay, noises[name], **dict(details.get(name, ()))) for name, delay in spec.delays}
    return SensorSuite(fitted, **dict(spec.suite))


def make_flock(
    cases: Sequence[Case], world: World, design_of: dict[Packed, int], wind_of: dict[str, int]
) -> Flock:
    """Place cases of one stack at their starts."""
    return _settle(cases, world, design_of, wind_of, _azimuths(cases, world, design_of, wind_of))


def _azimuths(
    cases: Sequence[Case], world: World, design_of: dict[Packed, int], wind_of: dict[str, int]
) -> Array:
    """Return where blade 0 of each case starts [rad].

    Notes
    -----
    A case whose event is to meet a blade at the tower is marched to that moment, its start turned by what the
    blade was wrong by, and marched again, ``AIMINGS`` times in all.
    """
    azimuth = np.array([case.run.azimuth for case in cases])
    for moment in sorted({case.run.meets_s for case in cases if case.run.meets_blade}):
        rows = [n for n, case in enumerate(cases) if case.run.meets_blade and case.run.meets_s == moment]
        mine = [cases[n] for n in rows]
        shift = np.array([2.0 * np.pi * (case.run.meets_blade - 1) / case.blade_count for case in mine])
        for _ in range(AIMINGS):
            flock = _settle(mine, world, design_of, wind_of, azimuth[rows])
            march(flock, 0.0, moment, forks=False, observe=_beat)
            y, marched = flock.lanes.y, flock.lanes.tick * world.period
            wrong = np.pi - (y[:, at.AZIMUTH] + y[:, at.SPEED] * (moment - marched) + shift)
            azimuth[rows] += (wrong + np.pi) % (2.0 * np.pi) - np.pi
    return azimuth


def _settle(
    cases: Sequence[Case],
    world: World,
    design_of: dict[Packed, int],
    wind_of: dict[str, int],
    azimuth: Array,
) -> Flock:
    mine = [design_of[case.turbine, case.run.at_rest] for case in cases]
    layers = cases[0].stack
    stack = Stack([layer.load() for layer in layers], [layer.name for layer in layers])
    return Flock.settle_in(
        world,
        stack,
        np.array(mine, np.int64),
        np.array([wind_of[case.wind_key] for case in cases], np.int64),
        np.array([case.seed for case in cases], np.uint64),
        azimuth,
        np.array([required(case, world.turbines[n]) for case, n in zip(cases, mine, strict=True)]),
        [case.faults for case in cases],
        cases[0].run.settle,
    )


def required(case: Case, turbine: Turbine) -> float:
    """Return the clearance that must remain [m]."""
    return case.required_share * unloaded_of(case, turbine)


def lane_result(record: Record, lane: int) -> CaseResult:
    """Flatten one lane of a record for the store."""
    rows = record.passes["lane"] == lane
    result = {f"passes.{name}": column[rows] for name, column in record.passes.items() if name != "lane"}
    result |= {f"cases.{name}": np.asarray(column[lane]) for name, column in record.cases.items()}
    result |= {f"turning.{name}": points[lane] for name, points in record.turning.items()}
    result |= {f"cycles.{name}": cells[lane] for name, cells in record.cycles.items()}
    told = [fault for fault in record.faults if fault.lane == lane]
    if told:
        result["fault"] = np.array(f"layer {told[0].layer} {told[0].message}")
    elif result["cases.status"] > Status.STRUCK:
        result["fault"] = np.array(Status(int(result["cases.status"])).name.lower())
    return result
