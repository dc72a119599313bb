"""Which pitch motion over the coming approach keeps the blade off the tower with the smallest effort?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import radians
from typing import ClassVar

import numpy as np

from controllers.approach import Foreseeing, shortfall
from controllers.effort import smallest_effort
from controllers.parameters import parameter
from controllers.pulse import ANGLES, entry, held_relief_table, place
from controllers.rotor import servo_lag
from controllers.signals import row_starts
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
        """Where the middle of each move lies on the way to the last angle, (1, 1, move) [-]."""
        return ((np.arange(self.MOVES) + 0.5) / self.MOVES)[None, None, :]

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no plan under way."""
        state = super().init(known, seen)
        last = -known.rated_rotor_speed * servo_lag(known)
        return state | {"last_angle": last[:, None] + state["offset"], "held": held_relief_table(known)}

    def decide(self, state: State, foreseen: Array, per_pitch: Array) -> dict[str, Array]:
        """Plan anew; carry out the first period of the plan, or of the way back."""
        angle, last, offset = state["angle"], state["last_angle"], state["offset"]
        started = angle >= -radians(self.start_deg)
        before = started & (angle < 0.0)
        promised = np.where(before, state["promised"], 0.0)
        relief = np.abs(per_pitch)[:, None]
        gain = np.maximum(entry(state["held"], place(angle)) * relief, 1e-6)
        need = shortfall(state["aim"], foreseen, promised)
        worth = (offset > 0.0) | (need >= gain * radians(self.least_deg))
        turned = np.maximum(np.abs(state["speed"]) * state["period"], 1e-6)[:, None] + np.zeros_like(angle)
        way = np.maximum(last - angle, turned)
        move = self.first_move(state, np.where(worth, need, 0.0), relief, way)
        added = move * (np.minimum(self.MOVES * turned, way) / way)
        added = np.minimum(np.minimum(added, state["pitch_step"]), np.maximum(state["largest"] - offset, 0.0))
        added = np.where(started & (angle < last), added, 0.0)
        back = np.maximum(radians(self.release_deg) - angle, turned)
        returned = np.where(angle >= last, offset * (turned / back), 0.0)
        returned = np.where(started, returned, offset)
        returned = np.minimum(returned, state["pitch_step"])
        return {"offset": offset + added - returned, "promised": promised + added * gain}

    def first_move(self, state: State, need: Array, relief: Array, way: Array) -> Array:
        """Return the first move of every blade's plan, (lane, blade) [rad].

        Parameters
        ----------
        need : (lane, blade) float64 [m]
        relief : (lane, 1) float64 [m/rad]
        way : (lane, blade) float64 [rad] - azimuth that is left for all moves
        """
        lanes, blades = need.shape
        at = state["angle"][:, :, None] + way[:, :, None] * self.middles
        index = place(at).reshape(lanes, -1)
        gain = state["held"].reshape(-1).take(index + row_starts(lanes, ANGLES)[:, None]) * relief
        per_turn = (
            state["pitch_step"]
            / (self.MOVES * state["period"] * np.maximum(np.abs(state["speed"]), 1e-3))[:, None]
        )
        limit = np.minimum(way * per_turn, np.maximum(state["largest"] - state["offset"], 0.0))
        shape = (lanes * blades, self.MOVES)
        moves = smallest_effort(
            gain.reshape(shape), need.reshape(-1), np.repeat(limit.reshape(-1, 1), self.MOVES, axis=1)
        )
        return moves[:, 0].reshape(lanes, blades)
