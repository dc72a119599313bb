"""What would have happened had the tower-pass logic not acted: lanes forked at the action and marched on.

A fork starts at the first tick of a blade's run-up at which the logic acts, with the tower-pass layers
switched off for all blades, and marches on until one revolution after that blade's pass. Nothing else
differs, so the difference is that one action's.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.counting import empty_log
from sim.flock import Flock, join_flocks
from sim.interface import Commands
from sim.kernels import layout as at
from sim.kernels.random import uniforms
from sim.lookback import EVERY, Action, Lookback
from sim.stack import take_rows

Array = NDArray[Any]

BLOCK = 96  #: forks that are marched together
LONGEST = 3.0  #: revolutions after which a fork whose blade never passes is given up
COST = 9.0  #: twice the passes that a fork marches through: forks cost about half of the march at most
PURPOSE = np.uint64(0x464F524B)  #: keeps the draw of forks apart from every other use of an identity
FINISHED = 9  #: status of a fork that has seen what it was for


@dataclass(frozen=True)
class Fork:
    """What one fork saw: the passes of all blades, from the action on."""

    lane: int
    blade: int
    tick: int  #: of the action
    weight: float  #: one over the probability with which it was drawn
    passes: Array  #: (pass, PASS_COLUMNS)


@dataclass
class ForkYard:
    """Forks of one flock: drawn at the action, or taken once a pass turns out broken; marched in blocks."""

    judged_from: int
    waiting: list[tuple[Flock, Array, Array, Array, Commands]] = field(default_factory=list)
    forks: list[Fork] = field(default_factory=list)
    started: Array | None = None  #: (lane,) actions so far
    drawn: set[Action] = field(default_factory=set)
    past: Lookback = field(init=False)

    def __post_init__(self) -> None:
        self.past = Lookback(self.judged_from)

    def watch(self, flock: Flock, log: at.Log, acting: Array, reference: Commands) -> None:
        """Take a fork of every lane and blade that begins to act at this tick, thinned where they are many.

        Notes
        -----
        A lane draws its forks with the probability 1 / (COST share), at most 1, where share is that of its
        own passes so far that were acted on: forks then cost half of what the march costs, and the draw
        depends on nothing but the lane.
        """
        lanes = flock.lanes
        fresh = acting & (lanes.first_act[:, : acting.shape[1]] < 0)
        fresh &= ((lanes.tick >= self.judged_from) & (lanes.status <= 1))[:, None]
        if not fresh.any():
            return
        if self.started is None:
            self.started = np.zeros(len(flock), np.int64)
        rows, blades = (np.ascontiguousarray(found) for found in np.nonzero(fresh))
        np.add.at(self.started, rows, 1)
        share = self.started[rows] / np.maximum(log.pass_count[rows] + 1.0, self.started[rows])
        chance = np.minimum(1.0, 1.0 / (COST * share))
        drawn = uniforms(flock.identity[rows], lanes.tick[rows], blades, PURPOSE) < chance
        if not drawn.any():
            return
        rows, blades, chance = rows[drawn], blades[drawn], chance[drawn]
        part = flock.take_reference(rows, reference)
        self.drawn |= set(zip(rows.tolist(), blades.tolist(), lanes.tick[rows].tolist(), strict=True))
        self._queue(part, rows, blades, 1.0 / chance, take_rows(reference, rows))

    def _queue(self, *fork: Any) -> None:
        self.waiting.append(fork)
        if sum(len(item[1]) for item in self.waiting) >= BLOCK:
            self.march()

    def look_back(self, flock: Flock, log: at.Log, tick: int) -> None:
        """Take the forks of broken passes that were not drawn, every ``EVERY`` ticks, and keep a copy."""
        if tick % EVERY == 0:
            self.take_broken(flock, log)
            self.past.keep(flock)

    def take_broken(self, flock: Flock, log: at.Log) -> None:
        """Take a fork of every action before a pass that broke since the last look, where none was drawn."""
        missing = self.past.find(flock, log) - self.drawn
        for lanes, blades, part, reference in self.past.lead_back(missing):
            self._queue(part, lanes, blades, np.ones(len(lanes)), reference)

    @property
    def weighed(self) -> list[Fork]:
        """The forks; those of broken passes that are marched for certain stand for no pass but their own."""
        sure = self.past.sure
        return [
            replace(fork, weight=1.0) if (fork.lane, fork.blade, fork.tick) in sure else fork
            for fork in self.forks
        ]

    def march(self) -> None:
        """March all waiting forks to their ends."""
        if not self.waiting:
            return
        flock = join_flocks([item[0] for item in self.waiting])
        _, some_rows, some_blades, some_weights, parts = zip(*self.waiting, strict=True)
        rows, blades, weights = (np.concatenate(some) for some in (some_rows, some_blades, some_weights))
        self.waiting = []
        first = Commands(
            *(np.concatenate([getattr(p, n) for p in parts]) for n in ("pitch", "torque", "stop"))
        )
        begun = flock.lanes.tick.copy()
        log = march_forks(flock, blades, first)
        for n in range(len(flock)):
            seen = log.passes[n, : log.pass_count[n]].copy()
            self.forks.append(Fork(int(rows[n]), int(blades[n]), int(begun[n]), float(weights[n]), seen))


def march_forks(flock: Flock, blades: Array, first: Commands) -> at.Log:
    """March forks, the first tick under the commands that the reference had given.

    Parameters
    ----------
    flock : Flock - with the tower-pass layers taken out; changed
    blades : (lane,) int64 - the blade whose pass each fork waits for
    first : Commands - of the reference at the tick of the action
    """
    lanes, period = flock.lanes, flock.world.period
    turn = 2.0 * np.pi / np.maximum(lanes.y[:, at.SPEED], 0.1)
    ticks = int(np.ceil(LONGEST * turn.max() / period))
    log = empty_log(len(flock), 0, ticks, turning=False, period=period)
    nobody = np.zeros((len(flock), flock.world.blade_count), bool)
    lanes.first_act[:] = -1
    begun = lanes.tick.copy()
    end = np.full(len(flock), np.inf)
    for n in range(ticks):
        if n == 0:
            commands = first
        else:
            commands, _, _ = flock.decide(flock.sense())
        flock.advance(log, commands, nobody)
        passed = log.passes[:, :, at.PASS_BLADE] == blades[:, None]
        passed &= np.arange(log.passes.shape[1])[None, :] < log.pass_count[:, None]
        own = np.where(passed.any(axis=1), passed.argmax(axis=1), 0)
        when = log.passes[np.arange(len(flock)), own, at.PASS_TIME]
        end = np.where(passed.any(axis=1), when + turn + 0.25 * turn, end)
        done = (lanes.tick * period >= end) | ((lanes.tick - begun) * period >= LONGEST * turn)
        lanes.status[done] = FINISHED
        if (lanes.status > 1).all():
            break
    return log


def clearance_without(passes: Array, lane_of: Array, forks: list[Fork]) -> tuple[Array, Array]:
    """Match forks with the passes that they explain.

    Parameters
    ----------
    passes : (pass, PASS_COLUMNS) of all lanes
    lane_of : (pass,) int64
    forks : list of Fork

    Returns
    -------
    without : (pass,) float64 [m] - what the clearance would have been: the fork's where the pass or one up to
        a revolution before it was acted on, the pass's own where no action bears on it, nan where the action
        was not drawn for a fork
    weight : (pass,) float64 - 1, the fork's weight for an acted pass that was drawn, 0 for one that was not

    Notes
    -----
    A pass that was not acted on itself takes its counterpart from the latest fork that saw it: rebound and
    knock-on count as the logic's doing.
    """
    acted = passes[:, at.PASS_FIRST_ACT] >= 0
    without = np.where(acted, np.nan, passes[:, at.PASS_CLEARANCE])
    weight = np.where(acted, 0.0, 1.0)
    mine = {(int(lane_of[n]), int(passes[n, at.PASS_BLADE]), int(passes[n, at.PASS_FIRST_ACT])): n
            for n in np.flatnonzero(acted)}  # fmt: skip
    by_lane = {int(lane): np.flatnonzero(lane_of == lane) for lane in np.unique(lane_of)}
    for fork in sorted(forks, key=lambda f: (f.lane, f.tick, f.blade)):
        n = mine.get((fork.lane, fork.blade, fork.tick))
        own = fork.passes[fork.passes[:, at.PASS_BLADE] == fork.blade]
        if n is None or len(own) == 0:
            continue
        without[n], weight[n] = own[0, at.PASS_CLEARANCE], fork.weight
        rows = by_lane[fork.lane]
        near = rows[(passes[rows, at.PASS_TIME] > passes[n, at.PASS_TIME]) & ~acted[rows]]
        for other in fork.passes:
            gap = np.abs(passes[near, at.PASS_TIME] - other[at.PASS_TIME])
            match = near[(gap < 0.5) & (passes[near, at.PASS_BLADE] == other[at.PASS_BLADE])]
            without[match] = other[at.PASS_CLEARANCE]
    return without, weight
