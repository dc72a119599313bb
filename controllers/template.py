"""How is a logic of one's own written? Copy this file and change what stands between the two lines.

Then run ``wideberth vet my_logic.py:EarlyNudge`` and name it ``my_logic.py:EarlyNudge`` in a scenario.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers.parameters import Parameters, parameter
from controllers.signals import angle_to_tower, hold, lane_period, raised_cosine
from sim.interface import Commands, Known, Readings, State


@dataclass(frozen=True)  # parameters only, never changed; whatever must be remembered goes into the state
class Template(Parameters):
    """Pitch each blade away on its way to the tower when the rotor-average flap moment is large.

    An unusable reading is held at its last good value, so the logic acts on what it last knew.
    """

    name: ClassVar[str] = "template"
    # Sensors that this logic reads; the scenario must fit them.
    needs: ClassVar[tuple[str, ...]] = ("azimuth", "root_flap_moment")
    # True: it acts for the sake of the tower passage, and the ledger judges it.
    tower_pass: ClassVar[bool] = True

    # One line each: default, unit, lowest, highest, meaning. Checked when the layer is made.
    gain_deg: float = parameter(3.0, "deg", 0.0, 10.0, "pitch added at the tower at full steady flap moment")
    start_share: float = parameter(0.7, "-", 0.0, 2.0, "share of the largest steady moment where it starts")

    def init(self, known: Known, seen: Readings) -> State:
        """Return the memory: a dict of arrays, each with the lane as its first axis."""
        return {
            "period": lane_period(known),
            "azimuth": hold(seen, "azimuth", np.zeros_like(known.rated_torque)),
            "moment": hold(seen, "root_flap_moment", np.zeros(seen.pitch.shape)),
            "largest": np.max(np.abs(known.steady.root_flap_moment), axis=1),
            "feather": known.feather_pitch,
        }

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Return the next memory and the commands; all lanes at once, so ``np.where`` instead of ``if``."""
        azimuth = hold(seen, "azimuth", state["azimuth"])
        moment = hold(seen, "root_flap_moment", state["moment"])
        # ---------------------------------------------------------------- your own logic from here
        angle = angle_to_tower(azimuth, below.pitch.shape[1])  # (lane, blade), negative before the pass
        window = raised_cosine(angle, np.deg2rad(-30.0), np.deg2rad(60.0))
        share = np.abs(moment) / state["largest"][:, None]
        wanted = np.deg2rad(self.gain_deg) * np.clip((share - self.start_share) / 0.3, 0.0, 1.0)
        pitch = np.minimum(below.pitch + wanted * window, state["feather"][:, None])
        # ---------------------------------------------------------------- to here
        # Never write into what came in: make new arrays, and pass on what is not yours to change.
        return state | {"azimuth": azimuth, "moment": moment}, Commands(pitch, below.torque, below.stop)
