"""How is the judgement of a study put into words and into named numbers?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.answer import counted, table
from scenarios.requirement import Requirement
from scenarios.studies.amounts import (
    ESTIMATED,
    LEDGER_HEAD,
    amount_text,
    is_estimated,
    ledger_cells,
    number,
    percent,
    ratio_text,
)
from scenarios.studies.assess import CHANNELS, Assessment
from scenarios.studies.extreme import extreme_text
from scenarios.studies.fault_rows import fault_rows
from scenarios.studies.ruling import GOVERNING_HEAD, governing_cells, requirement_data
from sim.measures.clearance import BinClearance, Verdict
from sim.measures.lifetime import PairedRatio
from sim.measures.rates import StratumRates
from sim.measures.statistics import Interval

RATES = ("demand", "miss", "acting", "needless", "harm")
CHANNEL_TITLES: Mapping[str, str] = {
    "blade_root_flap_kNm": "flap",
    "blade_root_edge_kNm": "edge",
    "tower_base_fore_aft_kNm": "tower",
}


TROUBLES = (("Failed cases:", "failed_cases"), ("Cases with something amiss:", "flagged_cases"))
"""Lists of cases that a reader must know of: title, and key of the data."""


def held(verdict: Verdict) -> str:
    """Say whether an entry holds; "not shown" where winds are too few for the rule, or cases failed."""
    if verdict.holds:
        return "yes"
    return "not shown" if verdict.problems else "no"


def governing_text(item: BinClearance) -> str:
    """Name a load case and its wind speed."""
    return f"{item.condition}, {item.speed:g} m/s"


def verdict_sentence(entries: Sequence[Assessment], requirement: Requirement) -> str:
    """Say in one sentence whether the candidate holds, with rule, margin and governing case."""
    candidate = entries[-1]
    verdict = candidate.verdict
    governing = verdict.governing
    asked = requirement_data(requirement, candidate)
    rule = f"{governing.required:.2f} m must ({asked['words']})"
    if math.isnan(governing.margin):
        return f"Nothing can be said of {candidate.name}: {verdict.problems[0]}."
    what = "clearance in steady wind" if governing.kind == "steady" else "characteristic clearance"
    what += " with the rotor at rest" if asked["at_rest"] else ""
    room = f"{governing.characteristic:.2f} m of {what} remain where {rule}"
    where = f"margin {governing.margin:+.2f} m in {governing_text(governing)}; {_broken_words(candidate)}"
    if verdict.holds:
        return f"{candidate.name} holds the requirement: {room}; {where}."
    if governing.margin < 0.0:
        return f"{candidate.name} does not hold the requirement: {room}; {where}."
    broken = _broken_words(candidate)
    return f"{candidate.name} is not shown to hold the requirement: {verdict.problems[0]}; {room}; {broken}."


def _broken_words(entry: Assessment) -> str:
    """Say how many single passes left less than what must remain; they decide nothing, and are not hidden."""
    if entry.pass_count == 0:
        return "no blade passed the tower"
    if entry.broken == 0:
        return f"none of its {counted(entry.pass_count, 'pass')} left less"
    struck = f", {entry.strikes} of them met the tower" if entry.strikes else ""
    return f"{entry.broken} of its {counted(entry.pass_count, 'pass')} left less{struck}"


def entry_data(entry: Assessment) -> dict[str, Any]:
    """Return an entry's numbers; units in the names."""
    verdict, gathered, bill = entry.verdict, entry.gathered, entry.bill
    return {
        "name": entry.name,
        "stack": entry.stack,
        "turbine_hash": gathered.entry.turbine.content,
        "holds": verdict.holds,
        "problems": list(verdict.problems),
        "unloaded_clearance_m": gathered.unloaded,
        "required_clearance_m": verdict.governing.required,
        "characteristic_clearance_m": verdict.governing.characteristic,
        "margin_m": verdict.governing.margin,
        "governing_case": governing_text(verdict.governing),
        "load_cases": [bin_data(item) for item in verdict.bins],
        "smallest_clearance_m": verdict.smallest_clearance,
        "smallest_case": gathered.cases[verdict.smallest_case].title,
        "passes": entry.pass_count,
        "broken_passes": entry.broken,
        "strikes": entry.strikes,
        "faults": fault_rows(entry),
        "ledger": entry.ledger.total(),
        "ledger_quality": {
            "acted": float(entry.ledger.acted.sum()),
            "pooled": float(entry.ledger.pooled.sum()),
            "assumed": float(entry.ledger.assumed.sum()),
            "forks_lost": entry.ledger.forks_lost,
        },
        "strata": [_stratum_data(rates) for rates in entry.rates],
        "pitch_travel_deg_per_hour": bill.travel.value,
        "pitch_travel_interval_deg_per_hour": interval_data(bill.travel),
        "equivalent_range": {name: _range_data(ratio) for name, ratio in bill.equivalent.items()},
        "largest_moment": dict(entry.largest),
        "energy_ratio": bill.energy.ratio.value,
        "energy_ratio_interval": interval_data(bill.energy.ratio),
        "mean_power_kW": bill.energy.value / 1e3,
    }


def interval_data(interval: Interval, units: str = "seeds") -> dict[str, Any]:
    """Return the ends of an interval, the independent units behind it, and how it was made."""
    return {
        "low": interval.low,
        "high": interval.high,
        units: interval.units,
        "method": interval.method,
    }


