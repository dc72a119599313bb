"""What does the standard prescribe for each kind of wind at a site?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from sim.errors import InputError, closest
from sim.wind import standard
from sim.wind.gusts import HORIZONTAL, SPEED, TRANSIENT_STEP, VERTICAL
from sim.wind.spec import WindSpec
from sim.wind.standard import Site


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


def _normal_profile(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"shear_exponent": standard.NORMAL_SHEAR_EXPONENT}


def _extreme_steady(site: Site, speed: float, sign: int) -> dict[str, float]:
    return {"shear_exponent": standard.EXTREME_SHEAR_EXPONENT}


def _extreme_turbulent(site: Site, speed: float, sign: int) -> dict[str, float]:
    return _extreme_steady(site, speed, sign) | {"sigma": standard.extreme_wind_sigma(speed)}


KINDS = {
    "steady": _steady,
    "normal_profile": _normal_profile,
    "extreme_steady": _extreme_steady,
    "normal_turbulence": _normal,
    "extreme_turbulence": _extreme,
    "extreme_turbulent": _extreme_turbulent,
    "operating_gust": _operating_gust,
    "direction_change": _direction_change,
    "coherent_gust": _coherent_gust,
    "vertical_shear": _vertical_shear,
    "horizontal_shear": _horizontal_shear,
    "measured_series": _steady,
}
"""Each kind of wind, and what of a `WindSpec` the standard prescribes for it."""


def event_duration(spec: WindSpec) -> float:
    """Return how long [s] an event runs until it is over, or held; 0 for a wind without one."""
    table = spec.transient_table()
    return 0.0 if table is None else (len(table) - 1) * TRANSIENT_STEP


EDGES = (("lower tip", 0, -1), ("upper tip", 0, 1), ("left edge", 1, 0), ("right edge", -1, 0))
"""Outermost points of the disc, seen looking downwind: name, and place in radii to the left and upwards."""


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


def with_drawn_intensity(spec: WindSpec, site: Site) -> WindSpec:
    """Return a wind of normal turbulence whose standard deviation is drawn, by label, speed and seed.

    Notes
    -----
    Edition 2019: sigma1 is distributed as `sim.wind.standard.sigma_distribution` says. The draw has a Philox
    key of its own, so that it neither depends on the field nor changes it.
    """
    generator = np.random.Generator(np.random.Philox(key=np.array(spec.key_of("intensity"), np.uint64)))
    return replace(spec, sigma=standard.sigma_at(site, spec.speed, generator.random()))


def worst_time(spec: WindSpec, rotor_radius: float) -> float:
    """Return when [s] after its start an event is at its worst: where its wind differs most from the mean.

    Raises
    ------
    InputError
        For a wind without an event.

    Notes
    -----
    The largest of |added speed| + R (|vertical| + |horizontal| gradient) + V |1 - exp(i direction)|; the
    first time that it comes within a thousandth of that: the middle of gust and shear, the end of a ramp.
    """
    table = spec.transient_table()
    if table is None:
        raise InputError(f"wind: a wind of kind {spec.kind} has no event, so no worst part of one")
    speed, direction, vertical, horizontal = table.T
    size = abs(speed) + rotor_radius * (abs(vertical) + abs(horizontal))
    size += spec.speed * abs(1.0 - np.exp(1j * direction))
    return float(np.argmax(size >= 0.999 * size.max())) * TRANSIENT_STEP


def lowest_wind(spec: WindSpec, hub_height: float, rotor_radius: float) -> tuple[float, str]:
    """Return the smallest wind [m/s] at the rotor's edge while an event runs, and where.

    Raises
    ------
    InputError
        For a wind without an event.

    Notes
    -----
    Mean profile, added speed and added gradients at the four `EDGES` of the disc. The standard's
    formulas go below zero there at low speeds.
    """
    table = spec.transient_table()
    if table is None:
        raise InputError(f"wind: a wind of kind {spec.kind} has no event")
    own, found = spec.own_profile(), []
    for where, across, up in EDGES:
        height = hub_height + up * rotor_radius
        mean = standard.normal_profile(spec.speed, height, hub_height, spec.shear_exponent)
        if own is not None:
            mean = float(own.speed(height))
        slope = up * table[:, VERTICAL] + across * table[:, HORIZONTAL]
        found.append((mean + float(np.min(table[:, SPEED] + rotor_radius * slope)), where))
    return min(found)
