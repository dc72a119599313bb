"""What does the steady, axisymmetric rotor do at a given wind speed, rotor speed and pitch?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from sim.errors import RunError
from sim.plant.annulus import Disc, solve_stations
from sim.plant.blade import AtStations, BladeModes, blade_modes
from sim.plant.polar import Array
from sim.plant.section import Polars, build_polars

if TYPE_CHECKING:
    from sim.design import Turbine

ELASTIC = 3  # shapes of the blade that bend; the hinges after them only read moments


@dataclass(frozen=True)
class RotorState:
    """Steady state at each point (first axis); stations and shapes where named.

    Attributes
    ----------
    thrust, torque : (point,) float64 [N, N m]
        Along and about the shaft, all blades.
    tip_deflection : (point,) float64 [m]
        Elastic, along the unloaded blade's normal, positive downwind.
    root_flap_moment, root_edge_moment : (point,) float64 [N m]
        At the blade root about the blade's own axes (turning with pitch): air, rotation; no weight.
    q : (point, 3) float64 [m]
        Amplitudes of flap_1, flap_2, edge_1.
    induction, swirl : (point, station) float64 [-]
    angle_of_attack : (point, station) float64 [rad]
    normal_load, tangential_load : (point, station) float64 [N/m]
    radius : (point, station) float64 [m], distance from the shaft, deflected
    """

    thrust: Array
    torque: Array
    tip_deflection: Array
    root_flap_moment: Array
    root_edge_moment: Array
    q: Array
    induction: Array
    swirl: Array
    angle_of_attack: Array
    normal_load: Array
    tangential_load: Array
    radius: Array


@dataclass(frozen=True)
class SteadyRotor:
    """The rotor without tilt, shear, weight or tower: every blade the nominal one, all azimuths alike.

    Notes
    -----
    Derived here. With x, y along the blade's own axes, n = x cos b - y sin b, t = x sin b + y cos b, cone g,
    side s and prebend s p in x, the balance of shape i is
    K q = Q + Omega^2 [h - G q], G = cos^2 g Sr - sin^2 g Mnn - Mtt,
    h = -s cos^2 g Pr - s sin g cos g Jn + s sin^2 g cos b Pn + s sin b Pt (indices n, t: turned by pitch b).
    It is the derivative of Omega^2/2 integral m (distance from the shaft)^2, to second order in deflection.
    The distance from the shaft follows the deflection; wind and load keep the normal of the unloaded blade,
    as in the march. Turning them by the slope of the bent blade moved the published 5 MW rotor's thrust at
    rated wind by 0.4 % and its tip by 0.01 m.
    """

    side: float
    cone: float
    disc: Disc
    polars: Polars
    modes: BladeModes
    basis: AtStations
    tip: AtStations

    def evaluate(
        self, points: Array, start: Array | None = None, held: Array | None = None, settled: float = 1e-7
    ) -> RotorState:
        """Solve the rotor at each point, deflection and air in balance.

        Parameters
        ----------
        points : (point, 3) float64 [m/s, rad/s, rad]
            Wind speed (> 0), rotor speed, pitch.
        start : (point, 3) float64 [m]
            Amplitudes to start from; a good guess saves time only.
        held : (point, station) float64 [-]
            Induction factors held instead of balanced (what a fast pitch action sees).
        settled : float [m]
            Change of the amplitudes at which bending and air count as balanced.

        Raises
        ------
        RunError
            No balance was found at some station, or bending and air did not settle within 40 rounds.
        """
        points = np.ascontiguousarray(points, dtype=float)
        q = np.zeros((len(points), ELASTIC)) if start is None else start
        planform = np.stack([self.polars.radius, self.polars.chord, self.polars.twist], axis=1)
        held = np.full((len(points), len(planform)), np.nan) if held is None else held
        stiffness, constant = self._rotation(points)
        met = points * np.array([math.cos(self.cone), 1.0, 1.0])
        system = self.modes.K[:ELASTIC, :ELASTIC] + stiffness[:, :ELASTIC, :ELASTIC]
        for _ in range(40):
            radius, inside = self._shape(points[:, 2], q)
            geometry = np.stack([radius, held], axis=2)
            air = solve_stations(met, geometry, planform, self.polars.table, self.disc)
            _refuse_unbalanced(points, air)
            force = constant + self._generalised(points[:, 2], air)
            new: Array = np.linalg.solve(system, force[:, :ELASTIC, None])[..., 0].astype(float)
            change, q = np.abs(new - q).max(initial=0.0), new
            if change < settled:
                return self._state(
                    points, q, (radius, inside, air), force - np.einsum("pij,pj->pi", stiffness, _pad(q))
                )
        raise RunError(f"steady rotor: bending and air do not settle (last change {change:.2g} m)")

    def _turn(self, pitch: Array, x: Array, y: Array) -> tuple[Array, Array]:
        """Parts normal and tangential of vectors (..., item) in the blade's axes, (point, item)."""
        cos, sin = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
        return x * cos - y * sin, x * sin + y * cos

    def _shape(self, pitch: Array, q: Array) -> tuple[Array, Array]:
        """Distance from the shaft and place along the rotation of each station, (point, station) [m]."""
        basis, own = self.basis, slice(0, ELASTIC)
        x = q @ basis.phi_x[own] + self.side * basis.prebend
        normal, tangent = self._turn(pitch, x, q @ basis.phi_y[own])
        short = 0.5 * np.einsum("pi,sij,pj->ps", q, basis.S[:, own, own], q)
        short += self.side * q @ basis.P[:, own].T
        along = (self.polars.radius - short) * np.cos(self.cone)
        return along - self.side * normal * np.sin(self.cone), tangent

    def _generalised(self, pitch: Array, air: Array) -> Array:
        normal, tangent = air[..., 0] * self.polars.width, air[..., 1] * self.polars.width
        cos, sin = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
        x, y = normal * cos + tangent * sin, tangent * cos - normal * sin
        return x @ self.basis.phi_x.T + y @ self.basis.phi_y.T

    def _rotation(self, points: Array) -> tuple[Array, Array]:
        """Centrifugal stiffness (point, 5, 5) and load (point, 5) of every shape."""
        m, pitch = self.modes, points[:, 2]
        cos, sin = np.cos(pitch)[:, None, None], np.sin(pitch)[:, None, None]
        cross = (m.Mxy + m.Mxy.T) * cos * sin
        normal, tangent = m.Mxx * cos**2 - cross + m.Myy * sin**2, m.Mxx * sin**2 + cross + m.Myy * cos**2
        lean, level, square = math.sin(self.cone), math.cos(self.cone), points[:, 1] ** 2
        stiffness = square[:, None, None] * (level**2 * m.Sr - lean**2 * normal - tangent)
        first, _ = self._turn(pitch, m.Jx, m.Jy)
        ahead, along = self._turn(pitch, m.Px, m.Py)
        load = lean**2 * cos[:, 0] * ahead + sin[:, 0] * along - level**2 * m.Pr - lean * level * first
        return stiffness, self.side * square[:, None] * load

    def _state(
        self, points: Array, q: Array, shaped: tuple[Array, Array, Array], moment: Array
    ) -> RotorState:
        radius, inside, air = shaped
        count, width = self.disc.blade_count, self.polars.width
        inward = self.side * math.sin(self.cone)
        tip, _ = self._turn(points[:, 2], q @ self.tip.phi_x[:ELASTIC], q @ self.tip.phi_y[:ELASTIC])
        return RotorState(
            thrust=count * math.cos(self.cone) * np.sum(air[..., 0] * width, axis=1),
            torque=count * np.sum((air[..., 1] * radius + inward * inside * air[..., 0]) * width, axis=1),
            tip_deflection=tip[:, 0],
            root_flap_moment=moment[:, ELASTIC],
            root_edge_moment=moment[:, ELASTIC + 1],
            q=q,
            induction=air[..., 2],
            swirl=air[..., 3],
            angle_of_attack=air[..., 4],
            normal_load=air[..., 0],
            tangential_load=air[..., 1],
            radius=radius,
        )


