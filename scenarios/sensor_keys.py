"""Which sensors may a scenario fit, how good are they unless it says otherwise, and in which units?

Each default is marked: cited where it has a source, invented where it has none.
"""

# ruff: noqa: N815 (keys end in their unit as it is written: kW, kNm)

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from pydantic import Field, create_model

from sim.keyfile import FileModel


class Usual(NamedTuple):
    """What a sensor is like unless the scenario says otherwise, in the unit of its keys."""

    unit: str
    step: float
    drift: float
    lost: float
    why: str


USUAL: Mapping[str, Usual] = {
    "azimuth": Usual("deg", 0.088, 0.0, 0.0, "12 bits a turn: common practice, no source"),
    "rotor_speed": Usual("rpm", 0.005, 0.0, 0.0, "invented"),
    "pitch": Usual("deg", 0.022, 0.0, 0.0, "14 bits a turn: common practice, no source"),
    "root_flap_moment": Usual("kNm", 2.0, 20.0, 0.0, "strain gauges creep with temperature; invented"),
    "root_edge_moment": Usual("kNm", 2.0, 20.0, 0.0, "as the flap moment's; invented"),
    "tower_acceleration": Usual("m_s2", 0.001, 0.0, 0.0, "invented"),
    "wind_speed": Usual("m_s", 0.1, 0.0, 0.0, "invented"),
    "wind_direction": Usual("deg", 0.5, 0.0, 0.0, "invented"),
    "wind_preview": Usual("m_s", 0.05, 0.0, 0.02, "fog and clean air lose measurements; invented"),
    "power": Usual("kW", 1.0, 0.0, 0.0, "invented"),
    "tip_distance": Usual("m", 0.01, 0.0, 0.005, "rain and spray lose echoes; invented"),
    "last_pass_clearance": Usual("m", 0.01, 0.0, 0.0, "invented"),
}
"""Steps of the digits, drift after an hour, and share of lost samples of every sensor."""


_make: Any = create_model


def _details(sensor: str, usual: Usual) -> type[FileModel]:
    def key(default: float, meaning: str, **bounds: Any) -> Any:
        return float, Field(default=default, description=meaning, **bounds)

    unit, mark = usual.unit, f"; default: {usual.why}"
    named: dict[str, Any] = {
        "sampling_s": key(0.0, "time between its samples; 0: every period", ge=0.0, le=60.0),
        f"bias_{unit}": key(0.0, "constant error"),
        f"drift_{unit}": key(
            usual.drift, f"standard deviation of its random walk after an hour{mark}", ge=0.0
        ),
        f"step_{unit}": key(usual.step, f"step of its digits, 0 for none{mark}", ge=0.0),
        "loss_share": key(usual.lost, f"share of its samples that never arrive{mark}", ge=0.0, le=0.9),
        "loss_length_s": key(
            0.2, "mean length of a drop-out, at least one sample; default: invented", ge=0.0, le=600.0
        ),
    }
    if sensor == "tip_distance":
        named["view_deg"] = key(
            15.0, "azimuth from the tower within which it sees a blade; default: invented", gt=0.0, le=20.0
        )
        named["reach_m"] = key(50.0, "farthest distance that it sees; default: invented", gt=0.0, le=1000.0)
    if sensor == "wind_preview":
        named["range_m"] = key(
            150.0, "how far ahead of the rotor it sees; default: invented", gt=0.0, le=1000.0
        )
        named["half_length_m"] = key(
            20.0, "along the beam, where its weight is a half; default: invented", gt=0.0, le=200.0
        )
        named["height_m"] = key(0.0, "of what it sees, above the hub", ge=-150.0, le=150.0)
    model = _make(f"{sensor}_details", __base__=FileModel, **named)
    model.__doc__ = f"``[sensors.{sensor}]``: what else the sensor does."
    return model


_DETAILS = {sensor: _details(sensor, usual) for sensor, usual in USUAL.items()}


def _more(sensor: str) -> Any:
    return Field(default_factory=_DETAILS[sensor], description=f"more of the {sensor} sensor")


def _delay(sensor: str) -> Any:
    return Field(default=None, ge=0.0, le=2.0, description=f"age of the {sensor}; none given: delay_s")


def _noise(default: float, sensor: str) -> Any:
    meaning = f"standard deviation of the noise of the {sensor}; default: invented"
    return Field(default=default, ge=0.0, description=meaning)


def _fitted(sensor: str) -> Any:
    return Field(
        default=None,
        ge=0.0,
        description=f"standard deviation of the noise of the {sensor}; none given: no such sensor is fitted",
    )


_Tables: Any = _make(
    "SensorTables",
    __base__=FileModel,
    **{sensor: (model, _more(sensor)) for sensor, model in _DETAILS.items()},
)


class SensorKeys(_Tables):
    """``[sensors]``: what the logic may know, how old and how noisy; ``[sensors.NAME]`` tells the rest."""

    delay_s: float = Field(ge=0.0, le=2.0, description="age of every reading that has no delay of its own")
    rotor_disturbance: float = Field(
        default=1.0,
        ge=0.0,
        le=2.0,
        description="share of the rotor's effect on anemometer and vane; 0 shows them the free wind",
    )
    azimuth_noise_deg: float = _noise(0.2, "azimuth sensor")
    rotor_speed_noise_rpm: float = _noise(0.02, "rotor speed sensor")
    pitch_noise_deg: float = _noise(0.05, "pitch sensors")
    root_flap_moment_noise_kNm: float = _noise(100.0, "root flap moment gauges")
    root_edge_moment_noise_kNm: float = _noise(50.0, "root edge moment gauges")
    tower_acceleration_noise_m_s2: float = _noise(0.02, "tower-top accelerometers")
    wind_speed_noise_m_s: float = _noise(0.5, "nacelle anemometer")
    wind_direction_noise_deg: float = _noise(2.0, "nacelle vane")
    power_noise_kW: float = _noise(20.0, "power transducer")
    tip_distance_noise_m: float | None = _fitted("sensor of the tip's distance from the tower")
    last_pass_clearance_noise_m: float | None = _fitted("sensor of each pass's smallest clearance")
    wind_preview_noise_m_s: float | None = _fitted("sensor that looks ahead into the wind")
    azimuth_delay_s: float | None = _delay("azimuth")
    rotor_speed_delay_s: float | None = _delay("rotor speed")
    pitch_delay_s: float | None = _delay("pitch")
    root_flap_moment_delay_s: float | None = _delay("root flap moment")
    root_edge_moment_delay_s: float | None = _delay("root edge moment")
    tower_acceleration_delay_s: float | None = _delay("tower-top acceleration")
    wind_speed_delay_s: float | None = _delay("nacelle wind")
    wind_direction_delay_s: float | None = _delay("nacelle vane")
    wind_preview_delay_s: float | None = _delay("wind preview")
    power_delay_s: float | None = _delay("power")
    tip_distance_delay_s: float | None = _delay("tip distance")
    last_pass_clearance_delay_s: float | None = _delay("last pass clearance")


def not_whole(time: float, period: float, origin: str = "") -> str:
    """Return what is wrong with a time that is no whole number of periods [s], empty for one that is.

    ``origin`` tells where the period stands.
    """
    whole = round(time / period) * period
    return (
        ""
        if abs(whole - time) < 1e-9
        else f"must be whole periods of {period:g} s{origin}, like {whole or period:g}"
    )
