"""How does a rotor stand still: held by its brake, blades at feather, watched by the blade at the tower?

The kernels march it as they march any rotor. Its brake is an inertia about the shaft so large that no load
moves it, and its turning speed is zero from the start; the logic is not asked. There are no passes: the
smallest clearance of the judged time is that of the blades that stand within sight of the tower.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.counting import empty_log
from sim.design import Turbine
from sim.interface import Status
from sim.kernels import layout as at
from sim.kernels.advance import advance
from sim.kernels.watch import LOOK
from sim.plant.blade import blade_modes
from sim.plant.pack import pack_designs
from sim.plant.tower import tower_modes

Array = NDArray[Any]

BRAKED = 1e30
"""Inertia about the shaft of a rotor that is held [kg m2]: 10 MN m turn it by 1e-18 rad in ten minutes."""
ROUNDS, TICKS = 12, 15
"""Rounds in which a lane's structure is brought into balance, and periods in each for the air to follow."""
EDGE = 2
"""The edge mode among a blade's modes."""
KNOCK, SHAKING = 1e-3, 0.02
"""Of the tip radius: edgewise displacement that a lane starts with, and half swing that counts as shaking."""
RELAXED = 0.7
"""Share of a round's step towards balance that is taken; blade and tower move each other."""


def pack_at_rest(turbines: Sequence[Turbine], at_rest: Array) -> at.Design:
    """Pack turbines for the kernels, with their rotor held where asked: (design,) bool."""
    design = pack_designs(turbines)
    design.scalars[at_rest, at.ROTOR_INERTIA] = BRAKED
    return design


def azimuth_at_rest(blade: int, blade_count: int, place: float) -> float:
    """Azimuth of blade 0 [rad] where a blade stands within sight of the tower.

    Parameters
    ----------
    blade : counted from 0
    place : [-] from 0 to 1 over the range in which a blade is watched; 0.5 is straight down
    """
    return math.pi - 2.0 * math.pi * blade / blade_count + LOOK * (2.0 * place - 1.0)


def begin_at_rest(turbine: Turbine, azimuth: float) -> Array:
    """Return the state of an unloaded lane at rest, blades at feather: (STATE,) float64.

    Parameters
    ----------
    azimuth : [rad] of blade 0
    """
    y = np.zeros(at.STATE)
    y[at.AZIMUTH] = azimuth
    for b in range(turbine.rotor.blade_count):
        y[at.PITCH + b] = y[at.HELD + b] = turbine.pitch.feather
        first = at.FLAT + at.ROW_F + b * at.STATIONS
        y[first : first + at.STATIONS] = 1.0
    return y


def brake_torque(lanes: at.Lanes, design: at.Design, blade_count: int) -> Array:
    """Return the torque about the shaft that holds each rotor [N m], (lane,).

    Notes
    -----
    Derived here: cos(cone) times the sum of the in-plane root moments, weight and inertia of the bent blades
    included; of the shear forces over the hub's radius nothing, as in `sim.kernels.loads`. It stands in the
    generator torque's place, so that it reaches the tower as that does.
    """
    total = np.zeros(len(lanes.tick))
    for b in range(blade_count):
        pitch = lanes.y[:, at.HELD + b] + design.blades[lanes.design, b, at.PITCH_OFFSET]
        total += lanes.out[:, at.OUT_FLAP + b] * np.sin(pitch) + lanes.out[:, at.OUT_EDGE + b] * np.cos(pitch)
    return total * design.scalars[lanes.design, at.COS_CONE]


def hold_still(applied: Array, torque: Array, lanes: at.Lanes, rows: Array, world: Any) -> None:
    """Let lanes at rest have their blades held at feather and their rotors by the brake.

    Parameters
    ----------
    applied : (lane, blade) float64 [rad], torque : (lane,) float64 [N m] - what reaches servos and shaft,
        changed in ``rows`` alone
    rows : (lane,) bool
    """
    if not rows.any():
        return
    feather = world.design.scalars[lanes.design, at.PITCH_HIGH]
    applied[rows] = feather[rows, None]
    torque[rows] = brake_torque(lanes, world.design, world.blade_count)[rows]


