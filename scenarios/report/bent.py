"""Where do a bent blade and tower stand at one instant, for a drawing to scale?

Written with numpy on the beam's own shapes, apart from the compiled kernels, so that one checks the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.kernels import layout as at
from sim.plant.blade import blade_modes
from sim.plant.geometry import blade_directions, hub_position, outline_reach, prebend_line, tower_radius
from sim.plant.tower import tower_modes

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BentBlade:
    """One blade seen from the side.

    Parameters
    ----------
    axis : (row, 3) float64 [m]
        Reference line in the ground frame.
    upwind, downwind : (row,) float64 [m]
        x of the outline on either side.
    clearance : (row,) float64 [m]
        Horizontal distance of each row's outline from the tower wall; inf above the tower.
    """

    axis: Floats
    upwind: Floats
    downwind: Floats
    clearance: Floats


def interpolate_state(time_s: Floats, state: Floats, when: float) -> Floats:
    """Return the state at an instant between ticks: (FLAT,) float64."""
    from scipy.interpolate import CubicSpline

    return np.asarray(CubicSpline(time_s, state, axis=0)(when))


def bend_blade(turbine: Turbine, state: Floats, blade: int) -> BentBlade:
    """Place one blade as the state tells.

    Parameters
    ----------
    turbine : Turbine
    state : (FLAT,) float64
        As `sim.kernels.layout` lays it out.
    blade : int
    """
    q = state[at.Q + at.MODES * blade : at.Q + at.MODES * (blade + 1)]
    sway, aside = float(state[at.TOWER]), float(state[at.TOWER + 2])
    turn = 2.0 * math.pi * blade / turbine.rotor.blade_count
    pitch = float(state[at.PITCH + blade])
    return _place(turbine, blade, float(state[at.AZIMUTH]) + turn, pitch, q, (sway, aside))


def unloaded_blade(turbine: Turbine) -> BentBlade:
    """Place the first blade straight down, unloaded, at fine pitch."""
    return _place(turbine, 0, math.pi, turbine.pitch.fine, np.zeros(at.MODES), (0.0, 0.0))


def tower_outline(turbine: Turbine, sway: float, points: int = 41) -> tuple[Floats, Floats, Floats]:
    """Return heights, axis and radius of the bent tower: three of (point,) float64 [m]."""
    heights = np.linspace(0.0, turbine.tower.height, points)
    axis = sway * tower_modes(turbine).fore_aft.shape(heights)
    return heights, np.asarray(axis), np.asarray(tower_radius(turbine, heights))


def hub_centre(turbine: Turbine, sway: float) -> Floats:
    """Return the hub centre with the tower top displaced: (3,) float64 [m]."""
    slope = tower_modes(turbine).fore_aft.top_slope
    hub = hub_position(turbine)
    return hub + np.array([sway * (1.0 + slope * (hub[2] - turbine.tower.height)), 0.0, 0.0])


def _place(
    turbine: Turbine, blade: int, azimuth: float, pitch: float, q: Floats, sway: tuple[float, float]
) -> BentBlade:
    table, side, modes = turbine.blade, turbine.rotor.side, tower_modes(turbine)
    tilt = turbine.rotor.tilt - side * modes.fore_aft.top_slope * sway[0]
    leaning = replace(turbine, rotor=replace(turbine.rotor, tilt=tilt))
    along, normal, motion = blade_directions(leaning, azimuth)
    basis = blade_modes(turbine, blade).at(table.r)
    turned = pitch + float(table.pitch_offset[blade])
    x = side * prebend_line(turbine, blade) + np.einsum("m,mr->r", q, basis.phi_x[: at.MODES])
    y = np.einsum("m,mr->r", q, basis.phi_y[: at.MODES])
    inwards = 0.5 * np.einsum("m,rmn,n->r", q, basis.S[:, : at.MODES, : at.MODES], q)
    inwards += side * np.einsum("m,rm->r", q, basis.P[:, : at.MODES])
    flapwise = normal * math.cos(turned) + motion * math.sin(turned)
    edgewise = motion * math.cos(turned) - normal * math.sin(turned)
    hub = hub_centre(turbine, sway[0])
    hub[1] += sway[1] * (1.0 + modes.side_side.top_slope * (hub[2] - turbine.tower.height))
    axis = hub + (table.r - inwards)[:, None] * along + x[:, None] * flapwise + y[:, None] * edgewise
    heights = axis[:, 2]
    wall = np.stack([sway[0] * modes.fore_aft.shape(heights), sway[1] * modes.side_side.shape(heights)])
    across = axis[:, :2] - wall.T
    distance = np.hypot(across[:, 0], across[:, 1])
    towards = -across / distance[:, None]
    reach = _reach(turbine, turned, towards @ normal[:2], towards @ motion[:2])
    signed = np.copysign(distance, side * across[:, 0])
    clearance = signed - reach - np.asarray(tower_radius(turbine, heights))
    level = np.ones(len(axis))
    return BentBlade(
        axis=axis,
        upwind=axis[:, 0] - _reach(turbine, turned, -normal[0] * level, -motion[0] * level),
        downwind=axis[:, 0] + _reach(turbine, turned, normal[0] * level, motion[0] * level),
        clearance=np.where(heights < turbine.tower.height, clearance, np.inf),
    )


def _reach(turbine: Turbine, turned: float, across: Floats, along_motion: Floats) -> Floats:
    table = turbine.blade
    thickness = table.chord * table.thickness_ratio
    return outline_reach(table.chord, thickness, table.pitch_axis, turned + table.twist, across, along_motion)
