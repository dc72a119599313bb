"""What happened around a chosen pass, tick by tick?

The case is marched again, which gives the same to the bit, and stopped once the pass is over. What was seen
is kept in the store.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, canonical
from scenarios.simulate import make_flock, make_world
from scenarios.store import CaseResult, Store
from sim.flock import Flock
from sim.interface import Commands, Readings
from sim.kernels import layout as at
from sim.march import march

BEFORE_S, AFTER_S = 11.0, 7.0
"""What is kept before and after the pass [s]."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Window:
    """A case, and the instant that matters in it [s] of the judged time."""

    case: Case
    time_s: float

    @property
    def key(self) -> str:
        """What it is kept under in the store."""
        told = canonical(["watched", self.case.key, self.time_s, BEFORE_S, AFTER_S])
        return hashlib.sha256(told.encode()).hexdigest()

    @property
    def ticks(self) -> tuple[int, int]:
        """First and last tick that is kept."""
        run = self.case.run
        first = round((run.settle + self.time_s - BEFORE_S) / run.period)
        last = round((run.settle + self.time_s + AFTER_S) / run.period)
        return max(first, 0), min(last, round(self.case.simulated_s / run.period) - 1)


@dataclass(frozen=True)
class Trace:
    """The ticks around a pass.

    Parameters
    ----------
    time_s : (tick,) float64 [s]
        Of the judged time.
    state : (tick, FLAT) float64
        The plant's state as `sim.kernels.layout` lays it out, up to the stations.
    out : (tick, OUTPUTS) float64
        What can be measured.
    blade_count : int
    """

    time_s: Floats
    state: Floats
    out: Floats
    blade_count: int

    def clearance(self, blade: int) -> Floats:
        """Distance from blade to tower [m], nan while the blade is far from it."""
        return self.out[:, at.OUT_DISTANCE + blade]

    def azimuth(self, blade: int) -> Floats:
        """Azimuth of a blade from straight down, in (-pi, pi] [rad]."""
        turn = self.state[:, at.AZIMUTH] + 2.0 * np.pi * blade / self.blade_count
        return turn % (2.0 * np.pi) - np.pi

    def pitch(self, blade: int) -> Floats:
        """Pitch angle of a blade [rad]."""
        return self.out[:, at.OUT_PITCH + blade]

    def tip(self, blade: int) -> Floats:
        """Flapwise tip deflection of a blade, positive downwind at fine pitch [m]."""
        return self.out[:, at.OUT_TIP + blade]

    @property
    def wind(self) -> Floats:
        """Wind at the hub [m/s]."""
        return self.out[:, at.OUT_WIND]


class _SeenEnoughError(Exception):
    """Ends a march of which nothing more is wanted."""


def watch_windows(windows: Sequence[Window], store: Store) -> dict[str, Trace]:
    """Return what happened in each window, by its key; marched again where the store does not hold it."""
    wanted = {window.key: window for window in windows}
    found = store.load(wanted)
    missing = [window for key, window in wanted.items() if key not in found]
    if missing:
        made = _march_again(missing)
        titles = {w.key: f"watched at {w.time_s:.1f} s: {w.case.title}" for w in missing}
        store.write(made, titles, {w.key: w.case.key for w in missing})
        found |= made
    return {key: _trace(found[key], window.case.blade_count) for key, window in wanted.items()}


def _trace(found: CaseResult, blade_count: int) -> Trace:
    return Trace(found["time_s"], found["state"], found["out"], blade_count)


def _march_again(windows: Sequence[Window]) -> dict[str, CaseResult]:
    """March the windows' cases, those of one length and wind together."""
    made: dict[str, CaseResult] = {}
    groups: dict[str, list[Window]] = {}
    for window in windows:
        run = window.case.run
        alike = canonical(
            [run.period, run.settle, run.duration, window.case.sensors, window.case.turbine.disc]
        )
        groups.setdefault(alike, []).append(window)
    for group in groups.values():
        world, design_of, wind_of = make_world(list({w.case.key: w.case for w in group}.values()))
        for stack in dict.fromkeys(window.case.stack_key for window in group):
            mine = [window for window in group if window.case.stack_key == stack]
            made |= _march_stack(mine, make_flock([w.case for w in mine], world, design_of, wind_of))
    return made


def _march_stack(windows: Sequence[Window], flock: Flock) -> Mapping[str, CaseResult]:
    run = windows[0].case.run
    last = max(window.ticks[1] for window in windows)
    kept: list[list[tuple[float, Floats, Floats]]] = [[] for _ in windows]
    tick = 0

    def observe(flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
        nonlocal tick
        for lane, window in enumerate(windows):
            if window.ticks[0] <= tick <= window.ticks[1]:
                state, out = flock.lanes.y[lane, : at.FLAT], flock.lanes.out[lane]
                kept[lane].append((tick * run.period - run.settle, state.copy(), out.copy()))
        if tick >= last:
            raise _SeenEnoughError
        tick += 1

    with suppress(_SeenEnoughError):
        march(flock, run.settle, run.duration, forks=False, observe=observe)
    return {
        window.key: {
            name: np.array([row[column] for row in rows])
            for column, name in enumerate(("time_s", "state", "out"))
        }
        for window, rows in zip(windows, kept, strict=True)
    }
