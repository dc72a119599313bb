"""What are the passes of a scenario like, and which are the worst of each entry?"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from scenarios.answer import Answer, ExitCode, Options, table
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.assess import Assessment
from scenarios.studies.fault_rows import FAULT_HEAD, fault_cells, fault_rows
from scenarios.studies.pass_rows import (
    CASES_HEAD,
    COLUMNS,
    WORST_HEAD,
    case_rows,
    pass_rows,
    worst_cells,
)
from scenarios.studies.study import Study, heading, judge_scenario
from scenarios.studies.telling import TROUBLES, bin_data, shortened
from sim.measures.clearance import BinClearance

WORST = 8
"""Passes that are listed of each entry."""


def run(scenario: Scenario, options: Options) -> Answer:
    """March a scenario and show its passes.

    Parameters
    ----------
    scenario : Scenario
    options : Options

    Returns
    -------
    Answer
        With exit code 3 where cases failed, else 0: the passes are shown, not judged.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; a file cannot be written.
    """
    from scenarios.report.page import prepare, render, write
    from scenarios.report.passes import passes_page

    prepare(options.out)
    study = judge_scenario(scenario, Store(options.store), options)
    page = options.out / f"{scenario.name}-passes.html"
    listing = page.with_suffix(".csv")
    data = passes_data(study) | {"page": str(page), "listing": str(listing)}
    write(page, render(passes_page(scenario, study.entries, data)))
    write(listing, passes_csv(study.entries))
    code = ExitCode.PARTLY_FAILED if study.failed else ExitCode.HOLDS
    return Answer(data, passes_text(data), code)


def passes_data(study: Study) -> dict[str, Any]:
    """Return counts of each entry and its worst passes; units in the names."""
    return heading(study) | {"entries": [_entry_data(entry) for entry in study.entries]}


def _entry_data(entry: Assessment) -> dict[str, Any]:
    passes = entry.gathered.passes
    return {
        "name": entry.name,
        "stack": entry.stack,
        "required_clearance_m": entry.verdict.governing.required,
        "passes": entry.pass_count,
        "acted": int(np.count_nonzero(passes["acted"])),
        "broken_passes": entry.broken,
        "strikes": entry.strikes,
        "load_cases": [bin_data(item) for item in _worst_first(entry)],
        "faults": fault_rows(entry),
        "worst": pass_rows(entry, np.argsort(passes["clearance_m"], kind="stable")[:WORST]),
    }


def _worst_first(entry: Assessment) -> list[BinClearance]:
    """Return what each load case leaves at its worst wind speed, the least room first, the unknown last.

    Cases with faults have a table of their own.
    """
    sound = {case.load_case for case in entry.gathered.cases if not case.faults}
    found = [item for name, item in entry.verdict.per_condition().items() if name in sound]
    return sorted(found, key=lambda item: (math.isnan(item.characteristic), item.characteristic))


def passes_csv(entries: Sequence[Assessment]) -> str:
    """Return every pass of every entry as CSV; an empty cell where nothing is known."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["entry", *COLUMNS])
    for entry in entries:
        for row in pass_rows(entry, np.arange(entry.pass_count)):
            cells = [f"{cell:.5g}" if isinstance(cell, float) else cell for cell in row.values()]
            writer.writerow([entry.name, *("" if cell == "nan" else cell for cell in cells)])
    return text.getvalue()


def passes_text(data: dict[str, Any]) -> str:
    """Return the passes for people."""
    head = ["entry", "stack", "required m", "passes", "acted", "broken", "strikes"]
    rows = [
        [entry["name"], " + ".join(entry["stack"]), f"{entry['required_clearance_m']:.2f}"]
        + [str(entry[name]) for name in ("passes", "acted", "broken_passes", "strikes")]
        for entry in data["entries"]
    ]
    parts = [table(head, rows, left=2)]
    cases = [row for entry in data["entries"] for row in case_rows(entry)]
    parts.append(f"What each load case leaves at its worst wind speed:\n{table(CASES_HEAD, cases, left=2)}")
    for entry in data["entries"]:
        if entry["faults"]:
            broken = [fault_cells(row) for row in entry["faults"]]
            parts.append(
                f"The passes of {entry['name']} under each fault:\n{table(FAULT_HEAD, broken, left=2)}"
            )
    for entry in data["entries"]:
        if entry["worst"]:
            worst = [worst_cells(row) for row in entry["worst"]]
            parts.append(f"The smallest passes of {entry['name']}:\n{table(WORST_HEAD, worst)}")
    for title, key in TROUBLES:
        if data[key]:
            lines = [f"{row['case']}: {row['why']}" for row in data[key]]
            parts.append("\n".join([title, *shortened(lines)]))
    parts.append(f"page: {data['page']}\nall passes: {data['listing']}")
    return "\n\n".join(parts)
