"""What does a page show of a frontier: misses against travel, its verdict, and its reasons?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.report.drawing import FAINT, INK, RULE, SOFT, Pen, legend_above, pens, sheet
from scenarios.report.page import Figure, Lines, Row, Section, Table, Text
from scenarios.studies import frontier_text as words
from scenarios.studies.frontier_verdict import GOOD_ENOUGH

NONE_MISSED, LEAST, MOST = 0.1, 0.2, 150.0
"""Where a setting that misses none is drawn; ends of the scale [%]."""
CAPTION = (
    "Share of demands missed against extra pitch travel, as each logic's margin (the permanent pulse's "
    "amplitude) is swept. Bars: 95 % over seeds. Settings that missed none lie hollow in the strip below, "
    "their bars up to what seeds cannot rule out. Under the red line few enough are missed; the shaded part "
    "is within a fifth of the travel of the permanent pulse that protects as well as the best logic."
)


def frontier_section(found: Mapping[str, Any]) -> Section:
    """Return the section that answers the question ``frontier``."""
    rows = [Row(words.frontier_cells(row)) for row in found["points"]]
    parts = [
        Text(words.claim_sentence(found)),
        Text(words.frontier_note(found)),
        Figure(frontier_figure(found), CAPTION),
        Text("What missing few enough costs:"),
        Lines(words.verdict_lines(found)),
        Text("Why:"),
        Lines(words.reason_lines(found)),
        Table(words.HEAD, rows, left=2),
    ]
    return Section("What a miss less costs in travel", parts)


def frontier_figure(found: Mapping[str, Any]) -> str:
    """Draw the frontier of every layer, with the permanent pulse and the oracle."""
    names = list(dict.fromkeys(row["layer"] for row in found["points"]))
    pen = pens(_best_last(found, names))
    with sheet("frontier", 5.2) as page:
        axis = page.axes[0][0]
        _frame(axis, found)
        for name in names:
            mine = [row for row in found["points"] if row["layer"] == name and row["demands"]]
            _draw(axis, name, mine, pen[name])
        oracle = found["oracle"]["extra_travel_deg_per_hour"]
        axis.plot([oracle], [NONE_MISSED], "*", color=RULE, markersize=12, zorder=6, clip_on=False)
        axis.annotate(
            "oracle", (oracle, NONE_MISSED), (0, 9), textcoords="offset points", color=RULE, ha="center"
        )
        legend_above(page.figure, *axis.get_legend_handles_labels())
    return page.svg


def _best_last(found: Mapping[str, Any], names: Sequence[str]) -> list[str]:
    """Return the layers with the best one last: it gets the heaviest pen."""
    best = found["claim"]["by_estimate"]
    last = [best["layer"]] if best is not None else []
    return [*(name for name in names if name not in last), *last]


def _frame(axis: Any, found: Mapping[str, Any]) -> None:
    travels = [row["extra_travel_deg_per_hour"] for row in found["points"]]
    travels.append(found["oracle"]["extra_travel_deg_per_hour"])
    shown = [value for value in travels if value > 0.0]
    axis.set_xscale("log")
    axis.set_yscale("log")
    axis.set_xlim(0.75 * min(shown, default=1.0), 1.35 * max(shown, default=10.0))
    axis.set_ylim(0.7 * NONE_MISSED, MOST)
    ticks = [NONE_MISSED, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0]
    axis.set_yticks(ticks, ["none", *(f"{tick:g}" for tick in ticks[1:])])
    marks = [m * 10.0**k for k in range(-1, 6) for m in (1, 2, 5)]
    low, high = axis.get_xlim()
    marks = [mark for mark in marks if low <= mark <= high]
    axis.set_xticks(marks, [f"{mark:g}" for mark in marks])
    axis.minorticks_off()
    axis.axhspan(0.7 * NONE_MISSED, LEAST * 0.75, color=FAINT, alpha=0.45, linewidth=0.0, zorder=0)
    axis.axhline(100.0 * GOOD_ENOUGH, color=RULE, linewidth=0.9, zorder=1)
    _shade(axis, found)
    axis.set_xlabel("extra pitch travel [deg/h, each blade]")
    axis.set_ylabel("demands missed [%]")


def _shade(axis: Any, found: Mapping[str, Any]) -> None:
    """Shade where what is asked for is reached: few enough missed, at most a share of the pulse's travel."""
    best = found["claim"]["by_estimate"]
    if best is None:
        return
    row = next(told["few_enough"] for told in found["verdict"] if told["layer"] == best["layer"])
    edge = found["claim"]["over_permanent_pulse_at_most"] * row["pulse_extra_travel_deg_per_hour"]
    left, right = axis.get_xlim()
    if math.isfinite(edge) and edge > left:
        bottom = axis.get_ylim()[0]
        width = min(edge, right)
        axis.fill_between(
            [left, width], bottom, 100.0 * GOOD_ENOUGH, color="#009e73", alpha=0.09, linewidth=0.0, zorder=0.5
        )
        axis.annotate(
            "asked for", (left, 100.0 * GOOD_ENOUGH), (6, -12), textcoords="offset points", color=SOFT
        )


def _draw(axis: Any, name: str, rows: Sequence[Mapping[str, Any]], pen: Pen) -> None:
    rows = sorted(rows, key=lambda row: row["extra_travel_deg_per_hour"])
    travel = [row["extra_travel_deg_per_hour"] for row in rows]
    shown = [_place(row["missed_share"]) for row in rows]
    is_pulse = bool(rows) and rows[0]["parameter"] != "margin_m"
    label = "_permanent pulse" if is_pulse else name  # it is named at its line
    axis.plot(travel, shown, label=label, marker=pen.marker, markersize=5, zorder=3, **pen.line)
    for row, x, y in zip(rows, travel, shown, strict=True):
        ends = row["missed_interval"]
        if math.isfinite(ends["high"]):
            low, high = _place(ends["low"]), _place(ends["high"])
            axis.plot([x, x], [low, high], color=pen.colour, linewidth=1.0, alpha=0.45, zorder=2)
            axis.plot([x], [high], "_", color=pen.colour, markersize=6, alpha=0.6, zorder=2)
        if row["missed_share"] == 0.0:
            axis.plot(
                [x], [y], pen.marker, markersize=5, zorder=4,
                markerfacecolor="#fbfaf6", markeredgecolor=pen.colour,
            )  # fmt: skip
        if is_pulse:
            axis.annotate(
                f"{row['value']:g}°", (x, y), (5, 4), textcoords="offset points", color=INK, fontsize=7.5
            )
    if is_pulse:
        axis.annotate(
            "permanent pulse", (travel[0], shown[0]), (-2, 13), textcoords="offset points",
            color=pen.colour, ha="center",
        )  # fmt: skip


def _place(share: float) -> float:
    """Return where a share is drawn [%]: in the strip where nothing is missed, else within the scale."""
    if share <= 0.0:
        return NONE_MISSED
    return min(max(100.0 * share, LEAST), MOST)
