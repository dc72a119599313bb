"""Which pitch motion over the coming approach keeps the blade off the tower with the smallest effort?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import radians
from typing import ClassVar

import numpy as np

from controllers.approach import Foreseeing
from controllers.effort import price
from controllers.parameters import parameter
from controllers.pulse import entry, held_relief_table, place
from controllers.rotor import servo_lag
from controllers.signals import ONE, PI, TINY, ZERO, lane_of, number
from sim.interface import Array, Known, Readings, State


@dataclass(frozen=True)
class Predictive(Foreseeing):
    """Plan each blade's pitch to its pass anew every period: least effort that yields the clearance needed.

    Notes
    -----
    What remains of the approach, from now to the last angle from which the servo still arrives in time, is
    cut into ``MOVES`` equal moves x_k >= 0. A move brings g_k x_k of clearance, g_k the relief per rad of
    a pitch that is held from the middle of that move to the pass (``pulse.held_relief_table``, times
    the settled relief of the steady table). The plan is

        min 1/2 sum x_k^2   with   sum g_k x_k >= aim - foreseen - under way,   0 <= x_k <= rate * duration,

    solved exactly (``effort``). As the moves are equally long, the effort is the integral of the pitch
    rate squared. Only the start of the first move is carried out, then the plan is made anew from what is
    foreseen then: a receding horizon. Where the servo cannot bring enough, it does what it can. The
    added pitch is never taken back before the pass: that costs no less travel than after it. After
    it the pitch goes back at a constant rate until ``release_deg``, again the least effort for that way.

    Foresight and missing readings are those of ``approach``.

    References
    ----------
    Derived here. For receding horizons at large: J. M. Maciejowski, Predictive Control with Constraints,
    2002 (from memory).
    """

    name: ClassVar[str] = "predictive"
    MOVES: ClassVar[int] = 6

    start_deg: float = parameter(115.0, "deg", 30.0, 170.0, "azimuth before the tower where planning begins")
    release_deg: float = parameter(60.0, "deg", 10.0, 150.0, "azimuth past the tower where the pitch is back")
    least_deg: float = parameter(0.2, "deg", 0.0, 5.0, "smallest motion worth beginning with")

    @cached_property
    def middles(self) -> Array:
        """Where the middle of each move lies on the way to the last angle, (move,) [-]."""
        return (np.arange(self.MOVES) + 0.5) / self.MOVES

    @cached_property
    def moves(self) -> Array:
        """Number of moves [-]."""
        return number(self.MOVES)

    @cached_property
    def start(self) -> Array:
        """Angle past the tower where planning begins [rad]."""
        return number(-radians(self.start_deg))

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no plan under way."""
        state = super().init(known, seen)
        last = -known.rated_rotor_speed * servo_lag(known)
        return state | {"last_angle": last[:, None] + state["offset"], "held": held_relief_table(known)}

    def decide(self, state: State) -> dict[str, Array]:
        """Plan anew; carry out the first period of the plan, or of the way back."""
        angle, last, offset, si = state["angle"], state["last_angle"], state["offset"], self.si
        started = angle >= self.start
        promised = np.where(started & (angle < ZERO), state["promised"], ZERO)
        gain = np.maximum(entry(state["held"], place(angle)) * np.abs(state["relief"]), TINY)
        need = state["aim"] - state["foreseen"] - promised
        worth = (offset > ZERO) | (need >= gain * si.least)
        turned = np.maximum(np.abs(state["speed"]) * state["period"], TINY)[lane_of(*angle.shape)]
        way = np.maximum(last - angle, turned)
        room = np.maximum(state["largest"] - offset, ZERO)
        most = np.minimum(way * (state["pitch_step"] / (self.moves * turned)), room)
        move = self.first_move(state, np.where(worth, need, ZERO), way, most)
        added = np.minimum(move * np.minimum(self.moves * turned / way, ONE), state["pitch_step"])
        added = np.where(started & (angle < last), np.minimum(added, room), ZERO)
        back = np.maximum(si.release - angle, turned)
        returned = np.where(angle >= last, offset * (turned / back), ZERO)
        returned = np.minimum(np.where(started, returned, offset), state["pitch_step"])
        return {"offset": offset + added - returned, "promised": promised + added * gain}

    def first_move(self, state: State, need: Array, way: Array, most: Array) -> Array:
        """Return the first move of every blade's plan, (lane, blade) [rad].

        Parameters
        ----------
        need : (lane, blade) float64 [m]
        way : (lane, blade) float64 [rad] - azimuth that is left for all moves
        most : (lane, blade) float64 [rad] - largest move
        """
        at = np.minimum(state["angle"].reshape(-1, 1) + way.reshape(-1, 1) * self.middles, PI)
        lane = lane_of(*need.shape).reshape(-1, 1)
        held = state["held"].take(place(at) + lane * state["held"].shape[1])
        gain = np.maximum(held, ZERO) * np.abs(state["relief"]).reshape(-1, 1)
        worth = price(gain, need.reshape(-1), most.reshape(-1, 1))
        return np.minimum(worth * gain[:, 0], most.reshape(-1)).reshape(need.shape)
