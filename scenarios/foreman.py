"""Which batch runs next, and what becomes of one that did not come back whole?

A batch that kills its worker, stands still or raises is cut down until the guilty cases stand alone.
"""

from __future__ import annotations

import logging
import statistics
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace

from scenarios.answer import counted
from scenarios.batches import split
from scenarios.case import Case
from scenarios.store import Store, StoreError
from scenarios.workers import Crew, Done, Orders, Task, WorkerDiedError, keep, work
from sim.errors import InputError, RunError

log = logging.getLogger("wideberth")

_POLL_S = 0.1
_STRIKES = 3
_ALIKE = 3


@dataclass
class Tally:
    """How far a campaign has come."""

    total: int = 0
    from_store: int = 0
    computed: int = 0
    simulated_s: float = 0.0
    failed: dict[str, str] = field(default_factory=dict)  #: key -> why, in one sentence

    def counts(self) -> dict[str, int]:
        """Return the four numbers that every result echoes."""
        return {
            "total": self.total,
            "computed": self.computed,
            "from_store": self.from_store,
            "failed": len(self.failed),
        }


Progress = Callable[[Tally], None]


@dataclass(frozen=True)
class Limits:
    """How large a batch may be, and how long one may stand still."""

    lanes: int = 360
    wind_bytes: int = 11 * 2**26  #: with the factors that are kept (200 MB, of the tensor 70 MB) below 1 GiB
    stall_first_s: float = 600.0  #: before any batch has finished, for a batch that gives no sign of life
    stall_least_s: float = 60.0  #: the shortest limit once batches have finished
    stall_beating_s: float = 60.0  #: for a batch that has given signs of life
    stall_again_s: float = 10.0  #: the same for a stack that stood still before
    stall_factor: float = 20.0  #: times the median batch's rate


Hire = Callable[[Orders], Crew]


