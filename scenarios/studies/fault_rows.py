"""What became of the passes under each fault, beside those of the same winds when nothing broke?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scenarios.case import Case
from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment
from sim.measures.clearance import broken_passes, strikes

FAULT_HEAD = ["wind", "fault", "cases", "passes", "acted", "broken", "strikes", "smallest m"]
SOUND = "none"
"""How a case in which nothing breaks is told in a table."""


def fault_rows(entry: Assessment) -> list[dict[str, Any]]:
    """Return what each fault of each wind led to, in the order of the file; nothing where none breaks.

    Parameters
    ----------
    entry : Assessment

    Returns
    -------
    rows : list of dict
        Counts over all cases with that fault, and the smallest clearance [m] of any of their passes; the
        cases of the same wind without a fault have ``fault`` None.
    """
    gathered = entry.gathered
    winds = {_wind(case) for case in gathered.cases if case.fault}
    groups: dict[tuple[str, str], list[int]] = {}
    for row, case in enumerate(gathered.cases):
        if _wind(case) in winds:
            groups.setdefault((_wind(case), case.fault), []).append(row)
    passes = gathered.passes
    found = []
    for (wind, fault), cases in groups.items():
        mine = np.isin(passes["case"], cases)
        clearance, must = passes["clearance_m"][mine], gathered.must[passes["case"][mine]]
        found.append(
            {
                "wind": wind,
                "fault": fault or None,
                "cases": len(cases),
                "cases_failed": sum(gathered.results[row] is None for row in cases),
                "passes": int(mine.sum()),
                "acted": int(np.count_nonzero(passes["acted"][mine])),
                "broken_passes": broken_passes(clearance, must),
                "strikes": strikes(clearance),
                "smallest_clearance_m": float(clearance.min()) if clearance.size else float("nan"),
            }
        )
    return found


def _wind(case: Case) -> str:
    """Return the label of a case's wind without its fault."""
    return case.load_case.removesuffix(f": {case.fault}") if case.fault else case.load_case


def fault_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one fault as the cells of a table, in the order of FAULT_HEAD."""
    counts = [str(row[name]) for name in ("passes", "acted", "broken_passes", "strikes")]
    failed = f" ({row['cases_failed']} failed)" if row["cases_failed"] else ""
    cases = f"{row['cases']}{failed}"
    return [row["wind"], row["fault"] or SOUND, cases, *counts, number(row["smallest_clearance_m"])]
