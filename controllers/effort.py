"""Which moves, each within its bound, reach what is needed with the smallest effort?"""

from __future__ import annotations

import numpy as np

from sim.interface import Array


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
    rows, moves = gain.shape
    helps = np.maximum(gain, 0.0)
    room = np.maximum(limit, 0.0)
    order = np.argsort(room / np.maximum(helps, 1e-300), axis=1, kind="stable")
    flat = order + moves * np.arange(rows)[:, None]
    g, u = helps.reshape(-1).take(flat), room.reshape(-1).take(flat)
    brought, squares = g * u, g * g
    price = np.zeros(rows)
    full, left = np.zeros(rows), np.zeros(rows)
    for k in range(moves):
        left = left + squares[:, moves - 1 - k]
        squares[:, moves - 1 - k] = left
    for k in range(moves):
        price = np.maximum(price, (need - full) / np.maximum(squares[:, k], 1e-300))
        full = full + brought[:, k]
    enough = np.where(need > full, np.inf, price)
    return np.where(helps > 0.0, np.minimum(enough[:, None] * np.maximum(helps, 1e-300), room), 0.0)
