"""How does a whole blade bend while it turns?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator

from sim.design import Turbine
from sim.errors import InputError
from sim.plant.beam import Array, Beam, make_beam, make_grid, solve_modes

_SEARCHED = 12


class Spin(NamedTuple):
    """How the blade turns: rotor_speed [rad/s], pitch [rad], cone [rad]."""

    rotor_speed: float
    pitch: float
    cone: float


class Deflection(NamedTuple):
    """Elastic deflection in the blade's own axes: r [m], x, y [m], slope_x, slope_y [-], all (point,)."""

    r: Array
    x: Array
    y: Array
    slope_x: Array
    slope_y: Array


@dataclass(frozen=True)
class BladeBeam:
    """The full beam of one blade in its own axes x (flap, downwind) and y (edge, forward).

    Attributes
    ----------
    beam : Beam
    side : -1.0 upwind, +1.0 downwind
    prebend, prebend_slope : (point,) float64 [m, -], positive away from the tower
    """

    beam: Beam
    side: float
    prebend: Array
    prebend_slope: Array

    @property
    def r(self) -> Array:
        """Radii of the grid, (point,) float64 [m], from root to tip."""
        return self.beam.grid.at

    def stiffness(self, spin: Spin) -> Array:
        """Elastic and centrifugal stiffness in the beam's unknowns, (unknown, unknown) float64.

        Notes
        -----
        Derived here, from the centrifugal potential -1/2 Omega^2 integral m (distance from the shaft)^2
        of a point at r - f along the blade, f = 1/2 integral w'^2, w the deflection. To second order:
        integral N w'^2, N = Omega^2 cos(cone) integral m (r cos(cone) - p sin(cone) cos(pitch)) to the tip,
        less Omega^2 m times (in-plane deflection)^2 and (normal deflection times sin(cone))^2. The product
        of prebend slope and deflection is kept in the load only: below 1 % of the centrifugal part.
        """
        beam, speed = self.beam, spin.rotor_speed
        pull = beam.mass * self._distance(spin) * np.cos(spin.cone)
        tension = beam.grid.integrate(pull) - beam.grid.accumulate(pull)
        normal, tangent = self._turned(spin.pitch)
        soft = beam.product(beam.mass, tangent, tangent)
        soft = soft + np.sin(spin.cone) ** 2 * beam.product(beam.mass, normal, normal)
        return np.eye(len(soft)) + speed**2 * (beam.tension_matrix(tension) - soft)

    def centrifugal_load(self, spin: Spin) -> Array:
        """Load of rotation on cone and prebend in the beam's unknowns, (unknown,) float64.

        Notes
        -----
        Derived here, first order of the same potential: Omega^2 integral m times side [-d (cos(cone) f_1
        + sin(cone) normal) + p sin(pitch) tangent], d the distance from the shaft, f_1 = integral p' x'.
        Its sign bends the blade towards the plane of rotation.
        """
        beam, grid = self.beam, self.beam.grid
        normal, tangent = self._turned(spin.pitch)
        shortening = grid.accumulate(self.prebend_slope * beam.slope[:, 0])
        inward = np.cos(spin.cone) * shortening + np.sin(spin.cone) * normal[:, 0]
        outward = self.prebend * np.sin(spin.pitch) * tangent[:, 0] - self._distance(spin) * inward
        return self.side * spin.rotor_speed**2 * grid.integrate(beam.mass * outward)

    def deflect(self, load_x: Array, load_y: Array, spin: Spin) -> Deflection:
        """Static deflection under loads on the grid [N/m] and the rotation's own load."""
        beam, grid = self.beam, self.beam.grid
        force = grid.integrate(beam.shape[:, 0] * load_x + beam.shape[:, 1] * load_y)
        amplitude = np.linalg.solve(self.stiffness(spin), force + self.centrifugal_load(spin))
        shape, slope = (np.tensordot(amplitude, part, 1) for part in (beam.shape, beam.slope))
        return Deflection(self.r, shape[0], shape[1], slope[0], slope[1])

    def modes(self, spin: Spin) -> tuple[Array, Array]:
        """Frequencies [rad/s] and amplitudes of flap_1, flap_2, edge_1; (3,) and (3, unknown) float64.

        Raises
        ------
        InputError
            If rotation leaves no positive stiffness, or if flap and edge stiffness lie so far apart that the
            lowest modes hold none of one kind.

        Notes
        -----
        A mode belongs to flap or edge after the direction (x or y) with more of its kinetic energy.
        """
        beam = self.beam
        try:
            frequency, amplitude = solve_modes(self.stiffness(spin), beam.mass_matrix(), _SEARCHED)
        except np.linalg.LinAlgError as fault:
            raise InputError(
                f"blade: rotation at {spin.rotor_speed:.2f} rad/s and cone {np.degrees(spin.cone):.1f} deg "
                "folds it (no positive stiffness is left); try less cone or more stiffness"
            ) from fault
        shape = np.tensordot(amplitude, beam.shape, 1)
        energy = beam.grid.integrate(beam.mass * shape**2)
        is_flap = energy[:, 0] >= energy[:, 1]
        flap, edge = np.flatnonzero(is_flap), np.flatnonzero(~is_flap)
        if flap.size < 2 or edge.size < 1:
            raise InputError(
                f"blade: the {_SEARCHED} lowest modes hold {flap.size} flap and {edge.size} edge modes; "
                "2 and 1 are needed: bring flap_stiffness and edge_stiffness closer together"
            )
        chosen = [flap[0], flap[1], edge[0]]
        return frequency[chosen], amplitude[chosen]

    def _distance(self, spin: Spin) -> Array:
        lean = np.sin(spin.cone) * np.cos(spin.pitch)
        return self.r * np.cos(spin.cone) - self.prebend * lean

    def _turned(self, pitch: float) -> tuple[Array, Array]:
        """Shapes normal to and in the rotor's surface, each (unknown, 1, point)."""
        x, y = self.beam.shape[:, :1], self.beam.shape[:, 1:]
        return x * np.cos(pitch) - y * np.sin(pitch), x * np.sin(pitch) + y * np.cos(pitch)


def blade_beam(turbine: Turbine, blade_index: int = 0) -> BladeBeam:
    """Build the full beam of one blade, its own offsets applied.

    Parameters
    ----------
    turbine : Turbine
    blade_index : int

    Notes
    -----
    Mass, stiffness and twist are linear between the table's rows, as the file says; the prebend is a monotone
    cubic through its rows, so that its slope is continuous.
    """
    blade = turbine.blade
    grid = make_grid(np.asarray(blade.r, dtype=float))
    r = grid.at
    mass, flap, edge, twist = (
        np.interp(r, blade.r, column)
        for column in (blade.mass, blade.flap_stiffness, blade.edge_stiffness, blade.structural_twist)
    )
    factor = float(blade.stiffness_factor[blade_index])
    cos, sin = np.cos(twist), np.sin(twist)
    xx, yy, xy = flap * cos**2 + edge * sin**2, flap * sin**2 + edge * cos**2, (flap - edge) * sin * cos
    stiffness = factor * np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -1)
    beam = make_beam(grid, mass * float(blade.mass_factor[blade_index]), stiffness)
    curve, span = PchipInterpolator(blade.r, blade.prebend), r[-1] - r[0]
    offset, along = float(blade.prebend_offset[blade_index]), (r - r[0]) / span
    prebend, prebend_slope = curve(r) + offset * along**2, curve(r, 1) + 2.0 * offset * along / span
    return BladeBeam(beam, float(turbine.rotor.side), prebend, prebend_slope)
