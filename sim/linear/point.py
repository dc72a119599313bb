"""At which point does a turbine run, and on which periodic motion does the plant settle there?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.errors import InputError
from sim.flock import empty_lanes, empty_log
from sim.kernels import layout as at
from sim.kernels.advance import advance
from sim.keyplace import shown
from sim.linear.multiblade import BLADES, to_blades
from sim.plant.air import wind_arrays
from sim.plant.pack import begin_state, pack_designs, parts_of
from sim.wind.field import WindSpec, pack_winds

Array = NDArray[Any]

SETTLE_S = 90.0
"""Time for which the plant is marched until its motion counts as periodic [s]; the inflow's lag is 10."""
STEP_S = 0.04
"""Longest step of that march [s]."""
AZIMUTHS = 20
"""Azimuths over a turn at which the plant is looked at; no multiple of three, so that the three blades stand
at sixty places and not at twenty."""
ENDLESS = 1e18
"""Inertia that keeps the rotor's speed where it is [kg m2]."""


@dataclass(frozen=True)
class OperatingPoint:
    """Mean operation in a steady wind.

    Attributes
    ----------
    wind_speed, shear_exponent : float [m/s, -] - at the hub, of the mean wind's power law
    rotor_speed : float [rad/s]
    pitch : three floats [rad] - collective, cosine and sine part of what reaches the servos
    torque : float [N m] - generator torque at the rotor shaft
    """

    wind_speed: float
    shear_exponent: float
    rotor_speed: float
    pitch: tuple[float, float, float]
    torque: float


def linear_turbine(turbine: Turbine) -> Turbine:
    """Return the turbine as linear models see it: without play in its servos, which no small motion crosses.

    Raises
    ------
    InputError
        The rotor has fewer than three blades.
    """
    count = int(turbine.rotor.blade_count)
    if count != BLADES:
        raise InputError(
            f"{shown(turbine.source)}: rotor.blade_count = {count}; linear models need {BLADES} blades: "
            f"the equations of {count} keep coefficients that turn with the azimuth in any coordinates, and "
            "averaging them away would change their stability"
        )
    return replace(turbine, pitch=replace(turbine.pitch, play=0.0))


def steady_wind(speed: float, shear_exponent: float) -> WindSpec:
    """Return the wind of an operating point: steady, along the shaft's heading."""
    return WindSpec("steady", speed, shear_exponent, 0.0, 0.0, 0.0, 0.0, 42.0)


def wind_of(turbine: Turbine, point: OperatingPoint) -> at.Wind:
    """Lay the wind of an operating point out for the kernels."""
    spec = steady_wind(point.wind_speed, point.shear_exponent)
    pack = pack_winds([spec], turbine.rotor.hub_height, 2.0 * turbine.rotor_radius, 1.0)
    return wind_arrays(pack, turbine.rotor.hub_height)


def periodic_motion(turbine: Turbine, point: OperatingPoint, azimuths: int = AZIMUTHS) -> Array:
    """Return the packed states of one turn of the settled plant, (azimuth, STATE), from azimuth 0 on.

    Parameters
    ----------
    turbine : Turbine
        As `linear_turbine` returns it.
    point : OperatingPoint
    azimuths : int

    Notes
    -----
    Derived here: the rotor is given endless inertia and marched at the point's speed and commands, so that
    turns take equal steps; whether the torques balance there is judged by `sim.linear.plant`.
    """
    turn = 2.0 * np.pi / point.rotor_speed
    longest = STEP_S / parts_of([turbine], STEP_S)
    steps = azimuths * int(np.ceil(turn / longest / azimuths))
    turns = int(np.ceil(SETTLE_S / turn))
    design = pack_designs([turbine])
    scalars = design.scalars.copy()
    scalars[:, at.ROTOR_INERTIA] = ENDLESS
    frozen, wind = design._replace(scalars=scalars), wind_of(turbine, point)
    lanes = _placed(turbine, point)
    log = empty_log(1, 2**40, 0, turning=False, period=1.0)
    quiet, torque = np.zeros((1, BLADES), bool), np.array([point.torque])
    middle = point.rotor_speed * turn / steps * (np.arange(steps) + 0.5)
    commands = np.stack([to_blades(np.array(point.pitch), angle) for angle in middle])[:, None]

    def step(n: int, parts: int) -> None:
        advance(lanes, log, frozen, wind, commands[n], torque, quiet, turn / steps, parts, BLADES)

    step(0, 0)
    for _ in range(turns):
        for n in range(steps):
            step(n, 1)
    kept = []
    for n in range(steps):
        if n % (steps // azimuths) == 0:
            kept.append(lanes.y[0].copy())
            kept[-1][at.AZIMUTH] = 2.0 * np.pi * n / steps
        step(n, 1)
    return np.stack(kept)


def _placed(turbine: Turbine, point: OperatingPoint) -> at.Lanes:
    y = begin_state(turbine, point.wind_speed, 0.0)[None]
    y[:, at.SPEED], y[:, at.TORQUE] = point.rotor_speed, point.torque
    pitch = to_blades(np.array(point.pitch), 0.0)
    y[:, at.PITCH : at.PITCH + BLADES] = y[:, at.HELD : at.HELD + BLADES] = pitch
    return empty_lanes(y, np.zeros(1), np.zeros(1))
