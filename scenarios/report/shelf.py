"""What does a page say of the shelf: every stack in one line, how robust each is, and its frontier?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.report.drawing import RULE, legend_above, pens, sheet
from scenarios.report.page import Figure, Lines, Row, Section, Table, Text
from scenarios.studies import frontier, robustness, shelf


def shelf_sections(data: Mapping[str, Any]) -> list[Section]:
    """Return the sections for those of the questions that were asked.

    Parameters
    ----------
    data : mapping
        What the study prints with ``--json``.
    """
    sections = []
    if "shelf" in data:
        rows = [Row(shelf.shelf_cells(row)) for row in data["shelf"]]
        sections.append(Section("The shelf compared", [Text(shelf.NOTE), Table(shelf.HEAD, rows, left=3)]))
    if "robustness" in data:
        rows = [Row(robustness.robustness_cells(row)) for row in data["robustness"]]
        head = robustness.robustness_head()
        sections.append(
            Section("How robust each stack is", [Text(robustness.NOTE), Table(head, rows, left=2)])
        )
    if "frontier" in data:
        sections.append(_frontier_section(data["frontier"]))
    return sections


def _frontier_section(found: Mapping[str, Any]) -> Section:
    rows = [Row(frontier.frontier_cells(row)) for row in found["points"]]
    caption = (
        "Share of demands missed against extra pitch travel, as each logic's margin (the permanent pulse's "
        "amplitude) is swept; below the line few enough are missed."
    )
    parts = [
        Text(frontier.frontier_note(found)),
        Figure(frontier_figure(found), caption),
        Lines(frontier.verdict_lines(found)),
        Table(frontier.HEAD, rows, left=2),
    ]
    return Section("What a miss less costs in travel", parts)


def frontier_figure(found: Mapping[str, Any]) -> str:
    """Draw the frontier of every layer, with the permanent pulse and the oracle."""
    names = list(dict.fromkeys(row["layer"] for row in found["points"]))
    pen = pens(names)
    with sheet("frontier", 4.4) as page:
        axis = page.axes[0][0]
        for name in names:
            mine = sorted(
                (row["extra_travel_deg_per_hour"], 100.0 * row["missed_share"])
                for row in found["points"]
                if row["layer"] == name
            )
            travel, missed = zip(*mine, strict=True)
            axis.plot(travel, missed, marker=pen[name].marker, markersize=4, label=name, **pen[name].line)
        oracle = found["oracle"]["extra_travel_deg_per_hour"]
        axis.plot([oracle], [0.0], "*", color=RULE, markersize=11, label="oracle")
        axis.axhline(100.0 * frontier.GOOD_ENOUGH, color=RULE, linewidth=0.8)
        axis.set_xscale("symlog", linthresh=10.0)
        axis.set_yscale("symlog", linthresh=1.0)
        axis.set_ylim(bottom=-0.1)
        axis.set_xlabel("extra pitch travel [deg/h and blade]")
        axis.set_ylabel("demands missed [%]")
        legend_above(page.figure, *axis.get_legend_handles_labels())
    return page.svg
