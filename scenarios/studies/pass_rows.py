"""What is said of a single pass, and of the passes of a load case, in files and in tables?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment

COLUMNS = (
    "case",
    "fault",
    "time_s",
    "blade",
    "azimuth_deg",
    "radius_m",
    "clearance_m",
    "clearance_without_m",
    "acted",
    "pitch_deg",
    "wind_speed_m_s",
)

WORST_HEAD = ["case", "time s", "blade", "azimuth deg", "clearance m", "without m", "acted"]
WORST_HEAD += ["pitch deg", "wind m/s"]
CASES_HEAD = ["entry", "load case", "wind m/s", "cases", "characteristic m", "smallest m"]


def pass_rows(entry: Assessment, rows: Sequence[int] | np.ndarray) -> list[dict[str, Any]]:
    """Return chosen passes of an entry, each as a mapping of COLUMNS to values."""
    passes, cases = entry.gathered.passes, entry.gathered.cases
    titles = [case.title.removeprefix(f"{entry.name}: ") for case in cases]
    return [
        {
            "case": titles[int(passes["case"][row])],
            "fault": cases[int(passes["case"][row])].fault,
            "time_s": float(passes["time_s"][row]),
            "blade": int(passes["blade"][row]) + 1,
            "azimuth_deg": math.degrees(float(passes["azimuth_rad"][row])),
            "radius_m": float(passes["radius_m"][row]),
            "clearance_m": float(passes["clearance_m"][row]),
            "clearance_without_m": float(passes["clearance_without_m"][row]),
            "acted": bool(passes["acted"][row]),
            "pitch_deg": math.degrees(float(passes["pitch_rad"][row])),
            "wind_speed_m_s": float(passes["wind_speed_m_s"][row]),
        }
        for row in np.asarray(rows).tolist()
    ]


def worst_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one pass as the cells of a table, in the order of WORST_HEAD."""
    return [
        row["case"],
        f"{row['time_s']:.2f}",
        str(row["blade"]),
        f"{row['azimuth_deg']:.1f}",
        f"{row['clearance_m']:.2f}",
        number(row["clearance_without_m"]),
        "yes" if row["acted"] else "no",
        f"{round(row['pitch_deg'], 1) + 0.0:.1f}",
        f"{row['wind_speed_m_s']:.1f}",
    ]


def case_rows(entry: Mapping[str, Any]) -> list[list[str]]:
    """Return the cells under `CASES_HEAD` of one entry of `scenarios.studies.passes.passes_data`."""
    return [
        [
            entry["name"],
            row["load_case"],
            f"{row['wind_speed_m_s']:.4g}",
            str(row["cases"]),
            number(row["characteristic_clearance_m"]),
            number(row["smallest_clearance_m"]),
        ]
        for row in entry["load_cases"]
    ]
