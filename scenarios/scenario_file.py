"""Which keys does a scenario file have, in which units, and what may each hold?"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from scenarios.fault_keys import FaultKeys
from scenarios.frontier_keys import FrontierKeys
from scenarios.life_keys import LifeKeys
from scenarios.reliability_keys import ReliabilityKeys
from scenarios.requirement_keys import RequirementKeys
from scenarios.sensor_keys import SensorKeys
from scenarios.wind_keys import Model, WindKeys
from sim.keyfile import FileModel

Question = Literal["passes", "ledger", "bill", "extreme", "shelf", "robustness", "frontier"]


def _key(meaning: str, **rest: Any) -> Any:
    return Field(description=meaning, **rest)


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
    veer_deg_per_m: float = _key(
        "turn of the wind with height, clockwise seen from above", default=0.0, ge=-1.0, le=1.0
    )
    turbulence_model: Model = _key(
        "three components with the standard's spectra and coherence (kaimal), its sheared tensor (tensor), "
        "or the first component of kaimal alone (longitudinal)",
        default="kaimal",
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


NAME = r"^[^./\\][^/\\]*$"
"""A name that is safe as a file's: no slash, no dot in front."""


class ScenarioKeys(FileModel):
    """A whole scenario file."""

    name: str = _key("what reports and files are called; no path", min_length=1, pattern=NAME)
    title: str = _key("one line for the reader", default="")
    turbine: str = _key("name of a shipped turbine, or a file relative to this one", min_length=1)
    seed: int = _key("changes every turbulent field and every sensor's noise", ge=0, le=2**31)
    period_s: float = _key("controller period and step of the march", default=0.04, gt=0.0)
    duration_s: float = _key("judged time of a turbulent case", default=600.0, ge=5.0, le=3600.0)
    settle_s: float = _key("marched before judging starts", default=60.0, ge=0.0, le=600.0)
    gust_duration_s: float = _key(
        "judged time of a case without turbulence, from the start of its event; not shorter than the event",
        default=30.0,
        ge=5.0,
        le=600.0,
    )
    questions: list[Question] = _key(
        "what `study` answers", default_factory=lambda: ["passes", "ledger", "bill"], min_length=1
    )
    site: SiteKeys
    requirement: RequirementKeys
    life: LifeKeys | None = Field(default=None, description="over which fatigue is reckoned")
    sensors: SensorKeys
    reliability: ReliabilityKeys = Field(
        default_factory=ReliabilityKeys, description="what `reliability` assumes"
    )
    frontier: FrontierKeys = Field(
        default_factory=FrontierKeys, description="what the question `frontier` sweeps"
    )
    faults: list[FaultKeys] = Field(default_factory=list, description="what breaks")
    winds: list[WindKeys] = Field(min_length=1, description="load cases")
    entries: list[EntryKeys] = Field(min_length=1, description="what is compared")
