"""How do all results of a campaign become one labelled dataset, and that one file?

Dimensions are case, blade and pass; what differs in length from case to case (passes, counted cycles) lies
end to end, with the case of each row or the number of rows of each case beside it.
"""

from __future__ import annotations

import json
import os
import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import CAUTION
from scenarios.case import Case, unloaded_of
from scenarios.packing import CaseResult
from scenarios.provenance import code_version, versions
from scenarios.scenario import Scenario
from scenarios.studies.gather import trouble_of
from sim.errors import InputError
from sim.interface import SENTENCE
from sim.records import CASE_FIELDS, PASS_FIELDS

if TYPE_CHECKING:
    import xarray

SCHEMA = 1
"""Version of the names and meanings below."""
LOST = -1
"""Status of a case that has no result."""
UNSEEN = {"smallest_clearance_m": "of the judged time; nan where no blade passed the tower in it"}
"""Numbers that a sound case may lack, and what that means; the march has infinity there."""
Column = tuple[Sequence[str], NDArray[Any], dict[str, Any]]
"""Dimensions, values, attributes."""


def make_dataset(
    scenario: Scenario, results: Mapping[str, CaseResult], failed: Mapping[str, str]
) -> xarray.Dataset:
    """Return every result of a scenario with its labels, units and provenance.

    Parameters
    ----------
    scenario : Scenario
    results : by the case's key; cases without one have status -1 and no numbers
    failed : why a case has no result, by its key
    """
    import xarray

    rows = [results.get(case.key) for case in scenario.cases]
    columns = dict(_labels(scenario)) | dict(_numbers(rows)) | dict(_passes(rows)) | dict(_cycles(rows))
    why = [
        failed.get(case.key, "no result") if row is None else trouble_of(row)
        for case, row in zip(scenario.cases, rows, strict=True)
    ]
    columns["trouble"] = (("case",), _words(why), {"long_name": "what is amiss; empty for a sound case"})
    labels = {name: columns.pop(name) for name in (*LABELS, "channel", "sum")}
    return xarray.Dataset(columns, labels, _provenance(scenario))


