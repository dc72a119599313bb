"""How is one wind described, and what does the standard prescribe for each kind of wind?

A `WindSpec` describes one wind in full; its identity excludes turbine stiffness and controller, so that
competing designs and controllers meet the same wind.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict, dataclass, replace
from typing import Any

from numpy.typing import NDArray

from sim.errors import InputError, closest
from sim.wind import gusts, standard
from sim.wind.standard import Site


@dataclass(frozen=True)
class WindSpec:
    """One wind, in full.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
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

    def __post_init__(self) -> None:
        problems = []
        if self.kind not in KINDS:
            problems.append(f"wind: kind = {self.kind!r} is not known{closest(str(self.kind), KINDS)}")
        for name, value in asdict(self).items():
            if name in ("kind", "label", "seed"):
                continue
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
        return _digest(asdict(self))

    def turbulence_key(self, component: int = 0) -> tuple[int, int]:
        """Return the Philox key (two integers below 2**64) of the turbulent field.

        Label, speed, seed and component make it; standard deviation, shear, hub height and diameter do not.
        So two sites or rotors of almost the same size meet almost the same field.
        """
        return _digest(
            {
                "purpose": "turbulence",
                "label": self.label,
                "speed": self.speed,
                "seed": self.seed,
                "component": component,
            }
        )

    def transient_table(self) -> NDArray[Any] | None:
        """Return the event's table (row, 4) as `sim.wind.gusts` describes it, None for a wind without one."""
        if self.kind == "operating_gust":
            return gusts.operating_gust(self.added_speed)
        if self.kind == "direction_change":
            return gusts.direction_change(self.added_direction)
        if self.kind == "coherent_gust":
            return gusts.coherent_gust(self.added_speed, self.added_direction)
        if self.kind in ("vertical_shear", "horizontal_shear"):
            return gusts.extreme_shear(self.added_vertical, self.added_horizontal)
        return None


def _digest(content: dict[str, Any]) -> tuple[int, int]:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    raw = hashlib.sha256(text.encode()).digest()
    return int.from_bytes(raw[:8], "little"), int.from_bytes(raw[8:16], "little")


def _steady(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {}


def _normal(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"sigma": standard.normal_sigma(site, speed)}


def _extreme(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"sigma": standard.extreme_sigma(site, speed)}


def _operating_gust(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"added_speed": standard.operating_gust_amplitude(site, speed)}


def _direction_change(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"added_direction": sign * standard.direction_change_angle(site, speed)}


def _coherent_gust(site: Site, speed: float, sign: int) -> dict[str, float]:
    angle = sign * standard.coherent_gust_angle(speed)
    return {"added_speed": standard.COHERENT_SPEED, "added_direction": angle}


def _vertical_shear(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"added_vertical": sign * standard.shear_gradient(site, speed)}


def _horizontal_shear(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"added_horizontal": sign * standard.shear_gradient(site, speed)}


KINDS = {
    "steady": _steady,
    "normal_turbulence": _normal,
    "extreme_turbulence": _extreme,
    "operating_gust": _operating_gust,
    "direction_change": _direction_change,
    "coherent_gust": _coherent_gust,
    "vertical_shear": _vertical_shear,
    "horizontal_shear": _horizontal_shear,
}
"""Each kind of wind, and what of a `WindSpec` the standard prescribes for it."""


def site_wind(kind: str, site: Site, speed: float, *, seed: int = 0, sign: int = 1, **other: Any) -> WindSpec:
    """Return the standard's wind of one kind at a site.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    site : Site
    speed : float [m/s]
        Ten-minute mean at the hub.
    seed : int
        Number of the turbulent field.
    sign : int
        +1 or -1: sense of a direction change or shear. Vertical shear of sign -1 has more wind low down.
    **other
        Any further field of `WindSpec`, set instead of the standard's value: ``label``, ``transient_start``,
        ``upflow``, ``yaw``, ``shear_exponent``, ``sigma``, ...

    Raises
    ------
    InputError
        For an unknown kind or field, a sign other than +1 and -1, or a value that `WindSpec` refuses.

    Notes
    -----
    Unless set: normal profile (exponent 0.2), no upflow, yaw error or veer, event at the start of the lane.
    The standard asks for upflow up to 8 degrees; the choice is the user's.
    """
    if kind not in KINDS:
        raise InputError(f"wind: kind = {kind!r} is not known{closest(str(kind), KINDS)}")
    if sign not in (-1, 1):
        raise InputError(f"wind: sign = {sign!r}; must be +1 or -1")
    if not speed > 0.0:
        raise InputError(f"wind: speed = {speed!r} m/s; must be > 0")
    known = [name for name in WindSpec.__dataclass_fields__ if name not in ("kind", "speed", "seed")]
    wrong = [name for name in other if name not in known]
    if wrong:
        raise InputError([f"wind: {name} is not known{closest(name, known)}" for name in wrong])
    plain = WindSpec(
        kind=kind,
        speed=speed,
        shear_exponent=standard.NORMAL_SHEAR_EXPONENT,
        upflow=0.0,
        yaw=0.0,
        veer=0.0,
        sigma=0.0,
        turbulence_scale=site.scale,
        seed=seed,
    )
    return replace(plain, **{**KINDS[kind](site, speed, sign), **other})
