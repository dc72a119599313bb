"""How is the judgement of recordings put into words?"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from scenarios.answer import counted, table
from scenarios.studies.telling import number, ratio_text
from sim.measures.statistics import Interval


def page_name(files: Sequence[Path]) -> str:
    """Return what the page of these files is called, and no other's: many recordings share a stem."""
    where = hashlib.sha256("\n".join(str(file.resolve()) for file in files).encode()).hexdigest()
    return f"{files[0].stem}-record-{where[:8]}"


def verdict(data: Mapping[str, Any]) -> str:
    """Say in one sentence what room remains."""
    if not data["passes_seen"]:
        passes = counted(data["passes"], "pass")
        nothing = f"{passes}, none with a tip distance: of the clearance nothing can be said."
        return nothing if data["holds"] is None else f"The requirement is not shown to be held: {nothing}"
    blocks = counted(data["blocks"], "block")
    room = f"{data['characteristic_clearance_m']:.2f} m of characteristic clearance over {blocks}"
    if data["required_clearance_m"] is None:
        return f"{room}; without --required nothing is judged."
    required = f"where {data['required_clearance_m']:.2f} m must remain"
    if data["holds"]:
        return f"The requirement is held: {room} {required}."
    why = "; ".join(data["problems"])
    if why and data["characteristic_clearance_m"] >= data["required_clearance_m"]:
        return f"The requirement is not shown to be held: {room} {required}; {why}."
    return f"The requirement is not held: {room} {required}."


WORST_HEAD = ["file", "block", "blade", "time s", "azimuth deg", "clearance m", "pitch deg", "wind m/s"]
RANGE_HEAD = ["channel", "equivalent range kN m", "exponent"]
EXTREME_HEAD = ["channel", "unit", "smallest", "at s", "largest", "at s"]


def worst_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one pass as cells in the order of WORST_HEAD."""
    cells = [Path(row["file"]).name, str(row["block"]), str(row["blade"]), f"{row['time_s']:.2f}"]
    cells += [f"{row['azimuth_deg']:.1f}", f"{row['clearance_m']:.2f}"]
    return [*cells, number(row["pitch_deg"], ".1f"), number(row["wind_speed_m_s"], ".1f")]


def range_cells(data: Mapping[str, Any]) -> list[list[str]]:
    """Return the equivalent ranges as cells in the order of RANGE_HEAD."""
    rows = [row for parts in data["equivalent_range"].values() for row in parts]
    return [[row["channel"], _with_interval(row), f"{row['exponent']:g}"] for row in rows]


def _with_interval(row: Mapping[str, Any]) -> str:
    ends = row["interval_kNm"]
    return ratio_text(Interval(row["value_kNm"], ends["low"], ends["high"], ends["seeds"], ends["method"]))


def extreme_cells(data: Mapping[str, Any]) -> list[list[str]]:
    """Return the extremes as cells in the order of EXTREME_HEAD."""
    return [
        [
            row["channel"],
            row["unit"],
            number(row["smallest"]),
            f"{row['smallest_time_s']:.2f}",
            number(row["largest"]),
            f"{row['largest_time_s']:.2f}",
        ]
        for row in data["extremes"]
    ]


def level_sentence(data: Mapping[str, Any]) -> str:
    """Say what is undercut once in fifty years of this condition; empty where nothing can be said."""
    level = data["fifty_year_clearance"]
    if level is None:
        return ""
    told = f"Once in fifty years of just this condition: {level['value_m']:.2f} m"
    told += f" ({level['low_m']:.2f}..{level['high_m']:.2f}), {level['method']}."
    return f"{told} But {level['warning']}." if level["warning"] else told


def record_text(data: Mapping[str, Any]) -> str:
    """Return the judgement for people."""
    parts = [verdict(data)]
    if data["worst"]:
        worst = [worst_cells(row) for row in data["worst"]]
        parts.append(f"The smallest passes:\n{table(WORST_HEAD, worst)}")
    if data["equivalent_range"]:
        note = "Equivalent ranges at 1 Hz, with 95 % intervals over blocks:"
        parts.append(f"{note}\n{table(RANGE_HEAD, range_cells(data))}")
    if data["extremes"]:
        parts.append(f"Extremes:\n{table(EXTREME_HEAD, extreme_cells(data), left=2)}")
    parts += [level_sentence(data)] if level_sentence(data) else []
    parts.append(f"page: {data['page']}\nall passes: {data['listing']}")
    return "\n\n".join(parts)
