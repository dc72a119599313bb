"""On which made-up machine, and with which made-up readings, is a layer vetted?

Nothing here is physics: every lane is another machine, every reading a smooth closed-form function of
lane, blade and tick, so that any selection of lanes in any order can be made again to the bit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from sim.interface import SENSED, Array, Commands, Known, Readings, SteadyTable

PERIOD = 0.04
CLOCKS_APART = 7
"""Ticks by which each lane's clock is ahead of the one before: forked lanes march beside others."""
PER_BLADE = ("pitch", "root_flap_moment", "root_edge_moment", "tip_distance", "last_pass_clearance")


def known(lanes: int, blades: int) -> Known:
    """Return what is known of ``lanes`` different machines."""
    grow = 1.0 + 0.05 * np.arange(lanes)
    wind = np.arange(3.0, 25.01, 0.5)[None, :] + np.zeros((lanes, 1))
    load = np.where(wind < 10.0, (wind / 10.0) ** 2, (10.0 / wind) ** 1.2)
    speed, rated_torque = 1.15 / grow, 4.0e6 * grow**3
    pitch = np.deg2rad(25.0) * np.sqrt(np.clip((wind - 10.0) / 15.0, 0.0, 1.0))
    steady = SteadyTable(
        wind_speed=wind,
        rotor_speed=np.clip(wind / 10.0, 0.55, 1.0) * speed[:, None],
        pitch=pitch,
        torque=np.minimum((wind / 10.0) ** 2, 1.0) * rated_torque[:, None],
        thrust=7.0e5 * load * grow[:, None] ** 2,
        root_flap_moment=1.0e7 * load * grow[:, None] ** 3,
        tip_deflection=7.0 * load * grow[:, None],
        clearance=(13.0 - 7.0 * load) * grow[:, None],
        torque_per_pitch=-(1.0e7 + 1.0e8 * pitch) * grow[:, None] ** 3,
        deflection_per_pitch=-(20.0 + 15.0 * (1.0 - load)) * grow[:, None],
    )
    one = np.ones(lanes)
    return Known(
        period=PERIOD,
        blade_count=blades,
        rated_power=rated_torque * speed * 0.95,
        rated_torque=rated_torque,
        rated_rotor_speed=speed,
        minimum_rotor_speed=0.55 * speed,
        efficiency=0.95 * one,
        rotor_inertia=4.0e7 * grow**5,
        optimal_torque_gain=2.9e6 * grow**5,
        fine_pitch=0.0 * one,
        feather_pitch=1.55 * one,
        pitch_rate_limit=0.12 * one,
        pitch_acceleration_limit=0.3 * one,
        pitch_natural_frequency=10.0 * one,
        pitch_damping_ratio=0.75 * one,
        pitch_delay=0.08 * one,
        steady=steady,
        blade_frequency=np.array([[4.4, 12.0, 8.0]]) / grow[:, None],
        blade_damping_ratio=np.full((lanes, 3), 0.005),
        flap_aerodynamic_damping_ratio=0.5 * one,
        deflection_per_moment=7.0e-7 / grow**2,
        unloaded_clearance=13.0 * grow,
        required_clearance=3.9 * grow,
        rotor_radius=70.0 * grow,
        side=-1.0 * one,
        preview_range=150.0 * one,
    )


