"""What comes of a case in which something breaks: what was left, and when was it noticed?"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, canonical
from scenarios.heartbeat import beat
from scenarios.simulate import lane_result, make_flock, make_world
from scenarios.store import CaseResult
from sim.flock import Flock
from sim.interface import Commands, Readings
from sim.march import march

Array = NDArray[Any]

MODE = "mode"
"""What a layer's state calls what it has fallen back to: (lane,) int, 0 where it trusts those below."""


_UNUSED = ("turning.", "cycles.")


@dataclass(frozen=True)
class BenchCase(Case):
    """A case of the bench: marched without forks, its layers' modes watched."""

    @cached_property
    def key(self) -> str:
        """The sha256 of the canonical description, apart from that of the same case in a study."""
        return hashlib.sha256(("bench" + canonical(self)).encode()).hexdigest()


def bench_case(case: Case) -> BenchCase:
    """Return a case for the bench."""
    return BenchCase(**{f.name: getattr(case, f.name) for f in fields(Case)})


def simulate(cases: list[Case]) -> Sequence[CaseResult]:
    """March compatible cases together; beside what a study keeps, tell when and to what a layer fell back."""
    results: dict[str, CaseResult] = {}
    world, design_of, wind_of = make_world(cases)
    for stack_key in dict.fromkeys(case.stack_key for case in cases):
        mine = [case for case in cases if case.stack_key == stack_key]
        flock = make_flock(mine, world, design_of, wind_of)
        run, watch = mine[0].run, _Watch(len(mine))
        record = march(flock, run.settle, run.duration, forks=False, observe=watch)
        for lane, case in enumerate(mine):
            kept = lane_result(record, lane)
            kept = {name: value for name, value in kept.items() if not name.startswith(_UNUSED)}
            noticed = watch.first[lane] * run.period - run.settle
            results[case.key] = kept | {
                "bench.noticed_s": np.asarray(noticed),
                "bench.mode": np.asarray(watch.highest[lane]),
                "bench.acted_share": np.asarray(watch.acted[lane] / max(watch.ticks, 1)),
            }
    return [results[case.key] for case in cases]


class _Watch:
    """Notes the first tick, and the highest mode, at which a layer of each lane no longer trusts."""

    def __init__(self, lanes: int) -> None:
        self.first = np.full(lanes, np.nan)
        self.highest = np.full(lanes, -1, np.int64)
        self.acted = np.zeros(lanes)
        self.ticks = 0

    def __call__(self, flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
        beat()
        self.ticks += 1
        self.acted += np.mean(flock.acting(commands, reference), axis=1)
        for state in flock.states:
            mode = state.get(MODE) if isinstance(state, dict) else None
            if mode is None:
                continue
            fresh = (mode > 0) & np.isnan(self.first)
            self.first = np.where(fresh, flock.lanes.tick, self.first)
            self.highest = np.maximum(self.highest, mode)
