"""What lift, drag and moment has one section when air comes from any side?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError

if TYPE_CHECKING:
    from sim.design import Section

Array = NDArray[np.float64]

GRID: Array = np.radians(np.arange(-180.0, 181.0))
"""Angles of attack of the 361 rows of every polar [rad]."""

CAP = np.pi / 4
"""Off zero lift by more than this [rad] a section is separated, whatever its lift."""

LINEAR_SHARE = 0.7  # share of maximum lift up to which a section given by parameters is linear
STALL_DRAG = 2.5  # rise of drag from its minimum to stall, in minimum drags
REVERSED_LIFT = 0.7  # lift with the trailing edge forward, relative to the mirrored angle


@dataclass(frozen=True)
class StaticPolar:
    """One section's static coefficients at `GRID` and its attached line ``slope * (alpha - zero)``."""

    lift: Array
    drag: Array
    moment: Array
    slope: float
    zero: float


def static_polar(section: Section, aspect_ratio: float) -> StaticPolar:
    """Turn a section's table or parameters into static coefficients over 360 degrees.

    Parameters
    ----------
    section : Section
    aspect_ratio : float [-]
        Blade length over mean chord; sets drag at right angles to the flow.

    Raises
    ------
    InputError
        See `build_polars`.

    Notes
    -----
    A round section has constant drag, no lift and no moment. A table over 360 degrees is interpolated;
    otherwise the known range is extended as in `extend`. Parameters give cl = slope (alpha - alpha0) up to
    0.7 of maximum lift, then a parabola to maximum lift at 1.3 times the linear angle, and
    cd = min (1 + 2.5 |s|^3), s the share of the way from zero lift to stall (at stall 3.5 times the minimum).
    Derived here, after the habit of measured polars of 18-40 % thick sections.
    """
    if section.is_round and section.polar is None:
        flat = np.zeros_like(GRID)
        return StaticPolar(flat, flat + section.min_drag, flat, 0.0, 0.0)
    if section.polar is not None:
        return _from_table(section.name, section.polar, aspect_ratio)
    slope, zero = float(section.lift_slope), float(section.zero_lift_angle)
    high = zero + (2 - LINEAR_SHARE) * section.max_lift / slope
    low = zero + (2 - LINEAR_SHARE) * section.min_lift / slope
    limit = np.where(zero < GRID, section.max_lift, -section.min_lift)
    share = np.clip(slope * np.abs(GRID - zero) / limit, 0.0, 2 - LINEAR_SHARE)
    over = np.maximum(share - LINEAR_SHARE, 0.0)
    lift = np.sign(GRID - zero) * limit * (share - over**2 / (4 * (1 - LINEAR_SHARE)))
    drag = section.min_drag * (1 + STALL_DRAG * (share / (2 - LINEAR_SHARE)) ** 3)
    ends = np.array([low, high])
    return extend(
        StaticPolar(lift, drag, np.full_like(GRID, section.moment), slope, zero),
        ends,
        np.array([section.min_lift, section.max_lift]),
        np.full(2, section.min_drag * (1 + STALL_DRAG)),
        aspect_ratio,
    )


def _from_table(name: str, table: Array, aspect_ratio: float) -> StaticPolar:
    alpha, lift, drag, moment = np.asarray(table, dtype=float).T
    slope, zero = attached_line(alpha, lift)
    columns = [np.interp(GRID, alpha, column) for column in (lift, drag, moment)]
    polar = StaticPolar(columns[0], columns[1], columns[2], slope, zero)
    if alpha[0] <= GRID[0] + 1e-6 and alpha[-1] >= GRID[-1] - 1e-6:
        for column in columns:  # the two ends are one direction
            column[0] = column[-1] = (column[0] + column[-1]) / 2
        return polar
    reach = np.degrees([-alpha[0], alpha[-1]])
    if reach.min() < 5 or reach.max() > 90:
        raise InputError(
            f"section {name}: polar table covers {-reach[0]:.1f} to {reach[1]:.1f} deg; "
            "must span -180 to 180, or end between 5 and 90 deg on either side (it is then extended)"
        )
    return extend(polar, alpha[[0, -1]], lift[[0, -1]], drag[[0, -1]], aspect_ratio)


