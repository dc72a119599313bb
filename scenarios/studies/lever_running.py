"""How does a turbine with its levers moved run in steady wind, and what does it earn in a year?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.studies.lever_design import Mix, made
from sim.design import Turbine
from sim.errors import InputError
from sim.measures.lifetime import HOURS_PER_YEAR
from sim.plant.rotor import SteadyRotor, steady_rotor
from sim.plant.trim import false_position, limiting_pitch, optimal_ratio, rated_wind

Array = NDArray[np.float64]

_NODES, _ABOVE = 28, 6  # of a year's winds, below rated and above it under a thrust limit
_LATER = np.array([0.9, 1.0, 1.1, 1.2])  # of rated wind, among which the governing one is sought
_BEYOND = 3  # winds more up to cut-out, of a rotor behind its tower
RATED = 1
"""The place of rated wind among the points of `Running.judged_points`."""
_RICH = 1e-4  # beyond rated power, from which on pitch is sought that holds it
_LIMIT_REACH = math.radians(15.0)  # of pitch above that of power alone, within which the thrust limit is held
_PULSE_SHARE = 1.0 / 3.0  # of a turn that a pulse lasts: 60 degrees either way


@dataclass(frozen=True)
class Air:
    """The steady rotor of one blade on one cone: all that overhang, tilt and tower leave as it is.

    ``ratio`` [-] is the best tip speed ratio, ``rated`` [m/s] the wind normal to the disc that brings rated
    power, ``peak`` [N] the thrust there; ``later`` keeps the points that are judged, by how much thrust is
    cut and the highest wind, ``power`` winds, weights and power of a year by thrust cut and pulse.
    """

    rotor: SteadyRotor
    ratio: float
    rated: float
    peak: float
    later: dict[tuple[float, float], Array]
    power: dict[tuple[float, float], Array]


@dataclass(frozen=True)
class Running:
    """A turbine whose levers are moved, under its controller's schedule."""

    turbine: Turbine
    air: Air
    mix: Mix

    @property
    def rotor(self) -> SteadyRotor:
        """The steady rotor."""
        return self.air.rotor

    @property
    def rated(self) -> float:
        """Wind normal to the disc at which rated power is reached [m/s]."""
        return self.air.rated

    @property
    def limit(self) -> float:
        """The thrust that is allowed [N]."""
        return (1.0 - self.mix.thrust_cut) * self.air.peak

    @property
    def away(self) -> float:
        """Sign of a pitch that takes a blade away from the tower: feathered before it, finer behind it."""
        return -self.turbine.rotor.side

    def judged_points(self) -> Array:
        """The points among which the governing one is, (point, 3).

        Notes
        -----
        Before the tower thrust bends the blade towards it, and is largest about rated wind. Behind it thrust
        bends the blade away, and least of it is left at cut-out.
        """
        winds = self.rated * _LATER
        if self.turbine.rotor.side > 0.0:
            last = self.turbine.machine.cut_out * math.cos(self.turbine.rotor.tilt)
            winds = np.append(winds, np.linspace(winds[-1], max(last, winds[-1]), _BEYOND + 1)[1:])
        known, key = self.air.later, (self.mix.thrust_cut, float(winds[-1]))
        if key not in known:
            known[key] = self.points(winds)
        return known[key]

    def speed(self, wind: Array) -> Array:
        """Rotor speed [rad/s] at winds normal to the disc."""
        machine, radius = self.turbine.machine, self.turbine.rotor_radius * math.cos(self.turbine.rotor.cone)
        return np.clip(self.air.ratio * wind / radius, machine.minimum_rotor_speed, machine.rated_rotor_speed)

    def points(self, wind: Array) -> Array:
        """Wind, rotor speed and pitch (point, 3): the pitch that neither power nor thrust limit forbids."""
        speed = self.speed(wind)
        pitch = np.full_like(wind, self.turbine.pitch.fine)
        blown = self.rotor.evaluate(np.stack([wind, speed, pitch], axis=1)).torque * speed
        above = blown * self.turbine.machine.efficiency > (1.0 + _RICH) * self.turbine.machine.rated_power
        if above.any():
            pitch[above] = limiting_pitch(self.turbine, self.rotor, wind[above], speed[above])
        found = np.stack([wind, speed, pitch], axis=1)
        return self._limited(found) if self.mix.thrust_cut > 0.0 else found

    def _limited(self, points: Array) -> Array:
        """Raise the pitch where thrust is above its limit."""
        over = np.flatnonzero(self.rotor.evaluate(points).thrust > self.limit)
        if over.size == 0:
            return points

        def excess(pitch: Array) -> Array:
            there = points[over].copy()
            there[:, 2] = pitch
            return self.rotor.evaluate(there).thrust / self.limit - 1.0

        low, high = points[over, 2], points[over, 2] + _LIMIT_REACH
        raised = points.copy()
        raised[over, 2] = false_position(excess, (low, excess(low), high, excess(high)), 1e-6)
        return raised


