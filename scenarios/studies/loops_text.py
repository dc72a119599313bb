"""What of poles and margins is said in the terminal?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.answer import table

MARGIN_HEAD = [
    "loop",
    "crossover Hz",
    "gain dB",
    "phase deg",
    "delay s",
    "disc",
    "disc +-dB",
    "disc +-deg",
    "peak 1/(1+L)",
]
POLE_HEAD = ["motion", "open Hz", "damping", "closed Hz", "damping"]


def loops_text(data: Mapping[str, Any]) -> str:
    """Return the answer for people."""
    low, high = data["band_Hz"]
    head = (
        f"{data['turbine']}: small motions about where the stack holds the turbine in a steady wind, shear "
        "exponent "
        f"{data['shear_exponent']:g};\nperiod {data['period_s']:g} s, readings {data['reading_delay_s']:g} "
        "s old, "
        f"pitch demands {data['pitch_delay_s']:g} s late; loops looked at from {low:g} to {high:g} Hz"
    )
    parts = [head, *(operation_text(row) for row in data["operation"])]
    return "\n\n".join([*parts, f"page: {data['page']}"])


def operation_text(row: Mapping[str, Any]) -> str:
    """Return one stack at one wind speed."""
    cyclic = f" and {row['cyclic_pitch_deg']:.2f} deg of it cyclic" if row["cyclic_pitch_deg"] > 0.005 else ""
    resting = f"\n{resting_text(row)}" if row["resting_layers"] else ""
    verdict = "stable" if row["stable"] else "UNSTABLE"
    return (
        f"{row['stack']} at {row['wind_speed_m_s']:g} m/s: {verdict}; {row['rotor_speed_rpm']:.2f} rpm, "
        "pitch "
        f"{row['pitch_deg']:.2f} deg{cyclic}, torque {row['torque_kNm']:.0f} kN m{resting}\n"
        + table(POLE_HEAD, pole_rows(row))
        + "\n\n"
        + margins_text(row)
    )


def resting_text(row: Mapping[str, Any]) -> str:
    """Say which layers have no part in small motions here."""
    names = " and ".join(row["resting_layers"])
    return (
        f"{names} {'rests' if len(row['resting_layers']) == 1 else 'rest'} in this wind: no part in the loops"
    )


def margins_text(row: Mapping[str, Any]) -> str:
    """Return the margins of one stack's loops."""
    if not row["stable"]:
        return "An unstable closed loop has no margins."
    if not row["loops"]:
        return "The stack closes no loop here."
    return table(MARGIN_HEAD, margin_rows(row["loops"]))


def margin_rows(loops: Sequence[Mapping[str, Any]]) -> list[list[str]]:
    """Return a table's rows of margins; "none" where nothing in the band limits the loop."""
    keys = (
        ("crossover_Hz", ".4f"), ("gain_margin_dB", ".1f"), ("phase_margin_deg", ".1f"),
        ("delay_margin_s", ".2f"), ("disc_margin", ".2f"), ("disc_gain_dB", ".1f"), ("disc_phase_deg", ".1f"),
        ("peak_sensitivity", ".2f"),
    )  # fmt: skip
    return [[loop["loop"], *(_told(loop[key], style) for key, style in keys)] for loop in loops]


def _told(value: float, style: str) -> str:
    return format(value, style) if math.isfinite(value) else "none"


def pole_rows(row: Mapping[str, Any]) -> list[list[str]]:
    """Return a table's rows of motions, open and closed loop side by side where they have the same name."""
    rest = list(row["closed_loop_poles"])
    rows = []
    for pole in row["open_loop_poles"]:
        own = next((other for other in rest if other["motion"] == pole["motion"]), None)
        if own is not None:
            rest.remove(own)
        rows.append([pole["motion"], *_cells(pole), *(_cells(own) if own else ["", ""])])
    return rows + [[pole["motion"], "", "", *_cells(pole)] for pole in rest]


def _cells(pole: Mapping[str, Any]) -> list[str]:
    return [f"{pole['frequency_Hz']:.4f}", f"{pole['damping_ratio']:.4f}"]