def _pad(q: Array) -> Array:
    return np.concatenate([q, np.zeros((len(q), 2))], axis=1)


def _refuse_unbalanced(points: Array, air: Array) -> None:
    guilty = np.flatnonzero(np.isnan(air.reshape(len(points), -1)).any(axis=1))
    if guilty.size:
        wind, speed, pitch = points[guilty[0]]
        where = f"wind {wind:.2f} m/s, rotor speed {speed:.3f} rad/s, pitch {math.degrees(pitch):.2f} deg"
        raise RunError(f"steady rotor: no momentum balance at {where}")


def nominal(turbine: Turbine) -> Turbine:
    """Return the turbine with blades that do not differ: no offsets of pitch, prebend, stiffness, mass."""
    blade, count = turbine.blade, int(turbine.rotor.blade_count)
    none, one = np.zeros(count), np.ones(count)
    alike = replace(blade, pitch_offset=none, prebend_offset=none, stiffness_factor=one, mass_factor=one)
    return replace(turbine, blade=alike)


def steady_rotor(turbine: Turbine) -> SteadyRotor:
    """Prepare polars and modes of the nominal blade for `SteadyRotor.evaluate`."""
    polars, modes = build_polars(turbine), blade_modes(nominal(turbine))
    root, tip = float(turbine.blade.r[0]), float(turbine.blade.r[-1])
    return SteadyRotor(
        side=float(turbine.rotor.side),
        cone=float(turbine.rotor.cone),
        disc=Disc(float(turbine.rotor.blade_count), float(turbine.air_density), tip, root, False),
        polars=polars,
        modes=modes,
        basis=modes.at(polars.radius),
        tip=modes.at(np.array([tip])),
    )
