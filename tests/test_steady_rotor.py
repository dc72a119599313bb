"""The steady rotor against momentum, the full beam, the published 5 MW rotor, and the trade's experience."""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest

from sim.errors import InputError
from sim.plant.rotor import steady_rotor
from sim.plant.spinning import Spin
from sim.plant.trim import steady_table
from tests.reference_rotor import reference_turbine

DEGREE, RPM = math.pi / 180, math.pi / 30
RATED = 12.1 * RPM
BETZ = 16 / 27


@functools.cache
def reference():
    """The published rotor, prepared once."""
    return steady_rotor(reference_turbine())


def test_thrust_of_the_published_rotor_is_the_momentum_it_removes():
    """4 a F (1 - a) of every annulus, F by the formula; at 9 m/s only the tip exceeds a = 0.4."""
    wind, state = 9.0, reference().evaluate(np.array([[9.0, 9.0 * 7.0 / 63.0, 0.0]]))
    r, width, a = reference().polars.radius, reference().polars.width, state.induction[0]
    v0 = wind * math.cos(2.5 * DEGREE)
    phi = np.arctan2(v0 * (1 - a), 1.0 * state.radius[0] * (1 + state.swirl[0]))
    tip, root = 3 * (63 - r) / (2 * r * np.sin(phi)), 3 * (r - 1.5) / (2 * 1.5 * np.sin(phi))
    F = (2 / math.pi) ** 2 * np.arccos(np.exp(-tip)) * np.arccos(np.exp(-root))
    removed = 4 * a * F * (1 - a) * 0.5 * 1.225 * v0**2 * 2 * math.pi * r
    usual = a < 0.4
    assert usual.sum() >= 17
    assert 3 * state.normal_load[0][usual] == pytest.approx(removed[usual], rel=1e-4)
    in_all = math.cos(2.5 * DEGREE) * 3 * np.sum(state.normal_load[0] * width)
    assert state.thrust[0] == pytest.approx(in_all, rel=1e-12)


def test_the_published_rotor_pitches_as_reported():
    """NREL/TP-500-38060 table 7-1 (from memory): 10.45, 17.47, 23.47 deg at 15, 20, 25 m/s.

    0.4 deg: the report's curves come from its own polars, with tilt and gravity; ours are parameters only.
    In power the tolerance is 0.4 deg times 70 MW/rad, a tenth of rated.
    """
    steady = steady_table(reference_turbine())
    found = np.interp([15.0, 20.0, 25.0], steady.wind_speed, steady.pitch) / DEGREE
    assert found == pytest.approx([10.45, 17.47, 23.47], abs=0.4)


def test_the_published_rotor_peaks_near_800_kN_along_its_shaft():
    """Same report: peak rotor thrust about 800 kN near rated.

    That figure holds the weight of rotor and hub along the 5 deg tilted shaft, (3 x 17 740 + 56 780) kg:
    94 kN (concluded here, from the report's masses). The air's part alone is then about 706 kN. 4 % for the
    polars and the digits of "about".
    """
    state = reference().evaluate(np.array([[steady_table(reference_turbine()).rated_wind_speed, RATED, 0.0]]))
    weight = (3 * 17740 + 56780) * 9.80665 * math.sin(5 * DEGREE)
    assert state.thrust[0] + weight == pytest.approx(800e3, rel=0.04)
    assert steady_table(reference_turbine()).thrust.max() <= state.thrust[0]


def test_the_published_rotor_reaches_its_power_coefficient_and_rated_wind():
    """Same report (from memory): largest Cp 0.482 at tip speed ratio 7.55, rated wind 11.4 m/s.

    2 % on Cp for the polars; the optimum is flat (0.002 between 7 and 8.5): its ratio is held to 0.5 only.
    """
    steady = steady_table(reference_turbine())
    assert steady.largest_power_coefficient == pytest.approx(0.482, rel=0.02)
    assert steady.optimal_tip_speed_ratio == pytest.approx(7.55, abs=0.5)
    assert steady.rated_wind_speed == pytest.approx(11.4, abs=0.1)


def test_the_published_rotor_answers_pitch_as_reported():
    """Same report, section 7.3 (from memory): dP/dpitch = -25.52 MW/rad (1 + pitch / 6.302 deg), inflow held.

    15 %: a straight line fitted to that rotor's own polars; ours lies 12 % below at 15 m/s.
    """
    steady = steady_table(reference_turbine())
    rows = np.searchsorted(steady.wind_speed, [12.0, 15.0, 18.0, 21.0, 24.0])
    power = steady.torque_per_pitch_fast[rows] * steady.rotor_speed[rows]
    assert power == pytest.approx(-25.52e6 * (1 + steady.pitch[rows] / DEGREE / 6.302), rel=0.15)


