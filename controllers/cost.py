"""What does one call of a layer cost, against a fixed piece of numpy work?"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from controllers.made_up import PERIOD, commands, readings
from sim.interface import Known, Layer, Readings

TIMED_STEPS, IN_A_ROW = 60, 12
"""Calls that are timed, and calls of which the mean is taken: whole turns of every slow task."""


def cost_per_call(layer: Layer, machine: Known) -> float:
    """Return what one step takes, [s]: the best mean of a few calls in a row.

    Notes
    -----
    A busy neighbour makes times longer, never shorter, hence the best; a layer may be slow at every second
    or third call only, hence the mean. All lanes have one clock, as those of a march that began together;
    where clocks differ, a slow task is done in some lane at every call, and costs that much more.
    """
    below = commands(machine, 0)
    seen = [together(readings(machine, tick), tick) for tick in range(TIMED_STEPS)]
    with np.errstate(all="ignore"):
        state = layer.init(machine, seen[0])
    best = np.inf
    for first in range(0, TIMED_STEPS, IN_A_ROW):
        start = time.perf_counter()
        with np.errstate(all="ignore"):
            for now in seen[first : first + IN_A_ROW]:
                state, _ = layer.step(state, now, below, below)
        best = min(best, (time.perf_counter() - start) / IN_A_ROW)
    return best


def together(seen: Readings, tick: int) -> Readings:
    """Return the same readings on one clock for all lanes."""
    return replace(seen, tick=np.full_like(seen.tick, tick), time=np.full_like(seen.time, tick * PERIOD))


def yardstick(lanes: int) -> float:
    """Return what 60 elementwise numpy operations on (lane, blade) arrays take, [s].

    Notes
    -----
    Ten rounds of a product, a sum, a sine, a larger of two, a comparison and a choice: about the mix of
    a short controller. Timed as a layer is, the best mean of as many in a row: the best single one is luck
    that a row of calls does not have.
    """
    a, b = np.full((lanes, 3), 1.5), np.linspace(0.0, 1.0, 3 * lanes).reshape(lanes, 3)
    best = np.inf
    for _ in range(0, TIMED_STEPS, IN_A_ROW):
        start = time.perf_counter()
        for _ in range(IN_A_ROW):
            c = a
            for _ in range(10):
                c = np.maximum(np.sin(c * 0.9 + b), b)
                c = np.where(c > 0.5, c, b)
        best = min(best, (time.perf_counter() - start) / IN_A_ROW)
    return best
