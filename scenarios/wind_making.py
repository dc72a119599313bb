"""Which winds does a load case of a scenario amount to at one turbine?"""

from __future__ import annotations

import logging
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from scenarios.case import seed_of
from scenarios.scenario_file import ScenarioKeys
from scenarios.wind_keys import EXTREME, TURBULENT, WindKeys
from scenarios.wind_series import doubts, read_whole, rival_key
from sim.design import Turbine
from sim.errors import InputError
from sim.keyfile import Lines, place, problem
from sim.wind.atmosphere import Profile, low_level_jet, shear_exponent, surface_layer, with_veer
from sim.wind.grid import BOX_REACH
from sim.wind.kinds import KINDS, event_duration, lowest_wind, site_wind, with_drawn_intensity, worst_time
from sim.wind.measured import Series, read_profile
from sim.wind.spec import EVENTS, WindSpec
from sim.wind.standard import Site, extreme_gust, extreme_mean

PROFILE_POINTS = 41
"""Heights at which a case keeps a profile."""

SITE_KEYS = {
    "turbine_class": "wind_class",
    "category": "turbulence_category",
    "reference_speed": "reference_wind_speed_m_s",
    "average_speed": "average_wind_speed_m_s",
    "reference_intensity": "reference_turbulence_intensity",
    "hub_height": "hub_height_m of the turbine",
}
"""How a scenario file calls what a `Site` needs."""


@dataclass(frozen=True)
class Blown:
    """One wind of a load case, and how it is run."""

    spec: WindSpec
    number: int  #: of the seed or phase, from 1
    seed: int  #: of the sensors' noise
    duration: float  #: [s] judged
    phase: float = 0.0  #: share of the sweep of rotor positions
    meets_blade: int = 0  #: counted from 1; 0: none; of a rotor at rest the one that hangs down
    meets_s: float = 0.0  #: from the start of the lane


