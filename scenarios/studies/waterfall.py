"""From the unloaded clearance to what remains at rated wind: what takes how much?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.design import Turbine
from sim.plant.blade import BladeModes
from sim.plant.geometry import (
    blade_directions,
    clearance_at,
    hub_position,
    outline_reach,
    prebend_line,
    tower_radius,
)
from sim.plant.rotor import ELASTIC, SteadyRotor, steady_rotor
from sim.plant.spinning import Spin
from sim.plant.tower import GRAVITY, TowerMode, tower_modes
from sim.plant.trim import Steady, steady_table


@dataclass(frozen=True)
class Bend:
    """How the tip of a blade has moved, elastically, in the blade's own axes [m]."""

    x: float = 0.0
    y: float = 0.0
    inwards: float = 0.0  #: foreshortening along the blade

    def __add__(self, other: Bend) -> Bend:
        return Bend(self.x + other.x, self.y + other.y, self.inwards + other.inwards)

    def __sub__(self, other: Bend) -> Bend:
        return Bend(self.x - other.x, self.y - other.y, self.inwards - other.inwards)


def waterfall(turbine: Turbine) -> list[dict[str, Any]]:
    """Return the steps from unloaded to steady operation at rated wind, blade down.

    Returns
    -------
    list of dict
        ``step``, ``change_m`` and ``clearance_m`` after it; the changes sum to the last clearance.

    Notes
    -----
    Derived here. Rotation and weight bend the full beam statically; what air adds is the steady rotor's
    deflection less that of rotation; each deflection shortens the blade, which lifts the tip. The tower bends
    under rotor thrust: hub and tip follow its top and turn with it, the wall at the height of the tip moves
    less. Steady and axisymmetric: no shear, upflow, turbulence, or dam; weight is taken for the blade that
    hangs, without the few per cent by which its swing once per revolution is amplified.
    """
    rotor, steady = steady_rotor(turbine), steady_table(turbine)
    wind, spin = _rated_point(turbine, steady)
    state = rotor.evaluate(np.array([[wind, spin.rotor_speed, spin.pitch]]))
    rotation = _static(rotor.modes, spin, 0.0)
    weight = hang(turbine, rotor.modes, spin)
    air = _modal(rotor, state.q[0]) - rotation
    mode = tower_modes(turbine).fore_aft
    push = float(state.thrust[0]) * math.cos(turbine.rotor.tilt) / mode.stiffness
    stages = [
        ("unloaded, at fine pitch", Bend(), 0.0),
        ("rotation bends the coned, prebent blade towards its plane", rotation, 0.0),
        ("weight bends the hanging blade", rotation + weight, 0.0),
        (f"steady air load at {wind:.1f} m/s", rotation + weight + air, 0.0),
        ("tower bends under thrust", rotation + weight + air, push),
    ]
    told, before = [], 0.0
    for name, bend, top in stages:
        clearance = bent_clearance(turbine, spin.pitch, bend, top, mode)
        told.append({"step": name, "change_m": clearance - before, "clearance_m": clearance})
        before = clearance
    return told


def bent_clearance(turbine: Turbine, pitch: float, bend: Bend, top: float, mode: TowerMode) -> float:
    """Distance from the tip's outline to the tower wall, blade down, blade and tower bent [m].

    Parameters
    ----------
    pitch : [rad]
    bend : of the tip
    top : [m] displacement of the tower top, downwind
    mode : fore-aft mode of the tower

    Notes
    -----
    Without any bending it is the unloaded clearance of the worst blade.
    """
    blade = _worst_blade(turbine)
    table, side = turbine.blade, turbine.rotor.side
    along, normal, motion = blade_directions(turbine, math.pi)
    turned = pitch + float(table.pitch_offset[blade])
    flapwise = normal * math.cos(turned) + motion * math.sin(turned)
    edgewise = motion * math.cos(turned) - normal * math.sin(turned)
    prebend = side * float(prebend_line(turbine, blade)[-1])
    point = hub_position(turbine) + (float(table.r[-1]) - bend.inwards) * along
    point = point + (prebend + bend.x) * flapwise + bend.y * edgewise
    point[0] += top * (1.0 + mode.top_slope * (point[2] - turbine.tower.height))
    axis = np.array([top * float(mode.shape(point[2])), 0.0])
    across = point[:2] - axis
    distance = float(np.hypot(*across))
    towards = -across / distance
    reach = outline_reach(
        table.chord[-1:],
        (table.chord * table.thickness_ratio)[-1:],
        table.pitch_axis[-1:],
        turned + table.twist[-1:],
        np.array([towards @ normal[:2]]),
        np.array([towards @ motion[:2]]),
    )
    signed = math.copysign(distance, side * across[0])
    return signed - float(reach[0]) - float(tower_radius(turbine, point[2]))


