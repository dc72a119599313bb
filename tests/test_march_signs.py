"""Which way does clearance go? The sign tests of the plant, marched."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from sim.kernels import layout as at
from sim.plant.blade import blade_modes
from sim.plant.spinning import Spin
from tests.plant_lanes import Rig, downwind, rig, steady_wind, turbine

SPEED = 10.0
HELD_INERTIA = 1e16


def more_prebend(d: at.Design, n: int) -> None:
    for row in (at.PREBEND, at.LIFT_P, at.LIFT_P + at.WIDTH, at.LIFT_P + 2 * at.WIDTH):
        d.stations[n, row : row + at.WIDTH] *= 1.2
    d.blades[n, :, [at.PREBEND_0, at.PREBEND_1]] *= 1.2
    d.blades[n, :, at.PREBEND_2] *= 1.44
    d.vectors[n, :, [at.VEC_PR, at.VEC_P1, at.VEC_PX, at.VEC_PY]] *= 1.2


def more_cone(d: at.Design, n: int) -> None:
    cone = np.arctan2(d.scalars[n, at.SIN_CONE], d.scalars[n, at.COS_CONE]) + np.radians(0.5)
    d.scalars[n, at.COS_CONE], d.scalars[n, at.SIN_CONE] = np.cos(cone), np.sin(cone)


def more_tilt(d: at.Design, n: int) -> None:
    d.scalars[n, at.TILT] += np.radians(0.5)


def more_overhang(d: at.Design, n: int) -> None:
    d.scalars[n, at.OVERHANG] += 0.5


def stiffer(d: at.Design, n: int) -> None:
    d.matrices[n, :, at.MAT_K] *= 1.1


def no_centrifugal_load_on_prebend(d: at.Design, n: int) -> None:
    d.vectors[n, :, at.VEC_PR] = 0.0


def no_centrifugal_load_on_cone(d: at.Design, n: int) -> None:
    d.vectors[n, :, [at.VEC_JX, at.VEC_JY]] = 0.0


def rigid_tower(d: at.Design, n: int) -> None:
    d.scalars[n, at.FA_MASS] *= 1e8


CHANGES: dict[Callable[[at.Design, int], None], tuple[float, float]] = {
    stiffer: (0.2, 0.6),  # a tenth of 7 m, less what centrifugal stiffening and air take of it
    more_tilt: (0.3, 0.65),  # at most (L + R) sin(0.5 deg) = 0.6 m
    more_cone: (0.3, 0.65),  # at most R sin(0.5 deg) = 0.6 m
    more_overhang: (0.45, 0.51),  # 0.5 m cos(tilt)
    more_prebend: (0.1, 0.4),  # 0.4 m, of which the centrifugal load straightens a part
    no_centrifugal_load_on_prebend: (0.1, 0.31),  # 0.3 m at the tip; the nearest station is further in
    no_centrifugal_load_on_cone: (0.1, 0.33),  # 0.32 m at the tip
    rigid_tower: (-0.6, -0.05),  # bending tilts the rotor away more than it brings tip and wall together
}
"""What is changed in the design, and the range in which the clearance must go up [m]."""


@pytest.fixture(scope="module")
def marched() -> dict[str, tuple[float, float]]:
    """Clearance of the settled passes and mean tip deflection [m], as shipped and of each change."""
    count = len(CHANGES) + 1
    lanes = rig(turbine(), [steady_wind(SPEED, 0.2)] * count, seconds=85.0)
    lanes.design = at.Design(*(np.repeat(part, count, axis=0) for part in lanes.design))
    lanes.design.scalars[:, at.ROTOR_INERTIA] = HELD_INERTIA
    for n, change in enumerate(CHANGES, start=1):
        change(lanes.design, n)
    lanes.lanes.design[:] = np.arange(count)
    lanes.lanes.y[list(CHANGES).index(rigid_tower) + 1, at.TOWER] = 0.0
    lanes.restart().march(60.0).march(21.8, keep="out")
    found = []
    for n in range(count):
        passes = lanes.passes(n)
        late = passes[passes[:, at.PASS_TIME] > 65.0, at.PASS_CLEARANCE]
        assert np.ptp(late) < 0.03
        found.append((late.mean(), lanes.kept[:, n, at.OUT_TIP].mean()))
    return dict(zip(["as shipped", *(c.__name__ for c in CHANGES)], found, strict=True))


@pytest.mark.parametrize("change", CHANGES, ids=lambda c: c.__name__)
def test_clearance_goes_the_way_that_it_must(marched, change):
    """PHYSICS.md, sign tests; the ranges from geometry and from the beam's static deflection."""
    low, high = CHANGES[change]
    assert low < marched[change.__name__][0] - marched["as shipped"][0] < high


