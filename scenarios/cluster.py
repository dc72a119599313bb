"""How do batches run on a cluster, whose scheduler and workers are not ours to start?

Workers hand their results to the parent, which writes them, so that no folder needs to be shared. They tell
of the batch in hand through the scheduler. A worker of another code version is refused: its last bits may
differ.
"""

from __future__ import annotations

import asyncio
import logging
import threading
import time
import uuid
from collections.abc import Iterable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from typing import Any

from scenarios.heartbeat import marked
from scenarios.provenance import code_version
from scenarios.workers import Done, Engine, Orders, Task, WorkerDiedError, results_of, warm, warmers
from sim.errors import InputError, RunError, SimError

CONNECT_S = 4.0
"""For the scheduler to answer [s]; with the rest of a start it must be named within 10 s."""
CREW_S = 2.5
"""For the first worker to be there [s]."""
_LOOK_S = 5.0
_DESERTED_S = 30.0
_RESTART_S = 20.0
_ONE_AT_A_TIME = threading.Lock()

log = logging.getLogger("wideberth")


class AbandonedError(SimError):
    """Nobody waits for the batch any more."""


@dataclass(frozen=True)
class EventMark:
    """Tells of a batch through the scheduler; ends it where nobody waits for it."""

    topic: str
    number: int

    def begin(self) -> None:
        """Tell that the batch is in hand."""
        self._tell("begin")

    def beat(self) -> None:
        """Tell that it is alive.

        Raises
        ------
        AbandonedError
            The parent is gone, or has given the batch up.
        """
        from distributed import get_worker

        worker = get_worker()
        task = worker.state.tasks.get(worker.get_current_task())
        if task is None or task.state == "cancelled":
            raise AbandonedError("nobody waits for this batch any more")
        self._tell("beat")

    def end(self) -> None:
        """Tell that it is out of hand."""
        self._tell("end")

    def _tell(self, word: str) -> None:
        from distributed import get_worker

        worker = get_worker()
        worker.log_event(self.topic, [self.number, word, worker.address])


def compute(engine: Engine | None, code: str, mark: EventMark, task: Task) -> Done:
    """Simulate one batch on a worker of a cluster.

    Raises
    ------
    InputError
        The worker runs other code than the parent.
    ValueError
        The simulation returned another number of results than cases.
    """
    if code_version() != code:
        raise InputError(_other_code("a worker of the cluster", code_version(), code))
    with _ONE_AT_A_TIME:
        began = time.monotonic()
        with marked(mark):
            results = results_of(engine, task)
        return Done(time.monotonic() - began, results)


@dataclass(frozen=True)
class _Sign:
    """The last that was heard of a batch."""

    heard: float
    has_beaten: bool
    worker: str


