"""What did the logic foresee of every pass, and what relief did it promise, beside what came of the pass?"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.calibration_run import FORESEEN
from scenarios.case import Case, canonical
from scenarios.heartbeat import beat
from scenarios.simulate import lane_result, make_flock, make_world
from scenarios.store import CaseResult
from sim.flock import Flock
from sim.interface import Commands, Readings
from sim.kernels import layout as at
from sim.march import march

Array = NDArray[Any]

PROMISED = "promised"
"""What a layer's state calls the relief that it has set under way for the coming pass: (lane, blade) [m]."""
EARLY_DEG, LATE_DEG = 60.0, 25.0
"""Azimuth before the tower at which a forecast is noted: while much can be done, and when little can."""
NOTED = ("foreseen_early_m", "foreseen_late_m", "promised_m")
LEFT_OUT = ("turning.", "cycles.")
"""Parts of a result that no frontier asks for, and that would fill the store."""
APART_S = 0.5
"""Longest time between the tower's azimuth and the least clearance of one pass."""
FORMAT = "frontier 1"


@dataclass(frozen=True)
class FrontierCase(Case):
    """A case whose forecasts are noted at every pass."""

    @cached_property
    def key(self) -> str:
        """The sha256 of the canonical description, apart from that of the same case in a study."""
        return hashlib.sha256((FORMAT + canonical(self)).encode()).hexdigest()


def frontier_case(case: Case) -> FrontierCase:
    """Return a case whose forecasts will be noted."""
    return FrontierCase(**{f.name: getattr(case, f.name) for f in fields(Case)})


def simulate(cases: list[Case]) -> Sequence[CaseResult]:
    """March compatible cases, with forks; return passes and sums of each, and what was foreseen of each pass.

    Notes
    -----
    Beside the passes' own columns: ``foreseen_early_m`` and ``foreseen_late_m``, the clearance without the
    logic as it was foreseen ``EARLY_DEG`` and ``LATE_DEG`` before the tower, and ``promised_m``, the relief
    that the logic then reckoned with. Not a number where no layer keeps them.
    """
    results: dict[str, CaseResult] = {}
    world, design_of, wind_of = make_world(cases)
    beat()
    for stack_key in dict.fromkeys(case.stack_key for case in cases):
        mine = [case for case in cases if case.stack_key == stack_key]
        flock = make_flock(mine, world, design_of, wind_of)
        run, notes = mine[0].run, Notes()
        record = march(flock, run.settle, run.duration, observe=notes)
        for lane, case in enumerate(mine):
            whole = lane_result(record, lane)
            kept = {name: value for name, value in whole.items() if not name.startswith(LEFT_OUT)}
            told = matched(kept["passes.blade"], kept["passes.time_s"] + run.settle, notes.of(lane))
            results[case.key] = kept | dict(zip((f"passes.{name}" for name in NOTED), told.T, strict=True))
    return [results[case.key] for case in cases]


class Notes:
    """Notes of each blade what is foreseen and promised while it approaches, and books it as it passes."""

    def __init__(self) -> None:
        self.rows: list[tuple[Array, ...]] = []  #: of one tick: lanes, blades, times [s], and NOTED (pass, 3)
        self.angle: Array | None = None
        self.noted: Array = np.zeros(0)

    def __call__(self, flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
        beat()
        if not flock.stack.acts:
            return
        blades = flock.world.blade_count
        apart = 2.0 * np.pi / blades * np.arange(blades)
        turned = flock.lanes.y[:, at.AZIMUTH, None] + apart
        angle = np.degrees(turned) % 360.0 - 180.0
        if self.angle is None:
            self.angle, self.noted = angle, np.full((*angle.shape, len(NOTED)), np.nan)
        foreseen, promised = (_told(flock, name, angle.shape) for name in (FORESEEN, PROMISED))
        before = self.angle
        for place, degrees in enumerate((EARLY_DEG, LATE_DEG)):
            crossed = (before < -degrees) & (angle >= -degrees)
            self.noted[:, :, place] = np.where(crossed, foreseen, self.noted[:, :, place])
        self.noted[:, :, 2] = np.where(angle < 0.0, promised, self.noted[:, :, 2])
        lanes, passing = np.nonzero((before < 0.0) & (angle >= 0.0) & (angle < 90.0))
        if lanes.size:
            time = flock.lanes.tick[lanes] * flock.world.period
            self.rows.append((lanes, passing, time, self.noted[lanes, passing].copy()))
            self.noted[lanes, passing] = np.nan
        self.angle = angle

    def of(self, lane: int) -> tuple[Array, Array, Array]:
        """Return blade, time [s] from the start of the lane, and NOTED of one lane's passes."""
        if not self.rows:
            return np.zeros(0, np.int64), np.zeros(0), np.zeros((0, len(NOTED)))
        lanes, *rest = (np.concatenate(column) for column in zip(*self.rows, strict=True))
        return rest[0][lanes == lane], rest[1][lanes == lane], rest[2][lanes == lane]


def _told(flock: Flock, name: str, shape: tuple[int, ...]) -> Array:
    """Return what the highest layer that keeps it holds under a name, not a number where none does."""
    told = [state[name] for state in flock.states if isinstance(state, dict) and name in state]
    return told[-1] if told else np.full(shape, np.nan)


def matched(blade: Array, time: Array, noted: tuple[Array, Array, Array]) -> Array:
    """Return NOTED for each pass, (pass, 3): that of its blade's nearest passage, if any."""
    found = np.full((len(blade), len(NOTED)), np.nan)
    for one in np.unique(blade):
        mine, theirs = np.flatnonzero(blade == one), np.flatnonzero(noted[0] == one)
        if theirs.size == 0:
            continue
        when = noted[1][theirs]
        after = np.clip(np.searchsorted(when, time[mine]), 1, max(when.size - 1, 1))
        after = np.minimum(after, when.size - 1)
        earlier = np.maximum(after - 1, 0)
        nearer = np.abs(when[earlier] - time[mine]) <= np.abs(when[after] - time[mine])
        place = np.where(nearer, earlier, after)
        close = np.abs(when[place] - time[mine]) <= APART_S
        found[mine[close]] = noted[2][theirs[place[close]]]
    return found
