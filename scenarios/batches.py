"""Which cases march together?

A result does not depend on the answer; only time and memory do. Lanes that meet the same wind share its
turbulence, and lanes of one stack share the calls of its logic.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from scenarios.case import Case, canonical
from sim.wind.grid import BoxGrid

MAKING = 2
"""Fields' worth of working space that the making of one field needs."""


def cut(cases: Iterable[Case], lanes: int, wind_bytes: int, jobs: int) -> list[list[Case]]:
    """Return batches of compatible cases, the costliest first.

    Parameters
    ----------
    cases : to be run, each once
    lanes : most lanes in a batch
    wind_bytes : most memory that a batch's turbulence may take, the making of its fields included [bytes]
    jobs : workers; a group is cut into a multiple of this many batches where it is large enough

    Notes
    -----
    Compatible are cases of one period, one settling and judged time, one number of blades, one set of
    sensors and one place of the disc (or a wind's grid would depend on the neighbours). A batch is of one
    stack, since a call of its logic costs about the same for fifty lanes as for one, and more than the winds
    that several stacks could share; within it all lanes of one wind stay side by side.
    """
    ordered = sorted(cases, key=lambda case: (*_march(case), case.stack_key, case.wind_key, case.key))
    batches: list[list[Case]] = []
    for _, group in groupby(ordered, key=_march):
        stacks = [list(members) for _, members in groupby(group, key=lambda case: case.stack_key)]
        for members, parts in zip(stacks, _parts([len(one) for one in stacks], lanes, jobs), strict=True):
            batches += _fill(members, math.ceil(len(members) / parts), wind_bytes)
    return sorted(batches, key=lambda batch: -sum(case.simulated_s for case in batch))


def split(cases: Sequence[Case]) -> list[list[Case]]:
    """Return a guilty batch in parts: by stack where there are several, else in halves."""
    stacks = sorted({case.stack_key for case in cases})
    if len(stacks) > 1:
        return [[case for case in cases if case.stack_key == stack] for stack in stacks]
    middle = (len(cases) + 1) // 2
    return [part for part in (list(cases[:middle]), list(cases[middle:])) if part]


def wind_bytes_of(case: Case) -> int:
    """Return the memory of a case's turbulence [bytes]: a whole period of three components."""
    return 0 if case.is_event else BoxGrid(1.0, 1.0, case.simulated_s).nbytes


def _march(case: Case) -> tuple[Any, ...]:
    run = case.run
    return (
        run.period,
        run.settle,
        run.duration,
        case.blade_count,
        case.turbine.disc,
        canonical(case.sensors),
    )


def _parts(counts: Sequence[int], lanes: int, jobs: int) -> list[int]:
    """Return into how many equal batches the cases of each stack are cut, none above ``lanes``.

    Notes
    -----
    Where there is enough to do, the batches in all are a multiple of ``jobs``, so that no worker waits for
    another's last: the stack with the largest batches is cut once more until they are.
    """
    parts = [math.ceil(count / lanes) for count in counts]
    while sum(counts) >= 8 * jobs and sum(parts) % max(jobs, 1):
        largest = max(range(len(counts)), key=lambda n: counts[n] / parts[n])
        parts[largest] += 1
    return parts


def _fill(cases: Sequence[Case], lanes: int, wind_bytes: int) -> list[list[Case]]:
    batches: list[list[Case]] = []
    winds: set[str] = set()
    used = 0
    for case in cases:
        extra = 0 if case.wind_key in winds else wind_bytes_of(case)
        is_full = used > 0 and used + (1 + MAKING) * extra > wind_bytes
        if not batches or len(batches[-1]) >= lanes or is_full:
            batches.append([])
            winds, used, extra = set(), 0, wind_bytes_of(case)
        batches[-1].append(case)
        winds.add(case.wind_key)
        used += extra
    return batches