def readings(machine: Known, tick: int) -> Readings:
    """Return plausible readings of every lane at a tick, near rated and sometimes close to the tower."""
    lanes, blades = len(machine.rated_torque), machine.blade_count
    lane = np.arange(lanes)
    time = tick * PERIOD
    slow = np.sin(0.35 * time + 1.3 * lane)
    speed = machine.rated_rotor_speed * (1.0 + 0.06 * slow)
    azimuth = np.mod(machine.rated_rotor_speed * time + 0.7 * lane, 2.0 * np.pi)
    spread = azimuth[:, None] + 2.0 * np.pi * np.arange(blades) / blades
    moment = 1.0e7 * (1.0 + 0.25 * slow[:, None] + 0.1 * np.cos(spread))
    turn = np.floor(spread / np.pi)
    values = {
        "azimuth": azimuth,
        "rotor_speed": speed,
        "pitch": 0.05 + 0.04 * slow[:, None] + np.zeros((lanes, blades)),
        "root_flap_moment": moment,
        "root_edge_moment": 3.0e6 * np.sin(spread),
        "tip_distance": 6.0 + 3.0 * np.cos(spread),
        "last_pass_clearance": machine.required_clearance[:, None] + 1.0 + 1.5 * slow[:, None] + 0.2 * turn,
        "tower_acceleration": np.stack([0.3 * slow, 0.1 * slow], axis=1),
        "wind_speed": 10.0 + 3.0 * slow,
        "wind_direction": 0.1 * slow,
        "wind_preview": 10.0 + 3.0 * np.sin(0.35 * time + 1.3 * lane + 0.5),
        "power": machine.rated_power * (1.0 - 0.1 * np.abs(slow)),
    }
    ticks = tick + CLOCKS_APART * lane.astype(np.int64)
    return Readings(
        tick=ticks,
        time=ticks * PERIOD,
        **values,
        valid={name: np.ones(values[name].shape, bool) for name in SENSED},
        age={name: np.full(values[name].shape, 0.2) for name in SENSED},
    )


def commands(machine: Known, tick: int) -> Commands:
    """Return plausible commands of power production, equal for all blades."""
    lanes = len(machine.rated_torque)
    slow = np.sin(0.35 * tick * PERIOD + 1.3 * np.arange(lanes))
    pitch = np.repeat((0.05 + 0.04 * slow)[:, None], machine.blade_count, axis=1)
    return Commands(pitch, machine.rated_torque * (0.95 + 0.05 * slow), np.zeros(lanes, bool))


def spoil(seen: Readings, names: tuple[str, ...], lanes: Any, value: float, valid: bool) -> Readings:
    """Return readings in which some sensors of some lanes read ``value``, vouched for or not."""
    changed, vouched = {}, dict(seen.valid)
    for name in names:
        changed[name], vouched[name] = getattr(seen, name).copy(), seen.valid[name].copy()
        changed[name][lanes], vouched[name][lanes] = value, valid
    return replace(seen, **changed, valid=vouched)


def take(thing: Any, lanes: Any) -> Any:
    """Return the same thing for a selection of lanes: of arrays, mappings and dataclasses of them."""
    if isinstance(thing, np.ndarray):
        return thing[lanes]
    if isinstance(thing, Mapping):
        return {key: take(value, lanes) for key, value in thing.items()}
    if isinstance(thing, (list, tuple)):
        return type(thing)(take(value, lanes) for value in thing)
    if is_dataclass(thing) and not isinstance(thing, type):
        return replace(thing, **{f.name: take(getattr(thing, f.name), lanes) for f in fields(thing)})
    return thing


def leaves(thing: Any, path: str = "") -> list[tuple[str, Any]]:
    """List everything inside a thing with its path: arrays, and whatever is no array."""
    if isinstance(thing, Mapping):
        return [leaf for key, value in thing.items() for leaf in leaves(value, f"{path}.{key}".lstrip("."))]
    if isinstance(thing, (list, tuple)):
        return [leaf for i, value in enumerate(thing) for leaf in leaves(value, f"{path}[{i}]")]
    if is_dataclass(thing) and not isinstance(thing, type):
        inside = {f.name: getattr(thing, f.name) for f in fields(thing)}
        return leaves(inside, path)
    return [(path, thing)]


def difference(one: Any, other: Any) -> str:
    """Say where two things first differ, to the bit and with nan equal to nan; empty if nowhere."""
    first, second = leaves(one), leaves(other)
    if [path for path, _ in first] != [path for path, _ in second]:
        return "they hold different entries"
    for (path, a), (_, b) in zip(first, second, strict=True):
        said = _array_difference(np.asarray(a), np.asarray(b))
        if said:
            return f"{path}{said}"
    return ""


def _array_difference(a: Array, b: Array) -> str:
    if a.shape != b.shape or a.dtype != b.dtype:
        return f" has {a.dtype} {a.shape} and {b.dtype} {b.shape}"
    floating = a.dtype.kind == "f"
    unlike = ~((a == b) | (np.isnan(a) & np.isnan(b))) if floating else a != b
    if not np.any(unlike):
        return ""
    at = tuple(int(i) for i in np.argwhere(unlike)[0])
    return f"[{', '.join(map(str, at))}] is {a[at].item()!r} and {b[at].item()!r}"
