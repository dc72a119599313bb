"""How does a slender, non-uniform cantilever bend and vibrate?

The beam is described by bending moments instead of displacements. Its unknowns multiply smooth polynomials of
the bending moment; the compliance (the inverse of the stiffness, at every point as the table has it) turns
moments into curvatures, and two integrations turn curvatures into slopes and displacements. Moments are
smooth even where the stiffness falls over five decades, so few unknowns are exact enough; and as they are
made orthonormal in elastic energy, the elastic stiffness is the unit matrix: nothing is ill-conditioned.

Left out: shear deformation, rotary inertia of sections, torsion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray
from scipy import linalg

Array = NDArray[np.float64]

NODES = 8
PANELS = 40
POLYNOMIALS = 24


@dataclass(frozen=True)
class Grid:
    """Points along a beam with rules for integrals to its end and up to each point.

    Attributes
    ----------
    at : (point,) float64 [m], coordinates, both ends included
    weight : (point,) float64 [m], quadrature weights
    panel : (panel, node) int64, points of each panel; neighbours share their end point
    half : (panel,) float64 [m], half the length of each panel
    """

    at: Array
    weight: Array
    panel: NDArray[np.int64]
    half: Array

    def integrate(self, values: Array) -> Array:
        """Integrate over the whole beam along the last axis.

        Parameters
        ----------
        values : (..., point) float64

        Returns
        -------
        (...) float64 [unit of values times m]
        """
        return np.asarray(values) @ self.weight

    def accumulate(self, values: Array) -> Array:
        """Integrate from the first point up to every point along the last axis.

        Parameters
        ----------
        values : (..., point) float64

        Returns
        -------
        (..., point) float64 [unit of values times m]

        Notes
        -----
        Exact within each panel for polynomials up to the degree NODES - 1.
        """
        inside = (np.asarray(values)[..., self.panel] @ _RUNNING.T) * self.half[:, None]
        before = np.cumsum(inside[..., -1], axis=-1) - inside[..., -1]
        result = np.zeros(inside.shape[:-2] + self.at.shape)
        result[..., self.panel] = inside + before[..., None]
        return result


def _lobatto(count: int) -> tuple[Array, Array, Array]:
    """Nodes and weights of Gauss-Lobatto quadrature on [-1, 1], and its matrix of running integrals."""
    last = np.eye(count)[-1]
    nodes = np.concatenate(([-1.0], legendre.legroots(legendre.legder(last)), [1.0])).astype(np.float64)
    weights = 2.0 / (count * (count - 1) * np.asarray(legendre.legval(nodes, last)) ** 2)
    integral = np.stack([legendre.legval(nodes, legendre.legint(row, lbnd=-1)) for row in np.eye(count)])
    running = np.linalg.solve(legendre.legvander(nodes, count - 1).T, integral).T
    return nodes, weights, np.asarray(running, dtype=np.float64)


_NODE, _WEIGHT, _RUNNING = _lobatto(NODES)


def make_grid(breaks: Array, panels: int = PANELS) -> Grid:
    """Lay a grid whose panels end at every break, so that no integrand has a kink inside a panel.

    Parameters
    ----------
    breaks : (n,) float64 [m], increasing; the first and the last are the ends of the beam
    panels : panels that a beam without inner breaks would get
    """
    longest = (breaks[-1] - breaks[0]) / panels
    pieces = np.maximum(1, np.ceil(np.diff(breaks) / longest - 1e-9)).astype(int)
    parts = [
        np.linspace(a, b, n, endpoint=False) for a, b, n in zip(breaks[:-1], breaks[1:], pieces, strict=True)
    ]
    edges = np.concatenate([*parts, breaks[-1:]])
    half = np.diff(edges) / 2.0
    panel = np.arange(half.size)[:, None] * (NODES - 1) + np.arange(NODES)
    at = np.empty(half.size * (NODES - 1) + 1)
    at[panel] = edges[:-1, None] + half[:, None] * (1.0 + _NODE)
    at[-1] = edges[-1]
    weight = np.zeros_like(at)
    np.add.at(weight, panel, half[:, None] * _WEIGHT)
    return Grid(at, weight, panel, half)


@dataclass(frozen=True)
class Beam:
    """A cantilever, clamped at its first grid point, and its basis of orthonormal bending moments.

    Attributes
    ----------
    grid : Grid
    mass : (point,) float64 [kg/m]
    moment, slope, shape : (unknown, direction, point) float64, what a unit of each unknown gives
        [N m, -, m for unknowns in sqrt(J)]
    """

    grid: Grid
    mass: Array
    moment: Array
    slope: Array
    shape: Array

    def mass_matrix(self) -> Array:
        """Kinetic energy of the unknowns: integral of mass times shape_i . shape_j, (unknown, unknown)."""
        return self.product(self.mass, self.shape, self.shape)

    def tension_matrix(self, tension: Array) -> Array:
        """Work of an axial force on the slopes: integral of tension times slope_i . slope_j.

        Parameters
        ----------
        tension : (point,) float64 [N], positive where it pulls
        """
        return self.product(tension, self.slope, self.slope)

    def product(self, weight: Array, left: Array, right: Array) -> Array:
        """Integrate weight times left_i . right_j over the beam, summed over directions.

        Parameters
        ----------
        weight : (point,) float64
        left, right : (i, direction, point) and (j, direction, point) float64

        Returns
        -------
        (i, j) float64
        """
        weighted = left * (weight * self.grid.weight)
        return weighted.reshape(left.shape[0], -1) @ right.reshape(right.shape[0], -1).T


def make_beam(
    grid: Grid, mass: Array, stiffness: Array, polynomials: int = POLYNOMIALS, free_end: bool = True
) -> Beam:
    """Build a beam and its basis from what the grid points have.

    Parameters
    ----------
    grid : Grid
    mass : (point,) float64 [kg/m]
    stiffness : (point, direction, direction) float64 [N m2], symmetric, positive definite
    polynomials : polynomials of the moment for each direction
    free_end : whether the moment must vanish at the end (no body with rotary inertia sits there)

    Notes
    -----
    Derived here: Ritz's method for the complementary variables. With curvature = stiffness^-1 moment, the
    elastic energy is 1/2 integral moment . stiffness^-1 moment; a QR factorisation of the weighted samples
    makes the moments orthonormal in it. Frequencies converge from above. A tip force gives a moment
    linear, a distributed load one quadratic in the distance from the end: both are contained.
    """
    span = grid.at[-1] - grid.at[0]
    xi = 2.0 * (grid.at - grid.at[0]) / span - 1.0
    smooth = legendre.legvander(xi, polynomials - 1).T
    if free_end:
        smooth = smooth * (1.0 - xi) / 2.0
    directions = stiffness.shape[-1]
    moment = np.einsum("kn,ab->kabn", smooth, np.eye(directions)).reshape(-1, directions, xi.size)
    root = np.linalg.cholesky(np.linalg.inv(stiffness))
    samples = np.einsum("nba,kbn->kan", root, moment) * np.sqrt(grid.weight)
    triangle = np.linalg.qr(samples.reshape(len(moment), -1).T, mode="r")
    moment = linalg.solve_triangular(triangle, moment.reshape(len(moment), -1), trans=1).reshape(moment.shape)
    curvature = np.einsum("nab,kbn->kan", np.linalg.inv(stiffness), moment)
    slope = grid.accumulate(curvature)
    return Beam(grid, mass, moment, slope, grid.accumulate(slope))


def solve_modes(stiffness: Array, mass: Array, count: int) -> tuple[Array, Array]:
    """Find the lowest natural modes.

    Parameters
    ----------
    stiffness, mass : (unknown, unknown) float64, in the beam's unknowns
    count : modes wanted

    Returns
    -------
    frequency : (mode,) float64 [rad/s], increasing
    amplitudes : (mode, unknown) float64

    Notes
    -----
    Solved for 1/omega^2, whose largest values are the most exact ones.
    """
    size = len(stiffness)
    inverse, vectors = linalg.eigh(mass, stiffness, subset_by_index=(size - count, size - 1))
    return 1.0 / np.sqrt(inverse[::-1]), np.ascontiguousarray(vectors[:, ::-1].T)
