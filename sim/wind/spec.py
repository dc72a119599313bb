"""How is one wind described?

A `WindSpec` describes one wind in full; its identity excludes turbine stiffness and controller, so that
competing designs and controllers meet the same wind.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError, closest
from sim.wind import gusts
from sim.wind.atmosphere import Profile
from sim.wind.measured import read_series

EVENTS = (
    "operating_gust",
    "direction_change",
    "coherent_gust",
    "vertical_shear",
    "horizontal_shear",
    "measured_series",
)
"""Kinds of wind with an event in time."""

KIND_NAMES = (
    "steady",
    "normal_profile",
    "extreme_steady",
    "normal_turbulence",
    "extreme_turbulence",
    "extreme_turbulent",
    *EVENTS,
)

MODELS = ("kaimal", "tensor", "longitudinal")
"""Turbulence: three components with the standard's spectra and coherence; a box of its sheared tensor; the
first component of ``kaimal`` alone."""


@dataclass(frozen=True)
class WindSpec:
    """One wind, in full.

    Parameters
    ----------
    kind : str
        One of `KIND_NAMES`.
    speed : float [m/s]
        Ten-minute mean at the hub.
    shear_exponent : float [-]
    upflow, yaw : float [rad]
        Inclination (positive upwards) and yaw error (positive: the wind comes from the left of the shaft,
        seen looking downwind).
    veer : float [rad/m]
        Turn of direction with height above the hub.
    sigma : float [m/s]
        Longitudinal standard deviation; 0 is wind without turbulence.
    turbulence_scale : float [m]
        Lambda1.
    seed : int
        Number of the turbulent field among those of the same label and speed.
    label : str
        What the wind belongs to; fields with other labels are other fields.
    added_speed : float [m/s]
        Size of a gust.
    added_direction : float [rad]
        Signed size of a direction change.
    added_vertical, added_horizontal : float [1/s]
        Signed gradients of an extreme shear, before its time function.
    transient_start : float [s]
        From the start of the lane, settling included.
    model : str
        One of `MODELS`.
    profile : sequence of (height [m], speed [m/s], direction [rad])
        The mean wind over height instead of power law and veer; directions from the hub's. Empty: none.
    series : str
        `sim.wind.measured.Series.digest` of the measured series of a wind of that kind.
    series_hub_height : float [m]
        From which the series' slope over height is counted.
    series_path : str
        Where the series lies; no part of the wind's identity.

    Raises
    ------
    InputError
        For an unknown kind, a value that is not finite, or a speed or scale that is not positive.
    """

    kind: str
    speed: float
    shear_exponent: float
    upflow: float
    yaw: float
    veer: float
    sigma: float
    turbulence_scale: float
    seed: int = 0
    label: str = ""
    added_speed: float = 0.0
    added_direction: float = 0.0
    added_vertical: float = 0.0
    added_horizontal: float = 0.0
    transient_start: float = 0.0
    model: str = "kaimal"
    profile: Sequence[Sequence[float]] = ()
    series: str = ""
    series_hub_height: float = 0.0
    series_path: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        problems = []
        for key, word, known in (("kind", self.kind, KIND_NAMES), ("model", self.model, MODELS)):
            if word not in known:
                problems.append(f"wind: {key} = {word!r} is not known{closest(str(word), known)}")
        object.__setattr__(self, "profile", tuple(tuple(map(float, row)) for row in self.profile))
        for name in _NUMBERS:
            value = getattr(self, name)
            if not math.isfinite(value):
                problems.append(f"wind: {name} = {value!r}; must be finite")
            object.__setattr__(self, name, float(value))
        if not self.speed > 0.0:
            problems.append(f"wind: speed = {self.speed!r} m/s; must be > 0")
        if not self.turbulence_scale > 0.0:
            problems.append(f"wind: turbulence_scale = {self.turbulence_scale!r} m; must be > 0")
        if self.sigma < 0.0:
            problems.append(f"wind: sigma = {self.sigma!r} m/s; must be >= 0")
        if problems:
            raise InputError(problems)

    def identity(self) -> tuple[int, int]:
        """Return two integers below 2**64 that stand for the whole wind: equal for equal specs only."""
        return _digest({name: value for name, value in asdict(self).items() if name != "series_path"})

    def turbulence_key(self, component: int = 0) -> tuple[int, int]:
        """Return the Philox key (two integers below 2**64) of the turbulent field.

        Label, speed, seed and component make it; standard deviation, shear, hub height and diameter do not.
        So two sites or rotors of almost the same size meet almost the same field.
        """
        return self.key_of("turbulence", component)

    def key_of(self, purpose: str, component: int = 0) -> tuple[int, int]:
        """Return the Philox key of what is drawn for this wind's label, speed and seed."""
        return _digest(
            {
                "purpose": purpose,
                "label": self.label,
                "speed": self.speed,
                "seed": self.seed,
                "component": component,
            }
        )

    def own_profile(self) -> Profile | None:
        """Return the mean wind over height, None where power law and veer tell it."""
        if not self.profile:
            return None
        heights, speeds, directions = np.array(self.profile).T
        return Profile(heights, speeds, directions)

    def transient_table(self) -> NDArray[Any] | None:
        """Return the event's table (row, 4) as `sim.wind.gusts` describes it, None for a wind without one.

        Raises
        ------
        InputError
            If a measured series cannot be read, or is no longer the one that the spec was made from.
        """
        if self.kind == "measured_series":
            series = read_series(self.series_path)
            if series.digest() != self.series:
                raise InputError(f"{self.series_path}: changed since the wind was described; run it again")
            return series.table(self.series_hub_height)
        if self.kind == "operating_gust":
            return gusts.operating_gust(self.added_speed)
        if self.kind == "direction_change":
            return gusts.direction_change(self.added_direction)
        if self.kind == "coherent_gust":
            return gusts.coherent_gust(self.added_speed, self.added_direction)
        if self.kind in ("vertical_shear", "horizontal_shear"):
            return gusts.extreme_shear(self.added_vertical, self.added_horizontal)
        return None


_TEXTS = ("kind", "label", "seed", "model", "profile", "series", "series_path")
_NUMBERS = tuple(name for name in WindSpec.__dataclass_fields__ if name not in _TEXTS)


def _digest(content: dict[str, Any]) -> tuple[int, int]:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    raw = hashlib.sha256(text.encode()).digest()
    return int.from_bytes(raw[:8], "little"), int.from_bytes(raw[8:16], "little")
