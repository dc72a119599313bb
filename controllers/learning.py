"""Which relief did the last passes in this wind need, and does giving it again do?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers.parameters import parameter
from controllers.pulsed import Pulsed
from controllers.signals import ZERO, clip, hold, number, row_starts, share_per_period
from sim.interface import Array, Known, Readings, State

BINS = 32
"""Bins of nacelle wind, one metre per second each, from 0; the last holds all above."""
LAST = number(BINS - 1)


@dataclass(frozen=True)
class Learning(Pulsed):
    """Repeat at every pass the relief that the passes before it in the same wind turned out to need.

    Notes
    -----
    Each bin of the nacelle wind, low-passed by ``filter_s``, keeps one relief R. When a pass is heard of,
    what it needed is known: N = aim - (its clearance - the relief that it was given). Then

        R += rise (max(N, 0) - R) where that is positive,    R += fall (max(N, 0) - R) elsewhere,

    so R lies above most of what was needed in that wind: it rests where rise E[(N - R)+] = fall E[(R - N)+],
    the expectile of max(N, 0) of order rise/(rise + fall). Every pass of that wind is then given R by a
    pulse (``pulsed``), which is to say that it is foreseen to fall short by R.

    It repeats rather than foresees: it cannot tell the one gust in a hundred from the ninety-nine others, and
    treats all alike.

    References
    ----------
    W. K. Newey, J. L. Powell, Asymmetric least squares estimation and testing, Econometrica 55 (1987)
    819-847, for expectiles (from memory). The use is derived here.
    """

    name: ClassVar[str] = "learning"
    needs: ClassVar[tuple[str, ...]] = (*Pulsed.needs, "wind_speed")

    margin_m: float = parameter(1.0, "m", -5.0, 10.0, "spare clearance that the logic aims at")
    rise: float = parameter(0.5, "-", 0.01, 1.0, "share of a shortfall that is learned at once")
    fall: float = parameter(0.005, "-", 0.0, 0.5, "share of an excess that is forgotten at each pass")
    start_m: float = parameter(0.0, "m", 0.0, 5.0, "relief given before anything is learned")
    filter_s: float = parameter(10.0, "s", 0.1, 120.0, "time constant of the wind filter")

    def init(self, known: Known, seen: Readings) -> State:
        """Start with nothing learned."""
        state = super().init(known, seen)
        wind = hold(seen, "wind_speed", known.steady.wind_speed[:, 0])
        return state | {
            "least_clearance": state["aim"][:, 0].copy(),
            "wind": wind,
            "last_wind": wind,
            "wind_share": share_per_period(state["period"], self.filter_s),
            "learned": np.full((len(wind), BINS), self.start_m),
        }

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Learn from a pass that is heard of, and expect of the next what the bin holds."""
        raw = hold(seen, "wind_speed", before["last_wind"])
        wind = before["wind"] + before["wind_share"] * (raw - before["wind"])
        at = clip(wind, ZERO, LAST).astype(np.int64) + row_starts(len(wind), BINS)
        relief = before["learned"].take(at)
        aim = before["least_clearance"]
        more = np.maximum(aim - after["newest"], ZERO) - relief
        share = np.where(more > ZERO, self.si.rise, self.si.fall)
        relief = relief + after["heard"] * share * more
        learned = before["learned"].copy()
        learned.reshape(-1)[at] = relief
        told = {"wind": wind, "last_wind": raw, "learned": learned}
        return told, aim - relief
