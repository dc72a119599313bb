"""What a bent blade asks of its servo, against potentials and sums over its table; play; unlike servos."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from sim.errors import InputError
from sim.kernels import layout as at
from sim.kernels import machine
from sim.kernels.step import blade_frame
from sim.plant.blade import blade_modes
from sim.plant.pack import pack_designs
from sim.turbine import load_turbine
from tests.plant_lanes import rig, steady_wind, turbine

GRAVITY = 9.80665
AZIMUTH, PITCH, SPEED = 2.1, 0.35, 1.15
BENT = np.array([6.0, -0.4, 0.8])


@cache
def design():
    return pack_designs([turbine()])


@cache
def masses() -> tuple[np.ndarray, ...]:
    """Points along the blade: radius, mass [kg], the modes' displacements, prebend; midpoints."""
    blade, modes = turbine().blade, blade_modes(turbine())
    edges = np.linspace(blade.r[0], blade.r[-1], 4001)
    r = 0.5 * (edges[1:] + edges[:-1])
    basis = modes.at(r)
    mass = np.interp(r, blade.r, blade.mass) * np.diff(edges)
    prebend = turbine().rotor.side * basis.prebend
    return r, mass, basis.phi_x[:3], basis.phi_y[:3], prebend


def frame_at(pitch: float) -> np.ndarray:
    frame = np.zeros(21)
    blade_frame(frame, AZIMUTH, pitch, 0.0, turbine().rotor.tilt, design().scalars[0])
    return frame


def place(pitch: float) -> tuple[np.ndarray, np.ndarray]:
    """Positions from the hub (point, 3) of a bent blade at a pitch, and the masses; shortening left out."""
    r, mass, phi_x, phi_y, prebend = masses()
    x, y = prebend + BENT @ phi_x, BENT @ phi_y
    u, v = x * np.cos(pitch) - y * np.sin(pitch), x * np.sin(pitch) + y * np.cos(pitch)
    frame = frame_at(pitch)
    normal, motion, along = frame[4:7], frame[7:10], frame[10:13]
    return r[:, None] * along + u[:, None] * normal + v[:, None] * motion, mass


def slope(function, at_: float, step: float = 1e-4) -> float:
    return (function(at_ + step) - function(at_ - step)) / (2.0 * step)


def sums():
    d = design()
    return machine.bent_sums(BENT, d.blades[0, 0], d.vectors[0, 0], d.matrices[0, 0])


def _packed():
    d = design()
    return d.blades[0, 0], d.vectors[0, 0], d.matrices[0, 0]


def test_the_weights_moment_is_the_slope_of_its_potential_over_pitch():
    def potential(pitch: float) -> float:
        points, mass = place(pitch)
        return float(np.sum(mass * GRAVITY * points[:, 2]))

    ours = machine.weight_moment(sums()[3], sums()[4], frame_at(PITCH))
    assert ours == pytest.approx(-slope(potential, PITCH), rel=2e-3)
    assert abs(ours) > 1e4


def test_the_centrifugal_moment_is_the_slope_of_its_potential_over_pitch():
    tilt = turbine().rotor.tilt
    shaft = np.array([np.cos(tilt), 0.0, -np.sin(tilt)])

    def potential(pitch: float) -> float:
        points, mass = place(pitch)
        off_axis = points - np.outer(points @ shaft, shaft)
        return float(-0.5 * SPEED**2 * np.sum(mass * np.sum(off_axis**2, axis=1)))

    ours = machine.spin_moment(sums(), SPEED, frame_at(PITCH), design().scalars[0])
    assert ours == pytest.approx(-slope(potential, PITCH), rel=2e-3)


def test_a_bent_blades_inertia_about_the_pitch_axis_is_that_of_its_masses_and_grows_several_times():
    _, mass, phi_x, phi_y, prebend = masses()
    x, y = prebend + BENT @ phi_x, BENT @ phi_y
    xx, yy, xy = sums()[:3]
    assert xx == pytest.approx(np.sum(mass * x**2), rel=2e-3)
    assert yy == pytest.approx(np.sum(mass * y**2), rel=5e-3)
    assert xy == pytest.approx(np.sum(mass * x * y), rel=5e-3)
    # against the straight blade with its prebend; PHYSICS.md: it grows several times with deflection
    straight = design().blades[0, 0, at.PITCH_INERTIA] + np.sum(mass * prebend**2)
    strong = machine.bent_sums(np.array([12.0, 0.0, 0.0]), *_packed())
    assert (straight + strong[0] + strong[1]) / straight > 3.0


