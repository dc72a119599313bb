"""What does the page on the logic's reliability say, section by section?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scenarios.report.page import BREAKS, HOLDS, UNKNOWN, Figure, Lines, Page, Row, Section, Table, Text
from scenarios.report.reliability_figures import (
    calibration_figure,
    ledger_rates_figure,
    map_figure,
    odds_figure,
    room_figure,
)
from scenarios.scenario import Scenario
from scenarios.studies.calibration import calibration_text
from scenarios.studies.integrity import integrity_text
from scenarios.studies.ledger import KINDS, count_cells, rate_cells
from scenarios.studies.matrix import OUTCOMES, alarm_text
from scenarios.studies.odds_telling import (
    agreement,
    caused_text,
    faults_text,
    left_text,
    unseen_text,
    yearly_text,
)
from scenarios.studies.room import UNTOLD, room_cells
from sim.measures.logic import WORDS

Data = Mapping[str, Any]


def reliability_page(scenario: Scenario, data: Data) -> Page:
    """Compose the page from what the command prints with ``--json``."""
    makers = {
        "odds": _odds, "integrity": _integrity, "ledger": _ledger, "faults": _faults, "room": _room,
    }  # fmt: skip
    sections = [make(data[part]) for part, make in makers.items() if part in data]
    sections.append(_assumed(data))
    headline, words, mark = verdict(data)
    return Page(
        name=f"{scenario.name}-reliability",
        title=f"How reliable is the logic: {scenario.title or scenario.name}",
        where=f"Scenario {scenario.name}: candidate {data['candidate']} ({' + '.join(data['stack'])}); "
        f"{data['setting']} setting.",
        headline=headline,
        verdict=words,
        mark=mark,
        sections=sections,
        remarks=list(dict.fromkeys(f"{item['case']}: {item['why']}" for item in data["failed"])),
    )


def verdict(data: Data) -> tuple[str, str, str]:
    """Return headline, words and mark of what the odds show."""
    if "odds" not in data:
        return "See below.", "The odds of a strike were not asked for.", UNKNOWN
    odds = data["odds"]
    tolerable = f"{odds['tolerable_strikes_per_year']:.2g} strikes a year are tolerable"
    if odds["upper_end_holds"]:
        return "Within what is tolerable.", f"{tolerable}; the upper end of the odds lies below that.", HOLDS
    if odds["holds"]:
        words = f"{tolerable}; the estimate lies below that, the upper end of its interval above."
        return "Not shown to be within.", words, UNKNOWN
    if odds["layers_ended_windows"]:
        words = f"{tolerable}; a layer of the stack ended windows, so that nothing is shown."
        return "Not shown to be within.", words, UNKNOWN
    if odds["is_bound"]:
        words = f"{tolerable}; no window came to a strike, but too few were sampled: their bound lies above."
        return "Not shown to be within.", words, UNKNOWN
    return "Not within what is tolerable.", f"{tolerable}; the odds lie above that.", BREAKS


def _ledger(rows: Any) -> Section:
    head = ["entry", "passes", *WORDS, "of them by rebound", "strikes", "needless travel [deg/h]"]
    counts, rates, uneven, files = [], [], [], []
    for row in rows:
        values = count_cells(row)
        travel = row["needless_travel_deg_per_hour"]
        told = [
            f"{row['harmed_by_rebound']}",
            f"{row['strikes']}",
            "-" if np.isnan(travel) else f"{travel:.0f}",
        ]
        counts.append(Row([row["name"], f"{row['passes']}", *values, *told]))
        rates.append(Row([row["name"], *rate_cells(row, "per_year")]))
        if row["has_logic"]:
            uneven.append(_uneven(row))
            files += [
                f"{row['name']}, {kind}: {item['case']}, blade {item['blade']}, {item['clearance_m']:.2f} m: "
                f"{item['replay']}"
                for kind, listed in row["worst"].items()
                for item in listed
            ]
    note = (
        "Saved: broken without the logic, held with it. Harmed: broken only because of it; that a pass not "
        "acted "
        "on breaks in the swing after an action counts as well (by rebound). Rates are those of normal "
        "turbulence, weighted by its hours; the seed is the unit of every interval. Where nothing was "
        "seen, the "
        "exact bound on seeds stands."
    )
    parts: list[Any] = [Text(note), Table(head, counts), Text("Events a year of operation:")]
    parts += [Table(["entry", *KINDS], rates), Figure(ledger_rates_figure(rows), "Events an hour, 95 %.")]
    parts += [Lines(uneven)] if uneven else []
    told = rows[-1].get("calibration")
    if told:
        parts.append(Text(calibration_text(rows[-1]["name"], told)))
    if told and told["pairs"]:
        words = "Foreseen clearance of each action against what came without it; on the line both are equal."
        parts.append(Figure(calibration_figure(told), words))
    parts += (
        [Text("The worst of each kind, each with a scenario file that marches it again:"), Lines(files)]
        if files
        else []
    )
    return Section("What the logic saved, missed, did needlessly and harmed", parts)


def _uneven(row: Data) -> str:
    told = row["asymmetry"]
    acted = ", ".join(f"{100.0 * share:.1f}" for share in told["acted_share_by_blade"])
    travel = ", ".join(f"{ratio:.3f}" for ratio in told["travel_over_mean_by_blade"])
    return (
        f"{row['name']} acts on {acted} % of the passes of its blades; travel over its mean {travel}; "
        f"{100.0 * told['actions_beside_a_quiet_blade']:.0f} % of the actions are of one blade alone."
    )


def _faults(data: Data) -> Section:
    head = [
        "fault",
        "stack",
        "runs",
        *OUTCOMES,
        "least clearance [m]",
        "noticed",
        "after [s]",
        "fell back to",
    ]
    rows = []
    for item in data["summary"]:
        seen = f"{item['noticed_after_s']:.1f}" if item["noticed"] else "-"
        rows.append(
            Row([
                item["fault"], item["stack"], f"{item['runs']}", *(f"{item[word]}" for word in OUTCOMES),
                f"{item['least_clearance_m']:.2f}", f"{item['noticed']} of {item['runs']}", seen,
                item["fell_back_to"],
            ])
        )  # fmt: skip
    alarms = " ".join(alarm_text(item) for item in data["false_alarms"])
    note = (
        "Each fault in each wind and rotor position, against the same wind and position without it. Thinner: "
        f"at least 0.2 m less, but enough. Required: {data['required_clearance_m']:.2f} m. {alarms} "
        f"The worksheet with every run: {data['worksheet']}."
    )
    figure = Figure(
        map_figure(data), "Worst outcome of each fault under each stack, with the least clearance."
    )
    return Section("What faults make of it", [Text(note), figure, Table(head, rows, left=2)])


def _room(data: Data) -> Section:
    if not data["rows"]:
        return Section("Room to spare", [Text(UNTOLD)])
    rows = [Row([row["what"], *room_cells(row)]) for row in data["rows"]]
    note = (
        f"How much worse each may get until more passes break than the {data['broken_as_it_is']} of the "
        "scenario "
        f"as it is, in the same {data['runs']} runs: {'; '.join(data['winds'])}."
    )
    figure = Figure(room_figure(data), "Broken passes against what gets worse; the dashed line is today's.")
    return Section(
        "Room to spare", [Text(note), Table(["what gets worse", "bears", "breaks at"], rows), figure]
    )


def _odds(data: Data) -> Section:
    told: dict[tuple[str, str], dict[str, Data]] = {}
    for row in data["yearly"]:
        told.setdefault((row["stack"], row["uncertainty"]), {})[row["event"]] = row
    rows = [
        Row([stack, doubt, *(yearly_text(events.get(limit)) for limit in ("strike", "broken"))])
        for (stack, doubt), events in told.items()
    ]
    window = data["window_s"]
    samples = ", ".join(f"{number} {doubt}" for doubt, number in data["samples_per_level"].items())
    note = (
        f"Subset simulation over windows of {window['judged']:g} s after {window['settle']:g} s of settling "
        f"and {window['lead']:g} s of lead, in bins of wind speed, weighted by their hours; samples a level: "
        f"{samples}. Every window is met by every stack, and sampling follows whichever comes nearest, on "
        "to where it would lie inside the tower. Drawn are the turbulent field, its intensity (edition "
        "2019), the mean wind in its bin, the rotor's position, the sensors' noise, and, where said, the "
        "errors of the model. Events that follow one another within the lead are one. A strike is contact, "
        "without safety factors."
    )
    faults = [
        Row([
            row["stack"], row["fault"], f"{row['rate_per_year']:g}",
            f"{row['strikes_per_occurrence']['value']:.2g} (..{row['strikes_per_occurrence']['high']:.1g})",
            f"{row['strikes_per_year']['value']:.2g} (..{row['strikes_per_year']['high']:.1g})",
        ])
        for row in data["faults"]
    ]  # fmt: skip
    parts: list[Any] = [
        Text(note),
        Table(["stack", "odds of", "strikes a year, 95 %", "broken a year, 95 %"], rows, left=2),
    ]
    parts += [Text(words) for words in [unseen_text(data)] if words]
    parts += [Text(left_text(item)) for item in data["not_prevented"]]
    parts += [Text(caused_text(item)) for item in data["caused"]]
    parts += [Text(f"{item[0].upper()}{item[1:]}.") for item in data["warnings"]]
    words = agreement(data)
    parts += [Text(words[0].upper() + words[1:])] if words else []
    caption = (
        f"Probability that the clearance in a window of {window['judged']:g} s falls below a level, with "
        "model uncertainty: lines subset simulation, bands its 95 %; dots plain sampling of windows of the "
        "same kind, bars its exact 95 %. The red line is the tower's wall: what lies left of it has struck."
    )
    parts.append(Figure(odds_figure(data), caption))
    if faults:
        parts.append(Text(faults_text(data)))
        head = ["stack", "fault", "a year", "strikes an occurrence", "strikes a year"]
        parts.append(Table(head, faults, left=2))
    else:
        parts.append(Text("Faults are left out in the quick setting."))
    return Section("How likely a strike is", parts)


def _integrity(data: Data) -> Section:
    rows = [
        Row([
            item["name"], f"{item['dangerous_failures_per_hour']:.2g}",
            f"{item['probability_on_demand']:.2g}", "yes" if item["reaches"] else "no",
        ])
        for item in data["architectures"]
    ]  # fmt: skip
    parts: list[Any] = [Lines(integrity_text(dict(data)).split("\n"))]
    if rows:
        head = ["channels", "dangerous failures an hour", "probability on demand", "enough"]
        parts.append(Table(head, rows))
    return Section("What the function may fail at most", parts)


def _assumed(data: Data) -> Section:
    lines = [f"{name} = {value:g}" for name, value in data["assumed"].items()]
    note = "What [reliability] of the scenario states, or leaves at its default (`wideberth list --keys`):"
    return Section("What is assumed", [Text(note), Lines(lines)])