def attached_line(alpha: Array, lift: Array) -> tuple[float, float]:
    """Find lift slope [1/rad] and zero-lift angle [rad] of a tabulated polar.

    Notes
    -----
    Zero lift: the rising crossing nearest to 0 angle. Slope: the largest cl / (alpha - alpha0) at 2 to 10
    degrees off zero lift (Hansen, Gaunaa, Madsen 2004: the largest ratio; the inner limit keeps noise
    out). A table that never crosses (a round section) gives slope 0.
    """
    rising = np.flatnonzero((lift[:-1] <= 0) & (lift[1:] > 0) & (np.abs(alpha[:-1]) < CAP))
    if rising.size == 0:
        return 0.0, 0.0
    low = rising[np.argmin(np.abs(alpha[rising]))]
    zero = alpha[low] - lift[low] * (alpha[low + 1] - alpha[low]) / (lift[low + 1] - lift[low])
    off = np.radians(np.concatenate([np.arange(-10, -1.9, 0.5), np.arange(2, 10.1, 0.5)]))
    off = off[(zero + off >= alpha[0]) & (zero + off <= alpha[-1])]
    return float(np.max(np.interp(zero + off, alpha, lift) / off)), float(zero)


def extend(polar: StaticPolar, ends: Array, lift: Array, drag: Array, aspect_ratio: float) -> StaticPolar:
    """Extend a polar known between two angles to all directions.

    Parameters
    ----------
    polar : StaticPolar
        Valid at the rows between `ends`.
    ends : (2,) float64 [rad]
        Lowest and highest known angle, -90..0 and 0..90 degrees.
    lift, drag : (2,) float64 [-]
        Coefficients at the ends.
    aspect_ratio : float [-]

    Notes
    -----
    cl = (cd_max / 2) sin 2a + A2 cos^2 a / sin a, cd = cd_max sin^2 a + B2 cos a with A2 and B2 such that the
    ends match, cd_max = 1.11 + 0.018 AR. Past 90 degrees the mirrored angle with 0.7 of the lift (common
    practice, no source), and lift linear to 0 over the last stretch to 180. Moment: normal force at a
    centre of pressure 0.5 - 0.175 (1 - 2 |a| / pi) chords aft (value from memory), reached over 20 degrees.

    References
    ----------
    Viterna, Janetzke, Theoretical and experimental power from large horizontal-axis wind turbines,
    NASA TM-82944, 1982, equations 4-9 (numbers from memory).
    """
    side = (GRID > 0).astype(int)
    sign = np.where(side == 1, 1.0, -1.0)
    end, end_drag = np.abs(ends)[side], drag[side]
    end_lift = sign * lift[side]
    size = np.abs(GRID)
    mirrored = np.clip(np.minimum(size, np.pi - size), end, np.pi / 2)
    plate_lift, plate_drag = _flat_plate(mirrored, end, end_lift, end_drag, 1.11 + 0.018 * aspect_ratio)
    behind = size > np.pi / 2
    fade = np.where(behind, np.minimum((np.pi - size) / end, 1.0), 1.0)
    reversed_drag = fade * plate_drag + (1 - fade) * drag.max()
    plate_lift = sign * plate_lift * np.where(behind, -REVERSED_LIFT * fade, 1.0)
    plate_drag = np.maximum(np.where(behind, reversed_drag, plate_drag), 0.0)
    arm = 0.25 - 0.175 * (1 - 2 * size / np.pi)
    normal = plate_lift * np.cos(GRID) + plate_drag * np.sin(GRID)
    outside = (ends[0] > GRID) | (ends[1] < GRID)
    share = np.clip((size - end) / np.radians(20.0), 0.0, 1.0)
    return StaticPolar(
        lift=np.where(outside, plate_lift, polar.lift),
        drag=np.where(outside, plate_drag, polar.drag),
        moment=np.where(outside, (1 - share) * polar.moment - share * normal * arm, polar.moment),
        slope=polar.slope,
        zero=polar.zero,
    )


def _flat_plate(alpha: Array, end: Array, lift: Array, drag: Array, drag_max: float) -> tuple[Array, Array]:
    """Lift and drag between stall angle `end` and 90 degrees (see `extend`)."""
    a2 = (lift - drag_max * np.sin(end) * np.cos(end)) * np.sin(end) / np.cos(end) ** 2
    b2 = (drag - drag_max * np.sin(end) ** 2) / np.cos(end)
    sin, cos = np.sin(alpha), np.cos(alpha)
    return drag_max / 2 * np.sin(2 * alpha) + a2 * cos**2 / sin, drag_max * sin**2 + b2 * cos