def find_balance(lanes: at.Lanes, rows: Array, world: Any) -> None:
    """Bring lanes at rest near the balance of bending, tower, air and weight in their first wind.

    Parameters
    ----------
    lanes : Lanes - changed in ``rows`` alone
    rows : (row,) int64
    world : as of `sim.flock.World`

    Notes
    -----
    Rounds of two halves on a copy. The structure is held while the air's own states follow for some periods;
    then each amplitude takes ``RELAXED`` of the step a/omega^2 that would end its acceleration a, were it
    alone.
    What a lane still lacks, or has no balance to find, its settling time has to end.
    """
    if not rows.size:
        return
    copy = at.Lanes(*(column[rows] for column in lanes))
    softness = np.stack([_softness(world.turbines[d]) for d in copy.design])
    count, blades = len(rows), world.blade_count
    feather = np.stack([copy.y[:, at.PITCH + b] for b in range(blades)], axis=1)
    nothing, log = np.zeros((count, blades), bool), empty_log(count, 0, 0, turning=False, period=world.period)

    def go(parts: int) -> None:
        torque = copy.y[:, at.TORQUE].copy()
        advance(
            copy, log, world.design, world.wind, feather, torque, nothing, world.period, parts, blades
        )  # fmt: skip

    def look() -> None:
        go(0)
        copy.y[:, at.TORQUE] = brake_torque(copy, world.design, blades)

    look()
    for _ in range(ROUNDS):
        for _ in range(TICKS):
            held = copy.y[:, : at.FLAT].copy()
            go(world.parts)
            copy.y[:, : at.FLAT], copy.tick[:] = held, 0
        look()
        step = RELAXED * softness
        copy.y[:, at.Q : at.QD] += step[:, :-2] * copy.dy[:, at.QD : at.TOWER]
        copy.y[:, at.TOWER] += step[:, -2] * copy.dy[:, at.TOWER + 1]
        copy.y[:, at.TOWER + 2] += step[:, -1] * copy.dy[:, at.TOWER + 3]
    look()
    sound = np.isfinite(copy.y).all(axis=1)
    for ours, found in ((lanes.y, copy.y), (lanes.dy, copy.dy), (lanes.out, copy.out)):
        ours[rows[sound]] = found[sound]


def _softness(turbine: Turbine) -> Array:
    """Return 1/omega^2 of every mode [s2]: three of each of three blades, tower fore-aft and side-side."""
    rates = np.full(at.BLADES * at.MODES + 2, np.inf)
    for b in range(turbine.rotor.blade_count):
        rates[at.MODES * b : at.MODES * (b + 1)] = blade_modes(turbine, b).mode_frequency
    modes = tower_modes(turbine)
    rates[-2:] = modes.fore_aft.frequency, modes.side_side.frequency
    return (2.0 * np.pi * rates) ** -2.0


class RestWatch:
    """What is noticed of a march's lanes at rest: how near their blades come, and whether they shake.

    Parameters
    ----------
    lanes : Lanes - changed at their first tick, the start of the judged time and the end
    world : as of `sim.flock.World`
    judged_from : int - tick at which the judged time begins

    Notes
    -----
    A lane begins with a knock of ``KNOCK`` edgewise: in a steady wind it stands in so good a balance that a
    blade which stalls would else hide for minutes that it shakes. A blade that does not loses it.
    """

    def __init__(self, lanes: at.Lanes, world: Any, judged_from: int) -> None:
        self.lanes, self.judged_from = lanes, judged_from
        self.rows = np.flatnonzero(world.at_rest[lanes.design])
        self.edges = at.Q + EDGE + at.MODES * np.arange(world.blade_count)
        self.radius = world.design.scalars[lanes.design[self.rows], at.TIP_RADIUS]
        self.low = np.full((len(self.rows), world.blade_count), np.inf)
        self.high = -self.low

    def look(self, tick: int) -> None:
        """See the lanes at a tick, before they advance."""
        lanes, rows = self.lanes, self.rows
        if not rows.size:
            return
        if tick == 0:
            lanes.y[rows[:, None], self.edges] += KNOCK * self.radius[:, None]
        if tick == self.judged_from:
            lanes.search[rows] = np.inf
        if tick >= self.judged_from:
            swing = lanes.y[rows[:, None], self.edges]
            self.low, self.high = np.minimum(self.low, swing), np.maximum(self.high, swing)

    def book(self) -> None:
        """Book the smallest distance of the judged time, and flag a lane that struck or shook."""
        lanes = self.lanes
        for place, lane in enumerate(self.rows.tolist()):
            search = lanes.search[lane]
            b = int(np.argmin(search[:, at.LEAST]))
            lanes.totals[lane, at.MIN_CLEARANCE] = search[b, at.LEAST]
            swing = 0.5 * float(np.max(self.high[place] - self.low[place]))
            if lanes.status[lane] <= Status.STRUCK and swing > SHAKING * self.radius[place]:
                lanes.status[lane] = int(Status.SHAKEN)
            elif lanes.status[lane] == Status.RUNNING and search[b, at.LEAST] <= 0.0:
                lanes.status[lane] = int(Status.STRUCK)
            else:
                continue
            lanes.status_time[lane] = search[b, at.LEAST_TIME]
