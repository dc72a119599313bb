"""Which keys say over what life, and by which curves, fatigue is reckoned?"""

# ruff: noqa: N815 (keys end in their unit as it is written: kNm, Hz)

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from scenarios.life import CHANNELS, Curve, Life
from sim.errors import closest
from sim.keyfile import FileModel, Lines, place, problem


def _key(meaning: str, **rest: Any) -> Any:
    return Field(description=meaning, **rest)


class CurveKeys(FileModel):
    """``[[life.curves]]``: how many cycles of a moment a section bears."""

    channel: str = _key("of the bill: blade_root_flap, tower_base_fore_aft, ...", min_length=1)
    exponent: float = _key("slope of the curve above its knee, and of the channel's ranges", ge=1.0, le=30.0)
    exponent_below: float | None = _key("slope below the knee; none given: the same", default=None, ge=1.0)
    knee_range_kNm: float | None = _key("range at the knee", default=None, gt=0.0)
    knee_cycles: float | None = _key("cycles to failure at the knee", default=None, gt=0.0)
    ultimate_kNm: float | None = _key("for the correction of the mean after Goodman", default=None, gt=0.0)


class LifeKeys(FileModel):
    """``[life]``"""

    years: float = _key("life of the turbine", gt=0.0, le=100.0)
    distribution: Literal["rayleigh", "weibull"] = _key("of the ten-minute mean wind speed at the hub")
    mean_wind_speed_m_s: float | None = _key(
        "annual mean; none given: that of the site's class", default=None, gt=0.0, le=30.0
    )
    weibull_shape: float | None = _key("of a Weibull distribution", default=None, gt=0.5, le=10.0)
    availability: float = _key("share of the time in production", default=1.0, gt=0.0, le=1.0)
    reference_frequency_Hz: float = _key("of the equivalent ranges", default=1.0, gt=0.0, le=100.0)
    curves: list[CurveKeys] = Field(default_factory=list, description="of sections that the user knows")


MOMENTS = ("knee_range_kNm", "ultimate_kNm")
"""Keys of a curve in the unit of a moment."""


def life_problems(keys: LifeKeys, path: Path, lines: Lines) -> Iterator[str]:
    """Yield what is wrong between keys."""
    if keys.distribution == "weibull" and keys.weibull_shape is None:
        where = place(path, lines, "life")
        yield f"{where}: life.weibull_shape is missing; a Weibull distribution needs it"
    if keys.distribution == "rayleigh" and keys.weibull_shape is not None:
        shape = keys.weibull_shape
        yield problem(path, lines, "life.weibull_shape", shape, "a Rayleigh distribution has none")
    for index, curve in enumerate(keys.curves):
        yield from _curve_problems(keys, index, path, lines)
        if curve.channel in [other.channel for other in keys.curves[:index]]:
            yield problem(path, lines, f"life.curves[{index}].channel", curve.channel, "has a curve already")


def _curve_problems(keys: LifeKeys, index: int, path: Path, lines: Lines) -> Iterator[str]:
    curve, at = keys.curves[index], f"life.curves[{index}]"
    if curve.channel not in CHANNELS:
        sentence = f"no such channel{closest(curve.channel, CHANNELS)}"
        yield problem(path, lines, f"{at}.channel", curve.channel, sentence)
    if (curve.knee_range_kNm is None) != (curve.knee_cycles is None):
        lacking = "knee_cycles" if curve.knee_cycles is None else "knee_range_kNm"
        yield f"{place(path, lines, at)}: {at}.{lacking} is missing; a knee has both"
    elif curve.exponent_below is not None and curve.knee_cycles is None:
        sentence = "needs a knee: knee_range_kNm and knee_cycles"
        yield problem(path, lines, f"{at}.exponent_below", curve.exponent_below, sentence)
    for key in MOMENTS if curve.channel == "pitch_angle" else ():
        if (given := getattr(curve, key)) is not None:
            sentence = "is a moment; the pitch angle has none, only an exponent"
            yield problem(path, lines, f"{at}.{key}", given, sentence)


def make_life(keys: LifeKeys | None) -> Life | None:
    """Return the life that checked keys describe, None where the scenario has none."""
    if keys is None:
        return None
    curves = [
        Curve(
            channel=curve.channel,
            exponent=curve.exponent,
            exponent_below=curve.exponent_below,
            knee_range=None if curve.knee_range_kNm is None else 1e3 * curve.knee_range_kNm,
            knee_cycles=curve.knee_cycles,
            ultimate=None if curve.ultimate_kNm is None else 1e3 * curve.ultimate_kNm,
        )
        for curve in keys.curves
    ]
    return Life(
        years=keys.years,
        shape=keys.weibull_shape or 2.0,
        mean=keys.mean_wind_speed_m_s,
        availability=keys.availability,
        reference_frequency=keys.reference_frequency_Hz,
        curves=tuple(curves),
    )
