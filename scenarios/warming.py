"""What is compiled before workers march, so that no two of them compile the same?

The compiler takes longer than a short campaign. Its work is cut into parts that share next to nothing, for
workers side by side; afterwards every process finds them in the cache. No lane is marched for it.
"""

from __future__ import annotations

import numpy as np

from scenarios.load import load_scenario
from scenarios.simulate import make_world
from sim.counting import close_cycles, empty_log
from sim.flock import Flock, World, empty_lanes, stand_still
from sim.fork import PURPOSE
from sim.kernels import layout as at
from sim.kernels.advance import make_work
from sim.kernels.loads import gather_channels
from sim.kernels.random import uniforms
from sim.kernels.watch import add_up, close_pass, put_out, watch_blade
from sim.measures.fatigue import rainflow
from sim.stack import Stack, nothing_commanded


def warm_march() -> None:
    """Compile the advance of the lanes."""
    world, flock = _nobody(in_event=True)
    stand_still(flock.lanes, world)


def warm_senses() -> None:
    """Compile the watch of the passes for the advance that another worker has begun, then sensors and faults.

    The steady rotor and the turbulence come with the demo's world.
    """
    world, flock = _nobody(in_event=False)
    _warm_watch(world)
    flock.sense()
    flock.apply(nothing_commanded(flock.known))


def warm_counting() -> None:
    """Compile the counting of cycles and the draw of forks."""
    close_cycles(empty_log(1, 0, 1, turning=True, period=1.0))
    rainflow(np.array([0.0, 1.0, 0.0]))
    none = np.zeros(1, np.int64)
    uniforms(none.astype(np.uint64), none, none, PURPOSE)


def _warm_watch(world: World) -> None:
    """Call what the advance calls last, with rows like those that it hands on."""
    work, log = make_work(), empty_log(1, 0, 1, turning=True, period=world.period)
    lane = empty_lanes(np.zeros((1, at.STATE)), np.zeros(1, np.int64), np.zeros(1, np.int64))
    y, dy, out, design, blades = lane.y[0], lane.dy[0], lane.out[0], world.design, world.blade_count
    watch_blade(lane.search[0, 0], 0, 0.0, world.period, y, dy, 0, design, work, blades)
    close_pass(0, 0, 1, lane, log)
    put_out(out, y, dy, 0, design, work, blades)
    gather_channels(work.channels, out, y, design.scalars[0], work, blades)
    add_up(0, world.period, lane, log, work.channels, blades)


def _nobody(in_event: bool) -> tuple[World, Flock]:
    """Return the demo's world with a flock of no lanes in it; an event needs no turbulence."""
    scenario = load_scenario("hollin-fell")
    last = next(case for case in scenario.cases_of(scenario.candidate) if case.is_event == in_event)
    world, _, _ = make_world([last], duration=1.0)
    none = np.zeros(0, np.int64)
    flock = Flock.place(world, Stack([], []), none, none, none, none.astype(float), none.astype(float))
    return world, flock


WARM = (warm_march, warm_senses, warm_counting)
