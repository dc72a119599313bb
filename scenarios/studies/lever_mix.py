"""Which mix of levers keeps a clearance at the least cost, and what would another metre cost?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.studies.campbell import campbell
from scenarios.studies.lever_design import LEVERS, Mix, made, mix_of
from scenarios.studies.lever_keys import WeightKeys, read_costs
from scenarios.studies.lever_worth import Given, Worth, worth_of
from sim.design import Turbine
from sim.errors import InputError, RunError

Array = NDArray[np.float64]
Function = Callable[[Array], float]

_STEP = 1e-3  # of a range, of the differences that the optimiser's slopes are taken with
_SETTLED = 1e-3  # of a range, how far the optimiser's last trials reach
_TRIES = 400
_CLOSE = 2e-3  # [m] of the need, within which it binds


def cost_of(worth: Worth, base: Worth, weights: WeightKeys) -> float:
    """Return what a mix costs against the turbine as it is, in the weights' own unit.

    Notes
    -----
    A weighted sum of changes; of the yaw bearing the size of its moment counts, whichever way it tips.
    """
    return (
        -1e3 * weights.energy_per_MWh * (worth.energy_GWh - base.energy_GWh)
        + weights.main_bearing_per_kNm * (worth.main_bearing_mean_kNm - base.main_bearing_mean_kNm)
        + weights.main_bearing_extreme_per_kNm
        * (worth.main_bearing_extreme_kNm - base.main_bearing_extreme_kNm)
        + weights.bed_plate_per_kNm * (worth.bed_plate_mean_kNm - base.bed_plate_mean_kNm)
        + weights.bed_plate_extreme_per_kNm * (worth.bed_plate_extreme_kNm - base.bed_plate_extreme_kNm)
        + weights.yaw_bearing_per_kNm * (abs(worth.yaw_bearing_kNm) - abs(base.yaw_bearing_kNm))
        + weights.root_per_kNm * (abs(worth.root_steady_kNm) - abs(base.root_steady_kNm))
        + weights.blade_mass_per_t * (worth.blade_mass_t - base.blade_mass_t)
        + weights.envelope_per_m * (worth.envelope_m - base.envelope_m)
        + weights.tower_mass_per_t * (worth.tower_mass_t - base.tower_mass_t)
        + weights.pitch_travel_per_deg_h * worth.pitch_travel_deg_h
    )


@dataclass(frozen=True)
class Cheapest:
    """The cheapest place within bounds.

    Attributes
    ----------
    at : (variable,) float64
    cost, room : float
        There.
    shadow : float
        Rise of the least cost for a unit more of what is needed; 0 where the need does not bind.
    bound_price : (variable,) float64
        Change of the least cost for a unit more of a bound that binds, else 0.
    """

    at: Array
    cost: float
    room: float
    shadow: float
    bound_price: Array


def cheapest(
    cost: Function, room: Function, need: float, bounds: Sequence[tuple[float, float]], start: Array
) -> Cheapest | None:
    """Minimise a cost under one requirement and bounds; None where no place meets the requirement.

    Parameters
    ----------
    cost, room : functions of (variable,) float64
    need : what room must at least be
    bounds : of each variable
    start : (variable,) float64

    Notes
    -----
    Trust regions on quadratic models (COBYQA of scipy), from the start where it meets the need, else from the
    roomiest place. Shadow prices from the conditions of Karush, Kuhn and Tucker: where the gradient of cost
    less the shadow price times that of room is not zero, a bound holds the variable.

    Raises
    ------
    RunError
        The optimiser ends where the need is not met.

    References
    ----------
    T. M. Ragonneau, "Model-based derivative-free optimization methods and software", thesis, Hong Kong
    Polytechnic University (2022), from memory.
    """
    box = _Box(np.array(bounds, dtype=float))
    widest = box.unit(start)
    if room(box.place(widest)) < need:
        widest = box.search(lambda at: -room(at), widest)
    if room(box.place(widest)) < need - _CLOSE:
        return None
    best = box.search(cost, widest, lambda place: room(place) - need)
    if room(box.place(best)) < need - _CLOSE:
        raise RunError("cheapest mix: the optimiser ends where the need is not met; try narrower bounds")
    at = box.place(best)
    shadow, prices = _shadows(
        box.scaled(cost), box.scaled(lambda place: room(place) - need), best, box.is_free
    )
    return Cheapest(at, cost(at), room(at), shadow, prices / box.span)


def roomiest(room: Function, bounds: Sequence[tuple[float, float]], start: Array) -> Array:
    """Return where within bounds the room is largest."""
    box = _Box(np.array(bounds, dtype=float))
    return box.place(box.search(lambda at: -room(at), box.unit(start)))


class _Box:
    """Bounds, scaled to the unit box; a variable whose bounds are one stays there."""

    def __init__(self, bounds: Array) -> None:
        self.low, self.high = bounds.T
        self.is_free = self.high > self.low
        self.span = np.where(self.is_free, self.high - self.low, 1.0)

    def place(self, unit: Array) -> Array:
        """Return where a point of the unit box stands."""
        return self.low + np.clip(unit, 0.0, 1.0) * (self.high - self.low)

    def unit(self, place: Array) -> Array:
        """Return the point of the unit box that is nearest to a place."""
        return np.clip((place - self.low) / self.span, 0.0, 1.0) * self.is_free

    def scaled(self, function: Function) -> Function:
        """Return a function of the place as one of the unit box."""
        return lambda unit: function(self.place(unit))

    def search(self, least: Function, first: Array, spare: Function | None = None) -> Array:
        """Return the point at which a function is least, where what is spare is not negative."""
        from scipy.optimize import NonlinearConstraint, minimize

        if not self.is_free.any():
            return first

        def whole(free: Array) -> Array:
            unit = first.copy()
            unit[self.is_free] = np.clip(free, 0.0, 1.0)
            return unit

        def of(function: Function) -> Function:
            return lambda free: function(self.place(whole(free)))

        found = minimize(
            of(least),
            first[self.is_free],
            method="COBYQA",
            bounds=[(0.0, 1.0)] * int(np.count_nonzero(self.is_free)),
            constraints=[] if spare is None else [NonlinearConstraint(of(spare), 0.0, np.inf)],
            options={"maxfev": _TRIES, "initial_tr_radius": 0.2, "final_tr_radius": _SETTLED},
        )
        return whole(found.x)


def _shadows(cost: Function, spare: Function, at: Array, is_free: NDArray[np.bool_]) -> tuple[float, Array]:
    """Shadow price of the requirement, and of bounds that hold a variable, per unit of the scaled range."""
    slope, gain = _slope(cost, at), _slope(spare, at)
    inside = is_free & (at > _STEP) & (at < 1.0 - _STEP)
    shadow = 0.0
    if spare(at) < _CLOSE and np.any(inside):
        shadow = max(float(np.sum(slope[inside] * gain[inside]) / np.sum(gain[inside] ** 2)), 0.0)
    elif spare(at) < _CLOSE:
        # Every lever stands at a bound: the cheapest that could still move sets the price.
        able = is_free & (np.abs(gain) > 0.0)
        shadow = float(np.min(np.abs(slope[able] / gain[able]))) if able.any() else 0.0
    left = slope - shadow * gain
    pushing = np.where(at > 0.5, np.minimum(left, 0.0), np.maximum(left, 0.0))
    return shadow, np.where(inside | ~is_free, 0.0, pushing)


def _slope(function: Function, at: Array) -> Array:
    """Central differences, one-sided at the ends of the unit box."""
    found = np.zeros_like(at)
    for row in range(at.size):
        ends = at.copy(), at.copy()
        ends[0][row], ends[1][row] = max(at[row] - _STEP, 0.0), min(at[row] + _STEP, 1.0)
        found[row] = (function(ends[1]) - function(ends[0])) / (ends[1][row] - ends[0][row])
    return found


def mix_data(turbine: Turbine, given: Given, need: float, path: Path | None) -> dict[str, Any]:
    """Return the cheapest mix that keeps a clearance in the governing wind, units in the names.

    Raises
    ------
    InputError
        No mix within bounds keeps it: the nearest, and the bounds that hold it there; or as `read_costs`.
    """
    start = mix_of(turbine)
    weights, bounds = read_costs(path, start)
    base = worth_of(turbine, start, given)
    known: dict[bytes, Worth] = {}

    def worth(at: Array) -> Worth:
        key = at.tobytes()
        if key not in known:
            known[key] = worth_of(turbine, Mix(*at.tolist()), given)
        return known[key]

    def cost(at: Array) -> float:
        return cost_of(worth(at), base, weights)

    def room(at: Array) -> float:
        return worth(at).governing_m

    pairs = [bounds[lever.name] for lever in LEVERS]
    first = np.clip(np.array(start.values()), *np.array(pairs).T)
    found = cheapest(cost, room, need, pairs, first)
    if found is None:
        raise InputError(_unmet(need, room, pairs, first, path))
    there = worth(found.at)
    return {
        "need_m": need,
        "governing_m": there.governing_m,
        "unloaded_m": there.unloaded_m,
        "cost": found.cost,
        "need_binds": found.room - need < _CLOSE,
        "shadow_price_per_m": found.shadow,
        "levers": [
            _row(lever.title, lever.name, pair, start, float(found.at[k]), float(found.bound_price[k]))
            for k, (lever, pair) in enumerate(zip(LEVERS, pairs, strict=True))
        ],
        "worth": there.told(),
        "warnings": campbell(made(turbine, Mix(*found.at.tolist()), given.spar_share))["warnings"],
        "weights": weights.model_dump(),
        "weights_from": "ours, to be replaced by yours: --weights FILE" if path is None else str(path),
    }


def _row(
    title: str, name: str, bounds: tuple[float, float], start: Mix, to: float, price: float
) -> dict[str, Any]:
    return {
        "lever": name,
        "title": title,
        "from": getattr(start, name),
        "to": to,
        "bounds": list(bounds),
        "binds": _binding(to, bounds),
        "shadow_price": price,
    }


def _binding(value: float, bounds: tuple[float, float]) -> str:
    """Name the bound that a lever stands at, or nothing."""
    span = bounds[1] - bounds[0]
    if span == 0.0:
        return "fixed"
    if value - bounds[0] <= _STEP * span:
        return "lower bound"
    return "upper bound" if bounds[1] - value <= _STEP * span else ""


def _unmet(
    need: float, room: Function, pairs: Sequence[tuple[float, float]], start: Array, path: Path | None
) -> str:
    at = roomiest(room, pairs, start)
    held: Mapping[str, str] = {
        lever.name: told
        for lever, pair, value in zip(LEVERS, pairs, at, strict=True)
        if (told := _binding(float(value), pair))
    }
    bound = ", ".join(f"{name} at its {told} {at[_place(name)]:g}" for name, told in held.items())
    where = "[bounds] of a file for --weights" if path is None else f"{path}: bounds"
    return (
        f"--need {need:g}: no mix of levers within bounds keeps it; the nearest leaves {room(at):.2f} m, "
        f"held by {bound}; widen {where}, or need less"
    )


def _place(name: str) -> int:
    return [lever.name for lever in LEVERS].index(name)
