"""Is a lane's result its own, to the bit, whatever marches beside it?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controllers.registry import find
from sim.kernels import layout as at
from sim.march import march
from sim.stack import Stack
from tests.plant_flocks import differences, flock_of
from tests.plant_lanes import steady_wind, turbine
from tests.test_plant_twin import site

NAMES = ("power", "scheduled")
SETTLE, JUDGED = 2.0, 8.0


def stack() -> Stack:
    return Stack([find(name) for name in NAMES], list(NAMES))


def winds():
    return [
        site("extreme_turbulence", 12.0, seed=3),
        site("operating_gust", 10.0, transient_start=3.0),
        steady_wind(11.0, 0.2),
        site("normal_turbulence", 17.0, seed=1),
        site("extreme_turbulence", 9.0, seed=1),
    ]


MACHINES = (turbine(), turbine(("blade.flap_stiffness_factor", 0.8)))
DESIGN = (0, 1, 0, 1, 1)


def marched(rows=None, *, forks: bool = True, chosen=None):
    """All lanes, or some in another order; ``chosen`` builds another world of these winds only."""
    specs, design = winds(), np.array(DESIGN)
    identity = np.arange(len(specs)) + 100
    if chosen is not None:
        specs, design, identity = [specs[n] for n in chosen], design[chosen], identity[chosen]
    flock = flock_of(specs, stack(), machines=MACHINES, design=design, identity=identity, rows=rows)
    if chosen is not None:
        # the rotor's first azimuth belongs to the lane, not to its place
        again = flock_of(winds(), stack(), machines=MACHINES, design=DESIGN, rows=chosen)
        flock.lanes.y[:] = again.lanes.y
        flock.lanes.dy[:] = again.lanes.dy
        flock.lanes.out[:] = again.lanes.out
    return march(flock, SETTLE, JUDGED, forks=forks)


@pytest.fixture(scope="module")
def together():
    return marched()


@pytest.mark.parametrize("rows", [[0], [4, 1, 3, 0, 2]], ids=str)
def test_a_lane_alone_or_in_other_company_gives_the_same_record(together, rows):
    assert len(together.passes["lane"]) > 15
    assert differences(together, rows, marched(rows), range(len(rows))) == []


def test_a_lane_in_another_world_gives_the_same_record(together):
    """Fewer winds and boxes are packed, so every index into them is another one."""
    assert differences(together, [3, 1], marched(chosen=[3, 1]), [0, 1]) == []


def test_the_comparison_sees_one_bit(together):
    energy = together.cases["energy_J"].copy()
    energy[2] = np.nextafter(energy[2], np.inf)
    other = replace(together, cases=dict(together.cases) | {"energy_J": energy})
    assert differences(together, [2], other, [2]) == ["cases.energy_J"]


def test_forks_do_not_touch_the_march_that_they_leave(together):
    """With them and without, everything but the counterfactual is the same to the bit."""
    found = differences(together, range(5), marched(forks=False), range(5))
    assert {name.split(" ")[0] for name in found} <= {"passes.clearance_without_m", "passes.weight"}
    assert together.passes["acted"].any()


def test_lanes_that_are_copied_out_march_on_as_if_nothing_had_happened():
    whole = flock_of(winds(), stack(), machines=MACHINES, design=DESIGN)
    march(whole, 0.0, 2.0, forks=False)
    part = whole.take(np.array([3, 0]))
    march(whole, 0.0, 2.0, forks=False)
    march(part, 0.0, 2.0, forks=False)
    for name in at.Lanes._fields:
        assert np.array_equal(getattr(whole.lanes, name)[[3, 0]], getattr(part.lanes, name), equal_nan=True)


def test_other_noise_gives_another_march():
    """The bits compared above do depend on the sensors' noise."""
    one = march(flock_of(winds()[:1], stack()), SETTLE, JUDGED)
    other = march(flock_of(winds()[:1], stack(), identity=[77]), SETTLE, JUDGED)
    assert "passes.clearance_m of lane 0" in differences(one, [0], other, [0])
