"""What does the page of a study say, section by section?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.answer import counted
from scenarios.report.assumed import assumed_section
from scenarios.report.closely import pass_sections
from scenarios.report.drawing import Pen, pens
from scenarios.report.extreme import extreme_section
from scenarios.report.figures import RANGE_TITLES, bill_figure, ledger_figure, room_figure
from scenarios.report.page import BREAKS, HOLDS, UNKNOWN, Figure, Lines, Page, Row, Section, Table, Text
from scenarios.report.wind_figures import field_section
from scenarios.scenario import Scenario
from scenarios.studies.amounts import (
    ESTIMATED,
    LEDGER_HEAD,
    amount_text,
    is_estimated,
    ledger_cells,
    number,
    percent,
    ratio_text,
)  # fmt: skip
from scenarios.studies.assess import CHANNELS, Assessment
from scenarios.studies.featured import Features
from scenarios.studies.gather import yearly_hours
from scenarios.studies.ruling import GOVERNING_HEAD, governing_cells, governing_data
from scenarios.studies.telling import held, straw_man

Entries = Sequence[Assessment]


def study_page(scenario: Scenario, entries: Entries, features: Features, data: Mapping[str, Any]) -> Page:
    """Compose the page of a study.

    Parameters
    ----------
    scenario : Scenario
    entries : sequence of Assessment
    features : Features
    data : mapping
        What the study prints with ``--json``.
    """
    pen = pens([entry.name for entry in entries])
    sections = [_room_section(entries, pen), _cases_section(entries, pen)]
    sections += pass_sections(features, pen)
    if "ledger" in scenario.questions and entries[0].rates:
        sections.append(_ledger_section(entries, pen))
    if "bill" in scenario.questions:
        sections.append(_bill_section(entries, pen))
    if data["extreme"]:
        hours = yearly_hours(scenario, entries[0].gathered)
        sections.append(extreme_section(entries, hours, data["extreme"], pen))
    sections.append(assumed_section(scenario, data))
    if data["failed_cases"] or data["flagged_cases"]:
        sections.append(trouble_section(data))
    sections += field_section(scenario)
    headline, mark = _headline(entries[-1])
    return Page(
        name=scenario.name,
        title=scenario.title or scenario.name,
        where=_where(scenario, entries),
        headline=headline,
        verdict=data["verdict"],
        mark=mark,
        sections=sections,
        remarks=_remarks(entries, data),
    )


def _headline(candidate: Assessment) -> tuple[str, str]:
    """Return the verdict in a word or two, and its colour."""
    if candidate.verdict.holds:
        return "Holds.", HOLDS
    if candidate.verdict.governing.margin < 0.0:
        return "Does not hold.", BREAKS
    return "Not shown to hold.", UNKNOWN


def _where(scenario: Scenario, entries: Entries) -> str:
    design = scenario.reference.design
    return (
        f"Scenario {scenario.name}: turbine {design.name}, {design.rotor.blade_count} blades, rotor "
        f"{2.0 * design.rotor_radius:.0f} m, hub {design.rotor.hub_height:.0f} m, "
        f"{design.machine.rated_power / 1e6:.2g} MW; wind class {scenario.site['wind_class']} "
        f"{scenario.site['turbulence_category']}; {counted(len(scenario.cases), 'case')}, "
        f"{counted(sum(entry.pass_count for entry in entries), 'pass')}."
    )


def _remarks(entries: Entries, data: Mapping[str, Any]) -> list[str]:
    told = []
    if data["failed_cases"]:
        told.append(f"Failed and left out: {counted(data['cases']['failed'], 'case')}, listed at the end.")
    for entry in entries:
        if entry.verdict.problems:
            told.append(f"{entry.name}: " + "; ".join(entry.verdict.problems) + ".")
    return told


def _row(entry: Assessment, pen: Mapping[str, Pen], entries: Entries, cells: Sequence[str]) -> Row:
    return Row([entry.name, *cells], pen[entry.name].colour, entry is entries[-1])


def _room_section(entries: Entries, pen: Mapping[str, Pen]) -> Section:
    head = ["entry", "stack", "holds", "characteristic clearance [m]", "required [m]", "margin [m]"]
    head += ["smallest of all [m]", "passes", "broken", "strikes"]
    rows = [
        _row(entry, pen, entries, [
            " + ".join(entry.stack), held(entry.verdict),
            number(entry.verdict.governing.characteristic), number(entry.verdict.governing.required),
            number(entry.verdict.governing.margin, "+.2f"), number(entry.verdict.smallest_clearance),
            str(entry.pass_count), str(entry.broken), str(entry.strikes),
        ])
        for entry in entries
    ]  # fmt: skip
    note = (
        "The first entry is the reference, the last the candidate. The characteristic clearance alone "
        "decides: in turbulence the mean over seeds of each seed's smallest clearance at the worst wind "
        "speed, in a gust the worst over the rotor's position; of a rotor at rest the smallest of the judged "
        "time, in place of passes. The smallest of all passes worsens with "
        "every seed that is added, and decides nothing. A pass is broken below the required clearance, a "
        "strike at zero or less."
    )
    caption = (
        "Clearance against wind speed. Lines and large markers: characteristic values. Dots: the smallest "
        "clearance of each seed or rotor position, set side by side for the entries."
    )
    return Section(
        "What room remains",
        [Table(head, rows, left=3), Text(note), Figure(room_figure(entries, pen), caption)],
    )


def _cases_section(entries: Entries, pen: Mapping[str, Pen]) -> Section:
    rows = [
        _row(entry, pen, entries, governing_cells(condition, item))
        for entry in entries
        for condition, item in governing_data(entry).items()
    ]
    note = (
        "Each load case at its governing wind speed: characteristic clearance, what must remain, what share "
        "of which unloaded clearance that is (of the feathered blade where the rotor is at rest), and the "
        "margin."
    )
    head = ["entry", *GOVERNING_HEAD]
    return Section("Which case governs", [Text(note), Table(head, rows, left=3)])


def _ledger_section(entries: Entries, pen: Mapping[str, Pen]) -> Section:
    note = (
        "Where the logic acted, the simulation was marched on once more without it, so that each action is "
        "known to have saved the pass, to have been needless, or to have done harm. Counts are of the passes "
        "marched. Kinds of wind are never pooled."
    )
    head = ["entry", "wind", *LEDGER_HEAD]
    rows = []
    for entry in entries:
        for place, rates in enumerate(entry.rates):
            cells = [rates.stratum, *ledger_cells(rates, entry.has_logic)]
            rows.append(_stratum_row(entry, place, cells, pen, entries))
    parts: list[Any] = [Text(note), Figure(ledger_figure(entries), "All passes but the quiet ones.")]
    parts.append(Table(head, rows, left=2))
    if any(is_estimated(row.cells) for row in rows):
        parts.append(Text(ESTIMATED))
    if any(entry.has_logic for entry in entries):
        parts += _shares(entries, pen)
    return Section("Was the logic right", parts)


def _shares(entries: Entries, pen: Mapping[str, Pen]) -> list[Any]:
    head = ["entry", "wind", "passes acted on", "demands, of all passes", "missed, of demands"]
    head += ["needless, of actions", "harmed, of all passes"]
    note = (
        "How often, for the entries with tower-pass logic. A demand is a pass that breaks the requirement "
        "without the logic. Intervals are 95 %, with the seed as the unit, since the passes of one seed "
        "resemble each other; normal turbulence is weighted by its hours a year. Gusts are swept over the "
        "rotor's position: their shares are no probabilities."
    )
    rows, shared = [], []
    for entry in entries:
        if not entry.has_logic:
            continue
        for place, rates in enumerate(entry.rates):
            told = (rates.acting, rates.demand, rates.miss, rates.needless, rates.harm)
            cells = [rates.stratum, *(percent(share) for share in told)]
            rows.append(_stratum_row(entry, place, cells, pen, entries))
        pooled, assumed = entry.ledger.pooled.sum(), entry.ledger.assumed.sum()
        if pooled + assumed > 0.0:
            shared.append(
                f"{entry.name}: {pooled:.0f} passes took their class from forks of like cases, "
                f"{assumed:.0f} had no fork and are charged to the logic."
            )
    return [Text(note), Table(head, rows, left=2), *([Lines(shared)] if shared else [])]


def _stratum_row(
    entry: Assessment, place: int, cells: Sequence[str], pen: Mapping[str, Pen], entries: Entries
) -> Row:
    """Return a row of one kind of wind; the entry is named in the first."""
    name, colour = (entry.name, pen[entry.name].colour) if place == 0 else ("", "")
    return Row([name, *cells], colour, entry is entries[-1])


def _bill_section(entries: Entries, pen: Mapping[str, Pen]) -> Section:
    reference = entries[0].name
    if not entries[0].gathered.normal.any():
        note = (
            "The scenario has no normal turbulence; nothing is said of energy, travel or equivalent ranges."
        )
        return Section("What it costs", [Text(note)])
    note = (
        f"Against {reference}, in the same winds: normal turbulence weighted by its hours in a year; "
        "extreme turbulence and gusts enter no rate. Intervals are 95 % over seeds. Equivalent ranges are "
        f"of the worst blade at a reference frequency of 1 Hz.{straw_man(entries)}"
    )
    head = ["entry", "energy ratio", "pitch travel [deg/h]"]
    sizes = ["entry"]
    for name, title in RANGE_TITLES.items():
        words = title.replace("\n", " ").replace(" equivalent range", "")
        head.append(f"{words}, ratio of ranges")
        sizes += [f"{words}, range at exponent {CHANNELS[name][1]:g} [kN m]", "largest, rotor turning [kN m]"]
    ratios, values = [], []
    for entry in entries:
        bill = entry.bill
        cells = [ratio_text(bill.energy.ratio), amount_text(bill.travel)]
        cells += [ratio_text(bill.equivalent[name].ratio) for name in RANGE_TITLES]
        ratios.append(_row(entry, pen, entries, cells))
        cells = []
        for name in RANGE_TITLES:
            cells += [number(bill.equivalent[name].value / 1e3, ".0f"), number(entry.largest[name], ".0f")]
        values.append(_row(entry, pen, entries, cells))
    caption = f"What each entry costs against {reference}: energy, equivalent ranges, pitch travel."
    figure = Figure(bill_figure(entries, pen), caption)
    return Section("What it costs", [Text(note), figure, Table(head, ratios), Table(sizes, values)])


def trouble_section(data: Mapping[str, Any]) -> Section:
    """List the cases that failed and those with something amiss."""
    rows = [Row([row["case"], row["why"]]) for row in [*data["failed_cases"], *data["flagged_cases"]]]
    return Section("Cases that failed or ran with something amiss", [Table(["case", "why"], rows, left=2)])
