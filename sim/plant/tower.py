"""How does the tower sway with rotor and nacelle on top?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from sim.design import Turbine
from sim.errors import InputError
from sim.one_thread import in_one_thread
from sim.plant.beam import Array, Beam, make_beam, make_grid, solve_modes

GRAVITY = 9.80665


class TopBody(NamedTuple):
    """What rides on the tower top, about that top.

    mass [kg], lift [kg m] (mass times height of its centre above the top), fore_aft_inertia and
    side_side_inertia [kg m2] (about the horizontal axes through the tower top).
    """

    mass: float
    lift: float
    fore_aft_inertia: float
    side_side_inertia: float


@dataclass(frozen=True)
class TowerMode:
    """One sway mode of the tower, for a unit displacement [m] of the tower top.

    Attributes
    ----------
    mass : float [kg], generalised mass of the tower alone, without rotor and nacelle
    stiffness : float [N/m], generalised stiffness, elastic less the softening by weight
    top_slope : float [1/m], rotation of the tower top
    base_moment_factor : float [N], bending moment at the base, that is N m per metre of top displacement
    frequency : float [Hz], with rotor and nacelle as a rigid body on top
    damping_ratio : float [-], structural, of critical
    heights, shape_values, slope_values : (point,) float64 [m, -, 1/m]
    """

    mass: float
    stiffness: float
    top_slope: float
    base_moment_factor: float
    frequency: float
    damping_ratio: float
    heights: Array
    shape_values: Array
    slope_values: Array

    def shape(self, z: Array | float) -> Array:
        """Displacement at heights for a unit displacement of the top.

        Parameters
        ----------
        z : (...) float64 [m], height above the base; below it 0, above the top a straight continuation
        """
        where = np.asarray(z, dtype=float)
        inside = np.clip(where, 0.0, self.heights[-1])
        curve = CubicHermiteSpline(self.heights, self.shape_values, self.slope_values)
        return curve(inside) + self.top_slope * np.maximum(where - self.heights[-1], 0.0)


@dataclass(frozen=True)
class TowerModes:
    """First fore-aft and first side-side mode, and the body that was on top when they were found."""

    fore_aft: TowerMode
    side_side: TowerMode
    top: TopBody


def top_body(turbine: Turbine) -> TopBody:
    """Gather nacelle, hub and blades into one rigid body on the tower top.

    Parameters
    ----------
    turbine : Turbine

    Notes
    -----
    Nacelle: a point at its centre of mass (the file gives no inertia of its own). Hub and blades: a point at
    the hub centre, and for fore-aft motion the rotor's inertia about a diameter, half of that about the
    shaft (exact for three blades, the mean over a turn for two); in side-side motion the rotor turns freely
    about its shaft and adds none. The sideways coupling to yaw is left out.
    """
    rotor, nacelle, blade = turbine.rotor, turbine.nacelle, turbine.blade
    blades = float(np.sum(blade.mass_factor))
    rotor_mass = nacelle.hub_mass + blades * np.trapezoid(blade.mass, blade.r)
    disc = 0.5 * (nacelle.hub_inertia + blades * _second_moment(blade.r, blade.mass))
    hub_x, hub_z = rotor.overhang * np.cos(rotor.tilt), rotor.hub_height - turbine.tower.height
    lift = nacelle.mass * nacelle.centre_z + rotor_mass * hub_z
    rolling = nacelle.mass * nacelle.centre_z**2 + rotor_mass * hub_z**2
    ahead = nacelle.mass * nacelle.centre_x**2 + rotor_mass * hub_x**2
    return TopBody(*map(float, (nacelle.mass + rotor_mass, lift, rolling + ahead + disc, rolling)))


def tower_beam(turbine: Turbine) -> Beam:
    """Build the beam of the tapered tube, (unknown, 1, point).

    Parameters
    ----------
    turbine : Turbine

    Notes
    -----
    Outer diameter and wall vary linearly with height; area pi/4 (D^2 - d^2), second moment of area
    pi/64 (D^4 - d^4), d = D - 2 wall. The foundation is rigid.
    """
    tower = turbine.tower
    grid = make_grid(np.array([0.0, tower.height]))
    share = grid.at / tower.height
    outer = tower.base_diameter + (tower.top_diameter - tower.base_diameter) * share
    inner = outer - 2.0 * (tower.base_wall + (tower.top_wall - tower.base_wall) * share)
    mass = tower.density * np.pi / 4.0 * (outer**2 - inner**2)
    bending = tower.youngs_modulus * np.pi / 64.0 * (outer**4 - inner**4)
    return make_beam(grid, mass, bending[:, None, None], free_end=False)


@in_one_thread
def tower_modes(turbine: Turbine) -> TowerModes:
    """Find the first fore-aft and side-side mode of the tower with rotor and nacelle on top.

    Parameters
    ----------
    turbine : Turbine

    Returns
    -------
    TowerModes

    Notes
    -----
    Shapes and frequencies hold under the weight of tower and top; rotor and nacelle are rigid.
    """
    beam, top, damping = tower_beam(turbine), top_body(turbine), float(turbine.tower.damping_ratio)
    return TowerModes(
        sway_mode(beam, top, top.fore_aft_inertia, damping, GRAVITY),
        sway_mode(beam, top, top.side_side_inertia, damping, GRAVITY),
        top,
    )


def sway_mode(beam: Beam, top: TopBody, inertia: float, damping_ratio: float, gravity: float) -> TowerMode:
    """Find the first mode of a cantilever with a body on its end.

    Parameters
    ----------
    beam : Beam, with one direction
    top : TopBody
    inertia : float [kg m2], of the body about the beam's end in the plane of the motion
    damping_ratio : float [-]
    gravity : float [m/s2], whose load makes the mode softer; 0 leaves it out

    Raises
    ------
    InputError
        If the tower buckles under the weight.

    Notes
    -----
    Derived here. Kinetic energy 1/2 [integral m w'^2 over time + M u^2 + 2 M z u theta + J theta^2] in rates
    of top displacement u and rotation theta; the weight's work is -1/2 integral N w'^2, N the weight above,
    and -1/2 M g z theta^2.
    """
    grid = beam.grid
    end, tilt = beam.shape[:, 0, -1], beam.slope[:, 0, -1]
    both = np.outer(end, tilt)
    body = top.mass * np.outer(end, end) + top.lift * (both + both.T) + inertia * np.outer(tilt, tilt)
    above = grid.integrate(beam.mass) - grid.accumulate(beam.mass) + top.mass
    softening = gravity * (beam.tension_matrix(above) + top.lift * np.outer(tilt, tilt))
    stiffness, own_mass = np.eye(end.size) - softening, beam.mass_matrix()
    try:
        frequency, amplitudes = solve_modes(stiffness, own_mass + body, 1)
    except np.linalg.LinAlgError as fault:
        raise InputError(
            f"tower: it cannot carry the {top.mass:.0f} kg on top and itself without buckling; "
            "check diameters, walls and youngs_modulus"
        ) from fault
    unit = amplitudes[0] / (amplitudes[0] @ end)
    shape, slope = (np.tensordot(unit, part[:, 0], 1) for part in (beam.shape, beam.slope))
    for values in (shape, slope):
        values.flags.writeable = False
    return TowerMode(
        mass=float(unit @ own_mass @ unit),
        stiffness=float(unit @ stiffness @ unit),
        top_slope=float(unit @ tilt),
        base_moment_factor=float(unit @ beam.moment[:, 0, 0]),
        frequency=float(frequency[0] / (2.0 * np.pi)),
        damping_ratio=damping_ratio,
        heights=grid.at,
        shape_values=shape,
        slope_values=slope,
    )


def _second_moment(r: Array, mass: Array) -> float:
    """Integral of m r^2 for mass linear between rows; Simpson's rule is exact for a cubic."""
    middle = (r[1:] + r[:-1]) ** 2 / 4.0 * (mass[1:] + mass[:-1]) / 2.0
    ends = mass[1:] * r[1:] ** 2 + mass[:-1] * r[:-1] ** 2
    return float(np.sum(np.diff(r) / 6.0 * (ends + 4.0 * middle)))
