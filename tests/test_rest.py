"""Does a rotor at rest stand, bend and come near its tower as sums and closed forms say?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sim.design import Turbine
from sim.flock import Flock, World
from sim.interface import Status
from sim.kernels import layout as at
from sim.kernels import passing
from sim.kernels.step import blade_frame
from sim.march import march
from sim.plant import geometry
from sim.plant.air import wind_arrays
from sim.plant.blade import blade_modes
from sim.plant.section import build_polars
from sim.rest import azimuth_at_rest, begin_at_rest
from sim.sensors import SensorSuite
from sim.stack import Stack
from sim.wind.field import Site, WindSpec, pack_winds, site_wind
from tests.plant_flocks import Steady, differences
from tests.plant_lanes import PERIOD, downwind, rig, steady_wind, turbine

GRAVITY, STORM, CALM = 9.80665, 59.5, 1e-3
BOTH_SIDES = pytest.mark.parametrize("machine", [turbine, downwind])


def held(
    winds: Sequence[WindSpec],
    *,
    machine: Turbine | None = None,
    places: Sequence[float] | None = None,
    rests: Sequence[bool] = (True,),
    design: Sequence[int] | None = None,
    layers: Sequence[Any] = (),
) -> Flock:
    """One lane a wind; blade 0 stands at its place before the tower, straight down unless said."""
    built = machine or turbine()
    pack = pack_winds(list(winds), built.rotor.hub_height, 2.0 * built.rotor_radius, 60.0)
    wind = wind_arrays(pack, built.rotor.hub_height)
    world = World.make([built] * len(rests), wind, SensorSuite({}), PERIOD, 1e-3, list(rests))
    rows = np.arange(len(winds))
    azimuth = np.array([azimuth_at_rest(0, 3, place) for place in places or [0.5] * len(rows)])
    return Flock.settle_in(
        world, Stack(list(layers), ["layer"] * len(layers)), np.array(design or [0] * len(rows)), rows,
        rows.astype(np.uint64), azimuth, np.full(len(rows), 0.5),
    )  # fmt: skip


@pytest.fixture(scope="module")
def balanced() -> Flock:
    """In no wind, and in a storm from ahead, from the left and from the right."""
    yaws = (0.0, 8.0, -8.0)
    return held([steady_wind(CALM)] + [steady_wind(STORM, yaw=math.radians(yaw)) for yaw in yaws])


def bent(machine: Turbine, load_x: np.ndarray, load_y: np.ndarray) -> tuple[float, float]:
    """Tip deflection (flapwise, edgewise) of a clamped blade under loads per length at its table's rows.

    Bernoulli's beam by two integrations, the curvature of each section taken in its own twisted axes; written
    apart from the modes.
    """
    blade = machine.blade
    r, step = blade.r, np.diff(blade.r)

    def summed(values: np.ndarray, back: bool = False) -> np.ndarray:
        parts = 0.5 * (values[1:] + values[:-1]) * step
        if back:
            return np.concatenate([np.cumsum(parts[::-1])[::-1], [0.0]])
        return np.concatenate([[0.0], np.cumsum(parts)])

    moment = [summed(summed(load, back=True), back=True) for load in (load_x, load_y)]
    c, s = np.cos(blade.structural_twist), np.sin(blade.structural_twist)
    flap = (moment[0] * c + moment[1] * s) / blade.flap_stiffness
    edge = (moment[1] * c - moment[0] * s) / blade.edge_stiffness
    found = [summed(summed(curve))[-1] for curve in (flap * c - edge * s, flap * s + edge * c)]
    assert r[-1] == machine.rotor_radius
    return found[0], found[1]


def section_loads(machine: Turbine, azimuth: float, wind: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loads per length on a feathered blade at rest, (row of the table,) along its own axes [N/m].

    Lift and drag of each section in the undisturbed wind, and weight; nothing is induced.
    """
    blade, polars = machine.blade, build_polars(machine)
    _, normal, motion = geometry.blade_directions(machine, azimuth)
    pitch = machine.pitch.feather
    through, along = float(wind @ normal), -float(wind @ motion)
    inflow = math.atan2(through, along)
    angle = np.degrees(inflow - pitch - polars.twist) + 180.0
    looked = zip(angle, polars.table, strict=True)
    rows = np.array([[np.interp(a, np.arange(361.0), t[:, k]) for k in range(4)] for a, t in looked])
    lift = rows[:, 1] * rows[:, 0] + (1.0 - rows[:, 1]) * rows[:, 2]
    head = 0.5 * machine.air_density * (through**2 + along**2) * polars.chord
    n = head * (lift * math.cos(inflow) + rows[:, 3] * math.sin(inflow))
    t = head * (lift * math.sin(inflow) - rows[:, 3] * math.cos(inflow))
    n, t = (np.interp(blade.r, polars.radius, load) for load in (n, t))
    n, t = n - GRAVITY * blade.mass * normal[2], t - GRAVITY * blade.mass * motion[2]
    c, s = math.cos(pitch), math.sin(pitch)
    return n * c + t * s, t * c - n * s


