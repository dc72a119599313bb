"""Where blade and tower are at rest, against closed forms and brute force."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.design import Turbine
from sim.plant import geometry
from sim.turbine import load_turbine

PUBLISHED = Path(__file__).parent / "data" / "published-5mw.toml"
SKERRY = load_turbine("skerry")
OUT_OF_PLANE = pytest.mark.parametrize("side", [-1.0, 1.0])
angles = st.floats(-0.05, 0.15)


def leaning(turbine: Turbine, **rotor: float) -> Turbine:
    return replace(turbine, rotor=replace(turbine.rotor, **rotor))


def test_published_rotor_has_its_published_clearance() -> None:
    # NREL/TP-500-38060 (2009) dimensions, quoted from memory: 5 cos 5 + 63 sin 7.5 less the tower's radius at
    # 27.54 m gives 10.539 m on the reference line.
    assert geometry.unloaded_clearance_axis(load_turbine(PUBLISHED)) == pytest.approx(10.539, abs=5e-4)


def test_demo_turbine_has_thirteen_metres_and_loses_its_prebend_at_feather() -> None:
    # Derived by hand: 4.0 cos 5 + 69.5 sin 7.5 + 2.0 cos 7.5 = 15.0393 m out, at 27.356 m height, where the
    # tower's diameter is 4.3 - 27.356/93.9 = 4.00867 m.
    assert geometry.unloaded_clearance_axis(SKERRY) == pytest.approx(15.0393 - 4.00867 / 2, abs=1e-3)
    lost = geometry.unloaded_clearance(SKERRY) - geometry.unloaded_clearance(SKERRY, math.radians(90.0))
    # A quarter turn lays the whole prebend into the plane: 2.0 cos 7.5 = 1.983 m; the tip's outline changes
    # by less than a quarter of its chord (0.1 m).
    assert lost == pytest.approx(1.983, abs=0.1)


def test_without_prebend_feather_leaves_the_published_reference_line_where_it_was() -> None:
    # The published rotor again (10.539 m, from memory): what lies on the blade axis is not moved by pitch.
    published = load_turbine(PUBLISHED)
    feathered = geometry.unloaded_clearance_axis(published, published.pitch.feather)
    assert feathered == pytest.approx(10.539, abs=5e-4)
    assert feathered == pytest.approx(geometry.unloaded_clearance_axis(published), abs=1e-12)


def around_the_turn(turbine: Turbine, pitch: float) -> tuple[float, float]:
    """Smallest distance of the tip's line and of its outline over a turn, by rotation and brute force.

    The blade is placed upright in its own axes, then turned by pitch, cone, azimuth and tilt in this order;
    the outline is 720 points of the ellipse, each of which is a horizontal distance from the tower's wall.
    """
    table, rotor = turbine.blade, turbine.rotor

    def turn(axis: int, angle: float) -> np.ndarray:
        c, s = math.cos(angle), math.sin(angle)
        first, second = [(1, 2), (2, 0), (0, 1)][axis]
        made = np.eye(3)
        made[first, first] = made[second, second] = c
        made[first, second], made[second, first] = -s, s
        return made

    s = np.linspace(0.0, 2.0 * np.pi, 721)[:-1]
    chord, thick = table.chord[-1], table.chord[-1] * table.thickness_ratio[-1]
    forward, across = (table.pitch_axis[-1] - 0.5) * chord + 0.5 * chord * np.cos(s), 0.5 * thick * np.sin(s)
    # Upright blade: z up along it, x downwind, and it moves towards -y. Twist turns the leading edge upwind.
    twist = float(table.twist[-1])
    flap = across * math.cos(twist) - forward * math.sin(twist)
    lead = forward * math.cos(twist) + across * math.sin(twist)
    prebend = rotor.side * table.prebend[-1]
    outline = np.stack([prebend + flap, -lead, np.zeros_like(s)])
    line = np.array([[prebend], [0.0], [0.0]])
    lines, outlines = [], []
    for azimuth in np.linspace(math.pi - 0.08, math.pi + 0.08, 3201):
        # Pitch turns x towards the motion (-y); the cone leans z away from the tower (side x); azimuth turns
        # z towards -y; tilt lifts the rotor's end of the shaft.
        whole = turn(1, rotor.side * -rotor.tilt) @ turn(0, azimuth) @ turn(1, rotor.side * rotor.cone)
        whole = whole @ turn(2, -pitch)
        hub = np.array([[rotor.side * rotor.overhang * math.cos(rotor.tilt)], [0.0], [rotor.hub_height]])
        for points, found in ((line, lines), (outline, outlines)):
            placed = hub + whole @ (points + np.array([[0.0], [0.0], [turbine.rotor_radius]]))
            wall = geometry.tower_radius(turbine, placed[2])
            found.append(float(np.min(np.hypot(placed[0], placed[1]) - wall)))
    return min(lines), min(outlines)


@OUT_OF_PLANE
@pytest.mark.parametrize("pitch_deg", [0.0, 88.0])
def test_the_smallest_clearance_of_a_feathered_blade_is_that_of_a_turned_outline(
    side: float, pitch_deg: float
) -> None:
    pitch = math.radians(pitch_deg)
    turbine = leaning(SKERRY, side=side)
    turbine = replace(turbine, pitch=replace(turbine.pitch, feather=pitch))
    line, outline = around_the_turn(turbine, pitch)
    assert geometry.unloaded_clearance_axis(turbine, pitch) == pytest.approx(line, abs=1e-4)
    assert geometry.feathered_clearance(turbine) == pytest.approx(outline, abs=1e-3)
    if pitch:
        assert geometry.unloaded_clearance_axis(turbine) - line > 1.8


@OUT_OF_PLANE
@settings(deadline=None, derandomize=True, max_examples=40)
@given(tilt=angles, cone=angles, overhang=st.floats(1.0, 12.0))
def test_closed_form_equals_the_position_in_space(
    side: float, tilt: float, cone: float, overhang: float
) -> None:
    turbine = leaning(SKERRY, side=side, tilt=tilt, cone=cone, overhang=overhang)
    x, _, z = geometry.axis_position(turbine, math.pi, 0.0)[-1]
    distance = x * side - float(geometry.tower_radius(turbine, z))
    assert geometry.unloaded_clearance_axis(turbine) == pytest.approx(distance, abs=1e-9)


@OUT_OF_PLANE
@pytest.mark.parametrize("lever", ["tilt", "cone", "overhang", "prebend"])
def test_each_geometric_lever_makes_room_on_either_side(side: float, lever: str) -> None:
    turbine = leaning(SKERRY, side=side)
    more = {"tilt": math.radians(1.0), "cone": math.radians(1.0), "overhang": 0.5}
    if lever == "prebend":
        changed = replace(turbine, blade=replace(turbine.blade, prebend_offset=np.full(3, 0.5)))
    else:
        changed = leaning(turbine, **{lever: getattr(turbine.rotor, lever) + more[lever]})
    gained = geometry.unloaded_clearance(changed) - geometry.unloaded_clearance(turbine)
    # Derivatives of the closed form: R pi/180 cos(7.5 deg) = 1.20 m for a degree (overhang and height change
    # it by less than 2 %), cos(5 deg) for overhang, cos(7.5 deg) for prebend.
    expected = {"tilt": 1.203, "cone": 1.203, "overhang": 0.498, "prebend": 0.496}[lever]
    assert gained == pytest.approx(expected, rel=0.025)


def test_blade_turns_clockwise_as_seen_from_upwind() -> None:
    # The frames' definition: azimuth 0 = blade up, y = -r sin(azimuth), y to the left when looking downwind.
    turbine = leaning(SKERRY, tilt=0.0, cone=0.0)
    radius = turbine.rotor_radius
    for azimuth in np.radians([0.0, 30.0, 90.0, 200.0, 315.0]):
        _, y, z = geometry.axis_position(turbine, azimuth, 0.0)[-1]
        assert y == pytest.approx(-radius * math.sin(azimuth), abs=1e-9)
        assert z - turbine.rotor.hub_height == pytest.approx(radius * math.cos(azimuth), abs=1e-9)


@OUT_OF_PLANE
@settings(deadline=None, derandomize=True, max_examples=30)
@given(azimuth=st.floats(0.0, 2.0 * math.pi), tilt=angles, cone=angles)
def test_blade_axes_are_right_handed_and_move_with_the_rotation(
    side: float, azimuth: float, tilt: float, cone: float
) -> None:
    turbine = leaning(SKERRY, side=side, tilt=tilt, cone=cone)
    along, normal, motion = geometry.blade_directions(turbine, azimuth)
    frame = np.stack([along, normal, motion])
    assert np.allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    step = 1e-6
    later = geometry.blade_directions(turbine, azimuth + step)[0]
    assert np.allclose((later - along) / step, motion * math.cos(cone), atol=1e-5)
    assert normal @ geometry.shaft_direction(turbine) > 0.98


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    chord=st.floats(0.3, 5.0),
    ratio=st.floats(0.15, 1.0),
    axis=st.floats(0.2, 0.5),
    angle=st.floats(-0.5, 1.7),
    towards=st.floats(0.0, 2.0 * math.pi),
)
def test_outline_reach_equals_that_of_points_on_the_ellipse(
    chord: float, ratio: float, axis: float, angle: float, towards: float
) -> None:
    s = np.linspace(0.0, 2.0 * np.pi, 20001)
    forward = (axis - 0.5) * chord + 0.5 * chord * np.cos(s)
    across = 0.5 * ratio * chord * np.sin(s)
    # Leading edge along motion at angle 0, upwind (-normal) at 90 degrees; thickness along the normal at 0.
    normal = across * math.cos(angle) - forward * math.sin(angle)
    motion = forward * math.cos(angle) + across * math.sin(angle)
    brute = np.max(normal * math.cos(towards) + motion * math.sin(towards))
    one = np.ones(1)
    found = geometry.outline_reach(
        chord * one,
        chord * ratio * one,
        axis * one,
        angle * one,
        math.cos(towards) * one,
        math.sin(towards) * one,
    )
    assert found[0] == pytest.approx(brute, abs=1e-6)


def test_feathered_section_reaches_upwind_with_its_leading_edge() -> None:
    # A 4 m chord held at 30 %: 1.2 m ahead of the pitch axis, 2.8 m behind it; the outline's ends lie on it.
    args = np.array([4.0]), np.array([0.0]), np.array([0.3]), np.array([math.pi / 2])
    assert geometry.outline_reach(*args, np.array([-1.0]), np.array([0.0]))[0] == pytest.approx(1.2)
    assert geometry.outline_reach(*args, np.array([1.0]), np.array([0.0]))[0] == pytest.approx(2.8)


def test_worst_blade_counts() -> None:
    offsets = np.array([0.0, -0.2, 0.0])
    turbine = replace(SKERRY, blade=replace(SKERRY.blade, prebend_offset=offsets))
    lost = geometry.unloaded_clearance(SKERRY) - geometry.unloaded_clearance(turbine)
    assert lost == pytest.approx(0.2 * math.cos(math.radians(7.5)), rel=0.02)


def test_tower_keeps_its_end_diameters_beyond_its_ends() -> None:
    radius = geometry.tower_radius(SKERRY, np.array([-5.0, 0.0, 93.9 / 2, 93.9, 120.0]))
    assert radius == pytest.approx([2.15, 2.15, 1.9, 1.65, 1.65])


def test_prebend_offset_grows_with_the_square_of_the_distance_from_the_root() -> None:
    turbine = replace(SKERRY, blade=replace(SKERRY.blade, prebend_offset=np.array([0.4, 0.0, 0.0])))
    added = geometry.prebend_line(turbine, 0) - geometry.prebend_line(turbine, 1)
    half = np.interp(0.5 * (1.75 + 69.5), SKERRY.blade.r, added)
    assert added[0] == 0.0
    assert added[-1] == pytest.approx(0.4)
    assert half == pytest.approx(0.1, rel=0.02)


@OUT_OF_PLANE
def test_tip_beyond_the_towers_axis_has_no_clearance(side: float) -> None:
    turbine = leaning(SKERRY, side=side, tilt=math.radians(-5.0), cone=math.radians(-15.0))
    assert geometry.unloaded_clearance(turbine) < -10.0
    assert geometry.unloaded_clearance_axis(turbine) < -10.0
