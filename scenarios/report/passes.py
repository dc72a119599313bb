"""What does the page of a scenario's passes look like?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.answer import counted
from scenarios.report.drawing import RULE, SOFT, Pen, legend_above, pens, sheet
from scenarios.report.page import UNKNOWN, Figure, Page, Row, Section, Table, Text
from scenarios.report.sections import trouble_section
from scenarios.report.wind_figures import field_section
from scenarios.scenario import Scenario
from scenarios.studies.assess import Assessment
from scenarios.studies.fault_rows import FAULT_HEAD, fault_cells
from scenarios.studies.pass_rows import CASES_HEAD, WORST_HEAD, case_rows, worst_cells

CASES_NOTE = (
    "Each load case at its worst wind speed: characteristic clearance (in turbulence the mean over seeds of "
    "each seed's smallest, in a gust the worst over the rotor's position) and the smallest of all passes."
)
BIN_M = 0.25
"""Width of the bins of clearance [m]."""


def passes_page(scenario: Scenario, entries: Sequence[Assessment], data: Mapping[str, Any]) -> Page:
    """Compose the page: how many passes leave how much room, and the worst of each entry."""
    pen = pens([entry.name for entry in entries])
    total = sum(entry.pass_count for entry in entries)
    caption = (
        f"How many passes left how much room, in bins of {BIN_M:g} m, all winds of the scenario together: a "
        "look at the passes, no rate."
    )
    head = ["entry", "stack", "required [m]", "passes", "acted", "broken", "strikes"]
    counts = [
        Row(
            [entry["name"], " + ".join(entry["stack"]), f"{entry['required_clearance_m']:.2f}"]
            + [str(entry[name]) for name in ("passes", "acted", "broken_passes", "strikes")],
            pen[entry["name"]].colour,
        )
        for entry in data["entries"]
    ]
    sections = [
        Section("All passes", [Table(head, counts, left=2), Figure(spread_figure(entries, pen), caption)])
    ]
    cases = [Row(cells, pen[entry["name"]].colour) for entry in data["entries"] for cells in case_rows(entry)]
    sections.append(
        Section("What each load case leaves", [Text(CASES_NOTE), Table(CASES_HEAD, cases, left=2)])
    )
    for entry in data["entries"]:
        if entry["faults"]:
            rows = [Row(fault_cells(row), pen[entry["name"]].colour) for row in entry["faults"]]
            title = f"The passes of {entry['name']} under each fault"
            sections.append(Section(title, [Table(FAULT_HEAD, rows, left=2)]))
    for entry in data["entries"]:
        rows = [Row(worst_cells(row)) for row in entry["worst"]]
        sections.append(Section(f"The smallest passes of {entry['name']}", [Table(WORST_HEAD, rows)]))
    if data["failed_cases"] or data["flagged_cases"]:
        sections.append(trouble_section(data))
    sections += field_section(scenario)
    return Page(
        name=f"{scenario.name}, passes",
        title=f"The passes of {scenario.name}",
        where=f"{scenario.title} Turbine {scenario.reference.design.name}, seed {scenario.seed}, "
        f"configuration {scenario.configuration_hash[:16]}.",
        headline=counted(total, "pass"),
        verdict=f"in {counted(len(scenario.cases), 'case')}; shown, not judged.",
        mark=UNKNOWN,
        sections=sections,
    )


def spread_figure(entries: Sequence[Assessment], pen: Mapping[str, Pen]) -> str:
    """Draw how the clearances of all passes are spread, on a logarithmic count."""
    from matplotlib.lines import Line2D

    with sheet("spread", 3.6) as page:
        axis = page.axes[0][0]
        every = np.concatenate([entry.gathered.passes["clearance_m"] for entry in entries])
        if every.size:
            edges = np.arange(np.floor(every.min()), np.ceil(every.max()) + BIN_M, BIN_M)
            for entry in entries:
                counts, _ = np.histogram(entry.gathered.passes["clearance_m"], edges)
                axis.stairs(
                    np.where(counts > 0, counts, np.nan), edges, baseline=None, **_thin(pen[entry.name])
                )
            axis.set_yscale("log")
        turning = [entry.gathered.must[~entry.gathered.at_rest] for entry in entries]
        for required in np.unique(np.concatenate(turning)):
            axis.axvline(required, color=RULE, linewidth=1.2)
        axis.axvline(0.0, color=SOFT, linewidth=0.8)
        axis.set_xlabel("clearance [m]")
        axis.set_ylabel("passes in a bin")
        handles = [Line2D([], [], **pen[entry.name].line) for entry in entries]
        handles.append(Line2D([], [], color=RULE, linewidth=1.2))
        legend_above(page.figure, handles, [*(entry.name for entry in entries), "required"])
    return page.svg


def _thin(pen: Pen) -> dict[str, Any]:
    return pen.line | {"linewidth": 0.7 * pen.width}