@pytest.mark.parametrize("lane", range(4))
@pytest.mark.parametrize("blade", [1, 2])
def test_a_feathered_blade_bends_as_the_sum_of_its_sections_and_its_weight_bends_a_beam(
    balanced, lane, blade
):
    """Blades off the tower, to 2 % and 0.06 m.

    Left out of the sum: what weight along the bent and prebent blade does (0.05 m), the induced wind, and all
    but three of the beam's shapes.
    """
    machine, lanes = turbine(), balanced.lanes
    yaw = math.radians((0.0, 0.0, 8.0, -8.0)[lane])
    speed = CALM if lane == 0 else STORM
    wind = speed * np.array([math.cos(yaw), -math.sin(yaw), 0.0])
    azimuth = lanes.y[lane, at.AZIMUTH] + 2.0 * math.pi * blade / 3.0
    flap, edge = bent(machine, *section_loads(machine, azimuth, wind))
    k = lanes_shape(balanced, blade)
    q = lanes.y[lane, at.Q + 3 * blade : at.Q + 3 * blade + 3]
    assert k[0] @ q == pytest.approx(flap, rel=0.02, abs=0.06)
    assert k[1] @ q == pytest.approx(edge, rel=0.02, abs=0.01)


def lanes_shape(flock: Flock, blade: int) -> np.ndarray:
    """Shapes at a blade's tip: (flapwise or edgewise, mode)."""
    k, column = flock.world.design.stations[0], at.TIP_COLUMN + blade
    return np.array([[k[row + m * at.WIDTH + column] for m in range(3)] for row in (at.PHI_X, at.PHI_Y)])


def distance(flock: Flock, q: np.ndarray, azimuth: float = math.pi) -> tuple[float, float]:
    """Distance of feathered blade 0 with amplitudes ``q`` to the tower, and its nearest station [m]."""
    design, machine = flock.world.design, flock.world.turbines[0]
    frame, hub = np.zeros(21), geometry.hub_position(machine)
    blade_frame(frame, azimuth, machine.pitch.feather, 0.0, machine.rotor.tilt, design.scalars[0])
    shapes = design.stations[0], design.scalars[0], design.tower_shape[0]
    return passing.clearance(q, 0.0, 0.0, hub, frame, 0, *shapes)


@BOTH_SIDES
def test_the_unloaded_plant_at_rest_stands_where_geometry_says_to_a_millimetre(machine) -> None:
    """The kernels' smallest distance of the outer stations, against the turbine's table at their radii."""
    built = machine()
    place = [0.5, 0.54, 0.35]
    flock, blade = held([steady_wind(CALM)], machine=built), built.blade
    k = flock.world.design.stations[0]
    outer = k[at.R + passing.OUTER : at.R + at.STATIONS]
    r = np.unique(np.concatenate([blade.r[[0]], outer, blade.r[[-1]]]))
    names = ("prebend", "chord", "thickness_ratio", "pitch_axis", "twist")
    table = replace(blade, r=r, **{name: np.interp(r, blade.r, getattr(blade, name)) for name in names})
    resampled = replace(built, blade=table)
    for azimuth in (azimuth_at_rest(0, 3, p) for p in place):
        gap, where = distance(flock, np.zeros(3), azimuth)
        free = outline_distance(resampled, azimuth)[1:]
        assert gap == pytest.approx(free.min(), abs=1e-3)
        assert where == pytest.approx(r[1 + int(free.argmin())])


