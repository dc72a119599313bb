"""What is compiled before workers march, so that no two of them compile the same?

The compiler takes longer than a short campaign. Its work is cut into halves that share next to nothing, for
two workers side by side; afterwards every process finds both in the cache. No lane is marched for it.
"""

from __future__ import annotations

import numpy as np

from scenarios.load import load_scenario
from scenarios.simulate import make_world
from sim.flock import Flock, World, stand_still
from sim.stack import Stack, nothing_commanded


def warm_march() -> None:
    """Compile the advance of the lanes."""
    world, flock = _nobody(in_event=True)
    stand_still(flock.lanes, world)


def warm_senses() -> None:
    """Compile sensors and faults; the steady rotor and the turbulence come with the demo's world."""
    _, flock = _nobody(in_event=False)
    flock.sense()
    flock.apply(nothing_commanded(flock.known))


def _nobody(in_event: bool) -> tuple[World, Flock]:
    """Return the demo's world with a flock of no lanes in it; an event needs no turbulence."""
    scenario = load_scenario("hollin-fell")
    last = next(case for case in scenario.cases_of(scenario.candidate) if case.is_event == in_event)
    world, _, _ = make_world([last], duration=1.0)
    none = np.zeros(0, np.int64)
    flock = Flock.place(world, Stack([], []), none, none, none, none.astype(float), none.astype(float))
    return world, flock


WARM = (warm_march, warm_senses)