def write_dataset(dataset: xarray.Dataset, path: Path) -> None:
    """Write a dataset as NetCDF; the file is whole or not there.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    beside = path.with_name(f"{path.name}.{uuid.uuid4().hex}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        dataset.to_netcdf(beside, engine="h5netcdf")
        os.replace(beside, path)
    except OSError as error:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise InputError(f"{path}: cannot be written ({error}); choose another with --out DIR") from error


SUMS = ("cell", "n", "n S", "n S^2", "n u", "n u^2", "n S u")
"""Columns of a cell, as `sim.measures.spectrum` has them."""
LABELS = ("entry", "stack", "load_case", "nominal_wind_speed_m_s", "number", "is_event", "key")
"""What tells a case from others."""


def _labels(scenario: Scenario) -> Iterator[tuple[str, Column]]:
    cases = scenario.cases
    entries = {entry.name: entry for entry in scenario.entries}
    unloaded = [unloaded_of(case, entries[case.entry].design) for case in cases]

    def label(values: Sequence[Any], meaning: str, unit: str = "") -> Column:
        array = _words(values) if values and isinstance(values[0], str) else np.array(values)
        return ("case",), array, {"long_name": meaning} | ({"units": unit} if unit else {})

    yield "entry", label([case.entry for case in cases], "entry of the scenario")
    yield "stack", label([_stack(case) for case in cases], "layers of logic from the lowest up")
    yield "load_case", label([case.load_case for case in cases], "load case")
    speeds = [float(case.wind.speed) for case in cases]
    yield "nominal_wind_speed_m_s", label(speeds, "mean wind speed at the hub that was asked for", "m/s")
    yield "number", label([case.number for case in cases], "number of the seed or phase, from 1")
    is_event = [case.is_event for case in cases]
    yield "is_event", label(is_event, "a deterministic event, judged by its worst phase")
    yield "key", label([case.key for case in cases], "hash of everything that decides the result")
    yield "at_rest", label([case.run.at_rest for case in cases], "the rotor is held, its blades at feather")
    yield "unloaded_clearance_m", label(unloaded, "without load; at feather where the rotor is at rest", "m")
    required = [case.required_share * free for case, free in zip(cases, unloaded, strict=True)]
    yield "required_clearance_m", label(required, "what must remain", "m")
    turbines = [entries[case.entry].turbine.content for case in cases]
    yield "turbine_hash", label(turbines, "hash of the turbine's SI values")


def _stack(case: Case) -> str:
    return " + ".join(layer.name for layer in case.stack)


def _numbers(rows: Sequence[CaseResult | None]) -> Iterator[tuple[str, Column]]:
    """Yield one number of each case, or one for each blade."""
    for name, example in _examples(rows, "cases."):
        is_status = name == "status"
        width = max(np.size(row[f"cases.{name}"]) for row in rows if row is not None)
        shape = (len(rows),) if example.ndim == 0 else (len(rows), width)
        table = np.full(shape, LOST if is_status else np.nan, np.int64 if is_status else np.float64)
        for place, row in enumerate(rows):
            if row is not None:
                values = row[f"cases.{name}"]
                table[(place, slice(values.size))[: table.ndim]] = values
        attributes: dict[str, Any] = {"units": CASE_FIELDS[name]} if CASE_FIELDS.get(name) else {}
        if name in UNSEEN:
            table[np.isinf(table)] = np.nan
            attributes["long_name"] = UNSEEN[name]
        if is_status:
            told = {LOST: "no result"} | {int(status): words for status, words in SENTENCE.items()}
            attributes = {"flag_values": list(told), "flag_meanings": json.dumps(list(told.values()))}
        yield name, (("case", "blade")[: table.ndim], table, attributes)


def _passes(rows: Sequence[CaseResult | None]) -> Iterator[tuple[str, Column]]:
    """Yield the columns of all passes, and the case that each belongs to."""
    counts = [0 if row is None else row["passes.clearance_m"].size for row in rows]
    of = {"long_name": "row of the pass's case", "instance_dimension": "case"}
    yield "pass_case", (("pass",), np.repeat(np.arange(len(rows)), counts), of)
    for name, _ in _examples(rows, "passes."):
        values = np.concatenate([row[f"passes.{name}"] for row in rows if row is not None])
        unit, meaning = PASS_FIELDS.get(name, ("", ""))
        attributes = {key: told for key, told in (("units", unit), ("long_name", meaning)) if told}
        yield f"pass_{name}", (("pass",), values, attributes)


def _cycles(rows: Sequence[CaseResult | None]) -> Iterator[tuple[str, Column]]:
    """Yield the counted cycles of every case and channel end to end, and how many there are of each."""
    channels = [name for name, _ in _examples(rows, "turning.")]
    units = ["rad" if name.startswith("pitch") else "N m" for name in channels]
    yield "channel", (("channel",), _words(channels), {"long_name": "what the cycles are counted of"})
    yield "channel_unit", (("channel",), _words(units), {"long_name": "unit of ranges and means"})
    yield "sum", (("sum",), _words(SUMS), {"long_name": "over a cell's cycles of count n, range S, mean u"})
    empty = {"turning": np.zeros(0), "cycles": np.zeros((0, len(SUMS)))}
    for kind, name, what in (
        ("turning", "residue", "turning points that close no cycle"),
        ("cycles", "cell", "cells of counted cycles"),
    ):
        parts = [
            [empty[kind] if row is None else row[f"{kind}.{channel}"] for channel in channels] for row in rows
        ]
        counts = np.array([[len(part) for part in case] for case in parts], np.int64)
        told = {"long_name": f"{what} of each case and channel", "sample_dimension": name}
        yield f"{name}_count", (("case", "channel"), counts.reshape(len(rows), len(channels)), told)
        values = np.concatenate([empty[kind], *(part for case in parts for part in case)])
        yield f"{name}_value", ((name, "sum")[: values.ndim], values, {"long_name": what})


def _examples(rows: Sequence[CaseResult | None], start: str) -> list[tuple[str, NDArray[Any]]]:
    """Return the names that a result has below ``start``, each with one value."""
    first = next((row for row in rows if row is not None), {})
    return [(name.removeprefix(start), value) for name, value in first.items() if name.startswith(start)]


def _words(values: Sequence[str]) -> NDArray[Any]:
    return np.array(values, dtype=object)


def _provenance(scenario: Scenario) -> dict[str, Any]:
    return {
        "title": scenario.title or scenario.name,
        "schema": SCHEMA,
        "scenario": scenario.name,
        "turbine": scenario.reference.design.name,
        "seed": scenario.seed,
        "configuration_hash": scenario.configuration_hash,
        "code_version": code_version(),
        "versions": json.dumps(versions()),
        "requirement": f"{scenario.requirement.rule}, share {scenario.requirement.share:g}",
        "set": json.dumps([list(pair) for pair in scenario.asked]),
        "comment": CAUTION,
    }