def bend_of(turbine: Turbine, rotor: SteadyRotor, q: np.ndarray, spin: Spin) -> Bend:
    """Return how the tip of the hanging blade is bent by air, rotation and weight.

    Parameters
    ----------
    turbine : Turbine
    rotor : of that turbine
    q : (3,) float64 [m] amplitudes that air and rotation bend the blade by
    spin : how it turns
    """
    return hang(turbine, rotor.modes, spin) + _modal(rotor, q)


def turned_bend(turbine: Turbine, modes: BladeModes) -> Bend:
    """Return how rotation alone bends the tip, at rated speed and fine pitch."""
    spin = Spin(turbine.machine.rated_rotor_speed, turbine.pitch.fine, turbine.rotor.cone)
    return _static(modes, spin, 0.0)


def hang(turbine: Turbine, modes: BladeModes, spin: Spin) -> Bend:
    """Return what its weight adds to the bend of the hanging blade that turns."""
    lean = turbine.rotor.tilt + turbine.rotor.cone
    bent = _static(modes, spin, -turbine.rotor.side * GRAVITY * math.sin(lean))
    return bent - _static(modes, spin, 0.0)


def _worst_blade(turbine: Turbine) -> int:
    tips = [
        float(clearance_at(turbine, math.pi, turbine.pitch.fine, blade)[-1])
        for blade in range(turbine.rotor.blade_count)
    ]
    return tips.index(min(tips))


def _rated_point(turbine: Turbine, steady: Steady) -> tuple[float, Spin]:
    """Return rated wind [m/s] and how the blade turns there; the point of largest thrust if there is none."""
    if math.isfinite(steady.rated_wind_speed):
        spin = Spin(turbine.machine.rated_rotor_speed, turbine.pitch.fine, turbine.rotor.cone)
        return steady.rated_wind_speed, spin
    at = int(np.argmax(steady.thrust))
    spin = Spin(float(steady.rotor_speed[at]), float(steady.pitch[at]), turbine.rotor.cone)
    return float(steady.wind_speed[at]), spin


def _static(modes: BladeModes, spin: Spin, acceleration: float) -> Bend:
    """Bend under rotation and a uniform acceleration [m/s2] along the blade's x axis."""
    load = modes.full.beam.mass * acceleration
    bent = modes.static(load, np.zeros_like(load), spin)
    return Bend(float(bent.x[-1]), float(bent.y[-1]), _inwards(modes, np.stack([bent.slope_x, bent.slope_y])))


def _modal(rotor: SteadyRotor, q: np.ndarray) -> Bend:
    shape = np.einsum("i,idp->dp", q, rotor.modes.shapes[:ELASTIC])
    slope = np.einsum("i,idp->dp", q, rotor.modes.slopes[:ELASTIC])
    return Bend(float(shape[0, -1]), float(shape[1, -1]), _inwards(rotor.modes, slope))


def _inwards(modes: BladeModes, slope: np.ndarray) -> float:
    """Foreshortening: integral of w'^2 / 2 and of the product of deflection's and prebend's slopes [m]."""
    full = modes.full
    squares = 0.5 * (slope[0] ** 2 + slope[1] ** 2) + full.side * full.prebend_slope * slope[0]
    return float(full.beam.grid.integrate(squares))
