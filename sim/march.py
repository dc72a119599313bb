"""How does a flock march: sense, decide, fork, advance, tick after tick."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from sim.counting import EVERY, close_cycles, empty_log
from sim.flock import Flock
from sim.fork import ForkYard
from sim.interface import Commands, Readings
from sim.one_thread import in_one_thread
from sim.records import Record, make_record
from sim.rest import RestWatch
from sim.stack import Fault

Observer = Callable[[Flock, Readings, Commands, Commands], Any]
"""Called at every tick after the decision with flock, readings, commands and the reference's commands."""


@in_one_thread
def march(
    flock: Flock, settle: float, duration: float, *, forks: bool = True, observe: Observer | None = None
) -> Record:
    """March a flock through its settling and its judged time.

    Parameters
    ----------
    flock : Flock - changed
    settle, duration : float [s] - whole numbers of periods are marched
    forks : bool - march the counterfactuals of every action
    observe : Observer, optional

    Returns
    -------
    Record
    """
    period = flock.world.period
    judged_from, ticks = round(settle / period), round((settle + duration) / period)
    log = empty_log(len(flock), judged_from, ticks, turning=True, period=period)
    yard = ForkYard(judged_from)
    faults: list[Fault] = []
    rest = RestWatch(flock.lanes, flock.world, judged_from)
    with np.errstate(all="ignore"):
        for tick in range(ticks):
            rest.look(tick)
            if forks and flock.stack.acts:
                yard.look_back(flock, log, tick)
            seen = flock.sense()
            commands, reference, found = flock.decide(seen)
            end_lanes(flock, found, faults)
            acting = flock.acting(commands, reference)
            if forks and flock.stack.acts:
                yard.watch(flock, log, acting, reference)
            if observe is not None:
                observe(flock, seen, commands, reference)
            flock.advance(log, commands, acting)
            if tick % EVERY == EVERY - 1:
                close_cycles(log)
        close_cycles(log)
        yard.take_broken(flock, log)
        yard.march()
    rest.book()
    return make_record(flock, log, yard.weighed, faults, settle)


def end_lanes(flock: Flock, found: list[Fault], faults: list[Fault]) -> None:
    """End the lanes that a layer failed for the first time, with status and time."""
    for fault in found:
        if flock.lanes.status[fault.lane] <= 1:
            flock.lanes.status[fault.lane] = int(fault.status)
            flock.lanes.status_time[fault.lane] = flock.lanes.tick[fault.lane] * flock.world.period
            faults.append(fault)
