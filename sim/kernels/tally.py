"""Into which cell does each closed cycle of a history go, so that its memory does not grow with time?

A cell holds the cycles of an eighth of an octave of range, as sums, so that what depends smoothly on range
and mean can be had from it afterwards; see `sim.measures.spectrum`.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels.cycles import close_cycle

PER_OCTAVE = 8
CELLS = 18 * PER_OCTAVE + 1  #: the first holds all below the unit, the last all beyond 18 octaves of it
COUNT, RANGE, RANGE_SQUARED, MEAN, MEAN_SQUARED, RANGE_MEAN = range(6)  #: sums of each cell
SUMS = 6


@njit(cache=True, error_model="numpy")
def cell_of(span, unit):
    """Return the cell of a range; ``unit`` is the lower edge of cell 1, in the same unit as the range."""
    if not span > unit:
        return 0
    return min(int(PER_OCTAVE * math.log2(span / unit)) + 1, CELLS - 1)


@njit(cache=True, error_model="numpy")
def book(cells, unit, span, mean, count):
    """Add one cycle to its cell.

    Parameters
    ----------
    cells : (CELLS, SUMS) float64 - changed
    unit, span, mean : float64 [any]
    count : float64 [-] - 1.0, or 0.5 for a half cycle
    """
    sums = cells[cell_of(span, unit)]
    sums[COUNT] += count
    sums[RANGE] += count * span
    sums[RANGE_SQUARED] += count * span * span
    sums[MEAN] += count * mean
    sums[MEAN_SQUARED] += count * mean * mean
    sums[RANGE_MEAN] += count * span * mean


@njit(cache=True, error_model="numpy")
def close_all(points, size, cells, unit, most):
    """Book every cycle that the turning points so far close, and move what is left to the front.

    Parameters
    ----------
    points : (capacity,) float64 [any] - turning points, changed: the residue comes first
    size : int - how many there are
    cells, unit : as of ``book``
    most : int - points that may be left over

    Returns
    -------
    int
        How many points are left over.

    Notes
    -----
    The rule of three points, as ``cycles.count_cycles`` has it, stopped and taken up again. What is left over
    is a history whose ranges shrink; should it be longer than ``most``, its oldest ranges are booked as the
    half cycles that they are unless a larger range is still to come.
    """
    depth = 0
    for index in range(size):
        points[depth] = points[index]
        depth += 1
        while True:
            depth, span, mean, count = close_cycle(points, depth)
            if count == 0.0:
                break
            book(cells, unit, span, mean, count)
    extra = depth - most
    for index in range(extra):
        first, second = points[index], points[index + 1]
        book(cells, unit, abs(first - second), 0.5 * (first + second), 0.5)
    for index in range(depth - extra if extra > 0 else 0):
        points[index] = points[index + extra]
    return min(depth, most)


@njit(cache=True, error_model="numpy")
def close_lanes(turning, count, cells, units, most):
    """Do ``close_all`` for every lane and channel.

    Parameters
    ----------
    turning : (lane, channel, room) float64 [any] - changed
    count : (lane, channel) int64 - changed
    cells : (lane, channel, CELLS, SUMS) float64 - changed
    units : (channel,) float64 [any]
    most : int
    """
    for lane in range(turning.shape[0]):
        for channel in range(turning.shape[1]):
            count[lane, channel] = close_all(
                turning[lane, channel], count[lane, channel], cells[lane, channel], units[channel], most
            )
