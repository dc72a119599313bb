"""Which passes broke although the logic acted, and how is the march led back to their actions?

Forks are thinned where actions are many, but whether the logic failed or did harm must not hang on a draw.
So copies of all lanes are kept for a while; when a pass turns out broken and has no fork, its lane is marched
once more from the latest copy to the action, the same to the bit, and forked there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.counting import empty_log
from sim.flock import Flock
from sim.interface import Commands
from sim.kernels import layout as at
from sim.stack import take_rows

Array = NDArray[Any]
Action = tuple[int, int, int]
"""Lane, blade, and the tick at which the logic began to act before the blade's pass."""

EVERY = 250  #: ticks between two copies
KEPT = 3  #: copies: an action lies within one revolution of its pass
SURE = 10  #: broken passes of a lane whose forks are sure; further ones are drawn like all others


@dataclass
class Lookback:
    """Copies of a marching flock, and which of its broken passes are accounted for."""

    judged_from: int
    kept: list[Flock] = field(default_factory=list)
    looked: Array | None = None  #: (lane,) passes that were looked at
    counted: Array | None = None  #: (lane,) broken passes among them that were acted on
    sure: set[Action] = field(default_factory=set)  #: actions whose forks are marched for certain

    def keep(self, flock: Flock) -> None:
        """Keep a copy of all lanes as they are before this tick."""
        self.kept = [*self.kept[1 - KEPT :], flock.take(np.arange(len(flock)))]

    def find(self, flock: Flock, log: at.Log) -> set[Action]:
        """Return the actions before those passes since the last look that broke, and mark them as sure."""
        if self.looked is None or self.counted is None:
            self.looked, self.counted = np.zeros(len(flock), np.int64), np.zeros(len(flock), np.int64)
        room = np.arange(log.passes.shape[1])[None, :]
        rows = log.passes
        broken = (room >= self.looked[:, None]) & (room < log.pass_count[:, None])
        broken &= rows[:, :, at.PASS_CLEARANCE] < flock.known.required_clearance[:, None]
        broken &= rows[:, :, at.PASS_FIRST_ACT] >= self.judged_from
        self.looked = log.pass_count.copy()
        found: set[Action] = set()
        for lane, place in np.argwhere(broken).tolist():
            if self.counted[lane] < SURE:
                row = rows[lane, place]
                found.add((lane, int(row[at.PASS_BLADE]), int(row[at.PASS_FIRST_ACT])))
            self.counted[lane] += 1
        self.sure |= found
        return found

    def lead_back(self, actions: Iterable[Action]) -> Iterator[tuple[Array, Array, Flock, Commands]]:
        """March the lanes of some actions once more, and yield what a fork of each begins with.

        Yields
        ------
        lanes, blades : (action,) int64
        flock : Flock - the lanes before the tick of the action
        reference : Commands - of the reference at that tick
        """
        by_copy: dict[int, list[Action]] = {}
        for action in sorted(actions):
            early = [n for n, copy in enumerate(self.kept) if copy.lanes.tick[action[0]] <= action[2]]
            if early:
                by_copy.setdefault(early[-1], []).append(action)
        for place, wanted in by_copy.items():
            yield from _march_to(self.kept[place], wanted)


def _march_to(copy: Flock, actions: list[Action]) -> Iterator[tuple[Array, Array, Flock, Commands]]:
    lanes = np.unique([lane for lane, _, _ in actions])
    flock = copy.take(lanes)
    begun = int(flock.lanes.tick.min())
    ticks = max(tick for _, _, tick in actions) - begun + 1
    log = empty_log(len(flock), 0, ticks, turning=False, period=flock.world.period)
    for _ in range(ticks):
        commands, reference, _ = flock.decide(flock.sense())
        acting = flock.acting(commands, reference)
        now = [
            (int(np.searchsorted(lanes, lane)), blade)
            for lane, blade, tick in actions
            if flock.lanes.tick[np.searchsorted(lanes, lane)] == tick
        ]
        if now:
            rows, blades = np.array(now, np.int64).T
            yield lanes[rows], blades, flock.take_reference(rows, reference), take_rows(reference, rows)
        flock.advance(log, commands, acting)
