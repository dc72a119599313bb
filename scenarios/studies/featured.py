"""Which passes are worth a look: the governing one of each entry, and its twin without the logic?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenarios.case import Case
from scenarios.store import Store
from scenarios.studies.assess import Assessment
from scenarios.studies.watched import Trace, Window, watch_windows


@dataclass(frozen=True)
class Featured:
    """One pass of one entry, and the ticks around it.

    ``time_s`` [s] is of the judged time, ``clearance`` [m] and ``azimuth`` [rad] those of the least distance.
    """

    entry: Assessment
    case: Case
    blade: int
    time_s: float
    azimuth: float
    clearance: float
    trace: Trace


@dataclass(frozen=True)
class Features:
    """What the page shows closely.

    Parameters
    ----------
    governing : sequence of Featured
        The smallest pass of the governing case of each entry that has one.
    worst : Featured, None where the candidate has no pass
        That of the candidate.
    twin : Featured, None where no entry has the candidate's turbine without its tower-pass logic
        The same blade's pass in the same wind.
    """

    governing: Sequence[Featured]
    worst: Featured | None
    twin: Featured | None


def find_features(entries: Sequence[Assessment], store: Store) -> Features:
    """Choose the passes and march around them again where the store does not hold that."""
    rows = {entry.name: row for entry in entries if (row := _governing_row(entry)) is not None}
    asked = {name: _window(entry, rows[name]) for name, entry in _named(entries, rows).items()}
    candidate, plain = entries[-1], plain_twin(entries)
    beside = None
    if plain is not None and candidate.name in rows:
        case = plain.gathered.cases[int(candidate.gathered.passes["case"][rows[candidate.name]])]
        beside = Window(case, asked[candidate.name].time_s)
    traces = watch_windows([*asked.values(), *([beside] if beside else [])], store)
    governing = [
        _featured(entry, rows[name], traces[asked[name].key]) for name, entry in _named(entries, rows).items()
    ]
    worst = next((item for item in governing if item.entry is candidate), None)
    twin = None
    if plain is not None and beside is not None and worst is not None:
        row = _nearest_row(plain, worst)
        twin = None if row is None else _featured(plain, row, traces[beside.key])
    return Features(governing, worst, twin)


def plain_twin(entries: Sequence[Assessment]) -> Assessment | None:
    """Return the entry with the candidate's turbine and the candidate's stack less its tower-pass layers."""
    candidate = entries[-1].gathered.entry
    layers = [layer for layer in candidate.stack if not layer.load().tower_pass]
    for other in entries[:-1]:
        entry = other.gathered.entry
        if entry.turbine.content == candidate.turbine.content and list(entry.stack) == layers:
            return other
    return None


def _named(entries: Sequence[Assessment], rows: dict[str, int]) -> dict[str, Assessment]:
    return {entry.name: entry for entry in entries if entry.name in rows}


def _governing_row(entry: Assessment) -> int | None:
    """Return the row of the smallest pass in the governing bin."""
    labels, governing, passes = entry.gathered.labels, entry.verdict.governing, entry.gathered.passes
    inside = (labels.condition == governing.condition) & (labels.speed == governing.speed)
    if passes["case"].size == 0:
        return None
    clearance = np.where(inside[passes["case"]], passes["clearance_m"], np.inf)
    row = int(np.argmin(clearance))
    return row if np.isfinite(clearance[row]) else None


def _nearest_row(entry: Assessment, worst: Featured) -> int | None:
    """Return the row of the pass of the same blade in the same wind that is nearest in time."""
    case = worst.entry.gathered.cases.index(worst.case)
    passes = entry.gathered.passes
    gap = np.abs(passes["time_s"] - worst.time_s)
    gap = np.where((passes["case"] == case) & (passes["blade"] == worst.blade), gap, np.inf)
    row = int(np.argmin(gap)) if gap.size else 0
    turn = 2.0 * np.pi / worst.entry.gathered.entry.design.machine.rated_rotor_speed
    return row if gap.size and gap[row] < 0.5 * turn else None


def _window(entry: Assessment, row: int) -> Window:
    passes = entry.gathered.passes
    return Window(entry.gathered.cases[int(passes["case"][row])], float(passes["time_s"][row]))


def _featured(entry: Assessment, row: int, trace: Trace) -> Featured:
    passes = entry.gathered.passes
    return Featured(
        entry=entry,
        case=entry.gathered.cases[int(passes["case"][row])],
        blade=int(passes["blade"][row]),
        time_s=float(passes["time_s"][row]),
        azimuth=float(passes["azimuth_rad"][row]),
        clearance=float(passes["clearance_m"][row]),
        trace=trace,
    )