@pytest.mark.parametrize("pitch_deg", [0.0, 20.0, 45.0])
@pytest.mark.parametrize("speed", [RATED, 1.5 * RATED])
def test_three_shapes_bend_like_the_full_beam(pitch_deg, speed):
    """The full beam of `sim.plant.spinning`, checked in its own tests, same loads, with 4 m of prebend.

    Truncation to three shapes: 1.5 % of the larger deflection flapwise; edgewise, with one shape, 0.05 m.
    """
    turbine, pitch = reference_turbine(), pitch_deg * DEGREE
    prebend = 4.0 * ((turbine.blade.r - 1.5) / 61.5) ** 2
    rotor = steady_rotor(
        dataclasses.replace(turbine, blade=dataclasses.replace(turbine.blade, prebend=prebend))
    )
    state = rotor.evaluate(np.array([[20.0, speed, pitch]]))
    normal, tangent = state.normal_load[0], state.tangential_load[0]
    flap = normal * math.cos(pitch) + tangent * math.sin(pitch)
    edge = tangent * math.cos(pitch) - normal * math.sin(pitch)
    loads = [np.interp(rotor.modes.r, rotor.polars.radius, load) for load in (flap, edge)]
    full = rotor.modes.static(loads[0], loads[1], Spin(speed, pitch, 2.5 * DEGREE))
    own = slice(0, 3)
    assert state.q[0] @ rotor.tip.phi_x[own, 0] == pytest.approx(full.x[-1], rel=0.015, abs=0.02)
    assert state.q[0] @ rotor.tip.phi_y[own, 0] == pytest.approx(full.y[-1], abs=0.05)


def stiffened(turbine, factor: float):
    blade = dataclasses.replace(
        turbine.blade,
        flap_stiffness=turbine.blade.flap_stiffness * factor,
        edge_stiffness=turbine.blade.edge_stiffness * factor,
    )
    return dataclasses.replace(turbine, blade=blade)


def leaning(turbine, side: float, cone_deg: float):
    rotor = dataclasses.replace(turbine.rotor, side=side, cone=cone_deg * DEGREE)
    return dataclasses.replace(turbine, rotor=rotor)


@pytest.mark.parametrize(("side", "towards"), [(-1.0, 1.0), (1.0, -1.0)])
def test_root_moment_of_a_stiff_blade_is_lever_times_load(side, towards):
    """Lever rule for the air; rotation on a cone adds Omega^2 sin g cos g integral m r (r - r0)."""
    turbine = stiffened(leaning(reference_turbine(), side, 2.5), 1e5)
    rotor = steady_rotor(turbine)
    state = rotor.evaluate(np.array([[10.0, RATED, 3 * DEGREE]]))
    r, width = rotor.polars.radius, rotor.polars.width
    flap = state.normal_load[0] * math.cos(3 * DEGREE) + state.tangential_load[0] * math.sin(3 * DEGREE)
    air = np.sum(flap * (r - 1.5) * width)
    lever = rotor.modes.second_moment - 1.5 * rotor.modes.first_moment
    spin = RATED**2 * math.sin(2.5 * DEGREE) * math.cos(2.5 * DEGREE) * lever * math.cos(3 * DEGREE)
    assert state.root_flap_moment[0] == pytest.approx(air + towards * spin, rel=1e-3)
    assert abs(state.tip_deflection[0]) < 1e-3


def test_edge_moment_of_a_stiff_flat_rotor_is_lever_times_turned_load():
    """Lever rule: at 20 deg of pitch the thrust has its part against the direction of the leading edge."""
    rotor = steady_rotor(stiffened(leaning(reference_turbine(), -1.0, 0.0), 1e5))
    state, pitch = rotor.evaluate(np.array([[20.0, RATED, 20 * DEGREE]])), 20 * DEGREE
    edge = state.tangential_load[0] * math.cos(pitch) - state.normal_load[0] * math.sin(pitch)
    air = np.sum(edge * (rotor.polars.radius - 1.5) * rotor.polars.width)
    assert state.root_edge_moment[0] == pytest.approx(air, rel=1e-3)
    assert state.torque[0] == pytest.approx(
        3 * np.sum(state.tangential_load[0] * rotor.polars.radius * rotor.polars.width), rel=1e-4
    )


def test_rotation_bends_a_coned_blade_towards_the_rotor_plane():
    """A sign that physics demands: a blade coned away from its tower is thrown back, on either side."""
    point = np.array([[11.0, RATED, 0.0]])
    tip = {
        (side, cone): steady_rotor(leaning(reference_turbine(), side, cone)).evaluate(point).tip_deflection[0]
        for side in (-1.0, 1.0)
        for cone in (0.0, 3.0)
    }
    assert tip[-1.0, 3.0] > tip[-1.0, 0.0] + 0.2
    assert tip[1.0, 3.0] < tip[1.0, 0.0] - 0.2


def test_rotation_straightens_prebend_towards_the_tower():
    turbine = reference_turbine()
    share = (turbine.blade.r - 1.5) / 61.5
    bent = dataclasses.replace(turbine, blade=dataclasses.replace(turbine.blade, prebend=2.5 * share**2))
    point = np.array([[11.0, RATED, 0.0]])
    more = steady_rotor(bent).evaluate(point).tip_deflection - reference().evaluate(point).tip_deflection
    assert 0.1 < more[0] < 1.0


