"""What does the page say of the level that is reached once in fifty years?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.report.drawing import RULE, SOFT, Pen, legend_above, sheet
from scenarios.report.page import Figure, Lines, Section, Table, Text
from scenarios.report.page import Row as PageRow
from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment
from scenarios.studies.extreme import APART_S, bins_of, remarks_of
from sim.measures.long_term import separate_peaks
from sim.measures.peaks import threshold_stability

Floats = Any
Found = Sequence[Mapping[str, Any]]
Entries = Sequence[Assessment]


def extreme_section(
    entries: Sequence[Assessment], hours: Floats, found: Found, pen: Mapping[str, Pen]
) -> Section:
    """Compose the section.

    Parameters
    ----------
    entries : sequence of Assessment
    hours : (case,) float64 [h] - a year, of the bin of normal turbulence of each case
    found : as `scenarios.studies.extreme.extreme_data` gives it
    pen : by entry
    """
    note = (
        "The smallest clearance and the largest deflection that normal turbulence brings once in fifty "
        "years, "
        "integrated over the hours of its wind speeds: by the extremes of whole blocks (Gumbel's "
        "distribution "
        "at each speed) and by the peaks beyond a threshold (exponential tails). Intervals are 95 % over "
        "seeds. "
        "Where a logic acts at some passes and not at others, its trigger bends the tail: there blocks are "
        "counted and no tail is fitted. A load factor of 1.25 goes with extrapolated loads."
    )
    head = ["entry", "clearance by blocks [m]", "low", "high", "by peaks [m]", "low", "high"]
    head += ["deflection [m]", "low", "high"]
    rows = []
    for item in found:
        cells = [item["entry"]]
        for key in ("clearance_by_blocks_m", "clearance_by_peaks_m", "deflection_by_blocks_m"):
            level = item.get(key, {})
            cells += [number(level.get(end, float("nan"))) for end in ("level", "low", "high")]
        rows.append(PageRow(cells, pen[item["entry"]].colour))
    remarks = [f"{item['entry']}: {line}." for item in found for line in remarks_of(dict(item))]
    parts: list[Any] = [Text(note), Table(head, rows), *([Lines(remarks)] if remarks else [])]
    if any("convergence" in item for item in found):
        parts.append(Figure(tail_figure(entries, hours, found, pen), TAIL_WORDS))
    return Section("Once in fifty years", parts)


TAIL_WORDS = (
    "Left: each block's smallest clearance against how often it is fallen short of, all wind speeds by their "
    "hours; large marker: the 50-year level with its interval. Middle: the same from the first seeds alone, "
    "which carries no claim until it stays. Right: the level from the peaks of the governing wind speed by "
    "the threshold beyond which they count; a straight line means a straight tail."
)


def tail_figure(entries: Entries, hours: Floats, found: Found, pen: Mapping[str, Pen]) -> str:
    """Draw the data with the levels, the levels against seeds, and against thresholds."""
    from matplotlib.lines import Line2D

    shown = [(entry, item) for entry, item in zip(entries, found, strict=True) if "convergence" in item]
    with sheet("extreme", 3.6, 1, 3) as page:
        left, middle, right = page.axes[0]
        for entry, item in shown:
            line = pen[entry.name]
            value, chance = _empirical(entry, hours)
            left.plot(chance, value, ".", color=line.colour, markersize=3, alpha=0.6)
            level = item["clearance_by_blocks_m"]
            _mark(left, item["exceedance"], level, line.colour)
            rows = item["convergence"]
            middle.plot([row["seeds"] for row in rows], [row["level"] for row in rows], **line.line)
            middle.fill_between(
                [row["seeds"] for row in rows], [row["low"] for row in rows], [row["high"] for row in rows],
                color=line.colour, alpha=0.12, linewidth=0.0,
            )  # fmt: skip
            thresholds, levels = _stability(entry, hours)
            right.plot(thresholds, levels, **line.line, marker=".", markersize=3)
        if not right.lines or not any(len(line.get_xdata()) for line in right.lines):
            right.text(0.5, 0.5, "too few peaks", ha="center", va="center", transform=right.transAxes)
        for axis in (left, middle):
            axis.axhline(entries[-1].verdict.governing.required, color=RULE, linewidth=1.2)
            axis.axhline(0.0, color=SOFT, linewidth=0.8)
        left.set_xscale("log")
        left.invert_xaxis()
        left.set_xlabel("chance that a block falls short")
        left.set_ylabel("clearance [m]")
        middle.set_xlabel("seeds at each wind speed")
        middle.set_ylabel("50-year level [m]")
        right.set_xlabel("threshold [m]")
        right.set_ylabel("level of one wind speed [m]")
        handles = [Line2D([], [], **pen[entry.name].line) for entry, _ in shown]
        legend_above(page.figure, handles, [entry.name for entry, _ in shown])
    return page.svg


def _mark(axis: Any, chance: float, level: Mapping[str, Any], colour: str) -> None:
    error = [[level["level"] - level["low"]], [level["high"] - level["level"]]]
    axis.errorbar([chance], [level["level"]], yerr=error, fmt="o", color=colour, markersize=5, capsize=2)


def _empirical(entry: Assessment, hours: Floats) -> tuple[Floats, Floats]:
    """Return the blocks' smallest clearances, rising, and the share of the hours that falls short of each."""
    clearance = entry.gathered.column("smallest_clearance_m")
    rows, weights = [], []
    for some, share in bins_of(entry, hours):
        rows.append(some)
        weights.append(np.full(some.size, share / some.size))
    value, weight = clearance[np.concatenate(rows)], np.concatenate(weights)
    order = np.argsort(value)
    beyond = np.cumsum(weight[order]) - 0.5 * weight[order]
    return value[order], beyond / np.sum(weight)


def _stability(entry: Assessment, hours: Floats) -> tuple[Floats, Floats]:
    """Return thresholds and levels, as clearances, of the wind speed with the smallest mean clearance."""
    clearance = entry.gathered.column("smallest_clearance_m")
    rows = min((some for some, _ in bins_of(entry, hours)), key=lambda some: float(np.mean(clearance[some])))
    passes = entry.gathered.passes
    peaks = np.concatenate(
        [
            separate_peaks(passes["time_s"][mine], -passes["clearance_m"][mine], APART_S)
            for mine in (passes["case"] == row for row in rows)
        ]
    )
    exposure = float(np.sum(entry.gathered.column("judged_s")[rows]))
    thresholds = np.quantile(peaks, np.linspace(0.5, 0.95, 10))
    used = [threshold for threshold in thresholds if np.count_nonzero(peaks > threshold) >= 10]
    levels = threshold_stability(peaks, used, exposure)
    return -np.array(used), -np.array([level.level for level in levels])
