"""By which rule and factors was an entry judged, and which case governs in each load case?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.requirement import FACTORED, Requirement
from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment
from scenarios.studies.gather import Gathered
from sim.measures.clearance import BinClearance

GOVERNING_HEAD = ["load case", "governing wind", "cases", "characteristic m", "required m"]
GOVERNING_HEAD += ["of unloaded m", "margin m"]


def requirement_data(requirement: Requirement, entry: Assessment) -> dict[str, Any]:
    """Return the rule, its factors, and what it asks of an entry in its governing case.

    Parameters
    ----------
    requirement : Requirement
    entry : Assessment
    """
    governing, gathered = entry.verdict.governing, entry.gathered
    row = gathered.row_of(governing.condition)
    unloaded, at_rest = float(gathered.free[row]), bool(gathered.at_rest[row])
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
        "at_rest": at_rest,
        "words": requirement.words(unloaded, governing.required, at_rest),
    }


def governing_data(entry: Assessment) -> dict[str, dict[str, Any]]:
    """Return the governing wind of each load case, by the name of the load case."""
    return {name: _row(item, entry.gathered) for name, item in entry.verdict.per_condition().items()}


def _row(item: BinClearance, gathered: Gathered) -> dict[str, Any]:
    row = gathered.row_of(item.condition)
    return {
        "wind_speed_m_s": item.speed,
        "cases": item.cases,
        "characteristic_clearance_m": item.characteristic,
        "required_clearance_m": item.required,
        "required_share": item.required / float(gathered.free[row]),
        "unloaded_clearance_m": float(gathered.free[row]),
        "at_rest": bool(gathered.at_rest[row]),
        "margin_m": item.margin,
        "problem": item.problem,
    }


def required_cell(row: Mapping[str, Any]) -> str:
    """Say what share of which unloaded clearance must remain in a load case."""
    where = " at rest" if row["at_rest"] else ""
    return f"{row['required_share']:.0%} of {row['unloaded_clearance_m']:.2f}{where}"


def governing_cells(name: str, row: Mapping[str, Any]) -> list[str]:
    """Return one load case as the cells of a table, in the order of GOVERNING_HEAD."""
    return [
        name,
        f"{row['wind_speed_m_s']:g} m/s",
        str(row["cases"]),
        number(row["characteristic_clearance_m"]),
        number(row["required_clearance_m"]),
        required_cell(row),
        number(row["margin_m"], "+.2f"),
    ]
