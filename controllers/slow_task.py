"""When is a task due that runs more seldom than the controller, and in which lanes?

As on the computer of a turbine, what changes slowly or costs much runs as a slow task beside the fast one
that commands the pitch.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from controllers.signals import lane_period
from sim.interface import Array, Known, Readings, State

PACE_S = 0.16
"""Time from one run of a slow task to the next [s].

A rotor at 12 turns a minute moves 12 degrees meanwhile, and a flap mode of 0.7 Hz goes through a ninth of
its swing: in extreme turbulence, logic that looked ahead in every period missed no less for its pitch travel.
It is a sixth of the time for which a doubt must last.
"""


def start(known: Known, seen: Readings, most: Array | float = np.inf) -> dict[str, Array]:
    """Return the memory of a slow task that is due at once.

    Parameters
    ----------
    known, seen
    most : (lane,) float64 or float [-]
        Most controller periods from run to run that this task bears.

    Returns
    -------
    memory : dict
        ``every``, periods from run to run: as many as make up ``PACE_S``, at least one; ``pace``, the same
        as a time [s]; ``turn``, number of the last run. All (lane,).
    """
    period = lane_period(known)
    every = np.maximum(np.minimum(np.rint(PACE_S / period), most), 1.0)
    return {
        "every": every.astype(np.int64),
        "pace": every * period,
        "turn": seen.tick // every.astype(np.int64) - 1,
    }


def due(state: State, seen: Readings) -> tuple[Array, Array]:
    """Return the number of the run that this period belongs to, (lane,), and where it is still to be done.

    Notes
    -----
    Every so many periods of the lane's own clock; where calls did not come, at the first one after.
    """
    turn = seen.tick // state["every"]
    return turn, turn != state["turn"]


def run(is_due: Array, task: Callable[[State], None], state: State) -> None:
    """Have a task renew entries of a state in the lanes where it is due.

    Parameters
    ----------
    is_due : (lane,) bool
    task : callable
        Puts new arrays into the state it is given, for all lanes; not called where none is due.
    state : State
        Changed; in lanes that are not due its values stay.

    Notes
    -----
    Lanes that began together, as those of a march did, are due together, and cost nothing in between.
    """
    lanes = np.count_nonzero(is_due)
    if lanes == len(is_due):
        task(state)
    elif lanes:
        renewed = dict(state)
        task(renewed)
        changed = [name for name, new in renewed.items() if new is not state[name]]
        state |= {name: _where(is_due, renewed[name], state[name]) for name in changed}


def _where(is_due: Array, new: Array, old: Array) -> Array:
    return np.where(is_due.reshape(-1, *(1,) * (new.ndim - 1)), new, old)