class Cluster:
    """The workers of a scheduler as a crew (`scenarios.workers.Crew`).

    Parameters
    ----------
    address : of the scheduler, like tcp://127.0.0.1:8786

    Raises
    ------
    InputError
        The extra ``cluster`` is not installed, no scheduler answers, it has no worker, or a worker runs other
        code.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self._topic = f"wideberth-{uuid.uuid4().hex}"
        self._signs: dict[int, _Sign] = {}
        self._futures: dict[int, Future[Done]] = {}
        self._orders: Orders | None = None
        self._client = _connect(address)
        try:
            self._check()
        except BaseException:
            self.kill()
            raise
        self._looked = self._peopled = time.monotonic()
        self._client.subscribe_topic(self._topic, self._hear)
        self._executor = self._client.get_executor(pure=False)

    @property
    def size(self) -> int:
        """How many workers there were at the last look."""
        return self._size

    def take(self, orders: Orders) -> Cluster:
        """Take orders, and be the crew."""
        self._orders = orders
        return self

    def warm(self) -> None:
        """Compile in the workers, each part once; a second machine compiles with its first batch."""
        engine = self._told.engine
        parts = [self._executor.submit(warm, engine, part) for part in range(len(warmers(engine)))]
        for part in parts:
            part.result()

    def submit(self, task: Task) -> Future[Done]:
        """Hand over one batch."""
        mark = EventMark(self._topic, task.number)
        future = self._executor.submit(compute, self._told.engine, code_version(), mark, task)
        self._futures[task.number] = future
        return future

    def error_of(self, future: Future[Done]) -> BaseException | None:
        """Return why a batch came back without its results, None where it brought them."""
        from distributed.scheduler import KilledWorker

        if future.cancelled():
            return RunError(f"{self.address}: the scheduler is gone; what was finished is in the store")
        try:
            error = future.exception()
        except CancelledError:
            return RunError(f"{self.address}: the scheduler is gone; what was finished is in the store")
        return WorkerDiedError("its worker process died") if isinstance(error, KilledWorker) else error

    def begun(self) -> dict[int, tuple[float, bool]]:
        """Return, per batch in hand, how long nothing was heard of it [s], and whether it ever beat.

        Raises
        ------
        RunError
            The last worker has left.
        """
        now = time.monotonic()
        if now - self._looked > _LOOK_S:
            self._looked = now
            self._count()
            if self._size:
                self._peopled = now
            elif now - self._peopled > _DESERTED_S:
                raise RunError(f"{self.address}: no worker is left; what was finished is in the store")
        return {number: (now - sign.heard, sign.has_beaten) for number, sign in list(self._signs.items())}

    def end(self, numbers: Iterable[int]) -> bool:
        """End the workers that hold these batches; the others work on."""
        chosen = list(numbers)
        for number in chosen:
            self._futures.pop(number).cancel()
        workers = sorted({self._signs.pop(number).worker for number in chosen if number in self._signs})
        try:
            self._client.restart_workers(workers, timeout=_RESTART_S, raise_for_error=False)
        except Exception as error:
            log.warning("%s cannot be restarted (%s); retired", ", ".join(workers), error)
            self._client.retire_workers(workers, close_workers=True)
        return True

    def kill(self) -> None:
        """Give up every batch in hand; workers notice within their next second of marching."""
        for future in self._futures.values():
            future.cancel()
        self._client.close(timeout=1.0)

    @property
    def _told(self) -> Orders:
        if self._orders is None:
            raise RuntimeError("a crew needs orders first")
        return self._orders

    def _hear(self, event: tuple[float, Any]) -> None:
        number, word, worker = event[1]
        if word == "end":
            self._signs.pop(number, None)
            return
        self._signs[number] = _Sign(time.monotonic(), word == "beat", worker)

    def _count(self) -> None:
        self._size = len(self._client.nthreads())

    def _check(self) -> None:
        """Wait for a worker, and see that all run this code."""
        try:
            self._client.wait_for_workers(1, timeout=CREW_S)
        except TimeoutError as error:
            told = f"--cluster {self.address}: the scheduler answers but has no worker; start some beside it"
            raise InputError(told) from error
        self._count()
        mine = code_version()
        told = self._client.run(code_version, on_error="return")
        problems = [
            f"--cluster {self.address}: worker {worker} cannot run wideberth ({version})"
            if isinstance(version, BaseException)
            else _other_code(f"--cluster {self.address}: worker {worker}", version, mine)
            for worker, version in told.items()
            if version != mine
        ]
        if problems:
            raise InputError(problems)


def _other_code(who: str, version: str, mine: str) -> str:
    return (
        f"{who} runs other code or another environment ({version}, here {mine}), so its results may differ "
        "in their last digits; install the same wideberth, numpy, numba and scipy on like processors"
    )


def _connect(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        told = "--cluster needs the extra 'cluster': python -m pip install 'wideberth[cluster]'"
        raise InputError(told) from error
    if not log.isEnabledFor(logging.DEBUG):
        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what it has to say, we say in our words
    try:
        asyncio.run(_knock(address))
        return Client(address, timeout=CONNECT_S, set_as_default=False)
    except Exception as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        told = f"--cluster {address}: no scheduler answers there ({reason}); give that of one that runs"
        raise InputError(f"{told}, like tcp://127.0.0.1:8786") from error


async def _knock(address: str) -> None:
    """See whether a scheduler answers: a client that found none takes its time to be gone."""
    from distributed.comm.core import connect

    try:
        comm = await asyncio.wait_for(connect(address, timeout=CONNECT_S), CONNECT_S + 0.5)
    except TimeoutError as error:
        raise TimeoutError(str(error) or f"nothing was said within {CONNECT_S:g} s") from error
    comm.abort()
