"""Which cases march together?

A result does not depend on the answer; only time and memory do. Lanes that meet the same wind share its
turbulence, and lanes of one stack share the calls of its logic.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, pairwise
from typing import Any

from scenarios.case import Case, canonical
from sim.wind.grid import BoxGrid

MAKING = 2
"""Fields' worth of working space that the making of one field needs."""
CALLS = 11
"""Lanes' worth of time that the calls of a stack's logic take, however many lanes it has (measured)."""

Stack = list[Case]
"""Compatible cases of one stack, those of one wind side by side."""


def cut(cases: Iterable[Case], lanes: int, wind_bytes: int, jobs: int) -> list[list[Case]]:
    """Return batches of compatible cases, the costliest first.

    Parameters
    ----------
    cases : to be run, each once
    lanes : most lanes in a batch
    wind_bytes : most memory that a batch's turbulence may take, the making of its fields included [bytes];
        a case that needs more has a batch of its own
    jobs : workers, each of which takes the next batch when it has finished one

    Notes
    -----
    Compatible are cases of one period, one settling and judged time, one number of blades, one set of
    sensors and one place of the disc (or a wind's grid would depend on the neighbours). A batch is of one
    stack, since a call of its logic costs about the same for fifty lanes as for one, and more than the winds
    that several stacks could share; within it all lanes of one wind stay side by side. A stack is cut evenly,
    or its last batch would hold one worker for a few lanes while the others have nothing left to do.
    """
    stacks = list(_stacks(cases))
    parts = _parts(stacks, lanes, wind_bytes, max(jobs, 1))
    batches = [batch for one, count in zip(stacks, parts, strict=True) for batch in _even(one, count)]
    return sorted(batches, key=lambda batch: -_cost(batch, 1))


def split(cases: Sequence[Case]) -> list[list[Case]]:
    """Return a guilty batch in parts: by stack where there are several, else in halves."""
    stacks = sorted({case.stack_key for case in cases})
    if len(stacks) > 1:
        return [[case for case in cases if case.stack_key == stack] for stack in stacks]
    return [part for part in _even(cases, 2) if part]


def wind_bytes_of(case: Case) -> int:
    """Return the memory of a case's turbulence [bytes]: a whole period of three components."""
    return 0 if case.is_event else BoxGrid(1.0, 1.0, case.simulated_s).nbytes


def _stacks(cases: Iterable[Case]) -> Iterator[Stack]:
    known = [((_march(case), case.stack_key), case.wind_key, case.key, case) for case in cases]
    known.sort(key=lambda row: row[:3])
    for _, members in groupby(known, key=lambda row: row[0]):
        yield [row[-1] for row in members]


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


def _parts(stacks: Sequence[Stack], lanes: int, wind_bytes: int, jobs: int) -> list[int]:
    """Return into how many batches each stack is cut.

    Notes
    -----
    As few as the limits allow, and then more where that pays: the stack with the costliest batches is cut
    once more, and again, as long as the price falls. One cut alone may bring nothing (two like stacks on four
    workers), so as many as there are stacks or workers are tried before that is believed.
    """
    parts = [_allowed(one, math.ceil(len(one) / lanes), wind_bytes) for one in stacks]
    best, price, tried = parts, _price(stacks, parts, jobs), 0
    while stacks and tried < max(len(stacks), jobs):
        n = max(range(len(stacks)), key=lambda n: _cost(stacks[n], parts[n]))
        if parts[n] >= len(stacks[n]):
            break
        more = _allowed(stacks[n], parts[n] + 1, wind_bytes)
        parts, tried = [*parts[:n], more, *parts[n + 1 :]], tried + 1
        if (found := _price(stacks, parts, jobs)) < price:
            best, price, tried = parts, found, 0
    return best


def _allowed(cases: Stack, parts: int, wind_bytes: int) -> int:
    """Return the least number of batches from ``parts`` up whose turbulence fits the memory."""
    field = next((wind_bytes_of(case) for case in cases if not case.is_event), 0)
    if not field:
        return parts
    most = max(wind_bytes // field - MAKING, 1)
    parts = max(parts, math.ceil(_winds(cases) / most))
    while any(_winds(batch) > most for batch in _even(cases, parts)):
        parts += 1
    return parts


def _winds(cases: Sequence[Case]) -> int:
    """Return how many fields of turbulence there are."""
    return len({case.wind_key for case in cases if not case.is_event})


def _even(cases: Sequence[Case], parts: int) -> list[list[Case]]:
    """Return the cases in so many runs, whose lengths differ by one at most."""
    edges = [math.ceil(len(cases) * n / parts) for n in range(parts + 1)]
    return [list(cases[first:last]) for first, last in pairwise(edges)]


def _price(stacks: Sequence[Stack], parts: Sequence[int], jobs: int) -> float:
    """Return what batches cost: the time to the end, and with equal weight each worker's time at work.

    The second keeps a cut from taking twice the processors' time to end a little earlier.
    """
    costs = [_cost(one, count) for one, count in zip(stacks, parts, strict=True) for _ in range(count)]
    busy = [0.0] * jobs
    for cost in sorted(costs, reverse=True):
        heapq.heapreplace(busy, busy[0] + cost)
    return max(busy) + sum(busy) / jobs


def _cost(cases: Sequence[Case], parts: int) -> float:
    """Return what each of so many batches of compatible cases takes, as simulated time of lanes [s]."""
    return (len(cases) / parts + CALLS) * cases[0].simulated_s
