"""Which induction balances momentum and blade load at one station of the steady rotor?"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from sim.kernels.aero import FLAGS, INLINE, arc_tangent, induction, prandtl_loss, swirl

TOLERANCE = 1e-11  # of the induction factor


class Disc(NamedTuple):
    """What all stations share: count [-], density [kg/m3], tip and root radius [m], loss factor left out?"""

    blade_count: float
    air_density: float
    tip_radius: float
    root_radius: float
    lossless: bool


class Annulus(NamedTuple):
    """One station: wind normal to it, speed of rotation [m/s], pitch with twist [rad], radius, chord [m]."""

    wind: float
    omega_r: float
    pitch: float
    radius: float
    chord: float


@njit(**INLINE)
def coefficients(alpha, polar):
    """Return static lift and drag [-] at any angle of attack [rad], linear between the rows of a polar."""
    place = (alpha / (2.0 * math.pi) + 0.5) % 1.0 * 360.0
    row = min(int(place), 359)
    share = place - row
    lift_low = polar[row, 1] * polar[row, 0] + (1.0 - polar[row, 1]) * polar[row, 2]
    lift_high = polar[row + 1, 1] * polar[row + 1, 0] + (1.0 - polar[row + 1, 1]) * polar[row + 1, 2]
    lift = (1.0 - share) * lift_low + share * lift_high
    return lift, (1.0 - share) * polar[row, 3] + share * polar[row + 1, 3]


@njit(**INLINE)
def station_loads(a, annulus, polar, disc):
    """Return (normal, tangential load [N/m], induction they balance, swirl, angle of attack) at induction a.

    Notes
    -----
    Normal speed v0 (1 - a), tangential speed omega_r (1 + a'); v0 is the wind's part normal to the unloaded,
    coned blade, and a what is induced along that normal. ct = B f_n / (pi r rho v0^2) with r along
    the blade: on a cone of half-angle g both force and swept area carry one cos g.
    """
    spin = swirl(a, annulus.wind, annulus.omega_r)
    normal = annulus.wind * (1.0 - a)
    tangent = annulus.omega_r * (1.0 + spin)
    speed = math.sqrt(normal * normal + tangent * tangent)
    alpha = arc_tangent(normal, tangent) - annulus.pitch
    lift, drag = coefficients(alpha, polar)
    pressure = 0.5 * disc.air_density * speed * annulus.chord
    load = pressure * (lift * tangent + drag * normal)
    thrust = disc.blade_count * load / (math.pi * annulus.radius * disc.air_density * annulus.wind**2)
    sine = normal / max(speed, 1e-9)
    loss = prandtl_loss(
        disc.blade_count,
        disc.tip_radius / annulus.radius - 1.0,
        annulus.radius / disc.root_radius - 1.0,
        sine,
    )
    loss = 1.0 if disc.lossless else loss
    return load, pressure * (lift * normal - drag * tangent), induction(thrust, loss), spin, alpha


@njit(**INLINE)
def balance(annulus, polar, disc):
    """Return (induction factor a, converged) of one station.

    Notes
    -----
    The root of a - induction(ct(a), F(a)), by false position with the Illinois weights, every third step a
    bisection. At a = 1 the difference cannot be negative; far below 0 the flow comes square on
    to the blade, thrust is positive and the difference negative: below 90 degrees of pitch a bracket exists.
    """
    high, low = 1.0, 0.0
    at_high = high - station_loads(high, annulus, polar, disc)[2]
    at_low = low - station_loads(low, annulus, polar, disc)[2]
    step = 0.5
    while at_low > 0.0 and step < 1000.0:
        high, at_high = low, at_low
        low -= step
        step *= 2.0
        at_low = low - station_loads(low, annulus, polar, disc)[2]
    if at_low > 0.0:
        return low, False
    for count in range(100):
        if high - low < TOLERANCE or at_low == 0.0:
            return low, True
        middle = 0.5 * (low + high)
        if count % 3 != 2 and at_high > at_low:
            middle = (low * at_high - high * at_low) / (at_high - at_low)
        there = middle - station_loads(middle, annulus, polar, disc)[2]
        if abs(there) < TOLERANCE:
            return middle, True
        if there < 0.0:
            low, at_low = middle, there
            at_high *= 0.5
        else:
            high, at_high = middle, there
            at_low *= 0.5
    return low, high - low < 1e-9


@njit(**FLAGS)
def solve_stations(points, geometry, planform, table, disc):
    """Return loads and induction of every point and station, (point, station, 5) float64, nan where unsolved.

    Parameters
    ----------
    points : (point, 3) float64 [m/s, rad/s, rad], wind normal to the blade, rotor speed, pitch
    geometry : (point, station, 2) float64 [m, -], distance from the shaft, held induction (nan: balance it)
    planform : (station, 3) float64 [m, m, rad], radius along the blade, chord, twist
    table : (station, 361, 5) float64, polars
    disc : Disc

    Returns
    -------
    columns normal load, tangential load [N/m], axial induction, swirl [-], angle of attack [rad]
    """
    out = np.empty((points.shape[0], planform.shape[0], 5))
    for point in range(points.shape[0]):
        wind, speed, pitch = points[point]
        for station in range(planform.shape[0]):
            distance, held = geometry[point, station]
            radius, chord, twist = planform[station]
            annulus = Annulus(wind, speed * distance, pitch + twist, radius, chord)
            a, converged = held, True
            if math.isnan(held):
                a, converged = balance(annulus, table[station], disc)
            normal, tangent, _, spin, alpha = station_loads(a, annulus, table[station], disc)
            # One by one: a tuple would need code for messages about its shape, a second to compile.
            out[point, station, 0], out[point, station, 1] = normal, tangent
            out[point, station, 2] = a if converged else math.nan
            out[point, station, 3], out[point, station, 4] = spin, alpha
    return out
