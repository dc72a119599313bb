"""What does the page of levers show?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.report.drawing import CANDIDATE, OKABE_ITO, RULE, sheet
from scenarios.report.page import UNKNOWN, Figure, Lines, Page, Row, Section, Table, Text
from scenarios.studies.levers_text import (
    GAIN_HEAD,
    METRE_HEAD,
    MIX_HEAD,
    base_text,
    gain_cells,
    interaction_lines,
    metre_cells,
    mix_rows,
    mix_words,
    turned,
    warning_words,
    weight_words,
    where_text,
)

TORNADO = (
    "The clearance in the governing wind when each lever alone goes from one end of its range to the other, "
    "the largest swing on top; the line is the turbine as it is."
)


def levers_page(data: Mapping[str, Any]) -> Page:
    """Compose the page from what the study prints with ``--json``."""
    rows = data["levers"]
    sections = [
        Section(
            "How far each lever reaches",
            [Figure(tornado(rows, data["as_it_is"]["governing_m"]), TORNADO)],
        ),
        Section(
            "What a unit of each buys, and what it changes",
            [Text(where_text(data)), _table(turned(GAIN_HEAD, map(gain_cells, rows)))],
        ),
        Section(
            "The price of one metre",
            [_table(turned(METRE_HEAD, map(metre_cells, rows)))],
        ),
        Section("What they do to each other", [Lines(interaction_lines(data))]),
    ]
    if "mix" in data:
        mix = data["mix"]
        sections.insert(
            0,
            Section(
                f"The cheapest mix that keeps {mix['need_m']:g} m",
                [
                    Text(weight_words(mix)),
                    Table(MIX_HEAD, [Row(cells) for cells in mix_rows(mix)]),
                    Text(warning_words(mix)),
                ],
            ),
        )
    best = max(rows, key=lambda row: row["gain_governing_m"])
    return Page(
        name="levers",
        title=f"What buys clearance on {data['turbine']}",
        where=base_text(data),
        headline="Cheapest mix:" if "mix" in data else "Levers:",
        verdict=mix_words(data["mix"])
        if "mix" in data
        else f"the strongest for a unit is {best['title']}, {best['gain_governing_m']:+.2f} m a "
        f"{best['unit']}; "
        "which is the cheapest depends on what each price is worth to you.",
        mark=UNKNOWN,
        sections=sections,
    )


def _table(lines: Sequence[Sequence[str]]) -> Table:
    return Table(list(lines[0]), [Row(list(cells)) for cells in lines[1:]])


def tornado(rows: Sequence[Mapping[str, Any]], base: float) -> str:
    """Draw the clearance over each lever's range, the largest swing on top."""
    swings = sorted(rows, key=lambda row: abs(_swing(row)))
    with sheet("tornado", 0.9 + 0.33 * len(rows)) as page:
        axis = page.axes[0][0]
        for place, row in enumerate(swings):
            low, high = row["governing_over_range_m"]
            for end, colour in ((low, OKABE_ITO[1]), (high, CANDIDATE)):
                axis.barh(place, end - base, left=base, height=0.55, color=colour, alpha=0.85)
            for end, at, clearance in zip((0, 1), row["range"], (low, high), strict=True):
                if clearance == base:
                    continue
                side = 1 if clearance > base else -1
                axis.annotate(
                    f"{at:.3g}", (clearance, place), (4 * side, 0), textcoords="offset points",
                    va="center", ha="left" if side > 0 else "right", fontsize=7.5,
                    color=(OKABE_ITO[1], CANDIDATE)[end],
                )  # fmt: skip
        axis.axvline(base, color=RULE, linewidth=1.2)
        axis.set_yticks(range(len(swings)), [f"{row['title']} [{_unit(row)}]" for row in swings])
        axis.tick_params(axis="y", length=0)
        axis.grid(axis="y", visible=False)
        axis.margins(x=0.1)
        axis.set_xlabel("clearance in the governing wind [m]; ends of the range beside the bars")
    return page.svg


def _swing(row: Mapping[str, Any]) -> float:
    low, high = row["governing_over_range_m"]
    return high - low


def _unit(row: Mapping[str, Any]) -> str:
    return "-" if row["unit"] == "10 %" else row["unit"]
