"""Which sensors does a scenario fit, once its keys are checked?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from scenarios.case import SensorSpec
from scenarios.sensor_keys import USUAL, SensorKeys, not_whole
from sim.interface import SENSED
from sim.keyfile import Lines, place, problem
from sim.units import unit_of

_SI = {"sampling_s": "sampling", "loss_share": "loss_share", "loss_length_s": "loss_length"}
_SUITE = {
    "view_deg": "sight",
    "reach_m": "reach",
    "range_m": "preview_range",
    "half_length_m": "preview_length",
    "height_m": "preview_height",
}


def noise_of(sensors: SensorKeys, sensor: str) -> tuple[str, float] | None:
    """Return the key and value of a sensor's noise, None where it is not fitted."""
    for name in SensorKeys.model_fields:
        if name.startswith(f"{sensor}_noise_"):
            value = getattr(sensors, name)
            return None if value is None else (name, value)
    return None


def sensor_spec(sensors: SensorKeys) -> SensorSpec:
    """Return the fitted sensors in SI units."""
    delays, noises, details = [], [], []
    suite: dict[str, float] = {"disturbance": sensors.rotor_disturbance}
    for sensor in SENSED:
        noise = noise_of(sensors, sensor)
        if noise is None:
            continue
        own = getattr(sensors, f"{sensor}_delay_s")
        delays.append((sensor, sensors.delay_s if own is None else own))
        noises.append((sensor, noise[1] * unit_of(noise[0])[1]))
        told, shared = _details(sensor, getattr(sensors, sensor))
        details.append((sensor, tuple(sorted(told.items()))))
        suite |= shared
    return SensorSpec(tuple(delays), tuple(noises), tuple(details), tuple(sorted(suite.items())))


def _details(sensor: str, keys: Any) -> tuple[dict[str, float], dict[str, float]]:
    """Return what a sensor does besides (fields of `sim.sensors.Sensor`), and what the suite must know."""
    names = _SI | {f"{what}_{USUAL[sensor].unit}": what for what in ("bias", "drift")}
    names[f"step_{USUAL[sensor].unit}"] = "quantum"
    told, shared = {}, {}
    for key, value in keys:
        in_si = value * unit_of(key)[1]
        if key in _SUITE:
            shared[_SUITE[key]] = in_si
        elif in_si != 0.0:
            told[names[key]] = in_si
    if "loss_share" not in told:
        told.pop("loss_length", None)
    return told, shared


def clock_problems(sensors: SensorKeys, period: float, path: Path, lines: Lines) -> Iterator[str]:
    """Yield delays and sampling intervals that are no whole number of periods, each with its line."""
    told = {key: getattr(sensors, key) for key in SensorKeys.model_fields if key.endswith("delay_s")}
    told |= {f"{sensor}.sampling_s": getattr(sensors, sensor).sampling_s for sensor in USUAL}
    origin = f" ({place(path, lines, 'period_s')}: period_s)" if "period_s" in lines else ""
    for key, value in told.items():
        wrong = "" if value is None else not_whole(value, period, origin)
        if wrong:
            yield problem(path, lines, f"sensors.{key}", value, wrong)