def bin_data(item: BinClearance) -> dict[str, Any]:
    """Return what a load case leaves at one wind speed; units in the names."""
    return {
        "load_case": item.condition,
        "wind_speed_m_s": item.speed,
        "cases": item.cases,
        "characteristic_clearance_m": item.characteristic,
        "smallest_clearance_m": item.smallest,
        "required_clearance_m": item.required,
        "margin_m": item.margin,
        "holds": item.enough and item.margin >= 0.0,
    }


def _stratum_data(rates: StratumRates) -> dict[str, Any]:
    shares = {
        name: {"value": getattr(rates, name).value} | interval_data(getattr(rates, name)) for name in RATES
    }
    ledger = {"ledger": rates.counts, "saved_interval": interval_data(rates.saved, "forks")}
    return {"stratum": rates.stratum} | ledger | shares


def _range_data(ratio: PairedRatio) -> dict[str, Any]:
    return {
        "value": ratio.value / 1e3,
        "exponent": ratio.exponent,
        "reference_frequency_Hz": ratio.reference_frequency,
        "ratio": ratio.ratio.value,
        "interval": interval_data(ratio.ratio),
        "damage_ratio": ratio.damage_ratio,
        "worst_blade": ratio.part + 1,
        "cases_lost": ratio.cases_lost,
    }


def text_of(entries: Sequence[Assessment], data: Mapping[str, Any]) -> str:
    """Return the study for people."""
    questions = [data["verdict"], _room_text(entries), _governing_text(data)]
    if "ledger" in data["questions"] and any(entry.has_logic for entry in entries):
        questions.append(_ledger_text(entries))
    if "bill" in data["questions"] and math.isfinite(entries[0].bill.energy.value):
        questions.append(_bill_text(entries))
    if data["extreme"]:
        questions.append(extreme_text(data["extreme"]))
    problems = [f"{entry.name}: {problem}" for entry in entries for problem in entry.verdict.problems]
    told = [(title, [f"{row['case']}: {row['why']}" for row in data[key]]) for title, key in TROUBLES]
    for title, lines in (("Not enough for the rule:", problems), *told):
        if lines:
            questions.append("\n".join([title, *shortened(lines)]))
    cases = data["cases"]
    questions.append(
        f"{counted(cases['total'], 'case')}: {cases['computed']} computed, "
        f"{cases['from_store']} from the store, {cases['failed']} failed\npage: {data['page']}"
    )
    return "\n\n".join(questions)


def shortened(lines: Sequence[str], limit: int = 12) -> list[str]:
    """Return the first lines, indented, and how many more there are."""
    kept = [f"  {line}" for line in lines[:limit]]
    return kept + ([f"  and {len(lines) - limit} more (--json lists all)"] if len(lines) > limit else [])


def _governing_text(data: Mapping[str, Any]) -> str:
    rows = [governing_cells(name, row) for name, row in data["governing_by_load_case"].items()]
    return f"{data['controllers'][-1]['name']} by load case:\n{table(GOVERNING_HEAD, rows, left=2)}"


def _room_text(entries: Sequence[Assessment]) -> str:
    head = [
        "entry",
        "stack",
        "governing case",
        "holds",
        "left m",
        "margin m",
        "smallest m",
        "broken",
        "strikes",
    ]
    rows = []
    for entry in entries:
        verdict = entry.verdict
        rows.append(
            [
                entry.name,
                " + ".join(entry.stack),
                governing_text(verdict.governing),
                held(verdict),
                number(verdict.governing.characteristic),
                number(verdict.governing.margin, "+.2f"),
                number(verdict.smallest_clearance),
                f"{entry.broken}",
                f"{entry.strikes}",
            ]
        )
    return table(head, rows, left=3)


def _ledger_text(entries: Sequence[Assessment]) -> str:
    rows = []
    for entry in entries:
        for rates in entry.rates:
            shares = [percent(rates.acting), percent(rates.miss)] if entry.has_logic else ["-", "-"]
            rows.append([entry.name, rates.stratum, *ledger_cells(rates, entry.has_logic), *shares])
    head = ["entry", "wind", *LEDGER_HEAD, "acting", "demands missed"]
    note = "Passes as marched, each kind of wind by itself; shares with 95 % intervals over seeds."
    told = f"{note}\n{table(head, rows, left=2)}"
    return f"{told}\n{ESTIMATED}" if any(is_estimated(row) for row in rows) else told


def straw_man(entries: Sequence[Assessment]) -> str:
    """Say so where the reference breaks the requirement itself."""
    reference = entries[0]
    return "" if reference.verdict.holds else f" {reference.name} itself does not hold: no fair reference."


def _bill_text(entries: Sequence[Assessment]) -> str:
    head = ["entry", "energy", "pitch deg/h", *(f"{CHANNEL_TITLES[name]} range" for name in CHANNELS)]
    rows = [
        [entry.name, ratio_text(entry.bill.energy.ratio), amount_text(entry.bill.travel)]
        + [ratio_text(entry.bill.equivalent[name].ratio) for name in CHANNELS]
        for entry in entries
    ]
    note = (
        f"The bill against {entries[0].name}: normal turbulence by its hours a year, the same winds for all; "
        "95 % intervals over seeds."
    )
    return f"{note}{straw_man(entries)}\n{table(head, rows)}"
