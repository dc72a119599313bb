"""What does the page of the fatigue bill say, section by section?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scenarios.life import CHANNELS
from scenarios.report.drawing import SOFT, Pen, legend_above, pens, sheet
from scenarios.report.page import BREAKS, HOLDS, UNKNOWN, Figure, Lines, Page, Row, Section, Table, Text
from scenarios.scenario import Scenario
from scenarios.studies.amounts import number
from scenarios.studies.attribution import EACH_HEAD, each_cells, thousand_words
from scenarios.studies.bearing import AMPLITUDES_DEG
from scenarios.studies.fatigue import BEARING_HEAD, bearing_cells, channel_remarks, straw_words
from scenarios.studies.life_loads import LifeLoads

Data = Mapping[str, Any]


def fatigue_page(scenario: Scenario, loads: Sequence[LifeLoads], data: Data) -> Page:
    """Compose the page of a fatigue bill.

    Parameters
    ----------
    scenario : Scenario
    loads : of all entries
    data : mapping
        What the study prints with ``--json``.
    """
    verdict = loads[-1].entry.verdict
    mark = HOLDS if verdict.holds else BREAKS if verdict.governing.margin < 0.0 else UNKNOWN
    pen = pens([item.entry.name for item in loads])
    return Page(
        name=f"{scenario.name}-fatigue",
        title=f"{scenario.title or scenario.name}: the fatigue bill",
        where=f"Scenario {scenario.name}, {data['life']['years']:g} years.",
        headline={HOLDS: "Holds.", BREAKS: "Does not hold."}.get(mark, "Not shown to hold."),
        verdict=data["verdict"],
        mark=mark,
        sections=[*_bills(data), _pitch(data, pen), _actions(data), _cycles(data)],
        remarks=data["problems"],
    )


def _bills(data: Data) -> list[Section]:
    mine = [item for item in data["against"] if item["entry"] == data["entry"]]
    others = [item for item in data["against"] if item["entry"] != data["entry"]]
    sections = [_bill(item) for item in mine]
    if others:
        head = ["entry", "baseline", *(channel.title for channel in CHANNELS.values())]
        rows = [
            Row(
                [
                    item["entry"],
                    item["baseline"] + (" (straw man)" if item["straw_man"] else ""),
                    *(number(row["ratio"], ".3f") for row in item["channels"].values()),
                ]
            )
            for item in others
        ]
        sections.append(Section("The other entries: ratios of ranges", [Table(head, rows, left=2)]))
    return sections


def _bill(item: dict[str, Any]) -> Section:
    note = (
        "Equivalent ranges of normal turbulence weighted by the hours of the life's wind, the same winds for "
        "both, 95 % intervals over seeds within each wind speed; the worst blade of each. The damage ratio "
        "is "
        "that of the ranges to the power of the exponent. With events: their rotor positions are swept, so "
        "that the interval is that of the seeds alone. Loads are moments: where the sections of two "
        f"entries differ, so do their stresses under one moment.{straw_words(item)}"
    )
    head = ["channel", "exponent", "ratio of ranges", "low", "high", "damage ratio", "with events", "range"]
    head += ["baseline's range", "largest, rotor turning [kNm]", "baseline's largest [kNm]"]
    rows = [
        Row(
            [
                row["title"],
                f"{row['exponent']:g}",
                number(row["ratio"], ".3f"),
                number(row["interval"]["low"], ".3f"),
                number(row["interval"]["high"], ".3f"),
                number(row["damage_ratio"], ".3f"),
                _with_events(row),
                f"{number(row['value'], '.4g')} {row['unit']}",
                f"{number(row['baseline_value'], '.4g')} {row['unit']}",
                number(row["largest_kNm"], ".0f"),
                number(row["baseline_largest_kNm"], ".0f"),
            ]
        )
        for row in item["channels"].values()
    ]
    energy = item["energy"]
    told = (
        f"Energy: {energy['per_year_GWh']:.3f} GWh a year against {energy['baseline_per_year_GWh']:.3f}, "
        "ratio "
        f"{number(energy['ratio'], '.4f')} ({number(energy['interval']['low'], '.4f')} to "
        f"{number(energy['interval']['high'], '.4f')})."
    )
    caption = "Ratios of lifetime equivalent ranges with their intervals; right of the line the entry pays."
    figure = Figure(ratio_figure(item), caption)
    title = f"{item['entry']} against {item['baseline']}"
    remarks = channel_remarks(item)
    more = [Lines(remarks)] if remarks else []
    return Section(title, [Text(note), figure, Table(head, rows), Text(told), *more])


def _with_events(row: Data) -> str:
    ends = (number(row["ratio_with_events_interval"][end], ".3f") for end in ("low", "high"))
    return f"{number(row['ratio_with_events'], '.3f')} ({'..'.join(ends)})"


def ratio_figure(item: Data) -> str:
    """Draw the ratio of ranges of every channel with its interval."""
    rows = [row for row in item["channels"].values() if np.isfinite(row["ratio"])]
    with sheet(
        f"ratios-{item['entry']}-{item['baseline']}".replace(" ", "-"), 0.8 + 0.24 * len(rows)
    ) as page:
        axis = page.axes[0][0]
        place = np.arange(len(rows))
        value = np.array([row["ratio"] for row in rows])
        ends = np.array([[row["interval"]["low"], row["interval"]["high"]] for row in rows], dtype=float)
        ends = np.where(np.isfinite(ends), ends, value[:, None])
        error = np.maximum([value - ends[:, 0], ends[:, 1] - value], 0.0)
        axis.errorbar(
            value, place, xerr=error, fmt="o", color="#0072b2", markersize=4, capsize=2, linewidth=1.2
        )
        axis.axvline(1.0, color=SOFT, linewidth=0.9)
        axis.set_yticks(place, [row["title"] for row in rows])
        axis.invert_yaxis()
        axis.set_xlabel(f"lifetime equivalent range over that of {item['baseline']}")
    return page.svg


def _pitch(data: Data, pen: Mapping[str, Pen]) -> Section:
    rows = [Row(bearing_cells(name, row), pen[name].colour) for name, row in data["bearing"].items()]
    one = next(iter(data["bearing"].values()))
    note = (
        "By the hour of normal turbulence, mean of the blades. A movement counts as reversed when it has "
        "come "
        f"back by {one['reversal_dead_band_deg']:.2f} deg. Loaded travel is travel times the root's "
        "resultant "
        "moment. Peaks, and overspeed as largest over rated rotor speed, are of all cases with the "
        "rotor turning."
    )
    caption = "Pitch cycles of each amplitude an hour, down to the oscillations at which a bearing frets."
    return Section(
        "Pitch bearings and servos",
        [Text(note), Table(BEARING_HEAD, rows), Figure(amplitude_figure(data, pen), caption)],
    )


def amplitude_figure(data: Data, pen: Mapping[str, Pen]) -> str:
    """Draw how many pitch cycles of each amplitude an hour holds."""
    from matplotlib.lines import Line2D

    with sheet("amplitudes", 3.4) as page:
        axis = page.axes[0][0]
        for name, row in data["bearing"].items():
            counts = np.array(row["amplitude_cycles_per_hour"], dtype=float)
            style = pen[name].line
            axis.stairs(
                np.where(counts > 0.0, counts, np.nan), AMPLITUDES_DEG, baseline=None,
                edgecolor=style["color"], linestyle=style["linestyle"], linewidth=style["linewidth"],
            )  # fmt: skip
        axis.set_xscale("log")
        axis.set_yscale("log")
        axis.set_xlabel("amplitude of the pitch angle [deg]")
        axis.set_ylabel("cycles an hour and blade")
        legend_above(
            page.figure, [Line2D([], [], **pen[name].line) for name in data["bearing"]], list(data["bearing"])
        )
    return page.svg


def _actions(data: Data) -> Section:
    found = data["per_thousand_actions"]
    each = data["per_thousand_actions_by_entry"]
    rows = [Row(each_cells(name, row)) for name, row in each.items()]
    table = [Table([*EACH_HEAD[:3], *(f"{head}, a thousand" for head in EACH_HEAD[3:])], rows, left=2)]
    more = table if len(each) > 1 else []
    if "why_not" in found:
        told = f"Nothing is said of {data['entry']}: {found['why_not']}."
        return Section("Action by action", [Text(told), *more])
    note = f"{thousand_words(found)} of energy, and of each channel's damage in a year:"
    lines = Lines([line.strip() for line in found["words"]])
    return Section("Action by action", [Text(note), lines, *more])


def _cycles(data: Data) -> Section:
    shown = ("blade_root_flap", "blade_root_edge", "tower_base_fore_aft")
    caption = f"Cycles of {data['entry']} a year by range; the colour is the mean of their means [kNm]."
    return Section("Ranges and means", [Figure(cycles_figure(data, shown), caption)])


def cycles_figure(data: Data, shown: Sequence[str]) -> str:
    """Draw how often a year cycles of each range come, coloured by their mean."""
    with sheet("cycles", 3.0, 1, len(shown)) as page:
        for axis, name in zip(page.axes[0], shown, strict=True):
            rows = data["range_mean"][name]
            dots = axis.scatter(
                rows["range_kNm"], rows["cycles_per_year"], c=rows["mean_kNm"], s=9, cmap="viridis"
            )
            page.figure.colorbar(dots, ax=axis)
            axis.set_yscale("log")
            axis.set_xlabel("range [kNm]")
            axis.set_title(CHANNELS[name].title)
        page.axes[0][0].set_ylabel("cycles a year")
    return page.svg
