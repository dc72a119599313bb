"""Over what life is fatigue reckoned, in which channels, and by which exponents?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sim.measures.curve import StressCurve

COMPOSITE, CAST_IRON, STEEL = 10.0, 8.0, 4.0
"""Exponents: composites about 10, cast iron 6 to 8, welded steel 3 to 4 (common practice, no source)."""


@dataclass(frozen=True)
class Channel:
    """One load of the bill.

    Parameters
    ----------
    record : name of the channel in records (`sim.counting`)
    exponent : of the stress curve where the user gives none [-]
    title : what people call it
    """

    record: str
    exponent: float
    title: str


CHANNELS: Mapping[str, Channel] = {
    "blade_root_flap": Channel("root_flap_moment", COMPOSITE, "blade root flap"),
    "blade_root_edge": Channel("root_edge_moment", COMPOSITE, "blade root edge"),
    "blade_root_out_of_plane": Channel("root_out_of_plane", COMPOSITE, "blade root out of plane"),
    "blade_root_in_plane": Channel("root_in_plane", COMPOSITE, "blade root in plane"),
    "pitch_bearing_resultant": Channel("root_resultant", STEEL, "pitch bearing, resultant"),
    "main_shaft_bending": Channel("shaft_bending", STEEL, "main shaft bending, turning"),
    "hub_tilt": Channel("hub_tilt", CAST_IRON, "hub tilt"),
    "hub_yaw": Channel("hub_yaw", CAST_IRON, "hub yaw"),
    "tower_base_fore_aft": Channel("tower_base_fore_aft", STEEL, "tower base fore-aft"),
    "tower_base_side_side": Channel("tower_base_side_side", STEEL, "tower base side-side"),
    "tower_top_fore_aft": Channel("tower_top_fore_aft", STEEL, "tower top fore-aft"),
    "tower_top_side_side": Channel("tower_top_side_side", STEEL, "tower top side-side"),
    "pitch_angle": Channel("pitch", STEEL, "pitch angle"),
}
"""Every channel of the bill by its public name; no law of wear stands behind the pitch angle's exponent."""


@dataclass(frozen=True)
class Curve:
    """What the user knows of one channel's section; moments in N m."""

    channel: str
    exponent: float
    exponent_below: float | None
    knee_range: float | None
    knee_cycles: float | None
    ultimate: float | None

    def stress_curve(self) -> StressCurve | None:
        """Return the curve for damage sums, None where the knee is not known."""
        if self.knee_range is None or self.knee_cycles is None:
            return None
        return StressCurve(self.knee_range, self.knee_cycles, self.exponent, self.exponent_below)


@dataclass(frozen=True)
class Life:
    """How long a turbine lives, in which winds."""

    years: float
    shape: float  #: of the wind's Weibull distribution; 2 is Rayleigh's [-]
    mean: float | None  #: annual mean wind speed [m/s]; None: that of the site's class
    availability: float  #: share of the time in production [-]
    reference_frequency: float  #: of equivalent ranges [Hz]
    curves: tuple[Curve, ...]

    def curve(self, channel: str) -> Curve | None:
        """Return what the user gave for a channel."""
        return next((curve for curve in self.curves if curve.channel == channel), None)

    def exponent(self, channel: str) -> float:
        """Return the exponent of a channel: the user's, or that of its material."""
        curve = self.curve(channel)
        return CHANNELS[channel].exponent if curve is None else curve.exponent

    def ultimate(self, channel: str) -> float | None:
        """Return the ultimate moment [N m] that the user gave for a channel."""
        curve = self.curve(channel)
        return None if curve is None else curve.ultimate
