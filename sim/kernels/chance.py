"""Which random number is whose: noise, drift and losses of every sensor, keyed by lane and tick."""

from __future__ import annotations

import numpy as np
from numba import njit

from sim.kernels.aero import INLINE, WHOLE
from sim.kernels.random import HALF, LOW, UNIT_32, normal_quantile, philox

# Purposes: they keep each random number apart from every other use of a lane's identity.
NOISE, WALK, LOSS = np.uint64(0x53454E53), np.uint64(0x57414C4B), np.uint64(0x4C4F5353)


@njit(**INLINE)
def draw(c, counter, identity, purpose, block, words):
    """Return the number within (0, 1) of channel ``c``: half a word; eight channels share a counter.

    Parameters
    ----------
    block : (2,) int64 - what ``words`` holds: eighth of the channels, and counter; changed
    words : (4,) uint64 - changed
    """
    if block[0] != c // 8 or block[1] != counter:
        block[0], block[1] = c // 8, counter
        words[0], words[1], words[2], words[3] = philox(
            np.uint64(counter), np.uint64(c // 8), identity, purpose
        )
    word = words[(c % 8) // 2]
    return (np.float64(word >> HALF if c % 2 == 0 else word & LOW) + 0.5) * UNIT_32


@njit(**WHOLE)
def wander(drift, tick, identity, walk, walk_every, quantiles):
    """Let the drifts make a step of their random walks where one is due."""
    block, words = np.zeros(2, np.int64), np.zeros(4, np.uint64)
    for lane in range(tick.shape[0]):
        if tick[lane] == 0 or tick[lane] % walk_every != 0:
            continue
        block[0] = -1
        for c in range(walk.shape[0]):
            if walk[c] > 0.0:
                chance = draw(c, tick[lane], identity[lane], WALK, block, words)
                drift[lane, c] += walk[c] * normal_quantile(chance, quantiles)


@njit(**WHOLE)
def lose(lost, tick, identity, every, enter, stay):
    """Decide which samples are lost; a drop-out begins and goes on by chance, sample by sample."""
    block, words = np.zeros(2, np.int64), np.zeros(4, np.uint64)
    for lane in range(tick.shape[0]):
        block[0] = -1
        for c in range(enter.shape[0]):
            if enter[c] > 0.0 and (every[c] == 1 or tick[lane] % every[c] == 0):
                chance = stay[c] if lost[lane, c] == 1 else enter[c]
                drawn = draw(c, tick[lane], identity[lane], LOSS, block, words)
                lost[lane, c] = 1 if drawn < chance else 0
