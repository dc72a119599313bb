"""Is the smallest clearance of a pass the smallest there is? Brute force, convergence, another solver."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from sim.kernels import layout as at
from sim.kernels.passing import OUTER, hermite, vertex
from sim.plant.blade import blade_modes
from sim.plant.geometry import unloaded_clearance
from sim.plant.section import stations
from sim.plant.tower import tower_modes
from tests.plant_lanes import Rig, downwind, rig, steady_wind, turbine
from tests.plant_solver import clearance_of, solve
from tests.plant_twins import directions
from tests.test_plant_twin import site


@cache
def models(side: float, b: int):
    machine = turbine() if side < 0 else downwind()
    return blade_modes(machine, b), tower_modes(machine)


def outline_distance(machine, y, b: int) -> float:
    """Brute force: every point of every outer section's ellipse against the swayed, tapered wall [m]."""
    rotor, tower, blade = machine.rotor, machine.tower, machine.blade
    modes, sway = models(machine.rotor.side, b)
    _, centres, _ = stations(machine)
    r = np.append(centres[OUTER:], machine.rotor_radius)
    basis, q = modes.at(r), y[at.Q + 3 * b : at.Q + 3 * b + 3]
    x_top, y_top = y[at.TOWER], y[at.TOWER + 2]
    slope = sway.fore_aft.top_slope
    lever_x = 1.0 + slope * (rotor.hub_height - tower.height)
    lever_y = 1.0 + sway.side_side.top_slope * (rotor.hub_height - tower.height)
    tilt = rotor.tilt - rotor.side * slope * x_top
    azimuth = y[at.AZIMUTH] + 2.0 * np.pi * b / rotor.blade_count
    n, t, a = directions(azimuth, tilt, rotor.cone, rotor.side)
    pitch = y[at.PITCH + b] + blade.pitch_offset[b]
    ahead = rotor.side * rotor.overhang * np.cos(rotor.tilt)
    hub = np.array([ahead + lever_x * x_top, lever_y * y_top, rotor.hub_height])
    flap, edge = rotor.side * basis.prebend + q @ basis.phi_x[:3], q @ basis.phi_y[:3]
    short = rotor.side * basis.P[:, :3] @ q + 0.5 * np.einsum("i,sij,j->s", q, basis.S[:, :3, :3], q)
    cb, sb = np.cos(pitch), np.sin(pitch)
    axis = (
        hub
        + np.multiply.outer(r - short, a)
        + np.multiply.outer(flap * cb - edge * sb, n)
        + np.multiply.outer(flap * sb + edge * cb, t)
    )
    turn = pitch + np.interp(r, blade.r, blade.twist)
    chordwise = np.multiply.outer(np.cos(turn), t) - np.multiply.outer(np.sin(turn), n)  # to the leading edge
    across = np.multiply.outer(np.cos(turn), n) + np.multiply.outer(np.sin(turn), t)
    chord, forward = (np.interp(r, blade.r, column) for column in (blade.chord, blade.pitch_axis))
    thick = chord * np.interp(r, blade.r, blade.thickness_ratio)
    around = np.linspace(0.0, 2.0 * np.pi, 721)
    along = (forward - 0.5)[:, None] * chord[:, None] + 0.5 * chord[:, None] * np.cos(around)
    points = (
        axis[:, None, :]
        + along[:, :, None] * chordwise[:, None, :]
        + (0.5 * thick[:, None] * np.sin(around))[:, :, None] * across[:, None, :]
    )
    height = points[:, :, 2]
    radius = 0.5 * (tower.base_diameter + (tower.top_diameter - tower.base_diameter) * height / tower.height)
    wall_x = x_top * sway.fore_aft.shape(height)
    wall_y = y_top * sway.side_side.shape(height)
    return float(np.min(np.hypot(points[:, :, 0] - wall_x, points[:, :, 1] - wall_y) - radius))


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_clearance_is_that_of_every_point_of_the_outline(side):
    """To 5 mm: the wall's taper is read at the height of the section's axis."""
    machine = turbine() if side < 0 else downwind()
    lane = rig(machine, [steady_wind(10.0)], seconds=1.0)
    rng = np.random.Generator(np.random.Philox(key=[13, 2]))
    for _ in range(12):
        y = lane.lanes.y[0].copy()
        y[at.Q : at.Q + 3] = side * -rng.normal([3.0, 0.0, 0.0], [3.0, 0.3, 0.5])
        y[at.TOWER], y[at.TOWER + 2] = rng.normal(size=2) * 0.5
        y[at.AZIMUTH] = np.pi + rng.normal() * 0.05
        y[at.PITCH] = rng.uniform(0.0, 0.5)
        assert clearance_of(lane, y, 0)[0] == pytest.approx(outline_distance(machine, y, 0), abs=0.005)