_AIR: dict[tuple[Any, ...], Air] = {}
_KEPT = 200


def running(turbine: Turbine, mix: Mix, spar_share: float) -> Running:
    """Move the levers of a turbine and let it run.

    Raises
    ------
    InputError
        It never reaches rated power.
    """
    changed = made(turbine, mix, spar_share)
    key = (turbine.content_hash(), mix.cone_deg, mix.prebend_m, mix.stiffness_factor, spar_share)
    if key not in _AIR:
        if len(_AIR) >= _KEPT:
            del _AIR[next(iter(_AIR))]
        _AIR[key] = _air_of(changed)
    return Running(changed, _AIR[key], mix)


def _air_of(turbine: Turbine) -> Air:
    rotor = steady_rotor(turbine)
    radius = turbine.rotor_radius * math.cos(turbine.rotor.cone)
    ratio, _ = optimal_ratio(turbine, rotor, radius)
    rated = rated_wind(turbine, rotor)
    if not math.isfinite(rated):
        raise InputError(f"{turbine.name}: never reaches rated power below cut-out; levers need a rated wind")
    full = np.array([[rated, turbine.machine.rated_rotor_speed, turbine.pitch.fine]])
    return Air(rotor, ratio, rated, float(rotor.evaluate(full).thrust[0]), {}, {})


def yearly_energy(run: Running, mean_wind: float) -> float:
    """Return the electrical energy of a year in Rayleigh's winds [W h].

    Parameters
    ----------
    run : Running
    mean_wind : [m/s]

    Notes
    -----
    Power by Gauss-Legendre nodes of the wind normal to the disc, from cut-in to rated (and where a thrust
    limit is set, on to where rated power is reached again), rated power beyond, up to cut-out. Density:
    pi V / (2 m^2) exp(-pi V^2 / (4 m^2)), V that normal wind over cos(tilt).
    """
    machine, facing = run.turbine.machine, math.cos(run.turbine.rotor.tilt)
    known, key = run.air.power, (run.mix.thrust_cut, run.mix.pulse_deg)
    if key not in known:
        known[key] = _power_nodes(run)
    normal, weight, made_power = known[key].T
    wind = normal / facing
    density = 0.5 * math.pi * wind / mean_wind**2 * np.exp(-0.25 * math.pi * (wind / mean_wind) ** 2)
    full = run.rated * (1.0 + run.mix.thrust_cut) / facing
    rest = _beyond(full, mean_wind) - _beyond(machine.cut_out, mean_wind)
    return HOURS_PER_YEAR * (
        float(np.sum(weight / facing * density * made_power)) + machine.rated_power * rest
    )


def _power_nodes(run: Running) -> Array:
    """Winds normal to the disc, weights [m/s] and power [W] at them, (node, 3)."""
    ends = [(run.turbine.machine.cut_in, run.rated, _NODES)]
    if run.mix.thrust_cut > 0.0:
        ends.append((run.rated, run.rated * (1.0 + run.mix.thrust_cut), _ABOVE))
    at, weight = [], []
    for low, high, count in ends:
        place, share = np.polynomial.legendre.leggauss(count)
        at.append(low + 0.5 * (high - low) * (place + 1.0))
        weight.append(0.5 * (high - low) * share)
    wind = np.concatenate(at)
    return np.stack([wind, np.concatenate(weight), power(run, wind)], axis=1)


def _beyond(wind: float, mean: float) -> float:
    return math.exp(-0.25 * math.pi * (wind / mean) ** 2)


def power(run: Running, wind: Array) -> Array:
    """Electrical power at winds normal to the disc, pulses of pitch counted [W].

    Notes
    -----
    A raised-cosine pulse over a third of a turn, torque in balance with its air a parabola in pitch through
    none, half and all of it: the mean change over the pulse is g1/2 + 3 g2/8. Induced velocity is slower
    than one pulse, but the pulse comes every turn, and what the air settles to is the mean of the balances:
    holding it instead counts a first-order loss that is not there, five times too much for two degrees.
    """
    machine = run.turbine.machine
    points = run.points(wind)
    state = run.rotor.evaluate(points)
    torque = state.torque
    if run.mix.pulse_deg > 0.0:
        all_of_it = run.away * math.radians(run.mix.pulse_deg)
        half, whole = (
            run.rotor.evaluate(points + np.array([0.0, 0.0, part * all_of_it]), state.q).torque - torque
            for part in (0.5, 1.0)
        )
        bend = 2.0 * (whole - 2.0 * half)
        torque = torque + _PULSE_SHARE * (0.5 * (whole - bend) + 0.375 * bend)
    return np.minimum(torque * points[:, 1] * machine.efficiency, machine.rated_power)
