"""Does the march converge as a fourth-order method must, and to what another solver finds?"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from sim.kernels import layout as at
from tests.plain_plant import from_lane
from tests.plant_lanes import Rig, rig, steady_wind, turbine
from tests.plant_solver import solve

END = 4.0


def smooth(design):
    """Without tower and stall every right-hand side has as many derivatives as one likes."""
    design.scalars[:, [at.TOWER_BASE_RADIUS, at.TOWER_TOP_RADIUS]] = 1e-3
    angle = np.radians(np.arange(-180.0, 181.0))
    design.polars[:, :, :, [0, 2]] = 6.0 * (angle + 0.05)[:, None]
    design.polars[:, :, :, 1], design.polars[:, :, :, 3] = 1.0, 0.01


def start(parts: int, edit=smooth, shear: float = 0.0) -> Rig:
    """A lane away from rest in every mode; the servos have a small way to go, within their limits."""
    lane = rig(turbine(), [steady_wind(8.0, shear)], edit=edit, parts=parts, seconds=END + 1.0)
    y = lane.lanes.y[0]
    y[at.PITCH : at.PITCH + 3] = 0.05
    y[at.HELD : at.HELD + 3] = 0.05
    y[at.QD : at.QD + 9] = np.tile([1.0, 0.2, 0.5], 3)
    lane.pitch[:] = 0.0515
    return lane.restart()


def far(lane: Rig, exact) -> dict[str, float]:
    wrong = np.abs(from_lane(lane.lanes.y[0], 3) - from_lane(exact, 3))
    return {"bending": wrong[:9].max(), "air": wrong[31:].max()}


@pytest.fixture(scope="module")
def exact() -> np.ndarray:
    return solve(start(1), END, 1e-11).y[:, -1]


def test_the_state_converges_with_the_fourth_power_of_the_step(exact):
    """On smooth wind, against scipy's DOP853: halving the step divides the error by sixteen."""
    errors = [far(start(parts).march(END), exact) for parts in (1, 2, 4)]
    for name in ("bending", "air"):
        orders = np.log2([a[name] / b[name] for a, b in pairwise(errors)])
        assert np.all(orders > 3.4), name
    assert errors[0]["bending"] < 4e-3
    assert errors[2]["bending"] < 2e-5


def test_with_tower_shear_and_stall_the_answer_is_still_the_same():
    """Tables and grid are linear between their points: fourth order no more, but millimetres at most."""
    lane = start(1, edit=None, shear=0.2)
    found = solve(lane, END, 1e-8).y[:, -1]
    assert far(lane.march(END), found)["bending"] < 4e-3
    assert far(start(4, edit=None, shear=0.2).march(END), found)["bending"] < 2e-4
