"""How near will each blade's coming pass be, if nothing is done about it?

Witnesses are the passes just before, of whichever blade, each freed of the relief that the logic gave
it; and the blade's own flap deflection, compared with that of the blade ahead at the same azimuth.
"""

from __future__ import annotations

import numpy as np

from controllers.pulse import angles, entry, place
from controllers.signals import hold, smoothstep, usable
from sim.interface import Array, Commands, Known, Readings, State

SECTORS = 60
WITNESSES = ("newest", "second", "third")


def start(known: Known, seen: Readings, own_weight: float) -> dict[str, Array]:
    """Return the predictor's memory before the first pass: the tightest steady pass as every witness."""
    tightest = np.min(known.steady.clearance, axis=1)
    shape = seen.pitch.shape
    towards = (-known.side * known.deflection_per_moment)[:, None]
    moment = hold(seen, "root_flap_moment", np.zeros(shape))
    bent = towards * moment
    trust = own_weight * smoothstep((angles() + np.deg2rad(150.0)) / np.deg2rad(150.0))
    return {
        "towards": towards,
        "unloaded": known.unloaded_clearance[:, None],
        "moment": moment,
        **{name: tightest for name in WITNESSES},
        "given": np.zeros(shape),
        "bent_at_pass": bent,
        "recorded": np.repeat(bent, SECTORS, axis=1),
        "trust": np.repeat(np.where(angles() < 0.0, trust, 0.0)[None, :], shape[0], axis=0),
        **relief_line(known),
    }


def relief_line(known: Known) -> dict[str, Array]:
    """Return the settled relief of the clearance by pitch as a straight line over pitch, (lane, 1).

    Notes
    -----
    Through the steady table where its clearance is tightest and halfway from there to its last point in
    pitch, then level; in m/rad, positive where feathering moves the blade away from the tower.
    """
    steady = known.steady
    relief = -steady.deflection_per_pitch
    lane = np.arange(relief.shape[0])
    tight = np.argmin(steady.clearance, axis=1)
    low, high = steady.pitch[lane, tight], steady.pitch[:, -1]
    middle = np.argmax(steady.pitch >= 0.5 * (low + high)[:, None], axis=1)
    span = np.maximum(steady.pitch[lane, middle] - low, 1e-3)
    first = relief[lane, tight]
    return {
        "relief_first": first[:, None],
        "relief_growth": ((relief[lane, middle] - first) / span)[:, None],
        "relief_from": low[:, None],
        "relief_span": span[:, None],
    }


def relief_per_pitch(state: State, reference: Commands) -> Array:
    """Return the settled relief at the pitch that power production commands, (lane, blade) [m/rad]."""
    above = np.minimum(np.maximum(reference.pitch - state["relief_from"], 0.0), state["relief_span"])
    return state["relief_first"] + state["relief_growth"] * above


def hear_witnesses(state: State, seen: Readings, due: Array) -> dict[str, Array]:
    """Return the clearances of the latest passes without the logic's relief, (lane,) [m].

    Parameters
    ----------
    due : (lane, blade) bool
        Whose pass is to be read now; at most one blade of a lane.

    Notes
    -----
    A pass whose reading is not usable is judged by the blade's flap moment at the pass instead,
    clearance = unloaded - deflection, and never better than the last witness.
    """
    newest = state["newest"]
    ok = usable(seen, "last_pass_clearance")
    guess = np.minimum(state["unloaded"] - state["bent_at_pass"], newest[:, None])
    heard = np.where(ok, seen.last_pass_clearance - state["given"], guess)
    latest, any_due = newest, due[:, 0]
    for blade in range(due.shape[1]):
        latest = np.where(due[:, blade], heard[:, blade], latest)
        any_due = any_due | due[:, blade]
    return {
        "newest": latest,
        "second": np.where(any_due, newest, state["second"]),
        "third": np.where(any_due, state["second"], state["third"]),
    }


def compare_and_record(state: State, angle: Array, bent: Array) -> tuple[Array, Array]:
    """Return each blade's excess over the blade ahead at this azimuth [m], and the renewed record.

    Parameters
    ----------
    bent : (lane, blade) float64 [m]
        Deflection towards the tower without the logic, now.
    """
    lanes, blades = angle.shape
    sector = place(angle, SECTORS)
    own = SECTORS * np.arange(blades)
    excess = bent - entry(state["recorded"], sector + np.roll(own, -1))
    recorded = state["recorded"].copy()
    recorded.reshape(-1)[sector + own + blades * SECTORS * np.arange(lanes)[:, None]] = bent
    return excess, recorded


def foresee(state: State, index: Array, excess: Array, weights: tuple[float, float, float]) -> Array:
    """Foresee the clearance of every blade's next pass without the logic, (lane, blade) [m].

    Parameters
    ----------
    index : (lane, blade) int64
        ``pulse.place`` of the blade.
    weights : three floats [-]
        Of the witnesses, newest first; they sum to 1.

    Notes
    -----
    clearance = sum w_i c_i - trust(angle) (deflection - that of the blade ahead at this azimuth). The
    comparison at equal azimuth cancels shear, gravity and tower dam, which every blade meets alike. Trust
    grows from nothing 150 degrees before the tower to its weight at the tower. Derived here.
    """
    outlook = weights[0] * state["newest"] + weights[1] * state["second"] + weights[2] * state["third"]
    return outlook[:, None] - entry(state["trust"], index) * excess
