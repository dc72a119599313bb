"""What do pitch bearings and servos go through, an hour, and at worst?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.studies.assess import Assessment
from scenarios.studies.telling import interval_data
from sim.counting import ANGLE_UNIT, parts
from sim.measures.energy import amplitudes_per_hour, count_reversals, mean_over_hours

Floats = NDArray[np.float64]

AMPLITUDES_DEG = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 90.0)
"""Edges of the histogram; a bearing frets at small oscillations."""
DEAD_BAND = ANGLE_UNIT * 2.0 ** (8.0 * 9.0 / 8.0)
"""Way back after which a movement counts as reversed [rad]: 0.29 deg, an edge of the cells of cycles."""


def bearing_data(entry: Assessment, hours: Floats) -> dict[str, Any]:
    """Return travel, reversals, starts, actions, amplitudes and load of the pitch system of one entry.

    Parameters
    ----------
    entry : Assessment
    hours : (case,) float64 [h]
        Of normal turbulence; what is told by the hour comes from it alone. Peaks are of all
        cases with the rotor turning.
    """
    gathered = entry.gathered
    seconds = gathered.column("judged_s")
    hourly = np.where(seconds > 0.0, 3600.0 / np.where(seconds > 0.0, seconds, 1.0), np.nan)

    def told(amount: Floats) -> dict[str, Any]:
        mean = mean_over_hours(amount * hourly, gathered.labels, hours)
        return {"value": mean.value, "interval": interval_data(mean)}

    def column(name: str) -> Floats:
        values = gathered.column(name)
        return np.mean(values, axis=1) if values.ndim == 2 else values

    degree = 180.0 / np.pi
    found = {
        "travel_deg_per_hour": told(column("pitch_travel_rad") * degree),
        "loaded_travel_kNm_deg_per_hour": told(column("pitch_loaded_travel_Nm_rad") * degree / 1e3),
        "reversals_per_hour": told(_reversals(entry)),
        "starts_per_hour": told(column("pitch_starts")),
        "actions_per_hour": told(actions(entry)),
        "servo_moving_share": told(column("pitch_moving_s") / 3600.0),
        "servo_work_kJ_per_hour": told(column("servo_work_J") / 1e3),
    }
    return found | {
        "reversal_dead_band_deg": DEAD_BAND * degree,
        "amplitude_edges_deg": list(AMPLITUDES_DEG),
        "amplitude_cycles_per_hour": _amplitudes(entry, hours),
        "servo_power_peak_kW": _peak(gathered.turning("servo_power_max_W")) / 1e3,
        "servo_torque_peak_kNm": _peak(gathered.turning("servo_torque_max_Nm")) / 1e3,
        "rotor_speed_peak_rpm": _peak(gathered.turning("rotor_speed_max_rad_s")) * 30.0 / np.pi,
        "rotor_speed_peak_over_rated": _peak(gathered.turning("rotor_speed_max_rad_s"))
        / gathered.entry.design.machine.rated_rotor_speed,
        "mean_of": "blades",
    }


def actions(entry: Assessment) -> Floats:
    """Return at how many passes of each case the logic acted, (case,) float64 [-]."""
    passes, gathered = entry.gathered.passes, entry.gathered
    acted = passes["acted"].astype(bool)
    return np.bincount(passes["case"][acted], minlength=len(gathered.cases)).astype(np.float64)


def _reversals(entry: Assessment) -> Floats:
    return _by_blade(entry, lambda spectra: [count_reversals(spectrum, DEAD_BAND) for spectrum in spectra])


def _by_blade(entry: Assessment, count: Callable[[list], list[float]]) -> Floats:
    gathered = entry.gathered
    each = [count(gathered.spectra(part)) for part in parts("pitch", gathered.cases[0].blade_count)]
    return np.mean(np.array(each), axis=0)


def _amplitudes(entry: Assessment, hours: Floats) -> list[float]:
    gathered = entry.gathered
    edges, seconds = np.radians(AMPLITUDES_DEG), gathered.column("judged_s")
    total = np.zeros((len(gathered.cases), edges.size - 1))
    names = parts("pitch", gathered.cases[0].blade_count)
    with np.errstate(divide="ignore", invalid="ignore"):
        for part in names:
            total += amplitudes_per_hour(gathered.spectra(part), seconds, edges) / len(names)
    return [mean_over_hours(cell, gathered.labels, hours).value for cell in total.T]


def _peak(values: Floats) -> float:
    return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")