def test_shaking_modes_load_the_pitch_axis_by_their_moment_of_inertia():
    _, mass, phi_x, phi_y, prebend = masses()
    d, shake = design(), np.array([3.0, -1.0, 2.0])
    x, y = prebend + BENT @ phi_x, BENT @ phi_y
    expected = np.sum(mass * (x * (shake @ phi_y) - y * (shake @ phi_x)))
    ours = machine.shaking_moment(BENT, shake, d.vectors[0, 0], d.matrices[0, 0])
    assert ours == pytest.approx(expected, rel=5e-3)


def test_the_bearings_friction_is_the_makers_rule_and_turns_with_the_motion():
    """mu 0.004, 10 MN m, 500 kN, 2.6 m: 0.002 (4.4 1e7 + 5e5 2.6) = 90.6 kN m, by hand."""
    half = 0.002
    given = machine.bearing_friction(0.05, 1e7, 5e5, half, half * 2.6)
    assert given == pytest.approx(90.6e3)
    assert machine.bearing_friction(-0.05, 1e7, 5e5, half, half * 2.6) == -given
    assert machine.bearing_friction(0.0, 1e7, 5e5, half, half * 2.6) == 0.0


@pytest.mark.parametrize("half_play", [0.0, 0.3])
def test_a_blade_in_play_lags_its_servo_by_half_the_play_and_rests_at_each_turn(half_play):
    """Play operator under a triangle of amplitude 1: the blade swings by 1 - half play."""
    servo = np.concatenate([np.linspace(0, 1, 51), np.linspace(1, -1, 101), np.linspace(-1, 1, 101)])
    blade, path = 0.0, []
    for angle in servo:
        blade = machine.blade_pitch(blade, angle, half_play)
        path.append(blade)
    told = np.array(path)
    assert told.max() == pytest.approx(1.0 - half_play) and told.min() == pytest.approx(-1.0 + half_play)
    resting = np.sum(np.diff(told[50:151]) == 0.0)
    assert resting == pytest.approx(2.0 * half_play / 0.02, abs=1)
    if half_play == 0.0:
        assert np.array_equal(told, servo)


def test_without_play_the_plant_marches_as_ever_and_with_play_the_blade_stays_behind():
    machines = [turbine(), turbine(("pitch.play_deg", 0.4))]
    lanes = [rig(m, [steady_wind(10.0)], seconds=20.0) for m in machines]
    for lane in lanes:
        lane.pitch[:] = 0.1
        lane.march(3.0, keep="y")
    tight, loose = (lane.kept[:, 0] for lane in lanes)
    assert np.array_equal(tight[:, at.HELD : at.HELD + 3], tight[:, at.PITCH : at.PITCH + 3])
    half = np.radians(0.2)
    gap = loose[:, at.PITCH] - loose[:, at.HELD]
    assert np.all(np.abs(gap) <= half + 1e-12)
    rising = slice(10, 25)
    assert gap[rising] == pytest.approx(half, abs=1e-12)
    # the blade turns back only after the servo has crossed the whole play
    assert loose[:, at.HELD].max() == pytest.approx(loose[:, at.PITCH].max() - half, abs=1e-12)


def test_servos_may_be_unlike():
    odd = load_turbine("skerry", [("pitch.offsets.rate_factor", [1.0, 0.5, 1.0])])
    lane = rig(odd, [steady_wind(10.0)], seconds=20.0)
    lane.pitch[:] = 0.6
    lane.march(2.0)
    rates = lane.lanes.out[0, at.OUT_RATE : at.OUT_RATE + 3]
    full = odd.pitch.rate_limit
    assert rates == pytest.approx([full, 0.5 * full, full], rel=1e-3)


def test_the_load_of_the_servos_is_reported_and_friction_adds_to_it_while_they_turn():
    loads = {}
    for name, friction in (("smooth", 0.0), ("rough", 0.004)):
        lane = rig(turbine(("pitch.bearing_friction", friction)), [steady_wind(11.0)], seconds=30.0).march(
            10.0
        )
        lane.pitch[:] += 0.3
        lane.march(1.0)
        loads[name] = lane.lanes.out[0, at.OUT_SERVO : at.OUT_SERVO + 3].copy()
    added = loads["rough"] - loads["smooth"]
    assert np.all(added > 2e4) and np.all(added < 1.5e5)
    assert lane.lanes.totals[0, at.MAX_SERVO_POWER] > 0.0


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("pitch.play_deg", -0.1, r"pitch\.play_deg = -0\.1; must be a number >= 0"),
        ("pitch.offsets.rate_factor", [1.0, 0.5], "must have one number for each of 3 blades"),
        ("pitch.stop_rate_deg_s", 0.0, r"pitch\.stop_rate_deg_s = 0\.0; must be a number > 0"),
    ],
)
def test_servos_of_impossible_numbers_are_refused(key, value, words):
    with pytest.raises(InputError, match=words):
        load_turbine("skerry", [(key, value)])