def test_the_centrifugal_load_bends_the_tip_as_far_as_it_bends_the_whole_beam(marched):
    """Static beam, held to a published rotor in test_blade.py: 0.6 m on cone and prebend together."""
    machine = turbine()
    beam, speed, cone = blade_modes(machine), machine.machine.rated_rotor_speed, machine.rotor.cone
    prebend = beam.static(np.zeros_like, np.zeros_like, Spin(speed, 0.0, 0.0)).x[-1]
    both = beam.static(np.zeros_like, np.zeros_like, Spin(speed, 0.0, cone)).x[-1]
    base = marched["as shipped"][1]
    ours_prebend = base - marched["no_centrifugal_load_on_prebend"][1]
    ours_cone = base - marched["no_centrifugal_load_on_cone"][1]
    assert ours_prebend == pytest.approx(prebend, rel=0.03)
    assert ours_cone == pytest.approx(both - prebend, rel=0.03)
    assert 0.5 < both < 1.5


def tips(lane: Rig, machine, side: float) -> np.ndarray:
    """Tips out of the plane of the unbent blades [m], positive downwind: (period, blade)."""
    basis = blade_modes(machine).at(np.array([machine.rotor_radius]))
    y, out = lane.kept[:, 0], []
    for b in range(3):
        q, pitch = y[:, at.Q + 3 * b : at.Q + 3 * b + 3], y[:, at.PITCH + b]
        flap, edge = side * basis.prebend[0] + q @ basis.phi_x[:3, 0], q @ basis.phi_y[:3, 0]
        out.append(flap * np.cos(pitch) - edge * np.sin(pitch))
    return np.stack(out, axis=1)


def stopped(machine) -> Rig:
    """A second of steady rated wind, then all blades to feather and the generator off."""
    lane = rig(machine, [steady_wind(11.0, 0.2)], seconds=90.0).march(40.0).march(1.0, keep="y")
    lane.pitch[:], lane.torque[:] = machine.pitch.feather, 0.0
    return lane.march(13.0, keep="y")


@pytest.fixture(scope="module")
def stop() -> np.ndarray:
    """Mean of the three tips' paths through an emergency stop of the upwind rotor [m], from its start on."""
    return tips(stopped(turbine()), turbine(), -1.0)[25:].mean(axis=1)


def test_feathering_first_moves_an_upwind_blade_away_from_its_tower(stop):
    """PHYSICS.md; in the first second after the delay nothing goes towards the tower but ripple."""
    assert np.all(stop[:25] < stop[0] + 0.1)
    assert stop[25] < stop[0] - 1.0


def test_after_an_emergency_stop_the_blade_swings_through_and_comes_back_once_more_weakly(stop):
    """PHYSICS.md: about 8 m in three seconds, once and more weakly back."""
    lowest = int(np.argmin(stop))
    depth = stop[0] - stop[lowest]
    assert 6.0 < depth < 12.0
    assert 2.0 < lowest * 0.04 < 4.5
    back = stop[lowest : lowest + 75].max() - stop[lowest]
    assert 1.0 < back < 0.7 * depth
    # it ends almost where the straight blade stands, prebend turned out of the plane
    assert abs(stop[-25:].mean()) < 1.0


def test_behind_the_tower_the_same_swing_goes_towards_it():
    """PHYSICS.md: the stop costs a downwind rotor metres of clearance, and wins an upwind rotor as much."""
    lost = {}
    for machine, side in ((turbine(), -1.0), (downwind(), 1.0)):
        passes = stopped(machine).passes()
        time, gap = passes[:, at.PASS_TIME], passes[:, at.PASS_CLEARANCE]
        before = gap[(time > 30.0) & (time < 41.0)].mean()
        swing = gap[(time > 42.0) & (time < 46.0)]
        lost[side] = before - (swing.min() if side > 0 else swing.max())
    assert lost[-1.0] < -1.5
    assert lost[1.0] > 1.5
