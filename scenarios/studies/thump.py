"""How strong is the thump of a blade that passes the tower: the pressure pulse of its changing force?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.kernels.inflow import dam, fade, wake_shape
from sim.plant.annulus import solve_stations
from sim.plant.geometry import blade_directions, hub_position, tower_radius
from sim.plant.rotor import steady_rotor
from sim.plant.trim import steady_table

Array = NDArray[np.float64]

SPEED_OF_SOUND = 340.0
DISTANCE = 300.0
"""[m] from the rotor along its shaft, where the pulse is told."""
_AZIMUTHS = np.radians(np.arange(0.0, 360.0, 0.5))


@dataclass(frozen=True)
class Thump:
    """The pulse of one passage.

    ``force`` [N] of one blade along the shaft over ``azimuth`` [rad]; ``swing`` [N] of it; ``pressure`` [Pa]
    from the lowest to the highest; ``per_second`` [1/s] passages of all blades.
    """

    azimuth: Array
    force: Array
    swing: float
    pressure: float
    per_second: float


def thump(turbine: Turbine, wind: float, distance: float = DISTANCE) -> Thump:
    """Return the pulse in a steady, uniform wind.

    Parameters
    ----------
    turbine : Turbine
    wind : [m/s]
    distance : [m]

    Notes
    -----
    The wind along the shaft that each station meets near the tower, with induced velocity, rotor speed, pitch
    and bending held; sections answer at once, so that a true pulse is rounder. An index for comparison, no
    prediction of noise: one force for a whole blade, no air carries it round the tower, no ear weighs it.
    """
    rotor, table = steady_rotor(turbine), steady_table(turbine)
    speed, pitch = (np.interp(wind, table.wind_speed, column) for column in (table.rotor_speed, table.pitch))
    point = np.array([[wind, speed, pitch]])
    state = rotor.evaluate(point)
    lost = np.stack([missing(turbine, azimuth, rotor.polars.radius) for azimuth in _AZIMUTHS])
    planform = np.stack([rotor.polars.radius, rotor.polars.chord, rotor.polars.twist], axis=1)
    geometry = np.stack([np.broadcast_to(state.radius, lost.shape), state.induction + lost], axis=2)
    points = np.repeat(point * np.array([math.cos(turbine.rotor.cone), 1.0, 1.0]), len(lost), axis=0)
    air = solve_stations(points, np.ascontiguousarray(geometry), planform, rotor.polars.table, rotor.disc)
    force = math.cos(turbine.rotor.cone) * np.sum(air[..., 0] * rotor.polars.width, axis=1)
    pressure = pulse(force, float(speed), distance)
    return Thump(
        _AZIMUTHS,
        force,
        float(np.ptp(force)),
        float(np.ptp(pressure)),
        turbine.rotor.blade_count * float(speed) / (2.0 * math.pi),
    )


def pulse(force: Array, rotor_speed: float, distance: float) -> Array:
    """Return the sound pressure of a force that changes over one turn, (azimuth,) float64 [Pa].

    Parameters
    ----------
    force : (azimuth,) float64 [N]
        At azimuths spread evenly over the turn.
    rotor_speed : [rad/s]
    distance : [m] along the force

    Notes
    -----
    p = dF/dt / (4 pi c r), a compact dipole in its far field; central differences over the closed turn.

    References
    ----------
    N. Curle, "The influence of solid boundaries upon aerodynamic sound", Proc. R. Soc. Lond. A 231 (1955)
    505-514 (from memory).
    """
    step = 2.0 * math.pi / force.size
    rate = (np.roll(force, -1) - np.roll(force, 1)) / (2.0 * step) * rotor_speed
    return rate / (4.0 * math.pi * SPEED_OF_SOUND * distance)


def missing(turbine: Turbine, azimuth: float, radius: Array) -> Array:
    """Return the share of the wind along itself that the tower takes, (station,) float64 [-]."""
    along, _, _ = blade_directions(turbine, azimuth)
    place = hub_position(turbine) + radius[:, None] * along
    tower = turbine.tower
    size = tower_radius(turbine, place[:, 2])
    found = np.zeros(radius.size)
    for row, ((x, y, z), wall) in enumerate(zip(place.tolist(), size.tolist(), strict=True)):
        share = fade(z, tower.height, wall)
        if turbine.rotor.side < 0.0:
            found[row] = share * (1.0 - dam(x, y, wall)[0])
            continue
        depth, width = wake_shape(x, wall, tower.drag_coefficient)
        inside = x > 0.0 and abs(y) < 0.5 * width
        found[row] = share * depth * math.cos(math.pi * y / width) ** 2 if inside else 0.0
    return found
