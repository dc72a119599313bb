"""How much fatigue is in a load history: cycles, equivalent range, damage?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.kernels import cycles
from sim.measures.curve import StressCurve, check_exponent

Floats = NDArray[np.float64]


def turning_points(series: ArrayLike) -> Floats:
    """Return the first sample, every turning point and the last sample.

    Parameters
    ----------
    series : (sample,) float64 [any]

    Returns
    -------
    (point,) float64 [any]
        A series of fewer than two samples has none.

    Raises
    ------
    InputError
        Where a sample is not finite, or the series is not one-dimensional.
    """
    values = _one_dimensional(series, "series")
    if values.size < 2:
        return np.empty(0)
    points = cycles.find_turning_points(values)
    if points.size == 0:
        where = int(np.flatnonzero(~np.isfinite(values))[0])
        raise InputError(f"series[{where}] = {values[where]}; must be finite")
    return points


def rainflow(series: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Count the cycles of a load history.

    Parameters
    ----------
    series : (sample,) float64 [any]

    Returns
    -------
    ranges, means, counts : (cycle,) float64 [any, any, -]
        Count 1.0 for a whole cycle, 0.5 for a half one. Inner cycles come first, not in the order of time;
        the residue comes last, as half cycles.

    Raises
    ------
    InputError
        Where a sample is not finite, or the series is not one-dimensional.

    Notes
    -----
    Edges, chosen to be those of the general-purpose package `rainflow`: fewer than three samples hold no
    cycle; a constant series holds half a cycle of range zero. `count_points` counts two points as the half
    cycle that they are.

    References
    ----------
    ASTM E1049-85 (2011), "Standard practices for cycle counting in fatigue analysis", section 5.4.4.
    """
    values = _one_dimensional(series, "series")
    points = turning_points(values)
    return cycles.count_cycles(points if values.size > 2 else points[:0])


