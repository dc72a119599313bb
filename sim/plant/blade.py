"""Which five shapes of a blade does the march use, and what are their integrals?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from sim.design import Turbine
from sim.one_thread import in_one_thread
from sim.plant.beam import Array
from sim.plant.spinning import BladeBeam, Deflection, Spin, blade_beam

SHAPES = ("flap_1", "flap_2", "edge_1", "hinge_flap", "hinge_edge")


class AtStations(NamedTuple):
    """The basis at given radii.

    phi_x, phi_y, slope_x, slope_y : (shape, station) float64 [-, -, 1/m, 1/m]
    S : (station, shape, shape) float64 [1/m], running integral of phi_i' . phi_j'
    P : (station, shape) float64 [-], running integral of p' phi_x,i'
    prebend : (station,) float64 [m]
    """

    phi_x: Array
    phi_y: Array
    slope_x: Array
    slope_y: Array
    S: Array
    P: Array
    prebend: Array


@dataclass(frozen=True)
class BladeModes:
    """Five fixed shapes of one blade and every integral over its mass that the march needs.

    Shapes are ordered as SHAPES. S_ij(r) is the integral of phi_i' . phi_j' from root to r, P_i(r) that of
    p' phi_x,i'; p is the prebend as in the table (positive; whoever places it in space multiplies by side).

    Attributes
    ----------
    mass, first_moment, second_moment : float [kg, kg m, kg m2], integrals of m, m r, m r^2
    Fx, Fy, Jx, Jy : (shape,) float64, integrals of m phi and m r phi
    Mxx, Mxy, Myy : (shape, shape) float64, integrals of m phi_x,i phi_x,j and so on (Mxy_ij: phi_x,i phi_y,j)
    Sr, S1 : (shape, shape) float64, integrals of m r S_ij and m S_ij
    Pr, P1 : (shape,) float64, integrals of m r P_i and m P_i
    Px, Py : (shape,) float64, integrals of m p phi_x,i and m p phi_y,i
    prebend_moment0, prebend_moment1, prebend_moment2 : float, integrals of m p, m r p, m p^2
    K : (shape, shape) float64 [N/m], elastic stiffness; the hinges' rows are zero
    damping : (3,) float64, ratio to critical of flap_1, flap_2, edge_1
    mode_frequency : (3,) float64 [Hz], of flap_1, flap_2, edge_1 at rated speed and fine pitch
    cone : float [rad], of the rotor
    full : BladeBeam, the beam that the shapes were taken from
    shapes, slopes : (shape, direction, point) float64 [-, 1/m], on the beam's grid
    """

    mass: float
    first_moment: float
    second_moment: float
    Fx: Array
    Fy: Array
    Jx: Array
    Jy: Array
    Mxx: Array
    Mxy: Array
    Myy: Array
    Sr: Array
    S1: Array
    Pr: Array
    P1: Array
    Px: Array
    Py: Array
    prebend_moment0: float
    prebend_moment1: float
    prebend_moment2: float
    K: Array
    damping: Array
    mode_frequency: Array
    cone: float
    full: BladeBeam
    shapes: Array
    slopes: Array

    @property
    def r(self) -> Array:
        """Radii of the beam's grid, (point,) float64 [m]; loads of `static` may be given here."""
        return self.full.r

    def at(self, stations: Array) -> AtStations:
        """Evaluate the basis at radii between root and tip.

        Parameters
        ----------
        stations : (station,) float64 [m]
        """
        where = np.asarray(stations, dtype=float)
        grid, full, slopes = self.full.beam.grid, self.full, self.slopes
        squares = np.einsum("ian,jan->ijn", slopes, slopes)
        products = full.prebend_slope * slopes[:, 0]
        phi = CubicHermiteSpline(grid.at, self.shapes, slopes, axis=-1)
        S = CubicHermiteSpline(grid.at, grid.accumulate(squares), squares, axis=-1)(where)
        P = CubicHermiteSpline(grid.at, grid.accumulate(products), products, axis=-1)(where)
        prebend = CubicHermiteSpline(grid.at, full.prebend, full.prebend_slope)(where)
        shape, slope = phi(where), phi(where, 1)
        return AtStations(
            shape[:, 0], shape[:, 1], slope[:, 0], slope[:, 1], np.moveaxis(S, -1, 0), P.T.copy(), prebend
        )

    def frequencies(self, rotor_speed: float, pitch: float) -> dict[str, float]:
        """Natural frequencies of the full beam.

        Parameters
        ----------
        rotor_speed : float [rad/s]
        pitch : float [rad]

        Returns
        -------
        dict of flap_1, edge_1, flap_2 : float [Hz]
        """
        flap_1, flap_2, edge_1 = self.full.modes(Spin(rotor_speed, pitch, self.cone))[0] / (2.0 * np.pi)
        return {"flap_1": float(flap_1), "edge_1": float(edge_1), "flap_2": float(flap_2)}

    def static(
        self,
        load_x: Callable[[Array], Array] | Array,
        load_y: Callable[[Array], Array] | Array,
        spin: Spin,
    ) -> Deflection:
        """Static deflection of the full beam, the load of rotation on cone and prebend included.

        Parameters
        ----------
        load_x, load_y : functions of r (point,) [m], or arrays (point,) on `r` [N/m]
        spin : Spin

        Returns
        -------
        Deflection
        """
        x, y = (load(self.r) if callable(load) else np.asarray(load, float) for load in (load_x, load_y))
        return self.full.deflect(x, y, spin)


