"""Which keys does a scenario file have, in which units, and what may each hold?"""

# ruff: noqa: N815 (keys end in their unit as it is written: kW, kNm)

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from sim.keyfile import FileModel

TURBULENT = ("normal_turbulence", "extreme_turbulence")
"""Kinds of wind that are drawn by seed; all others are events that start at a rotor phase."""

SIGNED = ("direction_change", "coherent_gust", "vertical_shear", "horizontal_shear")
"""Kinds of wind that have a sense."""

Question = Literal["passes", "ledger", "bill"]
Positive = Annotated[float, Field(gt=0.0)]


def _key(meaning: str, **rest: Any) -> Any:
    return Field(description=meaning, **rest)


def _delay(sensor: str) -> Any:
    return Field(default=None, ge=0.0, le=2.0, description=f"age of the {sensor}; none given: delay_s")


def _noise(sensor: str) -> Any:
    return Field(ge=0.0, description=f"standard deviation of the noise of the {sensor}")


def _fitted(sensor: str) -> Any:
    return Field(
        default=None,
        ge=0.0,
        description=f"standard deviation of the noise of the {sensor}; none given: no such sensor is fitted",
    )


class SiteKeys(FileModel):
    """``[site]``"""

    wind_class: Literal["I", "II", "III", "S"] = _key("wind turbine class of IEC 61400-1")
    turbulence_category: Literal["A+", "A", "B", "C", "S"] = _key("turbulence category of IEC 61400-1")
    reference_wind_speed_m_s: float | None = _key("Vref of a class S site", default=None, gt=0.0, le=100.0)
    average_wind_speed_m_s: float | None = _key(
        "annual mean of a class S site; none given: 0.2 Vref", default=None, gt=0.0, le=30.0
    )
    reference_turbulence_intensity: float | None = _key(
        "Iref of a category S site", default=None, gt=0.0, le=1.0
    )
    air_density_kg_m3: float | None = _key(
        "air density; none given: that of the turbine file", default=None, gt=0.5, le=1.6
    )
    shear_exponent: float = _key("of the mean wind's power law", ge=-0.5, le=1.0)
    upflow_deg: float = _key("inclination of the wind, positive upwards", ge=-20.0, le=20.0)
    yaw_error_deg: float = _key(
        "positive when the wind comes from the left, seen looking downwind", ge=-60.0, le=60.0
    )


class RequirementKeys(FileModel):
    """``[requirement]``"""

    rule: Literal["share_of_unloaded"] = _key("a share of the unloaded clearance must remain, load factor 1")
    share: float = _key("share of the unloaded clearance that must remain", ge=0.0, lt=1.0)


class SensorKeys(FileModel):
    """``[sensors]``: what the logic may know, how old and how noisy."""

    delay_s: float = _key("age of every reading that has no delay of its own", ge=0.0, le=2.0)
    azimuth_noise_deg: float = _noise("azimuth sensor")
    rotor_speed_noise_rpm: float = _noise("rotor speed sensor")
    pitch_noise_deg: float = _noise("pitch sensors")
    root_flap_moment_noise_kNm: float = _noise("root flap moment gauges")
    root_edge_moment_noise_kNm: float = _noise("root edge moment gauges")
    tower_acceleration_noise_m_s2: float = _noise("tower-top accelerometers")
    wind_speed_noise_m_s: float = _noise("nacelle anemometer")
    power_noise_kW: float = _noise("power transducer")
    tip_distance_noise_m: float | None = _fitted("sensor of the tip's distance from the tower")
    last_pass_clearance_noise_m: float | None = _fitted("sensor of each pass's smallest clearance")
    azimuth_delay_s: float | None = _delay("azimuth")
    rotor_speed_delay_s: float | None = _delay("rotor speed")
    pitch_delay_s: float | None = _delay("pitch")
    root_flap_moment_delay_s: float | None = _delay("root flap moment")
    root_edge_moment_delay_s: float | None = _delay("root edge moment")
    tower_acceleration_delay_s: float | None = _delay("tower-top acceleration")
    wind_speed_delay_s: float | None = _delay("nacelle wind")
    power_delay_s: float | None = _delay("power")
    tip_distance_delay_s: float | None = _delay("tip distance")
    last_pass_clearance_delay_s: float | None = _delay("last pass clearance")


class WindKeys(FileModel):
    """``[[winds]]``: one load case's winds."""

    label: str = _key("load case that reports name; other labels mean other turbulent fields", min_length=1)
    kind: Literal[
        "steady",
        "normal_turbulence",
        "extreme_turbulence",
        "operating_gust",
        "direction_change",
        "coherent_gust",
        "vertical_shear",
        "horizontal_shear",
    ] = _key("kind of wind, of IEC 61400-1")
    speeds_m_s: list[Positive] = _key("ten-minute means at the hub", min_length=1)
    seeds: int | None = _key("turbulent fields at each speed; for turbulence only", default=None, ge=1)
    phases: int | None = _key(
        "rotor positions at which an event starts; for winds without turbulence", default=None, ge=1
    )
    sign: Literal[-1, 1] = _key(
        "sense of a direction change or shear; vertical shear of -1 has more wind low down", default=1
    )


class EntryKeys(FileModel):
    """``[[entries]]``: one turbine, one stack; the first is the reference, the last the candidate."""

    name: str = _key("what reports call the entry", min_length=1)
    stack: list[str] = _key("layers from the lowest up: names, or path.py:Class", min_length=1)
    parameters: dict[str, dict[str, float | int | bool | str]] = _key(
        "by layer: {guard = {margin_m = 1.0}}", default_factory=dict
    )
    set: dict[str, Any] = _key(
        'keys of the turbine file: {"blade.flap_stiffness_factor" = 0.8}', default_factory=dict
    )


class ScenarioKeys(FileModel):
    """A whole scenario file."""

    name: str = _key("what reports call the scenario", min_length=1)
    title: str = _key("one line for the reader", default="")
    turbine: str = _key("name of a shipped turbine, or a file relative to this one", min_length=1)
    seed: int = _key("changes every turbulent field and every sensor's noise", ge=0, le=2**31)
    period_s: float = _key("controller period and step of the march", default=0.04, gt=0.0)
    duration_s: float = _key("judged time of a turbulent case", default=600.0, gt=0.0, le=3600.0)
    settle_s: float = _key("marched before judging starts", default=60.0, ge=0.0, le=600.0)
    gust_duration_s: float = _key(
        "judged time of a case without turbulence, from the start of its event",
        default=30.0,
        gt=0.0,
        le=600.0,
    )
    questions: list[Question] = _key(
        "what `study` answers", default_factory=lambda: ["passes", "ledger", "bill"], min_length=1
    )
    site: SiteKeys
    requirement: RequirementKeys
    sensors: SensorKeys
    winds: list[WindKeys] = Field(min_length=1, description="load cases")
    entries: list[EntryKeys] = Field(min_length=1, description="what is compared")