def count_points(points: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Count the cycles of a history that was already reduced to its turning points.

    Parameters
    ----------
    points : (point,) float64 [any]
        First sample, turning points, last sample.

    Returns
    -------
    ranges, means, counts : (cycle,) float64 [any, any, -]
        As `rainflow` gives them.

    Raises
    ------
    InputError
        Where a point is not finite, or the list is not one-dimensional.
    """
    return cycles.count_cycles(turning_points(points))


def cycle_sum(ranges: ArrayLike, counts: ArrayLike, exponent: float) -> float:
    """Return the sum of n S^m.

    Parameters
    ----------
    ranges, counts : (cycle,) float64 [any, -]
    exponent : float [-]
        m, at least 1.

    Returns
    -------
    float [any^m]

    Raises
    ------
    InputError
        Where the exponent is below 1, or ranges and counts are not pairs of finite numbers >= 0.
    """
    check_exponent(exponent, "exponent")
    span, count = _counted(ranges, counts)
    return float(np.sum(count * span**exponent))


def equivalent_range(ranges: ArrayLike, counts: ArrayLike, exponent: float, reference_count: float) -> float:
    """Return the constant range that does the same damage in a stated number of cycles.

    Parameters
    ----------
    ranges, counts : (cycle,) float64 [any, -]
    exponent : float [-]
        m, at least 1.
    reference_count : float [-]
        Cycles of the constant range, above 0: duration times reference frequency.

    Returns
    -------
    float [any]
        0.0 for no cycles at all.

    Raises
    ------
    InputError
        Where the exponent is below 1, the reference count is not positive, or ranges and counts are not pairs
        of finite numbers >= 0.

    Notes
    -----
    (sum of n S^m / N)^(1/m), after Palmgren and Miner: A. Palmgren, "Die Lebensdauer von Kugellagern", Z. VDI
    68 (1924); M. A. Miner, "Cumulative damage in fatigue", J. Appl. Mech. 12 (1945).
    """
    if not 0.0 < reference_count < np.inf:
        raise InputError(f"reference_count = {reference_count}; must be > 0")
    check_exponent(exponent, "exponent")
    span, count = _counted(ranges, counts)
    largest = float(np.max(span, initial=0.0))
    if largest == 0.0:
        return 0.0
    return largest * (cycle_sum(span / largest, count, exponent) / reference_count) ** (1.0 / exponent)


def goodman(ranges: ArrayLike, means: ArrayLike, ultimate: float) -> Floats:
    """Return the ranges about zero mean that do the same damage.

    Parameters
    ----------
    ranges, means : (cycle,) float64 [any]
    ultimate : float [any]
        Ultimate load, above 0, taken alike in tension and compression.

    Returns
    -------
    (cycle,) float64 [any]
        Infinite where the mean reaches the ultimate load.

    Raises
    ------
    InputError
        Where the ultimate load is not positive.

    Notes
    -----
    S U / (U - |mean|). J. Goodman, "Mechanics applied to engineering", Longmans 1899 (equation from memory).
    A compressive mean is charged like a tensile one, which suits a blade root, whose other side it pulls.
    """
    if not 0.0 < ultimate < np.inf:
        raise InputError(f"ultimate = {ultimate}; must be > 0")
    span = np.asarray(ranges, dtype=np.float64)
    left = ultimate - np.abs(np.asarray(means, dtype=np.float64))
    room = np.where(left > 0.0, left, 1.0)
    return np.where(left > 0.0, span * (ultimate / room), np.where(span > 0.0, np.inf, 0.0))


def damage(ranges: ArrayLike, counts: ArrayLike, curve: StressCurve) -> float:
    """Return the sum of n / N(S) after Palmgren and Miner; 1 is the end of life.

    Parameters
    ----------
    ranges, counts : (cycle,) float64 [any, -]
    curve : StressCurve

    Returns
    -------
    float [-]

    Raises
    ------
    InputError
        Where ranges and counts are not pairs of finite numbers >= 0.
    """
    span, count = _counted(ranges, counts)
    return float(np.sum(count / curve.cycles_to_failure(span)))


def range_mean_matrix(
    counted: tuple[ArrayLike, ArrayLike, ArrayLike], range_edges: ArrayLike, mean_edges: ArrayLike
) -> Floats:
    """Sort counted cycles into cells of range and mean.

    Parameters
    ----------
    counted : ranges, means, counts, each (cycle,) float64
        As `rainflow` gives them.
    range_edges, mean_edges : (cell + 1,) float64 [any]
        Rising. A cell holds its lower edge; the last cell holds its upper edge too.

    Returns
    -------
    (range cell, mean cell) float64 [-]
        Its sum is the sum of the counts.

    Raises
    ------
    InputError
        Where edges do not rise, or a cycle lies outside of them: no cycle is dropped in silence.
    """
    ranges, means, counts = (np.asarray(part, dtype=np.float64) for part in counted)
    edges = []
    for name, values, given in (("range", ranges, range_edges), ("mean", means, mean_edges)):
        edge = _one_dimensional(given, f"{name}_edges")
        if edge.size < 2 or not np.all(np.diff(edge) > 0.0):
            raise InputError(f"{name}_edges: must rise, and hold at least two values")
        outside = (values < edge[0]) | (values > edge[-1])
        if np.any(outside):
            first = values[outside][0]
            raise InputError(
                f"{name}_edges: a cycle of {name} {first:.6g} lies outside {edge[0]:.6g}..{edge[-1]:.6g}"
            )
        edges.append(edge)
    return np.histogram2d(ranges, means, bins=edges, weights=counts)[0]


def _one_dimensional(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise InputError(f"{name}: has {array.ndim} dimensions; must have 1")
    return np.ascontiguousarray(array)


def _counted(ranges: ArrayLike, counts: ArrayLike) -> tuple[Floats, Floats]:
    span, count = np.asarray(ranges, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    if span.shape != count.shape:
        raise InputError(f"counts: shape {count.shape}; must be that of the ranges, {span.shape}")
    for name, values in (("ranges", span), ("counts", count)):
        wrong = values[~((values >= 0.0) & (values < np.inf))]
        if wrong.size:
            raise InputError(f"{name}: hold {wrong[0]:g}; must be finite and >= 0")
    return span, count
