"""What does the page of the softest blade show?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from scenarios.report.drawing import RULE, SOFT, legend_above, pens, sheet
from scenarios.report.page import BREAKS, HOLDS, Figure, Lines, Page, Row, Section, Table, Text
from scenarios.scenario import Scenario
from scenarios.studies.campbell import MODES, MULTIPLES, told_mode
from scenarios.studies.softer_text import (
    HEAD,
    SILENT_HEAD,
    how_text,
    silent_cells,
    stack_cells,
    warning_lines,
)

MARGINS = (
    "What remains above the requirement at every stiffness that was tried, in the worst of the same winds."
)
CAMPBELL = (
    "Natural frequencies of each stack's softest blade over rotor speed, and multiples of that speed; the "
    "band is the range in which the rotor runs."
)


def softer_page(scenario: Scenario, data: Mapping[str, Any]) -> Page:
    """Compose the page from what the study prints with ``--json``."""
    rows = data["stacks"]
    silent = [Row(silent_cells(row)) for row in rows if row["fails_silently"] is not None]
    sections = [
        Section("How soft", [Figure(margin_figure(data), MARGINS), Text(how_text(data))]),
        Section("The softest blade and its bill", [Table(HEAD, [Row(stack_cells(row)) for row in rows])]),
    ]
    if silent:
        sections.append(
            Section("When the logic fails silently at that softness", [Table(SILENT_HEAD, silent)])
        )
    figure = Figure(campbell_figure(scenario, data), CAMPBELL)
    sections.append(Section("Frequencies", [figure, Lines(warning_lines(data))]))
    holds = math.isfinite(rows[-1]["softest_factor"])
    return Page(
        name="softer",
        title=f"How soft the blade of {data['turbine']} may become",
        where=f"{scenario.name}: {scenario.title}",
        headline="Softer:" if holds and rows[-1]["mass_saved_share"] >= 0.0 else "No softer:",
        verdict=data["headline"],
        mark=HOLDS if holds else BREAKS,
        sections=sections,
    )


def margin_figure(data: Mapping[str, Any]) -> str:
    """Draw margin against stiffness factor, one line for each stack."""
    pen = pens([row["stack"] for row in data["stacks"]])
    with sheet("softness", 3.4) as page:
        axis = page.axes[0][0]
        for row in data["stacks"]:
            mine = pen[row["stack"]]
            factors = [item["factor"] for item in row["tried"]]
            axis.plot(
                factors,
                [item["margin_m"] for item in row["tried"]],
                **mine.line,
                marker=mine.marker,
                markersize=4,
                label=row["stack"],
            )
        axis.axhline(0.0, color=RULE, linewidth=1.2)
        axis.set_xlabel("factor on flap stiffness [-]")
        axis.set_ylabel("margin [m]")
        legend_above(page.figure, *axis.get_legend_handles_labels())
    return page.svg


def campbell_figure(scenario: Scenario, data: Mapping[str, Any]) -> str:
    """Draw frequencies over rotor speed, every stack's softest blade, and the multiples of rotor speed."""
    machine = scenario.candidate.design.machine
    pen = pens([row["stack"] for row in data["stacks"]])
    with sheet("campbell", 4.2) as page:
        axis = page.axes[0][0]
        top, heights = 0.0, dict[str, float]()
        for row in data["stacks"]:
            if row["campbell"] is None:
                continue
            points = row["campbell"]["rows"]
            speeds = [point["rotor_speed_rpm"] for point in points]
            for number, mode in enumerate(MODES):
                values = [point[mode] for point in points]
                top = max(top, *values)
                heights[mode] = max(heights.get(mode, 0.0), values[0])
                axis.plot(
                    speeds, values, **pen[row["stack"]].line, label=row["stack"] if number == 0 else None
                )
        low, high = (60.0 * speed / (2.0 * math.pi) for speed in _range(machine))
        for multiple in MULTIPLES:
            axis.plot([0.0, 1.1 * high], [0.0, 1.1 * high * multiple / 60.0], color=SOFT, linewidth=0.7)
            axis.annotate(f"{multiple}P", (1.1 * high, 1.1 * high * multiple / 60.0), (3, 0),
                          textcoords="offset points", va="center", fontsize=7.5)  # fmt: skip
        for mode, value in heights.items():
            axis.annotate(told_mode(mode), (0.0, value), (4, 4), textcoords="offset points", fontsize=7.5)
        axis.axvspan(low, high, color=SOFT, alpha=0.1, linewidth=0.0)
        axis.set_xlim(0.0, 1.14 * high)
        axis.set_ylim(0.0, 1.1 * max(top, 0.1))
        axis.set_xlabel("rotor speed [rpm]")
        axis.set_ylabel("frequency [Hz]")
        handles, labels = axis.get_legend_handles_labels()
        if labels:
            legend_above(page.figure, handles, labels)
    return page.svg


def _range(machine: Any) -> tuple[float, float]:
    return machine.minimum_rotor_speed, machine.rated_rotor_speed
