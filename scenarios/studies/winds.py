"""What are a site's standard wind conditions?"""

from __future__ import annotations

import logging
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import Answer, table
from sim.errors import InputError
from sim.wind import standard
from sim.wind.gusts import DIRECTION, HORIZONTAL, SPEED, TRANSIENT_STEP, VERTICAL
from sim.wind.kinds import lowest_wind, site_wind
from sim.wind.spec import WindSpec
from sim.wind.standard import NORMAL_SHEAR_EXPONENT, Site

Array = NDArray[Any]
OPTIONS: Mapping[str, str] = {
    "turbine_class": "--class",
    "category": "--category",
    "hub_height": "--hub-height",
    "rotor_diameter": "--diameter",
    "reference_speed": "--reference-speed",
    "average_speed": "--average-speed",
    "reference_intensity": "--reference-intensity",
}
"""How the command line calls what a `Site` needs."""

EVENTS = (
    ("operating gust", "operating_gust", 1),
    ("direction change", "direction_change", 1),
    ("coherent gust with direction change", "coherent_gust", 1),
    ("vertical shear, more wind high up", "vertical_shear", 1),
    ("vertical shear, more wind low down", "vertical_shear", -1),
    ("horizontal shear, more wind on the left", "horizontal_shear", 1),
    ("horizontal shear, more wind on the right", "horizontal_shear", -1),
)
"""Title, kind and sign of every event that the standard defines for a turbine that makes power."""

AFTER_S = 3.0
"""How long an event is drawn on after its end [s]."""


@dataclass(frozen=True)
class Event:
    """One event at the rotor: winds over time at five points [m/s], and the direction [rad]."""

    title: str
    kind: str
    sign: int
    time: Array
    hub: Array
    top: Array
    bottom: Array
    left: Array  #: looking downwind
    right: Array
    direction: Array
    lowest: tuple[float, str]  #: the smallest wind at the rotor's edge [m/s], and where


def make_site(given: Mapping[str, Any]) -> Site:
    """Return the site of command-line values, keyed as `OPTIONS` is.

    Raises
    ------
    InputError
        If they are impossible; the message names the option.
    """
    try:
        return Site(**given)
    except InputError as error:
        raise InputError([_in_options(text) for text in error.problems]) from error


def _in_options(text: str) -> str:
    text = text.removeprefix("site: ")
    for name, option in OPTIONS.items():
        text = text.replace(name, option)
    return text


def run(site: Site, speed: float, out: Path | None = None) -> Answer:
    """Return a site's standard conditions at one wind speed; with ``out``, also draw its events there.

    Parameters
    ----------
    speed : float [m/s]
        Ten-minute mean at the hub.

    Raises
    ------
    InputError
        For a speed that is not positive, or above Vref, where the standard defines no events; the picture
        cannot be written.
    """
    if not 0.0 < speed <= site.vref:
        raise InputError(
            f"--speed = {speed:g} m/s; must be above 0 and at most Vref = {site.vref:g} m/s: gusts, "
            "direction changes and shears are defined for a turbine that makes power"
        )
    events = [event_at(site, speed, *told) for told in EVENTS]
    data = conditions(site, speed) | {"warnings": warnings(events)}
    for warning in data["warnings"]:
        logging.getLogger("wideberth").warning(warning)
    if out is not None:
        data["picture"] = str(_draw(events, out))
    return Answer(data, text_of(data))


def conditions(site: Site, speed: float) -> dict[str, Any]:
    """Return the standard's numbers; units in the names."""
    gust = standard.operating_gust_amplitude(site, speed)
    radius = 0.5 * site.rotor_diameter
    bracket = standard.shear_gradient(site, speed) * site.rotor_diameter
    low, high = (
        standard.normal_profile(
            speed, site.hub_height + side * radius, site.hub_height, NORMAL_SHEAR_EXPONENT
        )
        for side in (-1.0, 1.0)
    )
    shape, scale = standard.sigma_distribution(site, speed)
    return {
        "class": site.turbine_class,
        "category": site.category,
        "hub_height_m": site.hub_height,
        "diameter_m": site.rotor_diameter,
        "speed_m_s": speed,
        "reference_m_s": site.vref,
        "average_m_s": site.vave,
        "reference_intensity": site.iref,
        "turbulence_scale_m": site.scale,
        "bottom_normal_m_s": low,
        "top_normal_m_s": high,
        "sigma_normal_m_s": standard.normal_sigma(site, speed),
        "sigma_normal_weibull_shape": shape,
        "sigma_normal_weibull_scale_m_s": scale,
        "sigma_extreme_m_s": standard.extreme_sigma(site, speed),
        "operating_gust_m_s": gust,
        "operating_gust_min_m_s": speed + standard.GUST_TROUGH * gust,
        "operating_gust_max_m_s": speed + standard.GUST_PEAK * gust,
        "direction_change_deg": math.degrees(standard.direction_change_angle(site, speed)),
        "coherent_gust_m_s": standard.COHERENT_SPEED,
        "coherent_gust_direction_deg": math.degrees(standard.coherent_gust_angle(speed)),
        "shear_amplitude_m_s": bracket,
        "shear_top_positive_m_s": high + bracket,
        "shear_bottom_positive_m_s": low - bracket,
        "shear_top_negative_m_s": high - bracket,
        "shear_bottom_negative_m_s": low + bracket,
        "extreme_50_year_m_s": standard.extreme_speed_50(site),
        "extreme_1_year_m_s": standard.extreme_speed_1(site),
        "extreme_turbulent_50_year_m_s": standard.extreme_mean(site, 50),
        "extreme_turbulent_1_year_m_s": standard.extreme_mean(site, 1),
    }


