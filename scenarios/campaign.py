"""How are many cases run so that nothing is computed twice, nothing is lost, and nothing depends on the way?

Cases that the store holds are not run again. The rest is cut into batches of lanes and handed to worker
processes, which write each finished batch to the store.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from scenarios.batches import cut
from scenarios.case import Case
from scenarios.foreman import Foreman, Hire, Limits, Progress, Tally
from scenarios.store import CaseResult, Store
from scenarios.workers import Engine, Orders, Pool

__all__ = ["Campaign", "Engine", "Limits", "Progress", "Tally", "run_cases"]


@dataclass(frozen=True)
class Campaign:
    """What became of every case: ``results`` by key, and ``tally`` with the failed ones."""

    results: dict[str, CaseResult]
    tally: Tally


def run_cases(
    cases: Iterable[Case],
    store: Store,
    jobs: int | str | None = None,
    progress: Progress | None = None,
    engine: Engine | None = None,
    limits: Limits | None = None,
) -> Campaign:
    """Return the results of all cases, computing what the store does not hold.

    Parameters
    ----------
    cases : equal cases are run once
    store : where results are looked for and written
    jobs : worker processes; as many as processors when None; 0 runs in this process, for debugging;
        the address of a scheduler hands the batches to its workers
    progress : called with the tally after every batch, and while one is waited for
    engine : what runs a list of cases; that of `scenarios.simulate` when None
    limits : of size and patience

    Raises
    ------
    InputError
        A worker found the user's input wrong, or no scheduler answers.
    RunError
        The store could not be written, or the cluster is gone; what was finished before is in the store.
    KeyboardInterrupt
        Passed on after the workers are ended; the store is sound.
    """
    wanted = {case.key: case for case in cases}
    results = store.load(wanted)
    tally = Tally(total=len(wanted), from_store=len(results))
    if progress:
        progress(tally)
    for _ in range(_ROUNDS):
        missing = [case for key, case in wanted.items() if key not in results and key not in tally.failed]
        if not missing:
            break
        _run(missing, store, _jobs(jobs), tally, progress or _silent, engine, limits or Limits())
        results |= store.load(case.key for case in missing)
    for key in wanted:
        if key not in results:
            tally.failed.setdefault(key, "its result is not in the store although it was computed")
    return Campaign(results, tally)


_ROUNDS = 2
"""Another campaign may take results out of the store that this one has just put there."""


def _jobs(jobs: int | str | None) -> int | str:
    if jobs is None:
        return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return jobs


def _silent(tally: Tally) -> None:
    """Show nothing."""


def _run(
    missing: Sequence[Case],
    store: Store,
    jobs: int | str,
    tally: Tally,
    progress: Progress,
    engine: Engine | None,
    limits: Limits,
) -> None:
    with tempfile.TemporaryDirectory(prefix="wideberth-") as marks:
        orders = Orders(engine, store.root.resolve(), store.version, Path(marks))
        hire, size = _hire(jobs)
        batches = cut(missing, limits.lanes, limits.wind_bytes, size)
        foreman = Foreman(orders, store, hire, tally, progress, limits)
        if jobs == 0:
            foreman.run_here(batches)
        else:
            foreman.run(batches)


def _hire(jobs: int | str) -> tuple[Hire, int]:
    """Return how a crew is hired, and of how many."""
    if isinstance(jobs, int):
        return partial(Pool, jobs), jobs
    from scenarios.cluster import Cluster

    cluster = Cluster(jobs)
    return cluster.take, cluster.size