class Foreman:
    """Hands out batches, and decides what to do with each that did not come back whole."""

    def __init__(
        self, orders: Orders, store: Store, hire: Hire, tally: Tally, progress: Progress, limits: Limits
    ) -> None:
        self.orders, self.store, self.hire = orders, store, hire
        self.tally, self.progress, self.limits = tally, progress, limits
        self.waiting: deque[Task] = deque()
        self.alone: deque[Task] = deque()
        self.in_hand: dict[Future[Done], Task] = {}
        self.rates: list[float] = []
        self.deaths: dict[str, int] = {}
        self.suspects: set[str] = set()
        self.count = 0

    def run_here(self, batches: list[list[Case]]) -> None:
        """Run in this process, so that a debugger reaches everything; nothing is isolated."""
        for batch in batches:
            task = self._task(batch)
            work(self.orders, task)
            self._finished(task)

    def run(self, batches: list[list[Case]]) -> None:
        """Run all batches in worker processes."""
        self.waiting.extend(self._task(batch) for batch in batches)
        self.crew = self.hire(self.orders)
        try:
            self.crew.warm()
            while self.waiting or self.alone or self.in_hand:
                self._hand_out()
                done, _ = wait(self.in_hand, timeout=_POLL_S, return_when=FIRST_COMPLETED)
                self._collect(done)
                self._watch()
                if not done:
                    self.progress(self.tally)  # a batch may take minutes: the clock shows that it goes on
        finally:
            self.crew.kill()

    def _task(self, cases: Sequence[Case], strikes: int = 0, is_alone: bool = False) -> Task:
        self.count += 1
        return Task(self.count, tuple(cases), strikes, is_alone)

    def _hand_out(self) -> None:
        while self.waiting and len(self.in_hand) < 2 * self.crew.size:
            self._submit(self.waiting.popleft())
        if not self.in_hand and self.alone:
            self._submit(self.alone.popleft())

    def _submit(self, task: Task) -> None:
        try:
            self.in_hand[self.crew.submit(task)] = task
        except BrokenProcessPool:
            self._requeue(task)
            self._replace_crew()

    def _collect(self, done: Iterable[Future[Done]]) -> None:
        is_broken = False
        for future in done:
            error = self.crew.error_of(future)
            if isinstance(error, BrokenProcessPool):
                is_broken = True
                continue
            task = self.in_hand.pop(future)
            if error is None:
                self._take(task, future.result())
            elif isinstance(error, (InputError, RunError)):
                raise error
            elif isinstance(error, StoreError):
                raise RunError(str(error)) from error
            elif isinstance(error, WorkerDiedError):
                self._cut_down(task, str(error), is_fatal=True)
            else:
                self._cut_down(task, f"{type(error).__name__}: {error}", is_fatal=False)
        if is_broken:
            self._bury()

    def _take(self, task: Task, done: Done) -> None:
        if done.results is not None:
            try:
                keep(task, done.results, self.store)
            except StoreError as error:
                raise RunError(str(error)) from error
        self.rates.append(done.seconds / task.lane_seconds)
        self._finished(task)

    def _bury(self) -> None:
        """A worker died: strike the batches that were in hand, hand the others out again."""
        begun = self.crew.begun()
        for task in self.in_hand.values():
            if task.number not in begun:
                self._requeue(task)
            elif task.is_alone or task.strikes + 1 >= _STRIKES:
                self._cut_down(task, "its worker process died", is_fatal=True)
            else:
                self._requeue(replace(task, strikes=task.strikes + 1))
        self._replace_crew()

    def _watch(self) -> None:
        """End what stands still: that batch is cut down; where the others went with it, they start again."""
        if not self.in_hand:
            return
        begun = self.crew.begun()
        stalled = {
            task.number: begun[task.number][0]
            for task in self.in_hand.values()
            if task.number in begun and begun[task.number][0] > self._patience(task, begun[task.number][1])
        }
        if not stalled:
            return
        others_live = self.crew.end(stalled)
        for future, task in list(self.in_hand.items()):
            if task.number in stalled:
                del self.in_hand[future]
                self._suspect(task, stalled[task.number])
                self._cut_down(task, f"it stood still for {stalled[task.number]:.0f} s", is_fatal=True)
            elif not others_live:
                self._requeue(task)
        if not others_live:
            self._replace_crew()

    def _suspect(self, task: Task, still_s: float) -> None:
        """Say that a batch stands still; its stacks are waited for less from now on."""
        names = {" + ".join(layer.name for layer in case.stack) for case in task.cases}
        self.suspects |= task.stacks
        many = len(task.cases) > 1
        told = f"{counted(len(task.cases), 'case')} ({{}}) {'have' if many else 'has'}"
        ending = "ended, and cut down to find the guilty ones" if many else "ended and counted as failed"
        log.warning("%s stood still for %.0f s: %s", told.format(", ".join(sorted(names))), still_s, ending)

    def _patience(self, task: Task, has_beaten: bool) -> float:
        if has_beaten:
            is_suspect = not self.suspects.isdisjoint(task.stacks)
            again_s = self.limits.stall_again_s if is_suspect else self.limits.stall_beating_s
            return min(again_s, self.limits.stall_beating_s)
        if not self.rates:
            return self.limits.stall_first_s
        expected = statistics.median(self.rates) * task.lane_seconds
        return max(self.limits.stall_least_s, self.limits.stall_factor * expected)

    def _replace_crew(self) -> None:
        self.in_hand.clear()
        self.crew.kill()
        self.crew = self.hire(self.orders)

    def _requeue(self, task: Task) -> None:
        """Put a batch back, without what it had already written before its worker ended."""
        held = self.store.keys()
        left = [case for case in task.cases if case.key not in held]
        kept = [case for case in task.cases if case.key in held]
        self._count(kept)
        if left:
            queue = self.alone if task.is_alone else self.waiting
            queue.appendleft(self._task(left, task.strikes, task.is_alone))

    def _cut_down(self, task: Task, why: str, is_fatal: bool) -> None:
        """Cut a guilty batch in parts, or record its only case as failed.

        ``is_fatal`` batches took a process with them: their parts run alone. After three such cases of one
        stack the rest of that stack is given up, or a logic that always hangs would cost hours.
        """
        if len(task.cases) == 1:
            self._fail(task.cases[0], why)
            if is_fatal:
                self._give_up_on(task.cases[0], why)
            return
        queue = self.alone if is_fatal or task.is_alone else self.waiting
        parts = [self._task(part, is_alone=is_fatal or task.is_alone) for part in split(task.cases)]
        queue.extendleft(reversed(parts))

    def _give_up_on(self, guilty: Case, why: str) -> None:
        stack = guilty.stack_key
        self.deaths[stack] = self.deaths.get(stack, 0) + 1
        if self.deaths[stack] < _ALIKE:
            return
        for queue in (self.waiting, self.alone):
            tasks = list(queue)
            queue.clear()
            for task in tasks:
                spared = [case for case in task.cases if case.stack_key != stack]
                for case in task.cases:
                    if case.stack_key == stack:
                        self._fail(case, f"not run: {_ALIKE} cases of the same stack failed alike ({why})")
                if spared:
                    queue.append(self._task(spared, task.strikes, task.is_alone))

    def _fail(self, case: Case, why: str) -> None:
        self.tally.failed[case.key] = why
        self.progress(self.tally)

    def _finished(self, task: Task) -> None:
        self._count(task.cases)
        self.progress(self.tally)

    def _count(self, cases: Iterable[Case]) -> None:
        for case in cases:
            self.tally.computed += 1
            self.tally.simulated_s += case.simulated_s
