"""What did the logic foresee at each action, and what would have come of the pass without it?"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, canonical
from scenarios.heartbeat import beat
from scenarios.simulate import make_flock, make_world
from scenarios.store import CaseResult
from sim.flock import Flock
from sim.interface import Commands, Readings
from sim.march import march

Array = NDArray[Any]

FORESEEN = "foreseen"
"""What a layer's state calls the clearance that it foresees without itself: (lane, blade) [m]."""


@dataclass(frozen=True)
class CalibrationCase(Case):
    """A case whose layers' forecasts are noted."""

    @cached_property
    def key(self) -> str:
        """The sha256 of the canonical description, apart from that of the same case in a study."""
        return hashlib.sha256(("calibration" + canonical(self)).encode()).hexdigest()


def calibration_case(case: Case, duration: float) -> CalibrationCase:
    """Return a case for the calibration, judged for this long [s]."""
    run = replace(case.run, duration=min(duration, case.run.duration))
    return replace(CalibrationCase(**{f.name: getattr(case, f.name) for f in fields(Case)}), run=run)


def simulate(cases: list[Case]) -> Sequence[CaseResult]:
    """March compatible cases of one stack, with forks; return for each what was foreseen and what came.

    Notes
    -----
    Arrays, one row for each action of which a fork tells: ``foreseen_m`` when the action began,
    ``without_m`` the clearance in the fork, ``weight`` one over the chance of the fork's draw.
    """
    results: dict[str, CaseResult] = {}
    world, design_of, wind_of = make_world(cases)
    for stack_key in dict.fromkeys(case.stack_key for case in cases):
        mine = [case for case in cases if case.stack_key == stack_key]
        flock = make_flock(mine, world, design_of, wind_of)
        run, noted = mine[0].run, _Notes()
        record = march(flock, run.settle, run.duration, observe=noted)
        for lane, case in enumerate(mine):
            own = record.passes["lane"] == lane
            passes = {name: column[own] for name, column in record.passes.items()}
            results[case.key] = matched(passes, noted.of(lane), run.period, run.settle)
    return [results[case.key] for case in cases]


class _Notes:
    """Notes, at the first tick of each action, which blade it is of and what clearance was foreseen."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, int, int, float]] = []  #: lane, blade, tick, clearance [m]

    def __call__(self, flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
        beat()
        acting = flock.acting(commands, reference)
        fresh = acting & (flock.lanes.first_act[:, : acting.shape[1]] < 0)
        if not fresh.any():
            return
        told = [state[FORESEEN] for state in flock.states if isinstance(state, dict) and FORESEEN in state]
        if not told:
            return
        lanes, blades = np.nonzero(fresh)
        for lane, blade in zip(lanes.tolist(), blades.tolist(), strict=True):
            self.rows.append((lane, blade, int(flock.lanes.tick[lane]), float(told[-1][lane, blade])))

    def of(self, lane: int) -> list[tuple[int, int, float]]:
        """Return blade, tick and clearance of one lane's actions."""
        return [row[1:] for row in self.rows if row[0] == lane]


def matched(
    passes: dict[str, Array], noted: Sequence[tuple[int, int, float]], period: float, settle: float
) -> CaseResult:
    """Match what was foreseen with the next pass of the same blade, where that was acted on and forked.

    Actions before the judged time are left out, and of several before one pass all but the first.
    """
    rows: dict[int, tuple[float, float, float]] = {}
    judged = [(blade, tick * period - settle, foreseen) for blade, tick, foreseen in noted]
    judged = [row for row in judged if row[1] >= 0.0]
    for blade, time, foreseen in judged:
        places = np.flatnonzero((passes["blade"] == blade) & (passes["time_s"] > time))
        if places.size == 0 or int(places[0]) in rows:
            continue
        first = int(places[0])
        without, weight = (float(passes[name][first]) for name in ("clearance_without_m", "weight"))
        if passes["acted"][first] and weight > 0.0 and np.isfinite(without):
            rows[first] = (foreseen, without, weight)
    table = np.array(list(rows.values())).reshape(-1, 3)
    return {
        "foreseen_m": table[:, 0],
        "without_m": table[:, 1],
        "weight": table[:, 2],
        "actions": np.asarray(len(judged)),
    }
