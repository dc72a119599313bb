"""Which turning points has a load history, and which closed cycles do they make (compiled)?

Scalar functions for one sample or one point, usable inside any compiled loop, and two loops over a whole
history that are built from them alone.
"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, error_model="numpy")
def turning_step(value, last, slope):
    """Advance the turning-point filter of one channel by one sample.

    Parameters
    ----------
    value : () float64 [any]
        The new sample.
    last : () float64 [any]
        The sample before it; the first sample of the history at the start.
    slope : () float64 [any]
        The last step that was not zero; 0.0 at the start.

    Returns
    -------
    turned : bool
        True where the sample *before* this one, `last` as handed in, was a turning point.
    last, slope : float64
        The state for the next call.

    Notes
    -----
    A turning point is a sample where consecutive steps, steps of zero skipped, have a product below zero.
    Ends of the history are the caller's: its first and its last sample count as turning points.
    """
    step = value - last
    if step == 0.0:
        return False, last, slope
    return slope * step < 0.0, value, step


@njit(cache=True, error_model="numpy")
def record_turning(value, state, points, count):
    """Advance the filter by one sample and store the turning point if there was one.

    Parameters
    ----------
    value : () float64 [any]
        The new sample.
    state : (2,) float64 [any]
        `last` and `slope` of `turning_step`; changed in place. Any content at the first call.
    points : (capacity,) float64 [any]
        Turning points so far; changed in place.
    count : () int
        How many there are; 0 at the first call, which stores the first sample.

    Returns
    -------
    int
        The new count. A count above the capacity says that points were lost.
    """
    if count == 0:
        state[0] = value
        state[1] = 0.0
        points[0] = value
        return 1
    before = state[0]
    turned, state[0], state[1] = turning_step(value, before, state[1])
    if turned:
        if count < points.shape[0]:
            points[count] = before
        count += 1
    return count


@njit(cache=True, error_model="numpy")
def close_cycle(stack, depth):
    """Close one cycle at the top of a stack of turning points, if there is one to close.

    Parameters
    ----------
    stack : (capacity,) float64 [any]
        Turning points that are not yet counted; changed in place.
    depth : () int
        How many there are.

    Returns
    -------
    depth : int
    span, mean, count : float64
        Range, mean and count (1.0 or 0.5) of the closed cycle; the count is 0.0 where nothing closes.

    Notes
    -----
    Rule of three points: the newest range X against the range Y before it. X < Y: wait. Else Y is counted: as
    a half cycle where it holds the first point of the history, which is then dropped; else as a whole one,
    and both of its points are dropped.

    References
    ----------
    ASTM E1049-85 (2011), "Standard practices for cycle counting in fatigue analysis", section 5.4.4.
    """
    if depth < 3:
        return depth, 0.0, 0.0, 0.0
    first, second, third = stack[depth - 3], stack[depth - 2], stack[depth - 1]
    span = abs(first - second)
    if abs(third - second) < span:
        return depth, 0.0, 0.0, 0.0
    mean = 0.5 * (first + second)
    if depth == 3:
        stack[0] = second
        stack[1] = third
        return 2, span, mean, 0.5
    stack[depth - 3] = third
    return depth - 2, span, mean, 1.0


@njit(cache=True, error_model="numpy")
def survey(series):
    """Say whether every sample is finite, and whether any two neighbours are equal.

    Parameters
    ----------
    series : (sample,) float64 [any]

    Returns
    -------
    finite, level : bool
    """
    infinite = 0
    equal = 0
    for index in range(series.shape[0] - 1):
        infinite += not abs(series[index]) < np.inf
        equal += series[index] == series[index + 1]
    infinite += not abs(series[-1]) < np.inf
    return infinite == 0, equal > 0


@njit(cache=True, error_model="numpy")
def find_turning_points(series):
    """Return first sample, turning points and last sample of a history of at least one sample.

    Parameters
    ----------
    series : (sample,) float64 [any]

    Returns
    -------
    (point,) float64 [any]
        Empty where a sample is not finite.

    Notes
    -----
    Without equal neighbours the filter needs no memory, and its loop runs five times as fast.
    """
    size = series.shape[0]
    points = np.empty(size + 1)
    points[0] = series[0]
    finite, level = survey(series)
    if not finite:
        return points[:0]
    count = 1
    if level:
        last = series[0]
        slope = 0.0
        for value in series:
            points[count] = last
            turned, last, slope = turning_step(value, last, slope)
            count += turned
    else:
        for index in range(1, size - 1):
            value = series[index]
            points[count] = value
            count += (value - series[index - 1]) * (series[index + 1] - value) < 0.0
    points[count] = series[-1]
    return points[: count + 1]


@njit(cache=True, error_model="numpy")
def alternates(points):
    """Say whether every inner point is a turning point, which underflow can deny to the smallest numbers.

    Parameters
    ----------
    points : (point,) float64 [any]

    Returns
    -------
    bool
    """
    straight = 0
    for index in range(1, points.shape[0] - 1):
        point = points[index]
        straight += not (point - points[index - 1]) * (points[index + 1] - point) < 0.0
    return straight == 0


@njit(cache=True, error_model="numpy")
def close_inner_cycles(points, size, ranges, means, number):
    """Close all cycles whose two neighbour ranges are larger, in one sweep without branches.

    Parameters
    ----------
    points : (capacity,) float64 [any]
        Turning points; the points left over are moved to the front, in place.
    size : () int
        How many points there are.
    ranges, means : (capacity,) float64 [any]
        Cycles so far; changed in place.
    number : () int
        How many there are.

    Returns
    -------
    size, number : int
        Of the points left over, and of the cycles.

    Notes
    -----
    Closes range i where r[i-1] > r[i] <= r[i+1]. Derived here: when the third point after it arrives, the
    rule of three points closes exactly this cycle as a whole one, whatever came before, since all that was
    closed earlier left a range of at least r[i-1] ahead of it. No two such ranges are neighbours, so the
    order does not matter. The points must alternate. On noise a sweep leaves a third of them, and costs no
    mispredicted branch.
    """
    if size < 4:
        return size, number
    left = 0
    inner_before = False
    range_before = -1.0
    span = abs(points[1] - points[0])
    for index in range(size - 2):
        point, after = points[index], points[index + 1]
        span_after = abs(points[index + 2] - after)
        inner = (range_before > span) & (span <= span_after)
        points[left] = point
        left += not (inner | inner_before)
        ranges[number] = span
        means[number] = 0.5 * (point + after)
        number += inner
        inner_before = inner
        range_before = span
        span = span_after
    points[left] = points[size - 2]
    left += not inner_before
    points[left] = points[size - 1]
    return left + 1, number


@njit(cache=True, error_model="numpy")
def count_cycles(points):
    """Count the cycles of a history of turning points.

    Parameters
    ----------
    points : (point,) float64 [any]
        First sample, turning points, last sample; used up in place.

    Returns
    -------
    ranges, means, counts : (cycle,) float64 [any, any, -]
        Inner cycles first, the residue last, as half cycles.
    """
    size = points.shape[0]
    ranges, means, counts = np.empty(size), np.empty(size), np.empty(size)
    number = 0
    sweeping = alternates(points)
    while sweeping:
        before = size
        size, number = close_inner_cycles(points, size, ranges, means, number)
        sweeping = before - size > before // 8
    counts[:number] = 1.0
    depth = 0
    for index in range(size):
        points[depth] = points[index]  # the stack never reaches the points that are still to come
        depth += 1
        while True:
            depth, span, mean, count = close_cycle(points, depth)
            if count == 0.0:
                break
            ranges[number] = span
            means[number] = mean
            counts[number] = count
            number += 1
    for index in range(depth - 1):
        ranges[number] = abs(points[index] - points[index + 1])
        means[number] = 0.5 * (points[index] + points[index + 1])
        counts[number] = 0.5
        number += 1
    return ranges[:number], means[:number], counts[:number]
