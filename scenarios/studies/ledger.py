"""What did the logic save, miss, do needlessly and harm, in an hour and in a year, and which passes tell?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import degrees
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import table
from scenarios.scenario import Scenario
from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment
from scenarios.studies.gather import Gathered, yearly_hours
from scenarios.studies.pass_rows import pass_rows
from sim.measures.hourly import HourlyRate, hourly_rate
from sim.measures.logic import WORDS, classify
from sim.measures.statistics import Interval

KINDS = ("demands", "saved", "missed", "needless", "harmed", "broken", "strikes")
WORST = 3
"""Passes that are listed of each kind."""


def ledger_data(scenario: Scenario, entries: Sequence[Assessment]) -> list[dict[str, Any]]:
    """Return the ledger of each entry, with rates in normal turbulence and the worst passes of each kind."""
    hours = yearly_hours(scenario, entries[0].gathered)
    return [_entry(entry, hours) for entry in entries]


def rebounds(gathered: Gathered) -> NDArray[np.int64]:
    """Return the passes that broke though the logic did not act there, and would not have without it.

    Notes
    -----
    A fork marches on to the end of the revolution after its pass: what it sees of the passes in between is
    what they would have been. So a pass that breaks in the swing after a needless pulse is the logic's harm.
    """
    passes = gathered.passes
    required = gathered.must[passes["case"]]
    broken = ~passes["acted"].astype(bool) & (passes["clearance_m"] < required)
    return np.flatnonzero(broken & (passes["clearance_without_m"] >= required))


def _entry(entry: Assessment, hours: NDArray[np.float64]) -> dict[str, Any]:
    gathered, size = entry.gathered, len(entry.gathered.cases)
    counts = dict(zip(WORDS, entry.ledger.counts.T.copy(), strict=True))
    swung = np.bincount(gathered.passes["case"][rebounds(gathered)], minlength=size)
    counts["missed"] -= swung
    counts["harmed"] += swung
    struck = gathered.passes["clearance_m"] <= 0.0
    per_case = counts | {
        "demands": counts["saved"] + counts["missed"],
        "broken": counts["missed"] + counts["harmed"],
        "strikes": np.bincount(gathered.passes["case"], struck, size),
    }
    judged = gathered.column("judged_s")
    rates = {kind: rate_data(hourly_rate(per_case[kind], judged, gathered.labels, hours)) for kind in KINDS}
    told = {
        "name": entry.name,
        "stack": entry.stack,
        "has_logic": entry.has_logic,
        "passes": entry.pass_count,
        "counts": {word: float(np.sum(values)) for word, values in counts.items()},
        "harmed_by_rebound": int(np.sum(swung)),
        "strikes": int(np.sum(per_case["strikes"])),
        "rates": rates,
        "asymmetry": _asymmetry(entry),
    }
    return told | {"worst": worst_passes(entry)}


def rate_data(rate: HourlyRate) -> dict[str, Any]:
    """Return a rate for machines."""
    return {
        "per_hour": _interval(rate.per_hour),
        "per_year": _interval(rate.per_year),
        "method": rate.per_hour.method,
        "hours_per_year": rate.hours_per_year,
    }


def _interval(told: Interval) -> dict[str, float]:
    return {"value": told.value, "low": told.low, "high": told.high}


def _asymmetry(entry: Assessment) -> dict[str, Any]:
    """Return how unevenly the logic acts on the blades: shares of passes acted on, and pitch travel."""
    passes = entry.gathered.passes
    blades = entry.gathered.cases[0].blade_count
    number = np.bincount(passes["blade"].astype(np.int64), minlength=blades)
    times = np.bincount(passes["blade"].astype(np.int64), passes["acted"], minlength=blades)
    acted = times / np.where(number > 0, number, np.nan)  # of no passes, as where a layer ended all, no share
    travel = np.nansum(
        entry.gathered.column("pitch_travel_rad").reshape(len(entry.gathered.cases), -1), axis=0
    )
    mean = float(np.mean(travel))
    return {
        "acted_share_by_blade": acted.tolist(),
        "travel_over_mean_by_blade": (travel / mean).tolist() if mean > 0.0 else [],
        "actions_beside_a_quiet_blade": _alone(entry),
    }


def _alone(entry: Assessment) -> float:
    """Return the share of the acted passes whose neighbours in time, of other blades, were not acted on."""
    passes = entry.gathered.passes
    acted, case = passes["acted"].astype(bool), passes["case"]
    if not acted.any():
        return float("nan")
    order = np.lexsort((passes["time_s"], case))
    acted, case = acted[order], case[order]
    before = np.r_[False, acted[:-1] & (case[1:] == case[:-1])]
    after = np.r_[acted[1:] & (case[1:] == case[:-1]), False]
    return float(np.mean(~before[acted] & ~after[acted]))


def worst_passes(entry: Assessment) -> dict[str, list[dict[str, Any]]]:
    """Return the passes that tell most of each kind, worst first, by row and as `pass_rows` has them.

    Saved: nearest without the logic. Missed: nearest. Needless: farthest without it. Harmed: most lost by it.
    """
    passes = entry.gathered.passes
    word = classify(entry.gathered.judged_passes)
    word[rebounds(entry.gathered)] = "harmed"
    near, without = passes["clearance_m"], passes["clearance_without_m"]
    order = {"saved": without, "missed": near, "needless": -without, "harmed": near - without}
    found = {}
    for kind, value in order.items():
        rows = np.flatnonzero(word == kind)
        rows = rows[np.argsort(value[rows], kind="stable")[:WORST]]
        cases = passes["case"][rows].tolist()
        told = zip(rows.tolist(), cases, pass_rows(entry, rows), strict=True)
        found[kind] = [{"row": row, "case_index": case, **cells} for row, case, cells in told]
    return found


def needless_travel(entry: Assessment, twin: Assessment | None) -> float:
    """Return the travel that the needless actions cost, per hour of normal turbulence [deg/h].

    Notes
    -----
    Travel beyond that of the same stack without the logic in the same winds, times the needless share of the
    actions: every action is taken to cost alike. Not a number without such an entry.
    """
    if twin is None:
        return float("nan")
    count = len(entry.gathered.cases)
    travel, plain = (one.gathered.column("pitch_travel_rad").reshape(count, -1) for one in (entry, twin))
    extra = travel - plain
    mine = entry.gathered.normal & np.isfinite(extra).any(axis=1)  # a case that failed has no travel
    if not mine.any():
        return float("nan")
    hours = float(np.sum(entry.gathered.column("judged_s")[mine])) / 3600.0
    acted = float(np.sum(entry.ledger.acted[mine]))
    share = float(np.sum(entry.ledger.counts[mine, WORDS.index("needless")])) / acted if acted else 0.0
    return degrees(float(np.nanmean(extra[mine], axis=1).sum())) * share / hours


def ledger_text(rows: Sequence[dict[str, Any]]) -> str:
    """Return the ledgers for people."""
    head = ["entry", "passes", *WORDS, "strikes"]
    counts = [
        [
            row["name"],
            f"{row['passes']}",
            *count_cells(row),
            f"{row['strikes']}",
        ]
        for row in rows
    ]
    rates = [[row["name"], *rate_cells(row, "per_hour")] for row in rows]
    note = (
        "Events an hour of normal turbulence, weighted by hours; 95 % over seeds; < bounds where none came:"
    )
    return "\n".join([table(head, counts), "", note, table(["entry", *KINDS], rates)])


def count_cells(row: Mapping[str, Any]) -> list[str]:
    """Return the counts in the order of WORDS; dashes where there is no logic to save, miss or harm."""
    return [f"{row['counts'][word]:.0f}" if row["has_logic"] or word == "quiet" else "-" for word in WORDS]


def rate_cells(row: Mapping[str, Any], unit: str) -> list[str]:
    """Return the rates in the order of KINDS, ``per_hour`` or ``per_year``; dashes without logic."""
    plain = ("demands", "broken", "strikes")
    return [
        rate_text(row["rates"][kind][unit]) if row["has_logic"] or kind in plain else "-" for kind in KINDS
    ]


def rate_text(told: dict[str, float]) -> str:
    """Write a rate with its interval, or its bound where nothing was seen."""
    if told["value"] == 0.0:
        return f"< {told['high']:.2g}"
    if not np.isfinite(told["low"]):
        return number(told["value"], ".3g")
    return f"{told['value']:.3g} ({told['low']:.2g}..{told['high']:.2g})"
