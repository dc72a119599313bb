"""What do clearances, ledger and bill of all entries look like side by side?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import fill
from typing import Any

import numpy as np

from scenarios.report.drawing import RULE, SOFT, STRATA, Pen, legend_above, sheet
from scenarios.studies.assess import CHANNELS, Assessment
from sim.measures.statistics import Interval

ABREAST = 6
"""Panels of wind conditions side by side; more get a line of their own."""
WORDS = ("saved", "missed", "needless", "harmed")
PASS_TITLES: Mapping[str, str] = {
    "saved": "saved\nbroken without, held with",
    "missed": "missed, or broken\nwithout any logic",
    "needless": "needless\nacted, would have held",
    "harmed": "harmed\nbroken by the logic",
}
RANGE_TITLES: Mapping[str, str] = {
    "blade_root_flap_kNm": "blade root flap\nequivalent range",
    "blade_root_edge_kNm": "blade root edge\nequivalent range",
    "tower_base_fore_aft_kNm": "tower base fore-aft\nequivalent range",
}


def room_figure(entries: Sequence[Assessment], pen: Mapping[str, Pen]) -> str:
    """Draw clearance against wind speed: characteristic values as lines, single seeds and phases as dots."""
    conditions = list(dict.fromkeys(item.condition for item in entries[0].verdict.bins))
    lines = -(-len(conditions) // ABREAST)
    columns = -(-len(conditions) // lines)
    speeds = [len({b.speed for b in entries[0].verdict.bins if b.condition == c}) for c in conditions]
    ratios = [max(count, 2) + 1 for count in speeds] if lines == 1 else [1] * columns
    height = 4.4 if lines == 1 else 0.6 + 2.3 * lines
    with sheet("room", height, lines, columns, sharey=True, width_ratios=ratios) as page:
        axes = page.axes.ravel()
        for empty in axes[len(conditions) :]:
            empty.set_visible(False)
        for axis, condition in zip(axes, conditions, strict=False):
            for index, entry in enumerate(entries):
                _draw_room(axis, entry, condition, pen[entry.name], index - 0.5 * (len(entries) - 1))
            for required in _required_in(entries, condition):
                axis.axhline(required, color=RULE, linewidth=1.2)
            axis.set_title(condition if lines == 1 else fill(condition, 20))
            axis.set_xlabel("wind speed [m/s]")
            axis.margins(x=0.08)
        for line in page.axes:
            line[0].set_ylabel("clearance [m]")
        _legend(page.figure, entries, pen, "required")
    return page.svg


def _required_in(entries: Sequence[Assessment], condition: str) -> list[float]:
    return sorted({b.required for e in entries for b in e.verdict.bins if b.condition == condition})


def _draw_room(axis: Any, entry: Assessment, condition: str, pen: Pen, place: float) -> None:
    labels = entry.gathered.labels
    inside = labels.condition == condition
    smallest = entry.gathered.column("smallest_clearance_m")
    bins = sorted((b.speed, b.characteristic) for b in entry.verdict.bins if b.condition == condition)
    speeds, values = np.array(bins).T
    step = np.min(np.diff(speeds)) if speeds.size > 1 else 1.0
    shift = 0.11 * step * place
    axis.plot(
        labels.speed[inside] + shift, smallest[inside], pen.marker,
        color=pen.colour, markersize=2.6, alpha=0.45, markeredgewidth=0.0,
    )  # fmt: skip
    axis.plot(speeds, values, **pen.line, marker=pen.marker if speeds.size == 1 else None, markersize=6)
    axis.set_xticks(speeds if speeds.size <= 6 else speeds[::2])
    if speeds.size == 1:
        axis.set_xlim(speeds[0] - 1.0, speeds[0] + 1.0)


def _legend(figure: Any, entries: Sequence[Assessment], pen: Mapping[str, Pen], rule: str) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], **pen[entry.name].line) for entry in entries]
    handles.append(Line2D([], [], color=RULE, linewidth=1.2))
    legend_above(figure, handles, [*(entry.name for entry in entries), rule])


def ledger_figure(entries: Sequence[Assessment]) -> str:
    """Draw how many passes of each kind the ledger counts, every kind of wind by itself."""
    strata = [rates.stratum for rates in entries[0].rates]
    height = 1.2 + 0.17 * len(entries) * (len(strata) + 1)
    with sheet("ledger", height, 1, len(WORDS), sharey=True) as page:
        for axis, word in zip(page.axes[0], WORDS, strict=True):
            rows, counts, colours = [], [], []
            for index, entry in enumerate(entries):
                for number, rates in enumerate(entry.rates):
                    rows.append(index + 0.8 * (number + 0.5) / len(strata) - 0.4)
                    counts.append(rates.counts[word])
                    colours.append(_stratum_colour(rates.stratum, number))
            axis.barh(rows, counts, height=0.7 / len(strata), color=colours)
            for row, count in zip(rows, counts, strict=True):
                axis.annotate(
                    f"{count:.0f}", (count, row), (3, 0), textcoords="offset points", va="center", fontsize=7
                )
            axis.set_title(PASS_TITLES[word])
            axis.set_xlim(0.0, max(1.0, max(counts)) * 1.3)
            axis.set_xlabel("passes")
            axis.xaxis.set_major_locator(_whole_numbers())
            axis.grid(axis="y", visible=False)
        _name_rows(page.axes[0][0], entries)
        _stratum_legend(page.figure, strata)
    return page.svg


def _stratum_colour(stratum: str, number: int) -> str:
    return STRATA.get(stratum, ("#009e73", "#cc79a7", "#999999", "#d55e00")[number % 4])


def _stratum_legend(figure: Any, strata: Sequence[str]) -> None:
    from matplotlib.patches import Patch

    patches = [Patch(color=_stratum_colour(name, number)) for number, name in enumerate(strata)]
    legend_above(figure, patches, list(strata))


def _whole_numbers() -> Any:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(nbins=3, integer=True)


def _name_rows(axis: Any, entries: Sequence[Assessment]) -> None:
    axis.set_yticks(range(len(entries)), [entry.name for entry in entries])
    axis.set_ylim(len(entries) - 0.45, -0.55)
    axis.tick_params(axis="y", length=0)


def bill_figure(entries: Sequence[Assessment], pen: Mapping[str, Pen]) -> str:
    """Draw what each entry costs against the first, with intervals over seeds."""
    columns = [("energy\nper year", [entry.bill.energy.ratio for entry in entries])]
    columns += [(RANGE_TITLES[name], [e.bill.equivalent[name].ratio for e in entries]) for name in CHANNELS]
    with sheet("bill", 1.5 + 0.3 * len(entries), 1, len(columns) + 1, sharey=True) as page:
        for axis, (title, intervals) in zip(page.axes[0], columns, strict=False):
            changes = [_percent(interval) for interval in intervals]
            _draw_bars(axis, changes, [pen[entry.name].colour for entry in entries], "{:+.1f} %")
            axis.set_title(title)
            axis.set_xlabel(f"against {entries[0].name} [%]")
            axis.axvline(0.0, color=SOFT, linewidth=0.8)
        last = page.axes[0][-1]
        travel = [(i.value, i.low, i.high) for i in (entry.bill.travel for entry in entries)]
        _draw_bars(last, travel, [pen[entry.name].colour for entry in entries], "{:.0f}")
        last.set_title("pitch travel,\nmean per blade")
        last.set_xlabel("[deg/h]")
        _name_rows(page.axes[0][0], entries)
    return page.svg


def _percent(interval: Interval) -> tuple[float, float, float]:
    value, low, high = (100.0 * (end - 1.0) for end in (interval.value, interval.low, interval.high))
    return value, low, high


def _draw_bars(axis: Any, bars: Sequence[tuple[float, float, float]], colours: list[str], told: str) -> None:
    values = np.array(bars)
    low = np.where(np.isfinite(values[:, 1]), values[:, 1], values[:, 0])
    high = np.where(np.isfinite(values[:, 2]), values[:, 2], values[:, 0])
    rows = np.arange(len(bars))
    axis.barh(rows, values[:, 0], height=0.5, color=colours, alpha=0.75)
    error = [values[:, 0] - low, high - values[:, 0]]
    axis.errorbar(
        values[:, 0],
        rows,
        xerr=np.maximum(error, 0.0),
        fmt="none",
        ecolor="#23292f",
        elinewidth=1.0,
        capsize=2,
    )
    span = max(np.nanmax([*high, 0.0]) - np.nanmin([*low, 0.0]), 0.2)
    for row, (value, lower, upper) in enumerate(zip(values[:, 0], low, high, strict=True)):
        if not np.isfinite(value):
            axis.annotate("unknown", (0.0, row), (3, 0), textcoords="offset points", va="center", fontsize=7)
            continue
        beyond, side = (upper, 1) if value >= 0.0 else (lower, -1)
        axis.annotate(
            told.format(value), (beyond, row), (4 * side, 0), textcoords="offset points", va="center",
            ha="left" if side > 0 else "right", fontsize=7,
        )  # fmt: skip
    axis.set_xlim(min(0.0, np.nanmin([*low, 0.0])) - 0.6 * span * (np.nanmin([*low, 0.0]) < 0.0),
                  np.nanmax([*high, 0.0]) + 0.45 * span)  # fmt: skip
    axis.grid(axis="y", visible=False)
    from matplotlib.ticker import MaxNLocator

    axis.xaxis.set_major_locator(MaxNLocator(nbins=4))
