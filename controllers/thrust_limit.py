"""Which lowest pitch keeps the thrust below a share of its steady peak?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers.parameters import Parameters, parameter
from controllers.signals import (
    clip,
    interpolate,
    lane_period,
    look_up,
    resample,
    share_per_period,
    usable,
)
from sim.interface import Array, Commands, Known, Readings, State


@dataclass(frozen=True)
class ThrustLimit(Parameters):
    """Shave the thrust peak around rated wind: no blade may pitch below a schedule over wind speed.

    It acts on all blades alike, whatever passes the tower, and costs energy around rated; so it is
    part of power production, not tower-pass logic.

    Notes
    -----
    Schedule over the steady table: lowest pitch = steady pitch + (thrust - share * peak) / |dT/db|, at
    least fine. Where the steady thrust lies below the limit the difference is negative and the schedule
    falls away from the steady pitch, so it only ever cuts excursions above the limit. The table has no
    dT/db: a blade's thrust is taken as proportional to its root flap moment, dT/db =
    (thrust / moment) (d deflection/d pitch) / (deflection / moment). Derived here.

    The wind is the nacelle anemometer's, low-passed. A reading that is not usable is held; after
    ``blind_s`` without one the highest pitch of the schedule is kept, the safe side for the thrust.

    References
    ----------
    Peak shaving is common practice; T. Burton, N. Jenkins, D. Sharpe, E. Bossanyi, Wind Energy
    Handbook, 2nd ed. (2011), chapter 8 (from memory).
    """

    name: ClassVar[str] = "thrust-limit"
    needs: ClassVar[tuple[str, ...]] = ("wind_speed",)
    tower_pass: ClassVar[bool] = False
    power: ClassVar[bool] = False

    share: float = parameter(0.85, "-", 0.4, 1.2, "thrust that is allowed, as share of the steady peak")
    filter_s: float = parameter(4.0, "s", 0.1, 60.0, "time constant of the wind filter")
    rate_deg_s: float = parameter(2.0, "deg/s", 0.1, 10.0, "fastest change of the lowest pitch")
    blind_s: float = parameter(10.0, "s", 0.1, 600.0, "time without wind before the highest schedule is kept")

    def init(self, known: Known, seen: Readings) -> State:
        """Start at the wind that is seen, or blind if there is none."""
        ok = usable(seen, "wind_speed")
        schedule = self.schedule(known)
        start = np.where(ok, seen.wind_speed, known.steady.wind_speed[:, 0])
        table_wind = known.steady.wind_speed
        return {
            "period": lane_period(known),
            "wind_share": share_per_period(lane_period(known), self.filter_s),
            "wind": start,
            "last_wind": start,
            "blind": np.where(ok, 0.0, self.blind_s),
            "lowest": interpolate(start, table_wind, schedule),
            "fine": known.fine_pitch,
            "feather": known.feather_pitch,
            "first_wind": table_wind[:, 0],
            "wind_span": table_wind[:, -1] - table_wind[:, 0],
            "highest": np.max(schedule, axis=1),
            "table_lowest": resample(table_wind, schedule, table_wind[:, 0], table_wind[:, -1], 67),
        }

    def schedule(self, known: Known) -> Array:
        """Return the lowest pitch over the steady table's wind speeds, (lane, point) [rad]."""
        steady = known.steady
        moment = np.where(np.abs(steady.root_flap_moment) > 0.0, steady.root_flap_moment, 1.0)
        blade_moment_slope = np.abs(steady.deflection_per_pitch / known.deflection_per_moment[:, None])
        slope = np.abs(steady.thrust / moment) * blade_moment_slope
        peak = np.max(steady.thrust, axis=1)[:, None]
        smallest = 0.5 * peak
        excess = (steady.thrust - self.share * peak) / np.maximum(slope, smallest)
        return np.clip(steady.pitch + excess, known.fine_pitch[:, None], known.feather_pitch[:, None])

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Raise every blade that stands below the schedule."""
        period = state["period"]
        ok = usable(seen, "wind_speed")
        raw = np.where(ok, seen.wind_speed, state["last_wind"])
        wind = state["wind"] + state["wind_share"] * (raw - state["wind"])
        blind = np.where(ok, 0.0, state["blind"] + period)
        wanted = look_up(state["table_lowest"], (wind - state["first_wind"]) / state["wind_span"])
        wanted = np.where(blind > self.blind_s, state["highest"], wanted)
        step = np.deg2rad(self.rate_deg_s) * period
        lowest = clip(wanted, state["lowest"] - step, state["lowest"] + step)
        after = state | {"wind": wind, "last_wind": raw, "blind": blind, "lowest": lowest}
        return after, Commands(np.maximum(below.pitch, lowest[:, None]), below.torque, below.stop)
