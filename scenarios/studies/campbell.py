"""Where do a blade's natural frequencies meet the multiples of the rotor's speed?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sim.design import Turbine
from sim.errors import InputError
from sim.plant.blade import blade_modes

MULTIPLES = (1, 2, 3, 6)
MODES = ("flap_1", "edge_1", "flap_2")
NEAR = 0.05
"""Distance of a frequency from a multiple at rated speed, as a share, that is warned of."""
_POINTS = 23
_RPM = 60.0 / (2.0 * math.pi)


def campbell(turbine: Turbine) -> dict[str, Any]:
    """Return frequencies over rotor speed, from rest to a tenth above rated, and warnings.

    Notes
    -----
    A crossing counts between the smallest and the rated speed, linear between points; so does a frequency
    within NEAR of a multiple at rated speed. At fine pitch. A blade that folds is warned of with the speed.
    """
    machine = turbine.machine
    modes = blade_modes(turbine)
    speeds = np.linspace(0.0, 1.1, _POINTS) * machine.rated_rotor_speed
    rows, warnings = [], list[str]()
    for speed in speeds.tolist():
        try:
            rows.append({"rotor_speed_rpm": speed * _RPM} | modes.frequencies(speed, turbine.pitch.fine))
        except InputError as fault:
            warnings.append(f"unstable at {speed * _RPM:.2f} rpm: {fault}")
            break
    low, high = machine.minimum_rotor_speed * _RPM, machine.rated_rotor_speed * _RPM
    for mode in MODES:
        for multiple in MULTIPLES:
            at = crossing([row["rotor_speed_rpm"] for row in rows], [row[mode] for row in rows], multiple)
            if math.isfinite(at) and low <= at <= high:
                warnings.append(f"{told_mode(mode)} meets {multiple}P at {at:.2f} rpm")
            elif _is_near(rows, mode, multiple, high):
                warnings.append(
                    f"{told_mode(mode)} is within {NEAR:.0%} of {multiple}P at rated speed, {high:.2f} rpm"
                )
    return {"rows": rows, "warnings": warnings}


def crossing(rpm: list[float], frequency: list[float], multiple: int) -> float:
    """Return the rotor speed [rpm] at which a frequency [Hz] meets a multiple of it, or nan."""
    speed = np.array(rpm)
    ahead = np.array(frequency) - multiple * speed / 60.0
    falls = np.flatnonzero((ahead[:-1] > 0.0) & (ahead[1:] <= 0.0))
    if falls.size == 0:
        return math.nan
    at = falls[0]
    return float(speed[at] + ahead[at] / (ahead[at] - ahead[at + 1]) * (speed[at + 1] - speed[at]))


def _is_near(rows: list[dict[str, float]], mode: str, multiple: int, rated: float) -> bool:
    if not rows or rows[-1]["rotor_speed_rpm"] < rated:
        return False
    frequency = np.interp(rated, [row["rotor_speed_rpm"] for row in rows], [row[mode] for row in rows])
    return bool(abs(frequency / (multiple * rated / 60.0) - 1.0) < NEAR)


def told_mode(mode: str) -> str:
    """Return the name of a mode in words."""
    kind, number = mode.split("_")
    return f"{kind} mode {number}"
