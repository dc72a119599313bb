"""Where does the turbine operate at each wind speed, in the steady state?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from sim.errors import InputError
from sim.plant.polar import Array
from sim.plant.rotor import RotorState, SteadyRotor, steady_rotor

if TYPE_CHECKING:
    from sim.design import Turbine

WIND_STEP = 0.5
"""Spacing of the wind speeds in the table [m/s]."""

PITCH_RANGE = math.radians(40.0)  # above fine pitch, within which rated power is sought
PITCH_SCAN = 17  # points of the scan that brackets it
PITCH_STEP = math.radians(0.5)  # of central differences
TIP_SPEED_RATIOS = np.arange(4.0, 14.01, 0.5)


@dataclass(frozen=True)
class Steady:
    """Steady operation, arrays over wind speed from cut-in to cut-out.

    Attributes
    ----------
    wind_speed : (point,) float64 [m/s]
    rotor_speed : (point,) float64 [rad/s]
    pitch : (point,) float64 [rad]
    power : (point,) float64 [W]
        Electrical.
    torque, thrust : (point,) float64 [N m, N]
        Of the air about and along the shaft.
    power_coefficient, thrust_coefficient : (point,) float64 [-]
        Of the shaft power and thrust, over the disc of `rotor_radius`.
    tip_deflection : (point,) float64 [m]
        Elastic, along the unloaded blade's normal, positive downwind.
    root_flap_moment, root_edge_moment : (point,) float64 [N m]
        About the blade's own axes at its root; air and rotation, no weight.
    torque_per_pitch, thrust_per_pitch, deflection_per_pitch : (point,) float64 [N m/rad, N/rad, m/rad]
        At constant wind and rotor speed, the induced velocity in balance.
    torque_per_pitch_fast, deflection_per_pitch_fast : (point,) float64
        The same with the induced velocity held: what an action much faster than the inflow gets.
    torque_per_speed, torque_per_wind : (point,) float64 [N m s, N s]
        The induced velocity in balance.
    q : (point, 3) float64 [m]
        Amplitudes of flap_1, flap_2, edge_1.
    w : (point, station) float64 [m/s]
        Induced velocity along the unloaded blade's normal, positive against the wind.
    rotor_radius : float [m]
        Tip radius of the unloaded rotor, cone counted.
    optimal_tip_speed_ratio, largest_power_coefficient : float [-]
        At fine pitch.
    rated_wind_speed : float [m/s]
        Where fine pitch at rated speed gives rated power; nan if it never does.
    """

    wind_speed: Array
    rotor_speed: Array
    pitch: Array
    power: Array
    torque: Array
    thrust: Array
    power_coefficient: Array
    thrust_coefficient: Array
    tip_deflection: Array
    root_flap_moment: Array
    root_edge_moment: Array
    torque_per_pitch: Array
    thrust_per_pitch: Array
    deflection_per_pitch: Array
    torque_per_pitch_fast: Array
    deflection_per_pitch_fast: Array
    torque_per_speed: Array
    torque_per_wind: Array
    q: Array
    w: Array
    rotor_radius: float
    optimal_tip_speed_ratio: float
    largest_power_coefficient: float
    rated_wind_speed: float


_KNOWN: dict[str, Steady] = {}
_KEPT = 64


def steady_table(turbine: Turbine) -> Steady:
    """Steady operation of a turbine, computed once per content hash and process.

    Raises
    ------
    InputError
        Cut-in is not above 0 or cut-out not above it.
    RunError
        A point has no steady state (see `SteadyRotor.evaluate`).

    Notes
    -----
    Rotor speed follows the tip speed ratio of the largest power coefficient at fine pitch, within minimum and
    rated speed. Where the rotor could give more than rated power, pitch is raised to the largest angle at
    which it still gives it: the attached side. Without tilt, weight, shear and tower.
    """
    key = turbine.content_hash()
    if key not in _KNOWN:
        if len(_KNOWN) >= _KEPT:
            del _KNOWN[next(iter(_KNOWN))]
        _KNOWN[key] = _make_table(turbine, steady_rotor(turbine))
    return _KNOWN[key]


def _make_table(turbine: Turbine, rotor: SteadyRotor) -> Steady:
    machine = turbine.machine
    if not 0 < machine.cut_in < machine.cut_out:
        raise InputError(
            f"machine.cut_in = {machine.cut_in:g} m/s, cut_out = {machine.cut_out:g} m/s; "
            "must be 0 < cut_in < cut_out"
        )
    radius = float(turbine.blade.r[-1]) * math.cos(turbine.rotor.cone)
    wind = np.arange(machine.cut_in, machine.cut_out + 1e-9, WIND_STEP)
    ratio, best = optimal_ratio(turbine, rotor, radius)
    speed = np.clip(ratio * wind / radius, machine.minimum_rotor_speed, machine.rated_rotor_speed)
    pitch = limiting_pitch(turbine, rotor, wind, speed)
    points = np.stack([wind, speed, pitch], axis=1)
    state = rotor.evaluate(points)
    pressure = 0.5 * turbine.air_density * np.pi * radius**2 * wind**2
    made = Steady(
        wind_speed=wind,
        rotor_speed=speed,
        pitch=pitch,
        power=state.torque * speed * machine.efficiency,
        torque=state.torque,
        thrust=state.thrust,
        power_coefficient=state.torque * speed / (pressure * wind),
        thrust_coefficient=state.thrust / pressure,
        tip_deflection=state.tip_deflection,
        root_flap_moment=state.root_flap_moment,
        root_edge_moment=state.root_edge_moment,
        **_slopes(rotor, points, state),
        q=state.q,
        w=state.induction * (wind * math.cos(rotor.cone))[:, None],
        rotor_radius=radius,
        optimal_tip_speed_ratio=ratio,
        largest_power_coefficient=best,
        rated_wind_speed=rated_wind(turbine, rotor),
    )
    for field in fields(made):
        value = getattr(made, field.name)
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    return made


def optimal_ratio(turbine: Turbine, rotor: SteadyRotor, radius: float) -> tuple[float, float]:
    """Return tip speed ratio and value of the largest power coefficient [-] at fine pitch.

    Notes
    -----
    At 0.8 of rated speed, tip speed ratios 4 to 14 in steps of 0.5, and a parabola through the best three.
    """
    speed = 0.8 * turbine.machine.rated_rotor_speed
    wind = speed * radius / TIP_SPEED_RATIOS
    points = np.stack([wind, np.full_like(wind, speed), np.full_like(wind, turbine.pitch.fine)], axis=1)
    torque = rotor.evaluate(points).torque
    power = torque * speed / (0.5 * turbine.air_density * np.pi * radius**2 * wind**3)
    top = int(np.clip(np.argmax(power), 1, len(power) - 2))
    left, middle, right = power[top - 1 : top + 2]
    bend = left - 2 * middle + right
    shift = float(np.clip(0.5 * (left - right) / bend, -1.0, 1.0)) if bend < 0 else 0.0
    ratio = TIP_SPEED_RATIOS[top] + shift * (TIP_SPEED_RATIOS[1] - TIP_SPEED_RATIOS[0])
    return float(ratio), float(middle - 0.25 * (left - right) * shift)


def storm_pitch(turbine: Turbine, wind_speed: float) -> float:
    """Pitch [rad] that holds rated power at rated speed in a wind above cut-out, sought up to feather."""
    span = turbine.pitch.feather - turbine.pitch.fine
    point = np.array([wind_speed]), np.array([turbine.machine.rated_rotor_speed])
    return float(limiting_pitch(turbine, steady_rotor(turbine), *point, span)[0])


def limiting_pitch(
    turbine: Turbine, rotor: SteadyRotor, wind: Array, speed: Array, span: float = PITCH_RANGE
) -> Array:
    """Pitch [rad] that holds rated power, or fine pitch where there is less; (point,) float64.

    Notes
    -----
    Fine pitch where the wind's power times 16/27 is not enough. Else a scan over ``span`` [rad] above it
    finds the last bracket in which power falls through the rated value, and false position narrows it. A
    rotor above rated power over the whole range keeps its end.
    """
    wanted = turbine.machine.rated_power / turbine.machine.efficiency
    scan = turbine.pitch.fine + np.linspace(0.0, span, PITCH_SCAN)
    blown = 0.5 * turbine.air_density * np.pi * turbine.blade.r[-1] ** 2 * wind**3
    able = np.flatnonzero(16 / 27 * blown > wanted)
    pitch = np.full_like(wind, turbine.pitch.fine)
    pitch[able] = _last_fall(rotor, (wind[able], speed[able]), scan, wanted)
    return pitch


def _last_fall(rotor: SteadyRotor, conditions: tuple[Array, Array], scan: Array, wanted: float) -> Array:
    """Pitch at which shaft power falls through `wanted` for the last time in the scan."""
    wind, speed = conditions
    count = scan.size
    grid = np.column_stack([np.repeat(wind, count), np.repeat(speed, count), np.tile(scan, wind.size)])
    torque = rotor.evaluate(grid, settled=1e-3).torque.reshape(-1, count)
    excess = torque * speed[:, None] / wanted - 1.0
    rich = excess >= 0
    last = count - 1 - np.argmax(rich[:, ::-1], axis=1)
    pitch = np.where(rich[:, -1], scan[-1], scan[0])
    seek = np.flatnonzero(rich.any(axis=1) & ~rich[:, -1])

    def left_over(x: Array) -> Array:
        points = np.stack([wind[seek], speed[seek], x], axis=1)
        return rotor.evaluate(points).torque * speed[seek] / wanted - 1.0

    at = last[seek]
    pitch[seek] = false_position(
        left_over, (scan[at], excess[seek, at], scan[at + 1], excess[seek, at + 1]), 1e-8
    )
    return pitch


def rated_wind(turbine: Turbine, rotor: SteadyRotor) -> float:
    """Wind speed [m/s] at which fine pitch and rated speed give rated power; nan if none up to cut-out."""
    machine = turbine.machine
    wanted = machine.rated_power / (machine.efficiency * machine.rated_rotor_speed)

    def excess(wind: Array) -> Array:
        fixed = np.tile([machine.rated_rotor_speed, turbine.pitch.fine], (len(wind), 1))
        return rotor.evaluate(np.column_stack([wind, fixed])).torque / wanted - 1.0

    wind = np.arange(machine.cut_in, machine.cut_out + 0.5, 1.0)
    over = excess(wind)
    rising = np.flatnonzero((over[:-1] < 0) & (over[1:] >= 0))
    if rising.size == 0:
        return math.nan
    at = rising[:1]
    return float(false_position(excess, (wind[at], over[at], wind[at + 1], over[at + 1]), 1e-9)[0])


def false_position(
    function: Callable[[Array], Array], ends: tuple[Array, Array, Array, Array], tolerance: float
) -> Array:
    """Roots of a vectorised function, each within its own bracket (low, f(low), high, f(high)).

    Notes
    -----
    Illinois weights, every third step a bisection; ends when every residual or bracket is below `tolerance`.
    """
    low, at_low, high, at_high = (np.array(end, dtype=float) for end in ends)
    middle = low.copy()
    for count in range(60):
        slant = at_high - at_low
        chord = (low * at_high - high * at_low) / np.where(slant == 0, 1.0, slant)
        middle = np.where((slant == 0) | (count % 3 == 2), 0.5 * (low + high), chord)
        there = function(middle)
        if np.all((np.abs(there) < tolerance) | (np.abs(high - low) < tolerance)):
            break
        same = np.sign(there) == np.sign(at_low)
        at_low, at_high = np.where(same, there, 0.5 * at_low), np.where(same, 0.5 * at_high, there)
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return middle


def _slopes(rotor: SteadyRotor, points: Array, state: RotorState) -> dict[str, Array]:
    """Central differences in pitch, rotor speed and wind speed."""

    def around(column: int, step: Array, held: Array | None = None) -> tuple[Array, Array, Array]:
        shift = np.zeros_like(points)
        shift[:, column] = step
        up, down = (rotor.evaluate(points + sign * shift, state.q, held) for sign in (1.0, -1.0))
        pairs = [(up.torque, down.torque), (up.thrust, down.thrust), (up.tip_deflection, down.tip_deflection)]
        torque, thrust, tip = ((high - low) / (2 * step) for high, low in pairs)
        return torque, thrust, tip

    one = np.ones(len(points))
    torque, thrust, tip = around(2, PITCH_STEP * one)
    torque_fast, _, tip_fast = around(2, PITCH_STEP * one, state.induction)
    return {
        "torque_per_pitch": torque,
        "thrust_per_pitch": thrust,
        "deflection_per_pitch": tip,
        "torque_per_pitch_fast": torque_fast,
        "deflection_per_pitch_fast": tip_fast,
        "torque_per_speed": around(1, 0.01 * points[:, 1])[0],
        "torque_per_wind": around(0, 0.01 * points[:, 0])[0],
    }
