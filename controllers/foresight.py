"""How near will each blade's coming pass be, if nothing is done about it?

Witnesses are the passes just before, of whichever blade, each freed of the relief that the logic gave
it; and the blade's own flap deflection, compared with that of the blade ahead at the same azimuth.
"""

from __future__ import annotations

import numpy as np

from controllers.rotor import crossed
from controllers.signals import (
    FULL_TURN,
    age,
    blade_mean,
    hold,
    interpolate,
    operating_point,
    operating_table,
    smooth,
    smoothstep,
    usable,
)
from sim.interface import Array, Commands, Known, Readings, State

SECTORS = 60
WITNESSES = 3


def start(known: Known, seen: Readings) -> dict[str, Array]:
    """Return the predictor's memory before the first pass: the tightest steady pass as every witness."""
    tightest = np.min(known.steady.clearance, axis=1)
    blades = seen.pitch.shape
    towards = (-known.side * known.deflection_per_moment)[:, None]
    moment = hold(seen, "root_flap_moment", np.zeros(blades))
    bent = towards * moment
    return {
        "towards": towards,
        "unloaded": known.unloaded_clearance,
        "moment": moment,
        "witness": np.repeat(tightest[:, None], WITNESSES, axis=1),
        "given": np.zeros(blades),
        "bent_at_pass": bent,
        "recorded": np.repeat(bent[:, :, None], SECTORS, axis=2),
        "point": np.ones_like(tightest),
        "rated_torque": known.rated_torque,
        "fine": known.fine_pitch,
        "table_point": operating_table(known),
        "table_relief": -known.steady.deflection_per_pitch,
    }


def relief_per_pitch(state: State, reference: Commands) -> tuple[Array, Array]:
    """Return the next operating point and the settled relief of the clearance by pitch, (lane,) [-], [m/rad].

    The point comes from what power production commands, low-passed over 2 s.
    """
    now = operating_point(reference.torque, blade_mean(reference.pitch), state["rated_torque"], state["fine"])
    point = smooth(state["point"], now, state["period"], 2.0)
    return point, interpolate(point, state["table_point"], state["table_relief"])


def bent_freely(state: State, seen: Readings, relieved: Array) -> tuple[Array, Array]:
    """Return held flap moment [N m] and deflection towards the tower without the logic [m], (lane, blade)."""
    moment = hold(seen, "root_flap_moment", state["moment"])
    return moment, state["towards"] * moment + relieved


def hear_witnesses(state: State, seen: Readings, turned: tuple[Array, Array], pickup_s: float) -> Array:
    """Return the clearances of the latest passes without the logic's relief, newest first, (lane, 3) [m].

    Parameters
    ----------
    turned : pair of (lane, blade) float64 [rad]
        Angles past the tower one period ago and now.
    pickup_s : float [s]
        Wait after a pass until its reading can be trusted to be there.

    Notes
    -----
    A pass whose reading is not usable is judged by the blade's flap moment at the pass instead,
    clearance = unloaded - deflection, and never better than the last witness.
    """
    before, now = turned
    mark = wait_angle(state, seen, pickup_s)
    due = crossed(before, now, mark)
    ok = usable(seen, "last_pass_clearance")
    witness = state["witness"]
    guess = np.minimum(state["unloaded"][:, None] - state["bent_at_pass"], witness[:, :1])
    heard = np.where(ok, seen.last_pass_clearance - state["given"], guess)
    for blade in range(before.shape[1]):
        shifted = np.concatenate([heard[:, blade : blade + 1], witness[:, :-1]], axis=1)
        witness = np.where(due[:, blade : blade + 1], shifted, witness)
    return witness


def wait_angle(state: State, seen: Readings, pickup_s: float) -> Array:
    """Return the angle past the tower at which a pass's reading is fetched, (lane, 1) [rad]."""
    return np.clip(np.abs(state["speed"]) * pickup_s, 0.02, 1.5)[:, None]


def record(state: State, angle: Array, bent: Array) -> Array:
    """Write each blade's free deflection into its sector of azimuth, (lane, blade, sector) [m]."""
    recorded = state["recorded"].copy()
    np.put_along_axis(recorded, sector(angle)[:, :, None], bent[:, :, None], axis=2)
    return recorded


def sector(angle: Array) -> Array:
    """Number the sector in which an angle [rad] lies, 0 to 59."""
    return np.clip(np.mod(angle, FULL_TURN) / FULL_TURN * SECTORS, 0, SECTORS - 1).astype(np.int64)


def foresee(state: State, angle: Array, bent: Array, weights: Array, own_weight: float) -> Array:
    """Foresee the clearance of every blade's next pass without the logic, (lane, blade) [m].

    Parameters
    ----------
    bent : (lane, blade) float64 [m]
        Free deflection towards the tower now.
    weights : (3,) float64 [-]
        Of the witnesses, newest first; they are made to sum to 1.
    own_weight : float [-]
        Of the blade's own excess over the blade ahead, full at the tower, nothing 150 degrees before it.

    Notes
    -----
    clearance = sum w_i c_i - own_weight trust(angle) (bent - bent of the blade ahead at this azimuth).
    The comparison at equal azimuth cancels shear, gravity and tower dam, which every blade meets alike.
    Derived here.
    """
    witness, share = state["witness"], weights / (weights[0] + weights[1] + weights[2])
    outlook = share[0] * witness[:, 0] + share[1] * witness[:, 1] + share[2] * witness[:, 2]
    ahead = np.roll(state["recorded"], -1, axis=1)
    then = np.take_along_axis(ahead, sector(angle)[:, :, None], axis=2)[:, :, 0]
    trust = own_weight * smoothstep((angle + np.deg2rad(150.0)) / np.deg2rad(150.0))
    return outlook[:, None] - trust * (bent - then)


def moment_age(seen: Readings) -> Array:
    """Return the age of the flap moment, (lane, blade) [s]."""
    return age(seen, "root_flap_moment")
