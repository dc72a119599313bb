"""How far does a rule of thumb get: weigh three passes, add two metres, pitch for half a metre a degree?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import radians
from typing import ClassVar

import numpy as np

from controllers.approach import Approach
from controllers.parameters import parameter
from controllers.pulse import Pulse
from controllers.signals import ZERO, number
from sim.interface import Array, Known, Readings, State

WEIGHTS = number(0.6), number(0.25), number(0.15)
"""Of the last three passes, the latest first [-]."""
RELIEF = number(0.5 / radians(1.0))
"""Relief that a pulse is taken to give [m/rad]."""
CENTRE, HALF_WIDTH = number(radians(150.0 - 180.0)), radians(55.0)
"""Of the pulse, past the tower [rad]."""


@dataclass(frozen=True)
class CrudeGuard(Approach):
    """A guard without finesse, for others to beat: fixed weights, fixed relief, decided once an approach.

    Notes
    -----
    Foreseen = .6 c1 + .25 c2 + .15 c3 of the last three passes, of whichever blade, freed of the relief that
    they were given. Amplitude = (requirement + margin - foreseen) / (0.5 m per degree), decided where the
    pulse begins; a raised cosine over +-55 degrees around azimuth 150. Neither the machine's lags nor what
    power production does are heeded.

    References
    ----------
    Derived here, as a rule of thumb.
    """

    name: ClassVar[str] = "crude-guard"

    margin_m: float = parameter(2.0, "m", -5.0, 10.0, "spare clearance that the logic aims at")

    @cached_property
    def pulse(self) -> Pulse:
        """The pulse, always the same."""
        return Pulse(HALF_WIDTH, 0.0)

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no pulse under way."""
        state = super().init(known, seen)
        return state | {
            "third": state["second"],
            "amplitude": state["offset"],
            "shape": state["offset"],
        }

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Weigh the last three passes."""
        third = np.where(after["heard"], before["second"], before["third"])
        first, second, last = WEIGHTS
        foreseen = first * after["newest"] + second * after["second"] + last * third
        return {"third": third}, foreseen

    def decide(self, state: State) -> dict[str, Array]:
        """Decide on an amplitude where a pulse begins."""
        shape = self.pulse.shape(state["angle"], CENTRE)
        begins = (shape > ZERO) & (state["shape"] <= ZERO)
        wanted = np.maximum((state["aim"] - state["foreseen"]) / RELIEF, ZERO)
        amplitude = np.where(begins, np.minimum(wanted, state["largest"]), state["amplitude"])
        return {
            "shape": shape,
            "amplitude": amplitude,
            "promised": amplitude * RELIEF,
            "offset": amplitude * shape,
        }
