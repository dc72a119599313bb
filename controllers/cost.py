"""What does one call of a layer cost, against a fixed piece of numpy work?"""

from __future__ import annotations

import time

import numpy as np

from controllers.made_up import commands, readings
from sim.interface import Known, Layer

TIMED_STEPS = 60


def cost_per_call(layer: Layer, machine: Known) -> float:
    """Return the best of many timings of one step, [s]."""
    below = commands(machine, 0)
    state = layer.init(machine, readings(machine, 0))
    best = np.inf
    for tick in range(TIMED_STEPS):
        seen = readings(machine, tick)
        start = time.perf_counter()
        state, _ = layer.step(state, seen, below, below)
        best = min(best, time.perf_counter() - start)
    return best


def yardstick(lanes: int) -> float:
    """Return the best timing of 60 elementwise numpy operations on (lane, blade) arrays, [s].

    Notes
    -----
    Ten rounds of a product, a sum, a sine, a larger of two, a comparison and a choice: about the mix of
    a short controller.
    """
    a, b = np.full((lanes, 3), 1.5), np.linspace(0.0, 1.0, 3 * lanes).reshape(lanes, 3)
    best = np.inf
    for _ in range(TIMED_STEPS):
        start = time.perf_counter()
        c = a
        for _ in range(10):
            c = np.maximum(np.sin(c * 0.9 + b), b)
            c = np.where(c > 0.5, c, b)
        best = min(best, time.perf_counter() - start)
    return best