def event_at(site: Site, speed: float, title: str, kind: str, sign: int) -> Event:
    """Return one event with the normal profile under it."""
    events = site_wind(kind, site, speed, sign=sign)
    return _laid_out(events, title, site.hub_height, 0.5 * site.rotor_diameter, sign)


def _laid_out(spec: WindSpec, title: str, hub: float, radius: float, sign: int) -> Event:
    rows = spec.transient_table()
    if rows is None:
        raise ValueError(f"{spec.kind} is no event")
    held = np.repeat(rows[-1:], round(AFTER_S / TRANSIENT_STEP), axis=0)
    rows = np.concatenate([np.repeat(rows[:1], round(1.0 / TRANSIENT_STEP), axis=0), rows, held])

    def at(y: float, z: float) -> Array:
        mean = standard.normal_profile(spec.speed, hub + z, hub, spec.shear_exponent)
        return mean + rows[:, SPEED] + rows[:, VERTICAL] * z + rows[:, HORIZONTAL] * y

    return Event(
        title, spec.kind, sign, TRANSIENT_STEP * np.arange(len(rows)) - 1.0,
        at(0.0, 0.0), at(0.0, radius), at(0.0, -radius), at(radius, 0.0), at(-radius, 0.0),
        rows[:, DIRECTION], lowest_wind(spec, hub, radius),
    )  # fmt: skip


def warnings(events: list[Event]) -> list[str]:
    """Return what is odd about events, though it is the standard's own."""
    return [
        f"{event.title}: the standard's formula goes to {event.lowest[0]:.2f} m/s at the {event.lowest[1]}, "
        "below zero; it is marched as it stands"
        for event in events
        if event.lowest[0] < 0.0
    ]


def _draw(events: list[Event], out: Path) -> Path:
    from scenarios.report.page import write
    from scenarios.report.wind_figures import events_figure

    path = out / "winds.svg"
    write(path, events_figure(events))
    return path


def text_of(data: Mapping[str, Any]) -> str:
    """Return the conditions for people."""
    d = data

    def span(low: str, high: str) -> str:
        return f"{d[low]:.2f} / {d[high]:.2f} m/s"

    rows = [
        ["normal profile, exponent 0.2", span("bottom_normal_m_s", "top_normal_m_s"), "bottom / top"],
        ["normal turbulence", f"{d['sigma_normal_m_s']:.3f} m/s", "standard deviation, 90 % quantile"],
        ["", f"{d['sigma_normal_weibull_scale_m_s']:.3f} m/s, {d['sigma_normal_weibull_shape']:.2f}",
         "Weibull scale and shape (edition 2019)"],
        ["extreme turbulence", f"{d['sigma_extreme_m_s']:.3f} m/s", "standard deviation"],
        ["operating gust", f"{d['operating_gust_m_s']:.3f} m/s",
         f"hub from {d['operating_gust_min_m_s']:.3f} to {d['operating_gust_max_m_s']:.3f} m/s in 10.5 s"],
        ["direction change", f"{d['direction_change_deg']:.2f} deg", "in 6 s, then held"],
        ["coherent gust", f"{d['coherent_gust_m_s']:.1f} m/s, {d['coherent_gust_direction_deg']:.2f} deg",
         "in 10 s, then held"],
        ["extreme shear", f"{d['shear_amplitude_m_s']:.3f} m/s", "added at the tip, 6 s after the start"],
        ["  more wind high up", span("shear_bottom_positive_m_s", "shear_top_positive_m_s"), "bottom / top"],
        ["  more wind low down", span("shear_bottom_negative_m_s", "shear_top_negative_m_s"), "bottom / top"],
        ["extreme wind, 50 years", f"{d['extreme_50_year_m_s']:.1f} m/s",
         f"3 s gust; turbulent with a mean of {d['extreme_turbulent_50_year_m_s']:.1f} m/s"],
        ["extreme wind, 1 year", f"{d['extreme_1_year_m_s']:.1f} m/s",
         f"3 s gust; turbulent with a mean of {d['extreme_turbulent_1_year_m_s']:.1f} m/s"],
    ]  # fmt: skip
    head = (
        f"class {d['class']}, category {d['category']}: Vref {d['reference_m_s']:g} m/s, annual mean "
        f"{d['average_m_s']:g} m/s, intensity {d['reference_intensity']:g} at 15 m/s\n"
        f"hub {d['hub_height_m']:g} m, rotor {d['diameter_m']:g} m, turbulence scale "
        f"{d['turbulence_scale_m']:g} m; at {d['speed_m_s']:g} m/s:"
    )
    parts = [head, table(["condition", "size", "what"], rows, left=3)]
    if "picture" in d:
        parts.append(f"picture: {d['picture']}")
    return "\n\n".join(parts)
