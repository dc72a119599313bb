"""How does a pulse of pitch grow while a blade approaches the tower, and go when it has passed?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import radians

import numpy as np

from controllers.approach import Approach
from controllers.parameters import parameter
from controllers.pulse import Pulse, entry, place
from controllers.signals import TINY, ZERO, choose, number
from sim.interface import Array, Known, Readings, State


@dataclass(frozen=True)
class Pulsed(Approach):
    """Base of logic that answers a foreseen shortfall by a raised cosine of pitch.

    Notes
    -----
    Shortfall = required clearance + margin - foreseen clearance - relief already under way. While the blade
    approaches, the amplitude grows by shortfall / relief per rad, the relief per rad being what the rest
    of the pulse can still give (``pulse``). It never shrinks before the pass; after it the raised cosine
    releases smoothly. Growth is bounded by the servo: the commanded rate is at most ``rate_share`` of
    the limit. The pulse leads by servo delay, servo lag and flap lag, so that its relief peaks at the tower.
    """

    half_width_deg: float = parameter(85.0, "deg", 20.0, 105.0, "azimuth from the pulse's centre to its end")
    lead_deg: float = parameter(10.0, "deg", -30.0, 30.0, "extra lead of the pulse")
    last_call_deg: float = parameter(25.0, "deg", 0.0, 90.0, "azimuth before the tower where deciding ends")
    least_deg: float = parameter(0.2, "deg", 0.0, 5.0, "smallest amplitude worth beginning with")

    @cached_property
    def pulse(self) -> Pulse:
        """The pulse that the parameters ask for."""
        return Pulse(self.si.half_width, self.si.lead)

    @cached_property
    def last_call(self) -> Array:
        """Angle past the tower where deciding ends [rad]."""
        return number(-radians(self.last_call_deg))

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no pulse under way."""
        state, pulse = super().init(known, seen), self.pulse
        nothing = state["offset"]
        rate = (self.rate_share * known.pitch_rate_limit)[:, None]
        steepest = 2.0 * pulse.half_width * rate / (np.pi * 1.1 * known.rated_rotor_speed[:, None])
        return state | {
            "largest": np.minimum(state["largest"], steepest),
            "centre": pulse.centre(known)[:, None] + nothing,
            "still": pulse.relief_table(known),
            "amplitude": nothing,
        }

    def decide(self, state: State) -> dict[str, Array]:
        """Let the pulses grow where the foreseen clearance falls short."""
        angle, si = state["angle"], self.si
        shape = self.pulse.shape(angle, state["centre"])
        running = shape > ZERO
        going = running.astype(float)
        before, promised = state["amplitude"] * going, state["promised"] * going
        gain = np.maximum(entry(state["still"], place(angle)) * np.abs(state["relief"]), TINY)
        wanted = before + (state["aim"] - state["foreseen"] - promised) / gain
        soonest = (state["pitch_step"] + state["offset"]) / np.maximum(shape, TINY)
        most = np.minimum(np.minimum(wanted, soonest), state["largest"])
        deciding = running & (wanted >= si.least) & (angle < self.last_call)
        amplitude = choose(deciding, np.maximum(most, before), before)
        promised = promised + (amplitude - before) * gain
        return {"amplitude": amplitude, "promised": promised, "offset": amplitude * shape}
