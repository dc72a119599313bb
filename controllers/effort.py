"""Which moves, each within its bound, reach what is needed with the smallest effort?"""

from __future__ import annotations

import numpy as np

from controllers.signals import ZERO, number, row_starts
from sim.interface import Array

LEAST, MOST = number(1e-300), number(1e300)
"""What a divisor is at least; a price at which every move that brings anything is at its limit."""


def smallest_effort(gain: Array, need: Array, limit: Array) -> Array:
    """Solve many small quadratic problems at once: min 1/2 |x|^2 with gain . x >= need, 0 <= x <= limit.

    Parameters
    ----------
    gain : (row, move) float64 - what a unit of each move brings
    need : (row,) float64
    limit : (row, move) float64 - at least 0

    Returns
    -------
    moves : (row, move) float64
        Where even all moves at their limits fall short, they are at their limits (but for those that bring
        nothing): the shortfall is then as small as it can be.

    Notes
    -----
    Stationarity gives x_k = min(p g_k, u_k) with one price p >= 0 for all moves (0 where g_k <= 0). What
    they bring, f(p) = sum g_k min(p g_k, u_k), is concave and piecewise linear, so it is the least of its own
    straight pieces, f(p) = min over m of (A_m + p B_m): with the moves sorted by u_k/g_k, the first m
    at their limits bring A_m = sum of their g u, the others B_m = sum of their g^2. Hence the price at which
    f(p) = need is p = max over m of (need - A_m)/B_m. Exact, no iteration, no branch. Derived here
    from the conditions of Karush, Kuhn and Tucker; a continuous quadratic knapsack problem.
    """
    helps = np.maximum(gain, ZERO)
    room = np.maximum(limit, ZERO)
    return np.minimum(price(helps, need, room)[:, None] * helps, room)


def price(gain: Array, need: Array, limit: Array) -> Array:
    """Return the price p at which the moves min(p gain, limit) bring what is needed, (row,); see above.

    Parameters
    ----------
    gain : (row, move) float64 - at least 0
    need : (row,) float64
    limit : (row, move) or (row, 1) float64 - at least 0

    Returns
    -------
    price : (row,) float64
        ``MOST`` where all moves at their limits fall short.
    """
    rows, moves = gain.shape
    order = np.argsort(limit / np.maximum(gain, LEAST), axis=1, kind="stable")
    flat = order + row_starts(rows, moves)[:, None]
    g = gain.take(flat)
    brought, squares = (gain * limit).take(flat).T.copy(), (g * g).T.copy()
    paid, full = np.zeros(rows), np.zeros(rows)
    for k in range(moves - 1, 0, -1):
        squares[k - 1] += squares[k]
    for k in range(moves):
        paid = np.maximum(paid, (need - full) / np.maximum(squares[k], LEAST))
        full = full + brought[k]
    return np.minimum(np.where(need > full, MOST, paid), MOST)
