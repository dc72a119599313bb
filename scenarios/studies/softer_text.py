"""How is the softest blade of each stack told to people?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from scenarios.answer import table
from scenarios.studies.amounts import number
from scenarios.studies.softer_runs import NEAR

HEAD = [
    "stack",
    "softest factor",
    "interval",
    "mass saved kg",
    "interval",
    "travel ratio",
    "energy",
    "flap range",
    "edge range",
    "tower range",
    "margin in all winds m",
]
SILENT_HEAD = ["stack", "remains m", "margin m", "smallest m", "passes broken", "strikes", "governing"]


def _span(ends: Mapping[str, float], style: str) -> str:
    """Write an interval; none where only gusts decide, which have no seeds."""
    return "none" if math.isnan(ends["low"]) else f"{ends['low']:{style}}..{ends['high']:{style}}"


def stack_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one stack's softest blade as the cells of a table."""
    if math.isnan(row["softest_factor"]):
        return [row["stack"], f"none: {row['note']}", *["-"] * (len(HEAD) - 2)]
    fatigue = row["fatigue"].values()
    ends, saved = row["interval"], row["mass_saved_interval_kg"]
    return [
        row["stack"],
        f"{row['softest_factor']:.3f}",
        _span(ends, ".3f"),
        f"{row['mass_saved_kg']:.0f}",
        _span(saved, ".0f"),
        number(row["travel_ratio"]),
        number(row["energy_ratio"], ".4f"),
        *(number(item["ratio"], ".3f") for item in fatigue),
        number(row["margin_in_all_winds_m"], "+.2f"),
    ]


def silent_cells(row: Mapping[str, Any]) -> list[str]:
    """Return what remains when one stack's logic fails silently."""
    silent = row["fails_silently"]
    return [
        row["stack"],
        number(silent["characteristic_m"]),
        number(silent["margin_m"], "+.2f"),
        number(silent["smallest_clearance_m"]),
        f"{silent['broken']} of {silent['passes']}",
        str(silent["strikes"]),
        silent["governing"],
    ]


def headline(data: Mapping[str, Any]) -> str:
    """Return the one sentence of it all: the candidate's, beside what happens when its logic fails."""
    first, last = data["stacks"][0], data["stacks"][-1]
    if math.isnan(last["softest_factor"]):
        return f"{last['stack']} lets the blade become no softer: it {last['note']}."
    saved = _span(last["mass_saved_interval_kg"], ".0f")
    interval = "no interval, for a gust decides and has no seeds" if saved == "none" else f"interval {saved}"
    share = last["mass_saved_share"]
    change = f"lets this blade lose {share:.1%}" if share >= 0.0 else f"needs a blade heavier by {-share:.1%}"
    told = (
        f"{last['stack']} {change} of its mass ({abs(last['mass_saved_kg']):.0f} kg, {interval}; "
        f"flap stiffness x {last['softest_factor']:.3f})"
    )
    if first is not last:
        alone = first.get("mass_saved_share", math.nan)
        told += f", where {first['stack']} allows {number(100.0 * alone, '.1f')} %,"
    if not math.isnan(last["travel_ratio"]):
        told += f" for {number(last['travel_ratio'])} times the pitch travel"
    told += (
        f"; {last['cases_with_a_strike']} of {last['cases']} cases hold a strike (a share below "
        f"{last['strike_share_at_most']:.3f} with 95 % confidence, of these winds, which are not a year's)."
    )
    silent = last["fails_silently"]
    if silent is not None:
        told += (
            f" When the logic fails silently at that softness, {number(silent['characteristic_m'])} m remain "
            f"where {data['required_m']:.2f} m must: {silent['broken']} of {silent['passes']} passes "
            f"break the requirement, {silent['strikes']} strike the tower."
        )
    return told


def warning_lines(data: Mapping[str, Any]) -> list[str]:
    """Return the warnings of every blade's frequencies, and the factors at which a blade is unsound."""
    told = [f"no sound blade at the factor {line}" for line in data["unsound_factors"]]
    told += [f"reference blade: {line}" for line in data["reference_campbell"]["warnings"]]
    for row in data["stacks"]:
        if row["campbell"] is not None:
            told += [f"softest of {row['stack']}: {line}" for line in row["campbell"]["warnings"]]
    return told or ["no frequency meets 1P, 2P, 3P or 6P within the range of rotor speeds"]


def how_text(data: Mapping[str, Any]) -> str:
    """Return how the softest blade was sought."""
    return (
        f"The factor on flap stiffness at which {data['required_m']:.2f} m just remain, sought by bisection "
        f"with chords in the same winds for all: {', '.join(data['winds'])}. After the first round "
        f"only those that came within {NEAR:g} m of the worst. Normal turbulence is milder "
        "at the same speed; it is marched at the end, for the bill. The blade's mass falls by "
        f"{data['spar_share']:g} of the share that its stiffness does (spar caps), "
        f"{data['reference_blade_mass_kg']:.0f} kg at the factor {data['reference_factor']:g}. Intervals "
        "hold 95 % over seeds; a gust has no scatter. Ratios are against the reference's stack on its "
        "own blade."
    )


def softer_text(data: Mapping[str, Any]) -> str:
    """Return the study for people."""
    parts = [
        data["headline"],
        how_text(data),
        table(HEAD, [stack_cells(row) for row in data["stacks"]]),
    ]
    silent = [silent_cells(row) for row in data["stacks"] if row["fails_silently"] is not None]
    if silent:
        parts.append("When the logic fails silently at that softness:\n" + table(SILENT_HEAD, silent))
    notes = [f"{row['stack']}: {row['note']}" for row in data["stacks"] if row["note"]]
    parts.append("\n".join(["Frequencies:", *(f"  {line}" for line in warning_lines(data)), *notes]))
    return "\n\n".join([*parts, f"page: {data['page']}"])
