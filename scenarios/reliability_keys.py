"""Which keys tell how reliable the logic must be, and what may be wrong with the model?"""

from __future__ import annotations

from typing import Any

from pydantic import Field

from sim.keyfile import FileModel
from sim.measures.integrity import TARGET_BETA


def _key(meaning: str, default: Any, **rest: Any) -> Any:
    return Field(default=default, description=meaning, **rest)


class ReliabilityKeys(FileModel):
    """``[reliability]``: what `wideberth reliability` assumes; every default is printed with the answer."""

    target_beta_per_year: float = _key(
        "annual reliability index that strikes must reach; IEC 61400-1 edition 4 names 3.3",
        TARGET_BETA,
        gt=0.0,
        le=8.0,
    )
    tolerable_strikes_per_year: float | None = _key("instead of the index", None, gt=0.0, le=1e6)
    aerodynamics_variation: float = _key(
        "coefficient of variation of the aerodynamic loads (background of edition 4: 0.10; from memory)",
        0.10,
        ge=0.0,
        le=1.0,
    )
    stiffness_variation: float = _key(
        "of the blades' stiffness (background of edition 4, structural response: 0.03; from memory)",
        0.03,
        ge=0.0,
        le=1.0,
    )
    damping_variation: float = _key(
        "of the blades' damping ratios (common practice, no source)", 0.30, ge=0.0, le=2.0
    )
    exposure_variation: float = _key(
        "of the turbulence's standard deviation (background of edition 4, exposure: 0.15; from memory)",
        0.15,
        ge=0.0,
        le=1.0,
    )
    sensor_faults_per_year: float = _key(
        "of each fault of a sensor that has no rate of its own (field data of all sensor failures: 0.05 to "
        "0.35 a turbine-year; Ribrant & Bertling 2007, Carroll et al. 2016; from memory)",
        0.15,
        ge=0.0,
        le=1e4,
    )
    servo_faults_per_year: float = _key(
        "of each fault of a pitch servo (field data of all pitch failures: 0.05 to 1.1 a turbine-year; the "
        "same sources)",
        0.30,
        ge=0.0,
        le=1e4,
    )
    machine_faults_per_year: float = _key(
        "of each fault of computer, generator or grid (common practice, no source)", 0.5, ge=0.0, le=1e4
    )
    found_after_h: float = _key(
        "how long a fault lasts until it is found and mended (common practice, no source)",
        24.0,
        ge=0.0,
        le=1e5,
    )
    channel_failures_per_year: float = _key(
        "dangerous failures of one channel of sensor, computer and servo (common practice, no source)",
        0.1,
        gt=0.0,
        le=1e4,
    )
    channel_diagnosed_share: float = _key(
        "of them that diagnosis finds at once (common practice, no source)", 0.6, ge=0.0, le=0.999
    )
    channel_test_interval_h: float = _key("between tests that find the rest", 8766.0, gt=0.0, le=1e6)
    channel_repair_h: float = _key("from finding to working again", 24.0, ge=0.0, le=1e5)
    common_cause_share: float = _key(
        "of a channel's failures that take all channels at once (IEC 61508-6: 0.01 to 0.10; from memory)",
        0.05,
        ge=0.0,
        le=1.0,
    )
