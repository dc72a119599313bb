"""Which winds may a scenario name, with which keys, and where exactly is one wrong?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from sim.keyfile import FileModel, Lines, place, problem

TURBULENT = ("normal_turbulence", "extreme_turbulence", "extreme_turbulent")
"""Kinds of wind that are drawn by seed."""

EXTREME = ("extreme_steady", "extreme_turbulent")
"""Kinds whose speed follows from class and return period."""

STEADY = ("steady", "normal_profile", "extreme_steady")
"""Kinds that neither change nor start: one case a speed."""

SIGNED = ("direction_change", "coherent_gust", "vertical_shear", "horizontal_shear")
"""Kinds of wind that have a sense."""

Positive = Annotated[float, Field(gt=0.0)]
Model = Literal["kaimal", "tensor", "longitudinal"]


def _key(meaning: str, **rest: Any) -> Any:
    return Field(description=meaning, **rest)


class WindKeys(FileModel):
    """``[[winds]]``: one load case's winds."""

    label: str = _key(
        "load case that reports name, its number too; other labels mean other turbulent fields", min_length=1
    )
    kind: Literal[
        "steady",
        "normal_profile",
        "extreme_steady",
        "normal_turbulence",
        "extreme_turbulence",
        "extreme_turbulent",
        "operating_gust",
        "direction_change",
        "coherent_gust",
        "vertical_shear",
        "horizontal_shear",
        "measured_series",
    ] = _key("kind of wind, of IEC 61400-1 but for the last")
    rotor: Literal["turning", "at_rest"] = _key(
        "turning under its logic, or at rest: held by its brake with the blades at feather, no logic asked; "
        "for extreme winds only",
        default="turning",
    )
    speeds_m_s: list[Positive] | None = _key(
        "ten-minute means at the hub; extreme winds have the class's, a measured series its own",
        default=None,
        min_length=1,
    )
    seeds: int | None = _key("turbulent fields at each speed; for turbulence only", default=None, ge=1)
    phases: int | None = _key(
        "rotor positions at which an event starts, spread evenly; for events only; a rotor at rest in steady "
        "wind stands at each, a blade within 20 degrees of the tower",
        default=None,
        ge=1,
    )
    meets_blade: int | None = _key(
        "instead of phases: the event's worst part meets this blade at the tower; a rotor at rest stands "
        "with it straight down",
        default=None,
        ge=1,
        le=3,
    )
    sign: Literal[-1, 1] = _key(
        "sense of a direction change or shear; vertical shear of -1 has more wind low down", default=1
    )
    faults: list[str] = _key(
        "names of [[faults]]; each of them gives the wind's cases once more, and none without",
        default_factory=list,
    )
    load_factor: float | None = _key(
        "partial factor of the load case for the factored deflection; none given: 1.35, with a fault 1.1",
        default=None,
        ge=1.0,
        le=3.0,
    )
    per_year: float | None = _key(
        "how often an event, or a case with a fault, comes in a year; none given: it is not in the fatigue",
        default=None,
        ge=0.0,
    )
    return_period_years: Literal[1, 50] | None = _key("of an extreme wind", default=None)
    intensity: Literal["quantile", "drawn"] = _key(
        "standard deviation of normal turbulence: the standard's 90 % quantile, or drawn for each seed from "
        "the distribution of its edition of 2019",
        default="quantile",
    )
    turbulence_model: Model | None = _key("none given: the site's", default=None)
    shear_exponent: float | None = _key(
        "of the mean wind's power law; none given: the site's, or that which the standard gives the kind",
        default=None,
        ge=-0.5,
        le=1.0,
    )
    upflow_deg: float | None = _key("none given: the site's", default=None, ge=-20.0, le=20.0)
    yaw_error_deg: float | None = _key("none given: the site's", default=None, ge=-60.0, le=60.0)
    veer_deg_per_m: float | None = _key(
        "turn of the wind with height, clockwise seen from above; none given: the site's",
        default=None,
        ge=-1.0,
        le=1.0,
    )
    roughness_m: float | None = _key(
        "roughness length: a logarithmic profile instead of the power law", default=None, gt=0.0, le=10.0
    )
    obukhov_length_m: float | None = _key(
        "stability: above 0 stable, below 0 unstable air; none given: neutral; needs roughness_m",
        default=None,
    )
    exponent_from_surface: bool = _key(
        "the power law that fits the profile of roughness and stability at the hub, instead of the profile",
        default=False,
    )
    jet_speed_m_s: float | None = _key(
        "what a low-level jet adds at its core; the power law carries the rest", default=None, gt=0.0, le=40.0
    )
    jet_height_m: float | None = _key("height of the jet's core", default=None, gt=0.0, le=2000.0)
    profile_file: str | None = _key(
        "CSV of a measured profile: height_m, speed_m_s and, if measured, direction_deg; scaled to the speed",
        default=None,
        min_length=1,
    )
    series_file: str | None = _key(
        "CSV of a measured series: time_s, speed_m_s at the hub and, if measured, direction_deg and "
        "speed_at_40_m_m_s, for any heights; these give the mean profile and a slope that changes with time, "
        "else the wind is the same all over the disc but for the site's shear",
        default=None,
        min_length=1,
    )

    @property
    def is_event(self) -> bool:
        """Whether its cases are judged one by one and not by their mean over seeds."""
        return self.kind not in TURBULENT

    @property
    def at_rest(self) -> bool:
        """Whether the rotor stands."""
        return self.rotor == "at_rest"


