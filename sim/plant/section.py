"""What does each aerodynamic station of the blade do to the air, attached, separated and between?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.plant.polar import CAP, GRID, Array, StaticPolar, static_polar

if TYPE_CHECKING:
    from sim.design import Turbine

STATION_COUNT = 20
"""Aerodynamic stations per blade."""

ATTACHED_LIFT, SEPARATION_POINT, SEPARATED_LIFT, DRAG, MOMENT = range(5)
"""Columns of `Polars.table`."""


@dataclass(frozen=True)
class Polars:
    """Polars and planform at the aerodynamic stations.

    Attributes
    ----------
    table : (station, 361, 5) float64 [-]
        Rows at `GRID`; columns attached lift, static separation point (1 attached, 0 separated),
        separated lift, drag, moment about the quarter chord (nose up positive).
    radius, width, chord : (station,) float64 [m]
        Centre and length of each station along the unloaded blade axis, and its chord.
    twist : (station,) float64 [rad]
    thickness_ratio : (station,) float64 [-]
    lift_slope : (station,) float64 [1/rad]
    zero_lift_angle : (station,) float64 [rad]
    """

    table: Array
    radius: Array
    width: Array
    chord: Array
    twist: Array
    thickness_ratio: Array
    lift_slope: Array
    zero_lift_angle: Array


def stations(turbine: Turbine) -> tuple[Array, Array, Array]:
    """Divide the blade into aerodynamic stations, finer towards the tip.

    Returns
    -------
    edges : (station + 1,) float64 [m]
        From blade root to tip, along the unloaded blade axis, measured from the rotor axis.
    centres, widths : (station,) float64 [m]

    Notes
    -----
    edge = root + (tip - root) (0.4 u + 0.6 sin(pi u / 2)), u uniform in 0..1: the outermost station is
    a third as long as the innermost, since loading falls to nothing over the last few per cent. Derived here.
    """
    u = np.linspace(0.0, 1.0, STATION_COUNT + 1)
    root, tip = float(turbine.blade.r[0]), float(turbine.blade.r[-1])
    edges = root + (tip - root) * (0.4 * u + 0.6 * np.sin(np.pi * u / 2))
    edges[-1] = tip
    return edges, (edges[:-1] + edges[1:]) / 2, np.diff(edges)


def build_polars(turbine: Turbine, centres: Array | None = None, widths: Array | None = None) -> Polars:
    """Blend the turbine's sections to stations by thickness ratio and split lift by separation.

    Parameters
    ----------
    turbine : Turbine
    centres, widths : (station,) float64 [m]
        Those of `stations` when not given; `widths` only passes through.

    Raises
    ------
    InputError
        A polar table that neither spans 360 degrees nor ends between 5 and 90 degrees on either side.

    Notes
    -----
    Between two sections the static coefficients are linear in thickness ratio; outside the listed ratios the
    nearest section holds. Lift splits as in `separate`. Not modelled: Reynolds number, and the delay
    of stall by rotation near the root (it matters little for the outer half, which bends the blade).
    """
    if centres is None or widths is None:
        _, centres, widths = stations(turbine)
    blade = turbine.blade
    planform = [
        np.interp(centres, blade.r, column) for column in (blade.chord, blade.twist, blade.thickness_ratio)
    ]
    chord, twist, ratio = planform
    aspect_ratio = (blade.r[-1] - blade.r[0]) / _mean(blade.r, blade.chord)
    sections = sorted(turbine.sections, key=lambda section: section.thickness_ratio)
    polars = [static_polar(section, float(aspect_ratio)) for section in sections]
    known = np.array([section.thickness_ratio for section in sections])
    blended = [blend(polars, np.interp(value, known, np.arange(len(known)))) for value in ratio]
    return Polars(
        table=np.stack([separate(polar) for polar in blended]),
        radius=np.asarray(centres, dtype=float),
        width=np.asarray(widths, dtype=float),
        chord=chord,
        twist=twist,
        thickness_ratio=ratio,
        lift_slope=np.array([polar.slope for polar in blended]),
        zero_lift_angle=np.array([polar.zero for polar in blended]),
    )


def _mean(r: Array, values: Array) -> float:
    return float(np.sum((values[1:] + values[:-1]) / 2 * np.diff(r)) / (r[-1] - r[0]))


def blend(polars: list[StaticPolar], place: float) -> StaticPolar:
    """Mix the two polars next to a fractional place in the list; the attached lines mix alike."""
    low = min(int(place), max(len(polars) - 2, 0))
    high = min(low + 1, len(polars) - 1)
    share = place - low
    one, two = polars[low], polars[high]
    slope = (1 - share) * one.slope + share * two.slope
    lift_at_zero = -(1 - share) * one.slope * one.zero - share * two.slope * two.zero
    return StaticPolar(
        lift=(1 - share) * one.lift + share * two.lift,
        drag=(1 - share) * one.drag + share * two.drag,
        moment=(1 - share) * one.moment + share * two.moment,
        slope=slope,
        zero=-lift_at_zero / slope if slope > 0 else 0.0,
    )


def separate(polar: StaticPolar) -> Array:
    """Split static lift into attached and separated parts.

    Returns
    -------
    table : (361, 5) float64 [-]
        Columns as `Polars.table`; ``f * attached + (1 - f) * separated`` is the static lift at every row.

    Notes
    -----
    f = (2 sqrt(cl / cl_att) - 1)^2 where cl / cl_att > 1/4, else 0; cl_sep = (cl - f cl_att) / (1 - f), and
    cl / 2 where f = 1. Edges: where static lift exceeds the line (a measured polar), and within 2 degrees
    of zero lift, the attached lift is the static lift itself. From 30 to 45 degrees off zero lift f is
    forced to 0; beyond 45 the attached lift falls smoothly to 0 at 180, so it is bounded and periodic.

    References
    ----------
    Hansen, Gaunaa, Madsen, A Beddoes-Leishman type dynamic stall model in state-space and indicial
    formulations, Risø-R-1354(EN), 2004, equations 15-17 (numbers from memory).
    """
    off_zero = (GRID - polar.zero + np.pi) % (2 * np.pi) - np.pi
    attached = polar.slope * _bounded(off_zero)
    safe = np.where(np.abs(attached) > 1e-9, attached, 1.0)
    ratio = np.where(np.abs(attached) > 1e-9, polar.lift / safe, 0.0)
    inside = np.abs(off_zero) < CAP
    full = inside & ((ratio > 1 - 1e-9) | (np.abs(off_zero) < np.radians(2.0))) & (polar.slope > 0)
    attached = np.where(full, polar.lift, attached)
    point = np.where(ratio > 0.25, (2 * np.sqrt(np.clip(ratio, 0.25, 1.0)) - 1) ** 2, 0.0)
    ramp = np.clip((CAP - np.abs(off_zero)) / (CAP - np.radians(30.0)), 0.0, 1.0)
    point = np.where(full, 1.0, np.minimum(point, ramp**2 * (3 - 2 * ramp)))
    rest = np.where(full, 1.0, 1 - point)
    separated = np.where(full, polar.lift / 2, (polar.lift - point * attached) / rest)
    return np.stack([attached, point, separated, polar.drag, polar.moment], axis=1)


def _bounded(off_zero: Array) -> Array:
    """Angle up to 45 degrees, then a cubic with matching slope down to 0 at 180 degrees."""
    span = np.pi - CAP
    t = np.clip((np.abs(off_zero) - CAP) / span, 0.0, 1.0)
    beyond = CAP * (1 + 2 * t) * (1 - t) ** 2 + span * t * (1 - t) ** 2
    return np.where(np.abs(off_zero) <= CAP, off_zero, np.sign(off_zero) * beyond)