@in_one_thread
def blade_modes(turbine: Turbine, blade_index: int = 0) -> BladeModes:
    """Take the five shapes from the beam at rated speed and fine pitch, and integrate what they need.

    Parameters
    ----------
    turbine : Turbine
    blade_index : int, whose offsets of stiffness, mass and prebend apply

    Returns
    -------
    BladeModes

    Notes
    -----
    Elastic shapes have 1 m at the tip in their own direction (x for flap, y for edge); the hinges turn the
    rigid blade by 1 rad about its root.
    """
    full = blade_beam(turbine, blade_index)
    cone = float(turbine.rotor.cone)
    spin = Spin(float(turbine.machine.rated_rotor_speed), float(turbine.pitch.fine), cone)
    frequency, amplitude = full.modes(spin)
    own = full.beam.shape[:, [0, 0, 1], -1].T
    amplitude = amplitude / np.sum(amplitude * own, axis=1, keepdims=True)
    hinge = np.zeros((2, 2, full.r.size))
    hinge[0, 0] = hinge[1, 1] = 1.0
    shapes = np.concatenate([np.tensordot(amplitude, full.beam.shape, 1), hinge * (full.r - full.r[0])])
    slopes = np.concatenate([np.tensordot(amplitude, full.beam.slope, 1), hinge])
    K = np.zeros((len(SHAPES), len(SHAPES)))
    K[:3, :3] = amplitude @ amplitude.T
    made = BladeModes(
        **_integrals(full, shapes, slopes),
        K=K,
        damping=np.array(turbine.blade.damping_ratio, dtype=float),
        mode_frequency=frequency / (2.0 * np.pi),
        cone=cone,
        full=full,
        shapes=shapes,
        slopes=slopes,
    )
    for value in vars(made).values():
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    return made


def _integrals(full: BladeBeam, shapes: Array, slopes: Array) -> dict[str, Any]:
    """Every integral over the mass that BladeModes holds, by its name there."""
    beam, grid, p = full.beam, full.beam.grid, full.prebend
    m, r = beam.mass, full.r
    x, y = shapes[:, :1], shapes[:, 1:]
    S = grid.accumulate(np.einsum("ian,jan->ijn", slopes, slopes))
    P = grid.accumulate(full.prebend_slope * slopes[:, 0])
    over = grid.integrate
    scalars = {"mass": m, "first_moment": m * r, "second_moment": m * r**2}
    scalars |= {"prebend_moment0": m * p, "prebend_moment1": m * r * p, "prebend_moment2": m * p**2}
    vectors = {"F": m, "J": m * r, "P": m * p}
    return (
        {name: float(over(value)) for name, value in scalars.items()}
        | {name + "x": over(value * x[:, 0]) for name, value in vectors.items()}
        | {name + "y": over(value * y[:, 0]) for name, value in vectors.items()}
        | {"Mxx": beam.product(m, x, x), "Mxy": beam.product(m, x, y), "Myy": beam.product(m, y, y)}
        | {"Sr": over(m * r * S), "S1": over(m * S), "Pr": over(m * r * P), "P1": over(m * P)}
    )