def case_names(winds: Sequence[WindKeys]) -> list[str]:
    """Return what reports call each wind: its label, and kind and sense where namesakes differ in them."""
    names = []
    for wind in winds:
        others = {(other.kind, other.sign) for other in winds if other.label == wind.label}
        kind = wind.kind.replace("_", " ") + (f" {wind.sign:+d}" if wind.kind in SIGNED else "")
        names.append(wind.label if len(others) == 1 else f"{wind.label}, {kind}")
    return names


def wind_problems(wind: WindKeys, at: str, path: Path, lines: Lines) -> Iterator[str]:
    """Yield what is wrong between the keys of one wind."""

    def wrong(key: str, sentence: str) -> str:
        return problem(path, lines, f"{at}.{key}", getattr(wind, key), sentence)

    def missing(key: str, why: str) -> str:
        return f"{place(path, lines, at)}: {at}.{key} is missing; {why}"

    yield from _speed_problems(wind, wrong, missing)
    if wind.at_rest:
        yield from _rest_problems(wind, wrong)
    yield from _count_problems(wind, wrong, missing)
    yield from _profile_problems(wind, wrong, missing)
    if wind.sign != 1 and wind.kind not in SIGNED:
        yield wrong("sign", f"a wind of kind {wind.kind} has no sense")
    if wind.intensity == "drawn" and wind.kind != "normal_turbulence":
        yield wrong("intensity", "only that of normal_turbulence has a distribution")
    if wind.per_year is not None and not wind.is_event and not wind.faults:
        yield wrong("per_year", "turbulence without a fault goes by the hours of its wind speeds")
    if wind.turbulence_model and wind.kind not in TURBULENT:
        yield wrong("turbulence_model", f"a wind of kind {wind.kind} has no turbulence")
    for index, speed in enumerate(wind.speeds_m_s or ()):
        if speed in (wind.speeds_m_s or ())[:index]:
            yield problem(path, lines, f"{at}.speeds_m_s[{index}]", speed, "is there twice")


def _speed_problems(wind: WindKeys, wrong: Any, missing: Any) -> Iterator[str]:
    kind, own = wind.kind, wind.kind in EXTREME or wind.kind == "measured_series"
    if own and wind.speeds_m_s is not None:
        what = "class and return period" if kind in EXTREME else "the series"
        yield wrong("speeds_m_s", f"the speed of a wind of kind {kind} follows from {what}")
    if not own and wind.speeds_m_s is None:
        yield missing("speeds_m_s", f"a wind of kind {kind} needs it")
    for key, kinds in (("return_period_years", EXTREME), ("series_file", ("measured_series",))):
        if kind in kinds and getattr(wind, key) is None:
            yield missing(key, f"a wind of kind {kind} needs it")
        if kind not in kinds and getattr(wind, key) is not None:
            yield wrong(key, f"is for kind {' and '.join(kinds)}, not {kind}")


def _rest_problems(wind: WindKeys, wrong: Any) -> Iterator[str]:
    if wind.kind not in EXTREME:
        yield wrong("rotor", f"a rotor at rest is for kinds {' and '.join(EXTREME)}, not {wind.kind}")
    if wind.faults:
        sentence = "a rotor at rest is held, its blades at feather, and no logic is asked: nothing can break"
        yield wrong("faults", sentence)
    if wind.per_year is not None:
        yield wrong("per_year", "a rotor at rest is not in the fatigue")


def _count_problems(wind: WindKeys, wrong: Any, missing: Any) -> Iterator[str]:
    kind = wind.kind
    if kind in TURBULENT:
        if wind.seeds is None:
            yield missing("seeds", f"a wind of kind {kind} needs it")
        if wind.at_rest and wind.meets_blade is None:
            yield missing("meets_blade", "a rotor at rest in turbulence needs it: which blade hangs down")
        for key in ("phases",) if wind.at_rest else ("phases", "meets_blade"):
            if getattr(wind, key) is not None:
                yield wrong(key, f"a wind of kind {kind} has seeds instead; there is no gust to be phased")
        return
    if wind.seeds is not None:
        instead = "no seeds" if kind in STEADY else "phases instead"
        yield wrong("seeds", f"a wind of kind {kind} has {instead}")
    if kind in STEADY and not wind.at_rest:
        for key in ("phases", "meets_blade"):
            if getattr(wind, key) is not None:
                yield wrong(key, f"a wind of kind {kind} has no gust to be phased")
    elif wind.phases is None and wind.meets_blade is None:
        what = "a rotor at rest" if wind.at_rest else f"a wind of kind {kind}"
        yield missing("phases", f"{what} needs it, or meets_blade")
    elif wind.phases is not None and wind.meets_blade is not None:
        yield wrong("meets_blade", "give either phases or meets_blade")


def _profile_problems(wind: WindKeys, wrong: Any, missing: Any) -> Iterator[str]:
    shapes = ("roughness_m", "jet_speed_m_s", "profile_file")
    given = [key for key in shapes if getattr(wind, key) is not None]
    if len(given) > 1:
        yield wrong(given[1], f"{given[0]} already gives the profile")
    if wind.shear_exponent is not None and given and given[0] != "jet_speed_m_s":
        yield wrong("shear_exponent", f"{given[0]} already gives the profile")
    if wind.obukhov_length_m is not None and wind.roughness_m is None:
        yield missing("roughness_m", "obukhov_length_m needs it")
    if wind.exponent_from_surface and wind.roughness_m is None:
        yield missing("roughness_m", "exponent_from_surface needs it")
    if (wind.jet_speed_m_s is None) != (wind.jet_height_m is None):
        lacking = "jet_height_m" if wind.jet_height_m is None else "jet_speed_m_s"
        yield missing(lacking, "a low-level jet needs both")
