"""What will the wind that was seen ahead of the rotor do to the passes to come?"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians
from typing import ClassVar

import numpy as np

from controllers import rotor
from controllers.approach import passed_meanwhile
from controllers.guard import Guard
from controllers.parameters import parameter
from controllers.pulse import response_lag
from controllers.signals import (
    FULL_TURN,
    ZERO,
    age,
    clip,
    hold,
    interpolate,
    number,
    row_starts,
    share_per_period,
    usable,
)
from sim.interface import Array, Known, Readings, State

SLOTS, SLOT_TICKS = 128, 8
"""What was seen ahead is kept for 128 times 8 periods: 41 s at 0.04 s. A power of two: & is the remainder."""
EVERY, AROUND, FURTHEST = np.array(SLOT_TICKS), np.array(SLOTS - 1), number(SLOTS - 1)
WINDS, PER_WIND = 160, number(4.0)
"""Bins of wind, a quarter of a metre per second each, from 0; the last holds all above."""
LAST_WIND = number(WINDS - 1)
LONGEST_GAP = number(2.0)
"""Time without preview after which nothing is expected of it [s]."""
SLOWEST_WIND, SLOWEST_TURN = number(2.0), number(radians(6.0))
"""What the advection [m/s] and the rotor speed [rad/s] are at least, where they divide."""


@dataclass(frozen=True)
class Preview(Guard):
    """A guard that also knows how the wind at the next pass will differ from that at the last.

    Notes
    -----
    The sensor sees the wind ``preview_range`` ahead; it comes on at its own mean speed (low-passed over
    ``advection_s``), so that what met the rotor at a time t was seen at t - range/speed. Of the wind seen,
    low-passed over ``smooth_s``, the difference between the coming pass and the witness, times

        d(deflection)/d(wind) at constant pitch = d w/d V - (d w/d pitch) (d pitch/d V)

    along the steady table, is the growth of the deflection; ``preview_weight`` of it is taken off the
    guard's forecast. The flap mode answers the wind late by its own lag. What the witness met is what was
    expected for it at the last look ahead before its pass; to look ahead is a slow task here (``slow_task``).

    A point ahead tells a part only of the wind low on the disc: turbulence changes on its way and is
    not the same across the rotor, so in turbulence a small share is right (0.13 by regression on the demo
    turbine, 40 m below the hub and 120 m ahead), in a gust over the whole disc all of it. Without preview for
    two seconds this is the guard, looking ahead as seldom.

    References
    ----------
    Derived here. The idea at large: D. Schlipf, D. J. Schlipf, M. Kuehn, Nonlinear model predictive control
    of wind turbines using LIDAR, Wind Energy 16 (2013) 1107-1129 (from memory).
    """

    name: ClassVar[str] = "preview"
    needs: ClassVar[tuple[str, ...]] = (*Guard.needs, "wind_preview")
    slow: ClassVar[bool] = True

    preview_weight: float = parameter(0.25, "-", 0.0, 1.5, "share of the seen wind's effect that is expected")
    smooth_s: float = parameter(1.0, "s", 0.04, 10.0, "time constant over which the seen wind is averaged")
    advection_s: float = parameter(20.0, "s", 1.0, 120.0, "time constant of the speed at which it comes on")

    def init(self, known: Known, seen: Readings) -> State:
        """Start as if the wind that is seen had blown all along."""
        state, table = super().init(known, seen), known.steady
        wind = hold(seen, "wind_preview", table.wind_speed[:, 0] + 0.0 * state["speed"])
        towards = -known.side[:, None]
        bins = [(n + 0.5) / PER_WIND + 0.0 * wind for n in range(WINDS)]
        effect = [interpolate(middle, table.wind_speed, towards * wind_effect(known)) for middle in bins]
        return state | {
            "seen_wind": wind,
            "last_preview": wind,
            "advection": wind,
            "no_preview": np.where(np.isfinite(known.preview_range), 0.0, np.inf),
            "ahead": np.where(np.isfinite(known.preview_range), known.preview_range, 100.0),
            "smooth_share": share_per_period(state["pace"], self.smooth_s),
            "advection_share": share_per_period(state["pace"], self.advection_s),
            "kept_winds": np.repeat(wind[:, None], SLOTS, axis=1),
            "slots_per_s": 1.0 / (SLOT_TICKS * state["period"]),
            "late": response_lag(known) - rotor.servo_lag(known) - self.smooth_s,
            "coming": wind,
            "met_at_pass": wind,
            "met_then": wind,
            "per_wind": np.stack(effect, axis=1),
        }

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Correct the guard's forecast by what the wind will have changed by."""
        ok = usable(seen, "wind_preview")
        raw = np.where(ok, seen.wind_preview, before["last_preview"])
        wind = before["seen_wind"] + before["smooth_share"] * (raw - before["seen_wind"])
        advection = before["advection"] + before["advection_share"] * (raw - before["advection"])
        missing = np.where(ok, ZERO, before["no_preview"] + before["pace"])
        row, slot = row_starts(len(wind), SLOTS), (seen.tick // EVERY) & AROUND
        kept = before["kept_winds"].copy()
        kept.reshape(-1)[row + slot] = wind
        since = after["since_pass"]
        apart = number(FULL_TURN / after["angle"].shape[1]) / np.maximum(after["speed"], SLOWEST_TURN)
        on_the_way = before["ahead"] / np.maximum(advection, SLOWEST_WIND) + before["late"]
        ago = on_the_way - age(seen, "wind_preview") - np.maximum(apart - since, ZERO)
        back = clip(ago * before["slots_per_s"], ZERO, FURTHEST).astype(np.int64)
        coming = kept.ravel()[row + ((slot - back) & AROUND)]
        at_pass = np.where(passed_meanwhile(before, after), before["coming"], before["met_at_pass"])
        then = np.where(after["awaited"], before["met_then"], at_pass)
        place = clip(coming * PER_WIND, ZERO, LAST_WIND).astype(np.int64)
        effect = before["per_wind"].ravel()[place + row_starts(len(wind), WINDS)]
        nearer = effect * (coming - then) * (missing < LONGEST_GAP)
        told = {
            "seen_wind": wind,
            "last_preview": raw,
            "advection": advection,
            "no_preview": missing,
            "kept_winds": kept,
            "coming": coming,
            "met_at_pass": at_pass,
            "met_then": then,
        }
        return told, self.foresight.foresee(after, *given) - self.si.preview_weight * nearer


def wind_effect(known: Known) -> Array:
    """Return d(tip deflection)/d(wind) at constant pitch along the steady table, (lane, point) [m s/m]."""
    steady = known.steady
    step = np.diff(steady.wind_speed, axis=1)
    pitch = np.diff(steady.pitch, axis=1)
    slope = 0.5 * (steady.deflection_per_pitch[:, 1:] + steady.deflection_per_pitch[:, :-1])
    bent = np.diff(steady.tip_deflection, axis=1) - slope * pitch
    effect = np.where(step > 0.0, bent / np.where(step > 0.0, step, 1.0), 0.0)
    return np.concatenate([effect[:, :1], effect], axis=1)
