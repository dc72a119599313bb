"""By which rule and factors was an entry judged, and which case governs in each load case?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.requirement import FACTORED, Requirement
from scenarios.studies.assess import Assessment
from sim.measures.clearance import BinClearance

GOVERNING_HEAD = ["load case", "governing wind", "cases", "characteristic m", "required m", "margin m"]


def requirement_data(requirement: Requirement, entry: Assessment) -> dict[str, Any]:
    """Return the rule, its factors, and what it asks of an entry in its governing case.

    Parameters
    ----------
    requirement : Requirement
    entry : Assessment
    """
    governing, unloaded = entry.verdict.governing, entry.gathered.unloaded
    found: dict[str, Any] = {"rule": requirement.rule, "share": governing.required / unloaded}
    if requirement.rule == FACTORED:
        found |= {
            "load_factor": requirement.load_factor_in(unloaded, governing.required),
            "material_factor": requirement.material_factor,
            "consequence_factor": requirement.consequence_factor,
        }
    return found | {
        "unloaded_clearance_m": unloaded,
        "required_clearance_m": governing.required,
        "words": requirement.words(unloaded, governing.required),
    }


def governing_data(entry: Assessment) -> dict[str, dict[str, Any]]:
    """Return the governing wind of each load case, by the name of the load case."""
    return {name: _row(item) for name, item in entry.verdict.per_condition().items()}


def _row(item: BinClearance) -> dict[str, Any]:
    return {
        "wind_speed_m_s": item.speed,
        "cases": item.cases,
        "characteristic_clearance_m": item.characteristic,
        "required_clearance_m": item.required,
        "margin_m": item.margin,
        "problem": item.problem,
    }


def governing_cells(name: str, row: Mapping[str, Any]) -> list[str]:
    """Return one load case as the cells of a table, in the order of GOVERNING_HEAD."""
    return [
        name,
        f"{row['wind_speed_m_s']:g} m/s",
        str(row["cases"]),
        f"{row['characteristic_clearance_m']:.2f}",
        f"{row['required_clearance_m']:.2f}",
        f"{row['margin_m']:+.2f}",
    ]
