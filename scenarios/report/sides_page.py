"""What does the page of both sides of the tower show?"""

from __future__ import annotations

from typing import Any

import numpy as np

from scenarios.report.drawing import legend_above, pens, sheet
from scenarios.report.page import BREAKS, HOLDS, Figure, Lines, Page, Row, Section, Table, Text
from scenarios.studies.sides_text import BILL_HEAD, ROOM_HEAD, bill_cells, how, room_cells, words

FORCE = (
    "Force of one blade along the shaft about its passage of the tower, steady wind, induced velocity held: "
    "what a listener hears is its rate of change."
)


def sides_page(data: dict[str, Any]) -> Page:
    """Compose the page from what the study prints with ``--json``."""
    holds = all(row["holds"] for row in data["sides"])
    told = words(data)
    return Page(
        name="sides",
        title="The same rotor before and behind its tower",
        where=f"{data['scenario']}, seed {data['seed']}",
        headline="Both sides:",
        verdict=told[0],
        mark=HOLDS if holds else BREAKS,
        sections=[
            Section(
                "Side by side",
                [
                    Table(ROOM_HEAD, [Row(room_cells(row)) for row in data["sides"]]),
                    Table(BILL_HEAD, [Row(bill_cells(row)) for row in data["sides"]]),
                    Lines(told),
                ],
            ),
            Section("How it was compared", [Text(how(data))]),
            Section("The thump", [Figure(force_figure(data), FORCE)]),
        ],
    )


def force_figure(data: dict[str, Any]) -> str:
    """Draw the force of one blade over azimuth, every side."""
    pen = pens([row["entry"] for row in data["sides"]])
    with sheet("thump", 3.2) as page:
        axis = page.axes[0][0]
        for row in data["sides"]:
            force = np.array(row["thump_force_kN"])
            azimuth = np.arange(force.size) * 360.0 / force.size
            near = (azimuth > 120.0) & (azimuth < 240.0)
            axis.plot(azimuth[near], force[near], **pen[row["entry"]].line, label=row["entry"])
        axis.set_xlabel("azimuth [deg]; the tower is at 180")
        axis.set_ylabel("force of a blade [kN]")
        legend_above(page.figure, *axis.get_legend_handles_labels())
    return page.svg
