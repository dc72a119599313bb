"""Which pass is worth a look, and what did every entry do in the same wind at the same time?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scenarios.case import Case
from scenarios.store import Store
from scenarios.studies.assess import Assessment
from scenarios.studies.watched import Trace, Window, watch_windows
from sim.measures.logic import classify

SOON_S = 120.0
"""Judged time within which a saved pass is preferred where it lies in turbulence [s]."""


@dataclass(frozen=True)
class Featured:
    """One pass of one entry, and the ticks around it.

    ``time_s`` [s] is of the judged time, ``clearance`` [m] and ``azimuth`` [rad] those of the least distance;
    ``clearance_without`` [m] what it would have been without the logic, nan where that is not known.
    """

    entry: Assessment
    case: Case
    blade: int
    time_s: float
    azimuth: float
    clearance: float
    clearance_without: float
    trace: Trace


@dataclass(frozen=True)
class Features:
    """What the page shows closely.

    Parameters
    ----------
    worst : Featured, None where the candidate has no pass
        The smallest pass in the candidate's governing case.
    beside : sequence of Featured
        The pass of the same blade in the same wind that is nearest in time, for every entry that has one; the
        candidate's own is the last.
    twin : Featured, None where no entry has the candidate's turbine without its tower-pass logic
        That entry's among ``beside``.
    saved : Features, None where the logic saved no pass but ``worst``, or none
        The same of a pass that the logic saved, beside the twin's alone.
    """

    worst: Featured | None
    beside: Sequence[Featured]
    twin: Featured | None
    saved: Features | None = None


def find_features(entries: Sequence[Assessment], store: Store) -> Features:
    """Choose the passes, and march around them again where the store does not hold that."""
    candidate, plain = entries[-1], plain_twin(entries)
    row, saved = _governing_row(candidate), saved_row(candidate)
    if row is None:
        return Features(None, (), None)
    pair = [entry for entry in entries if entry is candidate or entry is plain]
    seen = [_beside(candidate, row, entries)]
    if saved is not None and saved != row:
        seen.append(_beside(candidate, saved, pair))
    traces = watch_windows([window for rows in seen for _, _, window in rows], store)
    found = [_features(rows, plain, traces) for rows in seen]
    return replace(found[0], saved=found[1] if len(found) > 1 else None)


Beside = list[tuple[Assessment, int, Window]]
"""Entries in order, each with its row of passes and what must be watched for it."""


def _beside(candidate: Assessment, row: int, entries: Sequence[Assessment]) -> Beside:
    """Find the pass of each entry that belongs beside one of the candidate's."""
    passes = candidate.gathered.passes
    case, blade, time_s = int(passes["case"][row]), int(passes["blade"][row]), float(passes["time_s"][row])
    rows = [(entry, _nearest_row(entry, case, blade, time_s)) for entry in entries]
    return [
        (entry, found, Window(entry.gathered.cases[case], time_s))
        for entry, found in rows
        if found is not None
    ]


def _features(rows: Beside, plain: Assessment | None, traces: Mapping[str, Trace]) -> Features:
    beside = [_featured(entry, found, traces[window.key]) for entry, found, window in rows]
    twin = next((item for item in beside if item.entry is plain), None)
    return Features(beside[-1], beside, twin)


def saved_row(entry: Assessment) -> int | None:
    """Return the row of a pass that the logic saved, None where it saved none.

    Notes
    -----
    That with the least clearance without the logic, among those that are soon marched again: of the events,
    else of the first two minutes, else the earliest of all.
    """
    passes, cases = entry.gathered.passes, entry.gathered.cases
    saved = np.flatnonzero(classify(entry.gathered.judged_passes) == "saved")
    if saved.size == 0:
        return None
    is_event = np.array([cases[case].is_event for case in passes["case"][saved].tolist()])
    time_s = passes["time_s"][saved]
    near = next(some for some in (is_event, time_s < SOON_S, time_s == time_s.min()) if some.any())
    without = np.where(near, passes["clearance_without_m"][saved], np.inf)
    return int(saved[np.argmin(without)])


def plain_twin(entries: Sequence[Assessment]) -> Assessment | None:
    """Return the entry with the candidate's turbine and the candidate's stack less its tower-pass layers."""
    candidate = entries[-1].gathered.entry
    layers = [layer for layer in candidate.stack if not layer.load().tower_pass]
    for other in entries[:-1]:
        entry = other.gathered.entry
        if entry.turbine.content == candidate.turbine.content and list(entry.stack) == layers:
            return other
    return None


def _governing_row(entry: Assessment) -> int | None:
    """Return the row of the smallest pass in the governing bin."""
    labels, governing, passes = entry.gathered.labels, entry.verdict.governing, entry.gathered.passes
    inside = (labels.condition == governing.condition) & (labels.speed == governing.speed)
    if passes["case"].size == 0:
        return None
    clearance = np.where(inside[passes["case"]], passes["clearance_m"], np.inf)
    row = int(np.argmin(clearance))
    return row if np.isfinite(clearance[row]) else None


def _nearest_row(entry: Assessment, case: int, blade: int, time_s: float) -> int | None:
    """Return the row of the pass of one blade in one case that is nearest to a time, within half a turn."""
    passes = entry.gathered.passes
    mine = (passes["case"] == case) & (passes["blade"] == blade)
    if not mine.any():
        return None
    gap = np.where(mine, np.abs(passes["time_s"] - time_s), np.inf)
    row = int(np.argmin(gap))
    turn = 2.0 * np.pi / entry.gathered.entry.design.machine.minimum_rotor_speed
    return row if gap[row] < 0.5 * turn else None


def _featured(entry: Assessment, row: int, trace: Trace) -> Featured:
    passes = entry.gathered.passes
    return Featured(
        entry=entry,
        case=entry.gathered.cases[int(passes["case"][row])],
        blade=int(passes["blade"][row]),
        time_s=float(passes["time_s"][row]),
        azimuth=float(passes["azimuth_rad"][row]),
        clearance=float(passes["clearance_m"][row]),
        clearance_without=float(passes["clearance_without_m"][row]),
        trace=trace,
    )
