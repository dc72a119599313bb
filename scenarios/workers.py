"""How do batches run in other processes, and how is a process that died or hangs told from one that works?

Each worker marks the batch it has begun (`scenarios.heartbeat`). So the parent
knows which batches were in hand when a process died, and which one has stood still.
"""

from __future__ import annotations

import ctypes
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from functools import cached_property
from importlib import import_module
from pathlib import Path
from typing import Protocol

from scenarios.answer import counted
from scenarios.case import Case
from scenarios.heartbeat import FileMark, marked
from scenarios.store import CaseResult, Store
from sim.errors import SimError

Simulate = Callable[[list[Case]], Sequence[CaseResult]]

ONE_THREAD = {
    name: "1"
    for name in (
        "OMP_NUM_THREADS",
        "OPENBLAS_NUM_THREADS",
        "MKL_NUM_THREADS",
        "VECLIB_MAXIMUM_THREADS",
        "NUMBA_NUM_THREADS",
    )
}
_ORPHAN_CHECK_S = 0.5
_PR_SET_PDEATHSIG = 1


@dataclass(frozen=True)
class Task:
    """A batch of cases on its way through a worker."""

    number: int
    cases: tuple[Case, ...]
    strikes: int = 0  #: how many dead workers it was in hand of
    is_alone: bool = False  #: it runs with no other batch beside it, so that a death is surely its own

    @property
    def lane_seconds(self) -> float:
        """What it simulates in all [s]."""
        return sum(case.simulated_s for case in self.cases)

    @cached_property
    def stacks(self) -> frozenset[str]:
        """The keys of its stacks of logic; they are long to write, and looked at again and again."""
        return frozenset(case.stack_key for case in self.cases)


@dataclass(frozen=True)
class Engine:
    """What runs cases: ``simulate`` turns a list of cases into as many results; ``warm`` compiles first.

    The functions of ``warm`` run side by side, one in a worker.
    """

    simulate: Simulate
    warm: Sequence[Callable[[], None]] = ()


@dataclass(frozen=True)
class Orders:
    """What a worker needs besides its batch; small, and the same for a whole campaign."""

    engine: Engine | None  #: that of `scenarios.simulate` when None
    store_root: Path
    store_version: str
    marks: Path


@dataclass(frozen=True)
class Done:
    """What a worker hands back of a batch."""

    seconds: float  #: that it took
    results: Mapping[str, CaseResult] | None = None  #: by key; None where the worker wrote them to the store


def work(orders: Orders, task: Task) -> Done:
    """Simulate one batch and write it to the store.

    Raises
    ------
    ValueError
        The simulation returned another number of results than cases.
    """
    began = time.monotonic()
    with marked(FileMark(orders.marks / str(task.number))):
        keep(task, results_of(orders.engine, task), Store(orders.store_root, orders.store_version))
    return Done(time.monotonic() - began)


def results_of(engine: Engine | None, task: Task) -> Mapping[str, CaseResult]:
    """Simulate one batch and return its results by key.

    Raises
    ------
    ValueError
        The simulation returned another number of results than cases.
    """
    results = (engine or _default_engine()).simulate(list(task.cases))
    if len(results) != len(task.cases):
        raise ValueError(f"{counted(len(task.cases), 'case')} gave {counted(len(results), 'result')}")
    return {case.key: result for case, result in zip(task.cases, results, strict=True)}


def keep(task: Task, results: Mapping[str, CaseResult], store: Store) -> None:
    """Write what a batch brought.

    Raises
    ------
    StoreError
        The store cannot be written.
    """
    store.write(results, {case.key: case.title for case in task.cases})


def _default_engine() -> Engine:
    return Engine(import_module("scenarios.simulate").simulate)


def warm(engine: Engine | None, part: int) -> None:
    """Compile one part of what a march needs, so that workers find it in the cache."""
    warmers(engine)[part]()


def warmers(engine: Engine | None) -> Sequence[Callable[[], None]]:
    """Return the functions that compile what an engine needs."""
    return engine.warm if engine else import_module("scenarios.warming").WARM


def _enlist(parent: int) -> None:
    """Prepare a worker: Ctrl-C is the parent's business, a worker whose parent is gone ends itself.

    What a user's layer prints goes to standard error, for standard output holds the answer alone.
    """
    sys.stdout = sys.stderr
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _die_with_parent()
    threading.Thread(target=_end_with_parent, args=(parent,), daemon=True).start()


def _die_with_parent() -> None:
    """Ask Linux for a death signal: logic that hangs in foreign code may keep our threads from running."""
    if sys.platform == "linux":
        ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)


def _end_with_parent(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_ORPHAN_CHECK_S)
    os._exit(1)


class WorkerDiedError(SimError):
    """The process that held a batch died, and nothing else did."""


class Crew(Protocol):
    """Those who run batches."""

    @property
    def size(self) -> int:
        """How many batches run side by side."""
        ...

    def warm(self) -> None:
        """Compile what a march needs before batches are timed."""

    def submit(self, task: Task) -> Future[Done]:
        """Hand over one batch."""
        ...

    def error_of(self, future: Future[Done]) -> BaseException | None:
        """Return why a batch came back without its results, None where it brought them."""
        ...

    def begun(self) -> dict[int, tuple[float, bool]]:
        """Return, per batch in hand, how long its mark has stood still [s], and whether it ever beat."""
        ...

    def end(self, numbers: Iterable[int]) -> bool:
        """End those who hold these batches, and say whether the others work on."""
        ...

    def kill(self) -> None:
        """End every batch in hand now, whatever it does."""


class Pool:
    """Worker processes on this machine, which can be killed at any moment.

    Parameters
    ----------
    jobs : number of worker processes
    orders : what every worker needs
    """

    def __init__(self, jobs: int, orders: Orders) -> None:
        from loky.process_executor import ProcessPoolExecutor

        self._orders, self.size = orders, jobs
        self._pool = ProcessPoolExecutor(
            max_workers=jobs, initializer=_enlist, initargs=(os.getpid(),), env=ONE_THREAD
        )

    def warm(self) -> None:
        """Compile in the workers, each part once; Ctrl-C stays possible here."""
        engine = self._orders.engine
        parts = [self._pool.submit(warm, engine, part) for part in range(len(warmers(engine)))]
        for part in parts:
            part.result()

    def submit(self, task: Task) -> Future[Done]:
        """Hand over one batch."""
        return self._pool.submit(work, self._orders, task)

    def error_of(self, future: Future[Done]) -> BaseException | None:
        """Return why a batch came back without its results, None where it brought them."""
        return future.exception()

    def end(self, numbers: Iterable[int]) -> bool:
        """Say that the others cannot work on: a pool is broken with one of its workers."""
        return False

    def begun(self) -> dict[int, tuple[float, bool]]:
        """Return, per batch in hand, how long its mark has stood still [s], and whether it ever beat."""
        now, found = time.time(), {}
        for path in self._orders.marks.iterdir():
            try:
                seen = path.stat()
            except FileNotFoundError:
                continue
            found[int(path.name)] = (now - seen.st_mtime, seen.st_size > 0)
        return found

    def kill(self) -> None:
        """End every worker now, whatever it does, and forget the batches in hand."""
        self._pool.shutdown(wait=True, kill_workers=True)
        for path in self._orders.marks.iterdir():
            path.unlink(missing_ok=True)
