"""What do ledger, faults, room and odds of the logic look like?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil
from typing import Any

import numpy as np

from scenarios.report.drawing import CANDIDATE, INK, OKABE_ITO, RULE, SOFT, WORDS, sheet
from scenarios.studies.matrix import OUTCOMES

Data = Mapping[str, Any]

SHADES = {"held": "#e3efe9", "thinner": "#f2e3b3", "broken": "#e8a35c", "struck": "#b5432a"}
"""Of the outcomes after a fault, from light to dark, so that they differ without colour too."""


def ledger_rates_figure(rows: Sequence[Data]) -> str:
    """Draw the events an hour of each entry, with their intervals; bounds as open triangles."""
    kinds = ("demands", *WORDS)
    with sheet("ledger-rates", 0.9 + 0.32 * len(rows), 1, len(kinds), sharey=True) as page:
        for axis, kind in zip(page.axes[0], kinds, strict=True):
            for place, row in enumerate(rows):
                _draw_rate(axis, len(rows) - 1 - place, row["rates"][kind]["per_hour"], WORDS.get(kind, INK))
            axis.set_title(kind)
            axis.set_xlabel("an hour")
            axis.set_xscale("symlog", linthresh=0.1)
            axis.set_xlim(left=0.0)
        page.axes[0][0].set_yticks(range(len(rows)), [row["name"] for row in reversed(rows)])
        page.axes[0][0].set_ylim(-0.6, len(rows) - 0.4)
    return page.svg


def _draw_rate(axis: Any, place: int, told: Data, colour: str) -> None:
    if told["value"] == 0.0:
        axis.plot([told["high"]], [place], "<", color=colour, markerfacecolor="none", markersize=6)
        return
    if np.isfinite(told["low"]):
        axis.plot([told["low"], told["high"]], [place, place], "-", color=colour, linewidth=1.6)
    axis.plot([told["value"]], [place], "o", color=colour, markersize=5)


def calibration_figure(told: Data) -> str:
    """Draw what would have been against what was foreseen, one dot an action."""
    foreseen, without = np.array(told["foreseen_m"]), np.array(told["without_m"])
    ends = [float(min(foreseen.min(), without.min())), float(max(foreseen.max(), without.max()))]
    with sheet("calibration", 3.4, 1, 2) as page:
        left, right = page.axes[0]
        left.plot(ends, ends, "-", color=RULE, linewidth=1.0)
        left.plot(foreseen, without, ".", color=CANDIDATE, markersize=2.5, alpha=0.5)
        left.set_xlabel("foreseen [m]")
        left.set_ylabel("without the logic [m]")
        right.hist(foreseen - without, bins=30, color=CANDIDATE)
        right.axvline(0.0, color=RULE, linewidth=1.0)
        right.set_xlabel("foreseen less what came [m]")
        right.set_ylabel("actions")
    return page.svg


def map_figure(data: Data) -> str:
    """Draw the worst outcome of each fault under each stack as a map, the least clearance written in."""
    cells = {(item["fault"], item["stack"]): item for item in data["summary"]}
    faults, stacks = (list(dict.fromkeys(pair[n] for pair in cells)) for n in (0, 1))
    with sheet("fault-map", 0.9 + 0.22 * len(faults)) as page:
        axis = page.axes[0][0]
        for (fault, stack), item in cells.items():
            x, y = stacks.index(stack), len(faults) - 1 - faults.index(fault)
            axis.barh(y, 0.96, 0.92, left=x - 0.48, color=SHADES[item["worst"]], linewidth=0)
            dark = item["worst"] == "struck"
            text = f"{item['worst']}, {item['least_clearance_m']:.2f} m"
            axis.text(x, y, text, ha="center", va="center", fontsize=7.5, color="#ffffff" if dark else INK)
        axis.set_yticks(range(len(faults)), list(reversed(faults)))
        axis.set_xticks(range(len(stacks)), stacks)
        axis.set_xlim(-0.5, len(stacks) - 0.5)
        axis.set_ylim(-0.5, len(faults) - 0.5)
        axis.grid(visible=False)
        handles = [axis.barh(-9.0, 0.1, color=SHADES[word]) for word in OUTCOMES]
        page.figure.legend(handles, OUTCOMES, loc="outside upper left", ncols=len(OUTCOMES))
    return page.svg


def room_figure(data: Data) -> str:
    """Draw the broken passes against how much worse each thing gets."""
    rows = data["rows"]
    columns = min(3, len(rows))
    lines = ceil(len(rows) / columns)
    with sheet("room-to-spare", 2.1 * lines, lines, columns) as page:
        axes = page.axes.ravel()
        for axis, row in zip(axes, rows, strict=False):
            axis.plot(row["amounts"], row["broken_passes"], "o-", color=CANDIDATE, markersize=4)
            axis.axhline(data["broken_as_it_is"], color=SOFT, linestyle="--", linewidth=1.0)
            if np.isfinite(row["breaks_at"]):
                axis.axvline(row["breaks_at"], color=RULE, linewidth=1.0)
            axis.set_title(row["what"])
            axis.set_xlabel(f"[{row['unit']}]")
        for axis in axes[len(rows) :]:
            axis.set_visible(False)
        for line in page.axes:
            line[0].set_ylabel("broken passes")
    return page.svg


def odds_figure(data: Data) -> str:
    """Draw the probability of a clearance below each level, of every bin of wind, plain samples beside."""
    stacks = list(dict.fromkeys(row["stack"] for row in data["strata"]))
    doubts = list(dict.fromkeys(row["uncertainty"] for row in data["strata"]))
    doubt = doubts[-1]
    with sheet("odds", 3.6, 1, max(len(stacks), 1), sharey=True, sharex=True) as page:
        for axis, stack in zip(page.axes[0], stacks, strict=True):
            mine = [r for r in data["strata"] if r["stack"] == stack and r["uncertainty"] == doubt]
            speeds = [row["wind_speed_m_s"] for row in mine]
            for row in mine:
                colour = OKABE_ITO[speeds.index(row["wind_speed_m_s"]) % len(OKABE_ITO)]
                _draw_curve(axis, row["curve"], colour, f"{row['wind_speed_m_s']:g} m/s")
            for row in data["crude"]:
                if row["stack"] == stack and row["wind_speed_m_s"] in speeds:
                    colour = OKABE_ITO[speeds.index(row["wind_speed_m_s"]) % len(OKABE_ITO)]
                    _draw_crude(axis, row["curve"], colour)
            if not any(any(row["curve"]["probability"]) for row in mine):
                axis.text(0.5, 0.5, "no window came near", ha="center", transform=axis.transAxes, color=SOFT)
            axis.axvline(0.0, color=RULE, linewidth=1.2)
            axis.set_yscale("log")
            axis.set_ylim(1e-12, 1.5)
            axis.set_title(stack)
            axis.set_xlabel("clearance [m]")
        page.axes[0][0].set_ylabel("probability of less in a window")
        handles, labels = page.axes[0][0].get_legend_handles_labels()
        page.figure.legend(handles, labels, loc="outside upper left", ncols=6)
    return page.svg


def _draw_curve(axis: Any, curve: Data, colour: str, label: str) -> None:
    level, value, low, high = (np.array(curve[name]) for name in ("m", "probability", "low", "high"))
    seen = value > 0.0
    axis.plot(level[seen], value[seen], "-", color=colour, linewidth=1.4, label=label)
    axis.fill_between(
        level[seen], np.maximum(low[seen], 1e-14), high[seen], color=colour, alpha=0.12, linewidth=0
    )


def _draw_crude(axis: Any, curve: Data, colour: str) -> None:
    level, value, low, high = (np.array(curve[name]) for name in ("m", "probability", "low", "high"))
    seen = value > 0.0
    reach = np.stack([value - low, high - value])[:, seen]
    axis.errorbar(
        level[seen], value[seen], yerr=reach, fmt="o", color=colour, markersize=3.2, elinewidth=0.8,
        markerfacecolor="none",
    )  # fmt: skip