def test_a_stiffer_blade_bends_less_and_catches_the_same_wind():
    point = np.array([[11.0, RATED, 0.0]])
    soft, stiff = (
        reference().evaluate(point),
        steady_rotor(stiffened(reference_turbine(), 1.25)).evaluate(point),
    )
    assert 0.75 < stiff.tip_deflection[0] / soft.tip_deflection[0] < 0.9
    assert stiff.thrust[0] == pytest.approx(soft.thrust[0], rel=0.01)


def test_more_cone_costs_power_as_the_swept_area_shrinks():
    """Common practice, no source. At fixed speed and wind; the area goes with the squared cosine."""
    point = np.array([[9.0, 1.05, 0.0]])
    flat, coned = (
        steady_rotor(leaning(reference_turbine(), -1.0, cone)).evaluate(point).torque[0]
        for cone in (0.0, 10.0)
    )
    assert 0.90 < coned / flat < math.cos(10 * DEGREE) ** 0.5


def test_schedule_keeps_to_the_limits_of_the_machine():
    turbine = reference_turbine()
    steady = steady_table(turbine)
    assert steady.wind_speed[[0, -1]] == pytest.approx([3.0, 25.0])
    assert steady.rotor_speed.min() == pytest.approx(6.9 * RPM)
    assert steady.rotor_speed.max() == pytest.approx(RATED)
    above = steady.wind_speed > steady.rated_wind_speed
    assert np.all(steady.pitch[~above] == 0.0)
    assert np.all(np.diff(steady.pitch[above]) > 0.0)
    assert steady.power[above] == pytest.approx(5e6, rel=1e-6)
    assert np.all(np.diff(steady.power[~above]) > 0.0)
    assert steady.power_coefficient.max() < BETZ


def test_below_rated_the_table_runs_at_the_best_tip_speed_ratio():
    steady = steady_table(reference_turbine())
    between = (steady.rotor_speed > 6.9 * RPM + 1e-9) & (steady.rotor_speed < RATED - 1e-9)
    ratio = steady.rotor_speed[between] * steady.rotor_radius / steady.wind_speed[between]
    assert ratio == pytest.approx(steady.optimal_tip_speed_ratio, rel=1e-12)
    assert steady.power_coefficient[between] == pytest.approx(steady.largest_power_coefficient, rel=3e-3)


def test_above_rated_every_outer_station_is_attached():
    steady = steady_table(reference_turbine())
    rows = steady.wind_speed > steady.rated_wind_speed
    points = np.stack([steady.wind_speed, steady.rotor_speed, steady.pitch], axis=1)[rows]
    angle = reference().evaluate(points).angle_of_attack[:, reference().polars.radius > 30.0]
    assert np.abs(angle).max() < 9 * DEGREE


def test_pitch_relieves_and_does_so_more_before_the_inflow_answers():
    """A common observation: held inflow exaggerates the answer; at low loading and high pitch least."""
    steady = steady_table(reference_turbine())
    assert np.all(steady.deflection_per_pitch < 0.0)
    assert np.all(steady.deflection_per_pitch_fast < steady.deflection_per_pitch)
    above = steady.wind_speed > steady.rated_wind_speed
    assert np.all(steady.torque_per_pitch[above] < 0.0)
    assert np.all(steady.thrust_per_pitch < 0.0)


def test_differences_agree_with_a_chord_through_the_table():
    """Along the schedule above rated, torque stays: dQ/dV + dQ/dpitch dpitch/dV = 0."""
    steady = steady_table(reference_turbine())
    rows = np.flatnonzero(steady.wind_speed >= 14.0)[1:-1]
    along = (steady.pitch[rows + 1] - steady.pitch[rows - 1]) / 1.0
    assert -steady.torque_per_wind[rows] / steady.torque_per_pitch[rows] == pytest.approx(along, rel=0.02)


def test_lighter_air_needs_more_wind():
    """Power goes with density: rated wind with its cube root, at the same power coefficient."""
    thin = steady_table(dataclasses.replace(reference_turbine(), air_density=1.0))
    assert thin.rated_wind_speed > steady_table(reference_turbine()).rated_wind_speed
    expected = 11.39 * (1.225 / 1.0) ** (1 / 3)
    assert thin.rated_wind_speed == pytest.approx(expected, rel=0.02)


def test_the_table_is_made_once_and_cannot_be_changed():
    steady = steady_table(reference_turbine())
    assert steady_table(reference_turbine()) is steady
    with pytest.raises(ValueError, match="read-only"):
        steady.pitch[0] = 1.0


def test_offsets_of_single_blades_do_not_move_the_steady_table():
    turbine = reference_turbine()
    uneven = dataclasses.replace(turbine.blade, stiffness_factor=np.array([0.8, 1.0, 1.2]))
    other = steady_table(dataclasses.replace(turbine, blade=uneven))
    assert other.tip_deflection == pytest.approx(steady_table(turbine).tip_deflection, abs=1e-12)


def test_a_range_of_wind_that_ends_before_it_starts_is_refused():
    turbine = reference_turbine()
    machine = dataclasses.replace(turbine.machine, cut_in=12.0, cut_out=10.0)
    with pytest.raises(InputError, match="must be 0 < cut_in < cut_out"):
        steady_table(dataclasses.replace(turbine, machine=machine))
