"""What does the page of judged recordings look like?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import counted
from scenarios.report.drawing import OKABE_ITO, RULE, sheet
from scenarios.report.page import BREAKS, HOLDS, UNKNOWN, Figure, Page, Row, Section, Table, Text
from scenarios.studies.record_telling import (
    EXTREME_HEAD,
    RANGE_HEAD,
    WORST_HEAD,
    extreme_cells,
    level_sentence,
    range_cells,
    verdict,
    worst_cells,
)

NOTE = (
    "A pass is where a blade points straight down; its clearance is the least tip distance around that, "
    "between samples by the parabola through the lowest three. It is what the record holds, as good as its "
    "instrument. The characteristic clearance is the mean over blocks of each block's smallest."
)


def record_page(data: Mapping[str, Any], passes: Mapping[str, NDArray]) -> Page:
    """Compose the page of judged recordings.

    Parameters
    ----------
    data : what the command prints with ``--json``
    passes : columns of every pass, and ``block``
    """
    sections = []
    if data["passes_seen"]:
        rows = [Row(worst_cells(row)) for row in data["worst"]]
        caption = (
            "The clearance of every pass, block after block; the line is what must remain, where it was told."
        )
        parts = [Text(NOTE), Figure(passes_figure(passes, data), caption), Table(WORST_HEAD, rows)]
        if level_sentence(data):
            parts.append(Text(level_sentence(data)))
        sections.append(Section("Passes", parts))
    if data["equivalent_range"]:
        note = "Equivalent ranges at 1 Hz by rainflow counting, with 95 % intervals over blocks."
        rows = [Row(cells) for cells in range_cells(data)]
        sections.append(Section("Fatigue", [Text(note), Table(RANGE_HEAD, rows)]))
    if data["extremes"]:
        rows = [Row(cells) for cells in extreme_cells(data)]
        sections.append(Section("Extremes", [Table(EXTREME_HEAD, rows, left=2)]))
    names = ", ".join(row["file"] for row in data["files"])
    size = f"{counted(data['blocks'], 'block')}, {counted(data['passes'], 'pass')}"
    holds = data["holds"]
    return Page(
        name="record",
        title="A record judged",
        where=f"{names}: {size} of {data['blade_count']} blades.",
        headline="Judged." if holds is None else "Holds." if holds else "Does not hold.",
        verdict=verdict(data),
        mark=UNKNOWN if holds is None else HOLDS if holds else BREAKS,
        sections=sections,
        remarks=[f"{problem}." for problem in data["problems"]],
    )


def passes_figure(passes: Mapping[str, NDArray], data: Mapping[str, Any]) -> str:
    """Draw the clearance of every pass that was seen, by blade."""
    with sheet("recorded", 3.4) as page:
        axis = page.axes[0][0]
        for blade in np.unique(passes["blade"]).tolist():
            mine = np.flatnonzero(passes["blade"] == blade)
            colour = OKABE_ITO[1 + blade]
            axis.plot(mine, passes["clearance_m"][mine], ".", color=colour, label=f"blade {blade + 1}")
        if data["required_clearance_m"] is not None:
            axis.axhline(data["required_clearance_m"], color=RULE, linewidth=1.2)
        axis.set_xlabel("number of the pass")
        axis.set_ylabel("clearance [m]")
        axis.legend(loc="best")
    return page.svg
