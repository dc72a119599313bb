"""What will the wind that was seen ahead of the rotor do to the passes to come?"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians
from typing import ClassVar

import numpy as np

from controllers import rotor
from controllers.guard import Guard
from controllers.parameters import parameter
from controllers.pulse import response_lag
from controllers.signals import FULL_TURN, age, hold, look_up, resample, row_starts, share_per_period, usable
from sim.interface import Array, Known, Readings, State

SLOTS, SLOT_TICKS = 160, 5
"""What was seen ahead is kept for 160 times 5 periods: 32 s at 0.04 s."""
LONGEST_GAP_S = 2.0
"""Time without preview after which nothing is expected of it."""


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
    guard's forecast. The flap mode answers the wind late by its own lag.

    A point ahead tells a part only of the wind low on the disc: turbulence changes on its way and is
    not the same across the rotor, so in turbulence a small share is right (0.13 by regression on the demo
    turbine, 40 m below the hub and 120 m ahead), in a gust over the whole disc all of it. Without preview for
    two seconds this is the guard.

    References
    ----------
    Derived here. The idea at large: D. Schlipf, D. J. Schlipf, M. Kuehn, Nonlinear model predictive control
    of wind turbines using LIDAR, Wind Energy 16 (2013) 1107-1129 (from memory).
    """

    name: ClassVar[str] = "preview"
    needs: ClassVar[tuple[str, ...]] = (*Guard.needs, "wind_preview")

    preview_weight: float = parameter(0.25, "-", 0.0, 1.5, "share of the seen wind's effect that is expected")
    smooth_s: float = parameter(1.0, "s", 0.04, 10.0, "time constant over which the seen wind is averaged")
    advection_s: float = parameter(20.0, "s", 1.0, 120.0, "time constant of the speed at which it comes on")

    def init(self, known: Known, seen: Readings) -> State:
        """Start as if the wind that is seen had blown all along."""
        state, table = super().init(known, seen), known.steady
        wind = hold(seen, "wind_preview", table.wind_speed[:, 0] + 0.0 * state["speed"])
        first, last = table.wind_speed[:, 0], table.wind_speed[:, -1]
        towards = -known.side[:, None]
        return state | {
            "seen_wind": wind,
            "last_preview": wind,
            "advection": wind,
            "no_preview": np.where(np.isfinite(known.preview_range), 0.0, np.inf),
            "ahead": np.where(np.isfinite(known.preview_range), known.preview_range, 100.0),
            "smooth_share": share_per_period(state["period"], self.smooth_s),
            "advection_share": share_per_period(state["period"], self.advection_s),
            "kept_winds": np.repeat(wind[:, None], SLOTS, axis=1),
            "flap_lag": response_lag(known) - rotor.servo_lag(known),
            "met_at_pass": wind,
            "met_then": wind,
            "first_wind": first,
            "wind_span": last - first,
            "per_wind": resample(table.wind_speed, towards * wind_effect(known), first, last, 45),
        }

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Correct the guard's forecast by what the wind will have changed by."""
        period = before["period"]
        ok = usable(seen, "wind_preview")
        raw = np.where(ok, seen.wind_preview, before["last_preview"])
        wind = before["seen_wind"] + before["smooth_share"] * (raw - before["seen_wind"])
        advection = before["advection"] + before["advection_share"] * (raw - before["advection"])
        missing = np.where(ok, 0.0, before["no_preview"] + period)
        row = row_starts(len(wind), SLOTS)
        slot = (seen.tick // SLOT_TICKS) % SLOTS
        kept = before["kept_winds"].copy()
        kept.reshape(-1)[row + slot] = wind
        on_the_way = before["ahead"] / np.maximum(advection, 2.0) + before["flap_lag"]
        on_the_way = on_the_way - (age(seen, "wind_preview") + self.smooth_s)
        apart = FULL_TURN / after["angle"].shape[1] / np.maximum(after["speed"], radians(6.0))
        to_pass = np.maximum(apart - after["since_pass"], 0.0)
        flat, per_slot = kept.reshape(-1), 1.0 / (SLOT_TICKS * period)
        met = flat.take(row + (slot - slots_back(on_the_way * per_slot)) % SLOTS)
        coming = flat.take(row + (slot - slots_back((on_the_way - to_pass) * per_slot)) % SLOTS)
        at_pass = np.where(after["since_pass"] == 0.0, met, before["met_at_pass"])
        then = np.where(after["awaited"], before["met_then"], at_pass)
        effect = look_up(before["per_wind"], (coming - before["first_wind"]) / before["wind_span"])
        nearer = np.where(missing < LONGEST_GAP_S, effect * (coming - then), 0.0)
        told = {
            "seen_wind": wind,
            "last_preview": raw,
            "advection": advection,
            "no_preview": missing,
            "kept_winds": kept,
            "met_at_pass": at_pass,
            "met_then": then,
        }
        return told, self.foresight.foresee(after, *given) - self.preview_weight * nearer


def slots_back(count: Array) -> Array:
    """Return how many slots ago that was, within what is kept, (lane,) int64."""
    return np.minimum(np.maximum(count, 0.0), SLOTS - 1.0).astype(np.int64)


def wind_effect(known: Known) -> Array:
    """Return d(tip deflection)/d(wind) at constant pitch along the steady table, (lane, point) [m s/m]."""
    steady = known.steady
    step = np.diff(steady.wind_speed, axis=1)
    pitch = np.diff(steady.pitch, axis=1)
    slope = 0.5 * (steady.deflection_per_pitch[:, 1:] + steady.deflection_per_pitch[:, :-1])
    bent = np.diff(steady.tip_deflection, axis=1) - slope * pitch
    effect = np.where(step > 0.0, bent / np.where(step > 0.0, step, 1.0), 0.0)
    return np.concatenate([effect[:, :1], effect], axis=1)