def test_the_tip_of_an_unloaded_blade_has_the_unloaded_clearance():
    """Held to brute force by the geometry's tests; stations further in stand nearer, and are put away."""
    machine = turbine()
    lane = rig(machine, [steady_wind(10.0)], seconds=1.0)
    lane.design.stations[0, at.PREBEND : at.PREBEND + at.STATIONS] = -100.0
    y = np.zeros(at.STATE)
    y[at.AZIMUTH] = np.pi
    gap, radius = clearance_of(lane, y, 0)
    assert radius == machine.rotor_radius
    assert gap == pytest.approx(unloaded_clearance(machine), abs=0.005)


def test_hermite_is_exact_for_cubics_and_the_vertex_for_parabolas():
    def cubic(t):
        return 2.0 - t + 3.0 * t**2 - 0.5 * t**3

    def slope(t):
        return -1.0 + 6.0 * t - 1.5 * t**2

    for share in (0.0, 0.3, 0.9, 1.0):
        between = hermite(cubic(1.0), slope(1.0), cubic(1.5), slope(1.5), 0.5, share)
        assert between == pytest.approx(cubic(1.0 + 0.5 * share), rel=1e-14)
    offset, value = vertex(*((n - 0.2) ** 2 * 3.0 + 1.0 for n in (-1.0, 0.0, 1.0)))
    assert offset == pytest.approx(0.2)
    assert value == pytest.approx(1.0)
    assert vertex(2.0, 1.0, 0.0) == (0.0, 1.0)


def winds():
    """Turbulence, a gust and sheared steady wind, around rated."""
    turbulent = [site("extreme_turbulence", v, seed=s) for v, s in ((9.0, 1), (12.0, 1), (17.0, 2))]
    return [*turbulent, site("operating_gust", 10.0, transient_start=6.0), steady_wind(11.0, 0.2)]


def marched(parts: int, seconds: float = 20.0) -> Rig:
    return rig(turbine(), winds(), parts=parts, seconds=seconds).march(seconds, keep="out")


def test_pass_minima_lie_within_a_millimetre_of_the_converged_ones():
    """Step divided: 1 mm rms asked for; the error falls at least with the square of the step."""
    converged = marched(8)
    rms = []
    for parts in (1, 2):
        coarse = marched(parts)
        errors = []
        for lane in range(len(winds())):
            ours, best = coarse.passes(lane), converged.passes(lane)
            assert len(ours) == len(best) > 8
            errors.append(ours[:, at.PASS_CLEARANCE] - best[:, at.PASS_CLEARANCE])
        rms.append([float(np.sqrt(np.mean(e**2))) for e in errors])
        assert np.sqrt(np.mean(np.concatenate(errors) ** 2)) < 1e-3 / parts**2
    assert max(rms[0]) < 1.5e-3
    assert rms[0][-1] < 1e-4  # steady wind


def test_raw_samples_would_be_wrong_by_centimetres():
    """What the dense output is for; a feasibility study had up to 52 mm (PHYSICS.md)."""
    lanes = marched(1)
    wrong = []
    for lane in range(len(winds())):
        for row in lanes.passes(lane):
            blade, tick = int(row[at.PASS_BLADE]), int(row[at.PASS_TICK])
            near = lanes.kept[max(tick - 30, 0) : tick, lane, at.OUT_DISTANCE + blade]
            wrong.append(np.nanmin(near) - row[at.PASS_CLEARANCE])
    assert min(wrong) > -1e-9
    assert 0.01 < max(wrong) < 0.15


def test_another_solver_finds_the_same_pass():
    """scipy's DOP853 on smooth wind, clearance sampled from its dense output every 0.1 ms: 0.1 mm."""
    lane = rig(turbine(), [steady_wind(10.0, 0.2)], azimuth=2.0, seconds=4.0)
    solution = solve(lane, 1.6, 1e-9)
    row = lane.march(2.4).passes()[0]
    assert row[at.PASS_BLADE] == 0
    times = row[at.PASS_TIME] + np.arange(-0.03, 0.03, 1e-4)
    gaps = np.array([clearance_of(lane, solution.sol(t), 0)[0] for t in times])
    assert 0 < np.argmin(gaps) < len(gaps) - 1
    assert row[at.PASS_CLEARANCE] == pytest.approx(gaps.min(), abs=1e-4)
    assert row[at.PASS_TIME] == pytest.approx(times[np.argmin(gaps)], abs=1e-3)


def test_every_blade_passes_once_a_turn_and_nothing_is_counted_twice():
    lane = rig(turbine(), [steady_wind(9.0)], seconds=50.0).march(45.0)
    passes = lane.passes()
    turned = lane.lanes.y[0, at.AZIMUTH] - 0.3
    assert abs(len(passes) - turned / (2.0 * np.pi / 3.0)) < 1.01
    assert np.all(np.diff(passes[:, at.PASS_TIME]) > 1.0)
    order = passes[:, at.PASS_BLADE].astype(int)
    assert np.all((order[1:] - order[:-1]) % 3 == 2)  # 0, 2, 1: the blade behind comes next
    assert np.all(np.abs(passes[:, at.PASS_AZIMUTH] - np.pi) < 0.1)
    assert np.all(passes[:, at.PASS_TICK] * lane.period > passes[:, at.PASS_TIME])
