"""How is the matrix of faults written down for a failure-mode analysis?"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Any

import numpy as np

from scenarios.scenario import Scenario
from scenarios.studies.bench import bench_of, pairs_of
from sim.faults import KINDS


def worksheet(scenario: Scenario, data: Mapping[str, Any]) -> str:
    """Return the matrix as a worksheet of a failure-mode analysis, CSV; ratings are left to its users.

    References
    ----------
    IEC 60812:2018, "Failure modes and effects analysis (FMEA and FMECA)" (columns from memory).
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([
        "item", "function", "failure mode", "cause", "operating condition", "local effect", "end effect",
        "least clearance_m", "required clearance_m", "detection", "time to detection_s",
        "compensating provision",
        "rate_per_year", "severity", "occurrence", "detection rating", "remarks",
    ])  # fmt: skip
    rates = {item.name: item for item in (*bench_of(scenario), *pairs_of(scenario))}
    for row in data["rows"]:
        item = rates[row["fault"]]
        kinds = [spec.kind for spec in item.specs]
        seen = np.isfinite(row["noticed_after_s"])
        writer.writerow([
            "; ".join(spec.sensor or KINDS[spec.kind].part for spec in item.specs),
            "keeps the blade off the tower", row["fault"],
            "; ".join(KINDS[kind].meaning for kind in kinds), f"{row['wind']}, phase {row['phase'] + 1}",
            f"clearance {row['clearance_without_fault_m']:.2f} to {row['clearance_m']:.2f} m", row["outcome"],
            f"{row['clearance_m']:.3f}", f"{data['required_clearance_m']:.3f}",
            "supervisor" if seen else "none", f"{row['noticed_after_s']:.2f}" if seen else "",
            row["fell_back_to"], f"{item.rate_per_year:g}", "", "", "", row["stack"],
        ])  # fmt: skip
    return text.getvalue()