def outline_distance(machine: Turbine, azimuth: float) -> np.ndarray:
    """Least horizontal distance of 3600 points of each section's ellipse to the wall, (row,) [m]."""
    blade, pitch = machine.blade, machine.pitch.feather
    _, normal, motion = geometry.blade_directions(machine, azimuth)
    around = np.linspace(0.0, 2.0 * np.pi, 3600)
    forward = (blade.pitch_axis[:, None] - 0.5 + 0.5 * np.cos(around)) * blade.chord[:, None]
    across = 0.5 * np.sin(around) * (blade.chord * blade.thickness_ratio)[:, None]
    turn = (pitch + blade.twist)[:, None]
    out, ahead = (
        across * np.cos(turn) - forward * np.sin(turn),
        forward * np.cos(turn) + across * np.sin(turn),
    )
    line = geometry.axis_position(machine, azimuth, pitch)[:, None, :]
    points = line + out[..., None] * normal + ahead[..., None] * motion
    wall = geometry.tower_radius(machine, points[..., 2])
    return np.min(np.hypot(points[..., 0], points[..., 1]) - wall, axis=1)


def test_the_brake_gives_the_torque_that_is_asked_and_the_tower_bears_it(balanced) -> None:
    """Aerodynamic torque, less the hub's share of the shear forces and the bent blades' weight: 4 %."""
    lanes, scalars = balanced.lanes, balanced.world.design.scalars[0]
    storm = slice(1, 4)
    assert lanes.y[storm, at.TORQUE] == pytest.approx(lanes.out[storm, at.OUT_TORQUE], rel=0.04)
    assert np.all(lanes.y[storm, at.TORQUE] > 5e6)
    # The side-side mode in balance: its stiffness against the side force at the hub and the brake's moment.
    asked = scalars[at.SS_STIFFNESS] * lanes.y[:, at.TOWER + 2] + scalars[at.SS_SLOPE] * lanes.y[:, at.TORQUE]
    pushed = asked / scalars[at.SS_LEVER]  # by the wind, to the right where it comes from the left
    assert pushed[2] < -1e5
    assert pushed[3] > 1e5


@pytest.fixture(scope="module")
def stood():
    """A storm with turbulence: what every tick showed, the record, and when the judged time began."""
    place = Site("II", "A", hub_height=96.0, rotor_diameter=139.0)
    wind = site_wind("extreme_turbulent", place, 42.5, seed=4, yaw=math.radians(-8.0))
    flock = held([wind, steady_wind(STORM)], places=[0.5, 0.45])
    flock.lanes.y[:, at.QD + 2] += 6.0  # a blow out of the plane, over before the judged time
    flock.lanes.search[:] = np.inf
    seen: list[np.ndarray] = []
    record = march(flock, 20.0, 20.0, observe=lambda f, *_: seen.append(f.lanes.out.copy()))
    return flock, record, np.array([*seen[1:], flock.lanes.out])


def test_a_rotor_at_rest_stands_passes_nothing_and_makes_nothing(stood) -> None:
    flock, record, _ = stood
    assert len(record.passes["lane"]) == 0
    assert flock.lanes.y[:, at.AZIMUTH] == pytest.approx(
        [azimuth_at_rest(0, 3, p) for p in (0.5, 0.45)], abs=1e-12
    )
    assert np.all(np.abs(record.cases["energy_J"]) < 1e-6)
    assert np.all(record.cases["pitch_travel_rad"] == 0.0)
    assert np.all(record.cases["status"] == Status.RUNNING)