class WindMaker:
    """Turns the checked keys of winds into specs; every fault that it meets gets the file's line."""

    def __init__(
        self, path: Path, lines: Lines, keys: ScenarioKeys, beside: Callable[[str, str], Path]
    ) -> None:
        self.path, self.lines, self.keys, self.beside = path, lines, keys, beside
        self._series: dict[Path, Series] = {}
        self._warned: set[str] = set()

    def winds(self, index: int, design: Turbine) -> Iterator[Blown]:
        """Yield the winds of ``winds[index]`` at a turbine."""
        keys, at = self.keys.winds[index], f"winds[{index}]"
        site = self._site(design)
        if keys.meets_blade and keys.meets_blade > design.rotor.blade_count:
            sentence = f"the rotor has {design.rotor.blade_count} blades"
            raise InputError(self._problem(f"{at}.meets_blade", keys.meets_blade, sentence))
        for position, speed in enumerate(self._speeds(keys, at, site)):
            where = f"{at}.speeds_m_s[{position}]" if keys.speeds_m_s else f"{at}.series_file"
            self._check_speed(where, speed, keys, design, site)
            spec = self._spec(keys, at, speed, design, site)
            self._check_length(keys, spec)
            self._warn(keys, spec, design)
            yield from self._numbered(keys, spec, design, site)

    def _numbered(self, keys: WindKeys, spec: WindSpec, design: Turbine, site: Site) -> Iterator[Blown]:
        count = (keys.seeds if keys.kind in TURBULENT else keys.phases) or 1
        for number in range(1, count + 1):
            seed = seed_of(self.keys.seed, keys.label, spec.speed, number)
            if keys.kind in TURBULENT:
                drawn = replace(spec, seed=seed)
                if keys.intensity == "drawn":
                    drawn = with_drawn_intensity(drawn, site)
                yield Blown(drawn, number, seed, self.keys.duration_s, meets_blade=keys.meets_blade or 0)
                continue
            phase = (number - (0.5 if keys.at_rest else 1.0)) / count
            made = Blown(spec, number, seed, self._duration(keys), phase, keys.meets_blade or 0)
            if keys.meets_blade and not keys.at_rest:
                worst = spec.transient_start + worst_time(spec, design.rotor_radius)
                made = replace(made, meets_s=worst)
            yield made

    def _check_length(self, keys: WindKeys, spec: WindSpec) -> None:
        """Refuse to cut a gust off."""
        if keys.kind not in EVENTS or keys.series_file is not None:
            return
        lasts = event_duration(spec)
        if self.keys.gust_duration_s < lasts:
            kind = keys.kind.replace("_", " ")
            sentence = f"must be at least {lasts:g} s, as long as the {kind} of {keys.label}"
            raise InputError(self._problem("gust_duration_s", self.keys.gust_duration_s, sentence))

    def _duration(self, keys: WindKeys) -> float:
        if keys.series_file is None:
            return self.keys.gust_duration_s
        whole = self._read_series(keys).duration / self.keys.period_s
        return self.keys.period_s * math.floor(whole + 1e-6)

    def _speeds(self, keys: WindKeys, at: str, site: Site) -> list[float]:
        if keys.series_file is not None:
            with self._told(f"{at}.series_file"):
                series = self._read_series(keys)
            rival = rival_key(keys, series)
            if rival:
                sentence = "the series tells further heights, and so the profile, itself"
                raise InputError(self._problem(f"{at}.{rival}", getattr(keys, rival), sentence))
            for doubt in doubts(keys, series):
                self._say(doubt)
            return [series.mean_speed]
        if keys.kind in EXTREME:
            of_period = extreme_gust if keys.kind == "extreme_steady" else extreme_mean
            return [of_period(site, keys.return_period_years or 50)]
        return list(keys.speeds_m_s or ())

    def _read_series(self, keys: WindKeys) -> Series:
        path = self.beside("winds", keys.series_file or "")
        if path not in self._series:
            self._series[path] = read_whole(path)
        return self._series[path]

    def _check_speed(self, key: str, speed: float, keys: WindKeys, design: Turbine, site: Site) -> None:
        low, high = design.machine.cut_in, design.machine.cut_out
        if keys.kind in EVENTS and speed > site.vref:
            sentence = f"above Vref = {site.vref:g} m/s the standard defines no {keys.kind.replace('_', ' ')}"
            raise InputError(self._problem(key, speed, sentence))
        if keys.kind in EXTREME:
            if speed > high and not keys.at_rest:
                self._say(
                    f"{keys.label}: {speed:g} m/s is above cut-out ({high:g} m/s), where a turbine stands "
                    'still; it is marched with its rotor turning under the stack (rotor = "at_rest" holds it)'
                )
        elif not low <= speed <= high:
            sentence = f"must be from cut-in to cut-out, {low:g} to {high:g} m/s"
            if keys.series_file is not None:
                where = place(self.path, self.lines, key)
                raise InputError(f"{where}: {key}: its mean speed, {speed:.4g} m/s, {sentence}")
            raise InputError(self._problem(key, round(speed, 3), sentence))

    def _spec(self, keys: WindKeys, at: str, speed: float, design: Turbine, site: Site) -> WindSpec:
        ours = self.keys.site

        def own(key: str) -> Any:
            value = getattr(keys, key)
            return getattr(ours, key) if value is None else value

        told: dict[str, Any] = {
            "label": keys.label,
            "upflow": math.radians(own("upflow_deg")),
            "yaw": math.radians(own("yaw_error_deg")),
            "veer": math.radians(own("veer_deg_per_m")),
            "model": own("turbulence_model"),
            "transient_start": self.keys.settle_s,
        }
        exponent = keys.shear_exponent
        if exponent is None and "shear_exponent" not in KINDS[keys.kind](site, speed, keys.sign):
            exponent = ours.shear_exponent
        if keys.exponent_from_surface:
            with self._told(f"{at}.{_surface_key(keys)}"):
                exponent = shear_exponent(site.hub_height, keys.roughness_m or 0.0, _length(keys))
        if exponent is not None:
            told["shear_exponent"] = exponent
        if keys.series_file is not None:
            path = self.beside("winds", keys.series_file)
            told |= {"series": self._series[path].digest(), "series_path": str(path)}
            told["series_hub_height"] = site.hub_height
        with self._told(at):
            spec = site_wind(keys.kind, site, speed, sign=keys.sign, **told)
        profile = self._profile(keys, at, spec, design)
        return spec if profile is None else replace(spec, profile=_rows(profile, design))

    def _profile(self, keys: WindKeys, at: str, spec: WindSpec, design: Turbine) -> Profile | None:
        hub, radius = design.rotor.hub_height, design.rotor_radius
        top = hub + BOX_REACH * radius
        if keys.profile_file is not None:
            with self._told(f"{at}.profile_file"):
                read = read_profile(self.beside(f"{at}.profile_file", keys.profile_file))
                read.covers(hub - radius, hub + radius)
                made = read.relative_to(hub, spec.speed)
        elif keys.roughness_m is not None and not keys.exponent_from_surface:
            with self._told(f"{at}.{_surface_key(keys)}"):
                made = surface_layer(spec.speed, hub, top, keys.roughness_m, _length(keys))
        elif keys.jet_speed_m_s is not None:
            with self._told(f"{at}.jet_speed_m_s"):
                made = low_level_jet(
                    spec.speed, hub, top, spec.shear_exponent, keys.jet_speed_m_s, keys.jet_height_m or 0.0
                )
        elif keys.series_file is not None:
            with self._told(f"{at}.series_file"):
                measured = self._read_series(keys).profile(hub)
                if measured is None:
                    return None
                measured.covers(hub - radius, hub + radius)
                made = measured
        else:
            return None
        return with_veer(made, spec.veer, hub)

    def _site(self, design: Turbine) -> Site:
        keys = self.keys.site
        try:
            return Site(
                keys.wind_class,
                keys.turbulence_category,
                design.rotor.hub_height,
                2.0 * design.rotor_radius,
                keys.reference_wind_speed_m_s,
                keys.average_wind_speed_m_s,
                keys.reference_turbulence_intensity,
            )
        except InputError as error:
            raise InputError([self._in_keys(text) for text in error.problems]) from error

    def _in_keys(self, text: str) -> str:
        text = text.removeprefix("site: ")
        for name, key in SITE_KEYS.items():
            text = text.replace(name, key)
        return f"{place(self.path, self.lines, 'site')}: site: {text}"

    def _warn(self, keys: WindKeys, spec: WindSpec, design: Turbine) -> None:
        """Say so where the standard's formula goes below zero wind at the rotor's edge."""
        if keys.kind not in EVENTS:
            return
        lowest, where = lowest_wind(spec, design.rotor.hub_height, design.rotor_radius)
        if lowest < 0.0:
            self._say(
                f"{keys.label} at {spec.speed:g} m/s: the formula goes to {lowest:.2f} m/s at the {where}, "
                "below zero; it is marched as it stands"
            )

    def _say(self, warning: str) -> None:
        if warning not in self._warned:
            self._warned.add(warning)
            logging.getLogger("wideberth").warning(warning)

    def _problem(self, key: str, value: Any, sentence: str) -> str:
        return problem(self.path, self.lines, key, value, sentence)

    @contextmanager
    def _told(self, key: str) -> Iterator[None]:
        """Give faults that arise inside the place of a key."""
        try:
            yield
        except InputError as error:
            where = place(self.path, self.lines, key)
            raise InputError([f"{where}: {key}: {text}" for text in error.problems]) from error


def _length(keys: WindKeys) -> float:
    return math.inf if keys.obukhov_length_m is None else keys.obukhov_length_m


def _surface_key(keys: WindKeys) -> str:
    """Return the key that a fault of the surface layer is blamed on."""
    return "roughness_m" if keys.obukhov_length_m is None else "obukhov_length_m"


def _rows(profile: Profile, design: Turbine) -> tuple[tuple[float, float, float], ...]:
    """Return height, speed and direction at heights that stand for the profile across the rotor."""
    hub, reach = design.rotor.hub_height, BOX_REACH * design.rotor_radius
    low = max(float(profile.heights[0]), hub - reach, 1.0)
    high = min(float(profile.heights[-1]), hub + reach)
    heights = np.unique(np.append(np.linspace(low, high, PROFILE_POINTS - 1), hub))
    columns = heights, profile.speed(heights), profile.direction(heights)
    return tuple((float(z), float(v), float(d)) for z, v, d in zip(*columns, strict=True))
