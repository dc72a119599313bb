"""What does the other side of the tower do to the blade: wake, lee-side clearance, one flap cycle a turn?

Wake: Powles, Wind Engineering 7 (1983): a cosine-squared deficit, whose momentum is the tower's drag,
(b/D)(Delta - 0.75 Delta^2): Delta 0.3 and b 2.5 D give 0.581 (value from memory, computed). That a downwind
rotor sees a clearly larger flap cycle from the tower than an upwind one: common practice, no source. For the
demo turbine at 10 m/s: 230 kN m a turn before the tower, 820 kN m behind it, 3.6 times as much.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.integrate import quad

from sim.kernels import layout as at
from sim.kernels.inflow import fade, wake_shape
from sim.plant.blade import blade_modes
from sim.plant.geometry import clearance_at
from sim.plant.tower import tower_modes
from tests.plant_lanes import Rig, downwind, rig, steady_wind, turbine

SPEED = 10.0


def test_the_wakes_momentum_is_the_towers_drag_by_quadrature() -> None:
    for drag in (0.2, 0.4, 0.6):
        for place in (1.5, 4.0, 10.0):
            depth, width = wake_shape(place * 3.0, 1.5, drag)

            def lost(y: float, depth: float = depth, width: float = width) -> float:
                left = 1.0 - depth * np.cos(np.pi * y / width) ** 2
                return 2.0 * left * (1.0 - left)

            # Momentum lost over the dynamic pressure times the diameter.
            assert quad(lost, -width / 2, width / 2)[0] / 3.0 == pytest.approx(drag, rel=1e-6)


def test_a_wake_of_two_and_a_half_diameters_and_that_drag_is_three_tenths_deep() -> None:
    place = (1.0 / 0.35) ** 2
    depth, width = wake_shape(place * 4.0, 2.0, 0.58125)
    assert (depth, width / 4.0) == pytest.approx((0.3, 2.5))


def test_a_bare_tower_of_more_drag_than_the_wake_can_carry_is_held() -> None:
    depth, _ = wake_shape(2.0, 1.5, 3.0)
    assert 0.6 < depth <= 0.65


def test_the_wake_widens_and_fills_behind_the_tower_and_fades_above_it() -> None:
    depths, widths = zip(*(wake_shape(x, 1.8, 0.6) for x in (3.0, 6.0, 12.0, 24.0)), strict=True)
    assert list(depths) == sorted(depths, reverse=True)
    assert list(widths) == sorted(widths)
    shares = [fade(z, 93.9, 1.65) for z in (50.0, 93.9, 95.0, 97.3, 120.0)]
    assert shares[:2] == [1.0, 1.0] and shares[3:] == [0.0, 0.0]
    assert 0.0 < shares[2] < 1.0


def flap_by_azimuth(machine, with_tower: bool) -> np.ndarray:
    """Root flap moment of blade 1 at 360 azimuths of a settled turn [N m]."""

    def remove(design: at.Design) -> None:
        if not with_tower:
            design.scalars[0, [at.TOWER_BASE_RADIUS, at.TOWER_TOP_RADIUS]] = 1e-6

    lane = rig(machine, [steady_wind(SPEED, 0.2)], seconds=90.0, edit=remove).march(60.0)
    out = lane.march(12.0, keep="out").kept[:, 0]
    azimuth = np.unwrap(out[:, at.OUT_AZIMUTH])
    turns = [
        np.interp(
            azimuth[0] + np.radians(np.arange(360.0)) + 2.0 * np.pi * turn, azimuth, out[:, at.OUT_FLAP]
        )
        for turn in range(2)
    ]
    place = np.degrees(azimuth[0]) % 360.0
    return np.roll(np.mean(turns, axis=0), round(place))


@cache
def tower_part(side: str) -> np.ndarray:
    machine = turbine() if side == "upwind" else downwind()
    return flap_by_azimuth(machine, True) - flap_by_azimuth(machine, False)


def test_the_towers_flap_cycle_is_several_times_as_large_behind_it() -> None:
    up, down = (float(np.ptp(tower_part(side))) for side in ("upwind", "downwind"))
    assert up > 1e4
    assert 2.5 < down / up < 5.0


def test_the_blade_relaxes_in_the_shadow_and_bends_again_behind_it() -> None:
    part = tower_part("downwind")
    lowest = int(part.argmin())
    assert 170 < lowest < 230
    # Down by most of its range when it passes, back again within a quarter turn.
    assert part[lowest] < -0.5 * np.ptp(part)
    assert part[(lowest + 90) % 360] > part[lowest] + 0.5 * np.ptp(part)


@cache
def settled(side: str) -> Rig:
    machine = turbine() if side == "upwind" else downwind()
    lane = rig(machine, [steady_wind(SPEED, 0.2)], seconds=90.0).march(74.0)
    return lane.march(6.0, keep="y")


def bare(side: str, radius: float) -> float:
    """Clearance of an unloaded blade at a radius [m]."""
    machine = turbine() if side == "upwind" else downwind()
    return float(np.interp(radius, machine.blade.r, clearance_at(machine, np.pi, 0.0, 0)))


def test_load_takes_clearance_before_the_tower_and_gives_it_behind() -> None:
    for side, sign in (("upwind", -1.0), ("downwind", 1.0)):
        for row in settled(side).passes()[-6:]:
            grown = row[at.PASS_CLEARANCE] - bare(side, row[at.PASS_RADIUS])
            assert sign * grown > 1.5


def test_lee_side_passes_are_the_geometry_of_the_bent_blade_behind_the_tower() -> None:
    machine, lane = downwind(), settled("downwind")
    last = lane.passes()[-1]
    blade, time, radius = int(last[at.PASS_BLADE]), last[at.PASS_TIME], last[at.PASS_RADIUS]
    y = lane.kept[round((time - 74.0) / lane.period) - 1, 0]
    flap = blade_modes(machine, blade).at(np.array([radius])).phi_x[:3, 0]
    bent = float(flap @ y[at.Q + 3 * blade : at.Q + 3 * blade + 3])
    # The tower top leans after the thrust and lowers the rotor's end of the shaft; the wall moves too.
    sway, modes = y[at.TOWER], tower_modes(machine).fore_aft
    height = machine.rotor.hub_height - radius
    carried = (
        1.0 - float(modes.shape(np.array([height]))[0]) - modes.top_slope * (machine.tower.height - height)
    ) * sway
    assert last[at.PASS_CLEARANCE] == pytest.approx(bare("downwind", radius) + bent + carried, abs=0.1)
    assert bent > 2.0
    assert np.degrees(last[at.PASS_AZIMUTH]) == pytest.approx(180.0, abs=4.0)