def test_its_clearance_is_the_least_distance_of_the_judged_time_alone(stood) -> None:
    _, record, out = stood
    near = out[:, :, at.OUT_DISTANCE]
    settled, judged = near[: len(near) // 2].min(axis=0), near[len(near) // 2 :].min(axis=0)
    assert np.all(settled < judged - 0.1)
    # Between ticks 0.04 s apart a swing of 0.4 m at 1.2 Hz hides a (omega h)^2 / 8 = 5 mm.
    assert record.cases["smallest_clearance_m"] == pytest.approx(judged, abs=6e-3)
    assert np.all(record.cases["smallest_clearance_m"] <= judged)


def test_in_still_air_the_blade_rings_down_to_its_sag_at_the_rate_of_its_damping() -> None:
    """Edgewise: the log decrement of the turbine file's damping ratio of 0.006, 2 pi times it a cycle."""
    flock = held([steady_wind(CALM)])
    sag = flock.lanes.y[0, : at.QD].copy()
    flock.lanes.y[0, [at.Q + 2, at.Q + 5, at.Q + 8]] -= 1e-3 * turbine().rotor_radius  # the march's own knock
    flock.lanes.y[0, at.Q + 2] += 0.2
    edge: list[float] = []
    march(flock, 0.0, 30.0, observe=lambda f, *_: edge.append(f.lanes.y[0, at.Q + 2]))
    swing = np.array(edge) - sag[2]
    early, late = np.ptp(swing[:125]) / 2.0, np.ptp(swing[-125:]) / 2.0
    rate = 2.0 * math.pi * blade_modes(turbine()).mode_frequency[2] * 0.006
    assert np.abs(swing).max() <= 0.2 * 1.01
    assert late / early == pytest.approx(math.exp(-rate * 25.0), rel=0.2)
    assert np.mean(swing[-125:]) == pytest.approx(0.0, abs=0.01)


def test_the_march_at_rest_converges_with_the_fourth_power_of_the_step() -> None:
    found = {}
    for parts in (2, 4, 8, 32):
        lane = rig(turbine(), [steady_wind(20.0, yaw=0.1)], parts=parts)
        lane.design.scalars[0, at.ROTOR_INERTIA] = 1e30
        lane.lanes.y[0] = begin_at_rest(turbine(), azimuth_at_rest(0, 3, 0.9))
        lane.pitch[:], lane.torque[:] = turbine().pitch.feather, 0.0
        found[parts] = lane.restart().march(2.0).lanes.y[0, : at.QD].copy()
    far = {parts: np.abs(found[parts] - found[32]).max() for parts in (2, 4, 8)}
    assert far[2] < 1e-3
    assert far[2] / far[4] > 10.0
    assert far[4] / far[8] > 10.0


@BOTH_SIDES
def test_a_feathered_blade_bent_downwind_nears_a_tower_behind_it_and_leaves_one_before_it(machine) -> None:
    """By as much as its tip moves, at most; the nearest station, further in, moves about half as far."""
    built = machine()
    flock = held([steady_wind(CALM)], machine=built)
    c, s = math.cos(built.pitch.feather), math.sin(built.pitch.feather)
    shape = lanes_shape(flock, 0) @ np.array([0.0, 0.0, 1.0])
    downwind_of_one = shape[0] * c - shape[1] * s
    gaps = [distance(flock, np.array([0.0, 0.0, tip / downwind_of_one]))[0] for tip in (0.0, 0.4)]
    assert 0.4 < (gaps[1] - gaps[0]) * built.rotor.side / 0.4 < 1.0


def test_a_blade_that_meets_the_tower_at_rest_is_flagged() -> None:
    skerry = turbine()
    near = replace(skerry, rotor=replace(skerry.rotor, overhang=skerry.rotor.overhang - 9.0))
    flock = held([steady_wind(CALM)], machine=near)
    record = march(flock, 0.0, 1.0)
    assert record.cases["smallest_clearance_m"][0] < 0.0
    assert record.cases["status"][0] == Status.STRUCK


def test_a_stalled_blade_that_shakes_is_flagged_and_one_in_attached_flow_is_not() -> None:
    """Wind from the right at 15 degrees stalls the demo blade at feather; from ahead it meets its edge."""
    flock = held([steady_wind(STORM, yaw=math.radians(yaw)) for yaw in (-15.0, 0.0)])
    edge: list[np.ndarray] = []
    record = march(flock, 60.0, 60.0, observe=lambda f, *_: edge.append(f.lanes.y[:, at.Q + 2].copy()))
    assert record.cases["status"].tolist() == [Status.SHAKEN, Status.RUNNING]
    swing = np.ptp(np.array(edge)[-250:], axis=0) / 2.0
    assert swing[0] > 0.02 * turbine().rotor_radius
    assert swing[1] < 0.1e-3 * turbine().rotor_radius


def test_turning_lanes_do_not_notice_neighbours_at_rest() -> None:
    winds = [steady_wind(11.0), steady_wind(STORM)]
    both = held(winds, rests=(False, True), design=(0, 1), layers=[Steady()])
    alone = held(winds[:1], rests=(False,), layers=[Steady()])
    assert not differences(march(both, 2.0, 12.0), [0], march(alone, 2.0, 12.0), [0])
