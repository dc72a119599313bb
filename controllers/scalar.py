"""How does logic for one turbine, written with ``if``, join the others?

Write a subclass of ``OneLane`` whose ``start`` and ``decide`` handle one lane in plain floats and lists.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import SimpleNamespace
from typing import Any, ClassVar

import numpy as np

from controllers.parameters import Parameters
from sim.interface import Array, Commands, Known, Readings, State

Memory = dict[str, Any]
"""A lane's memory: floats, bools, ints, or lists of a fixed length of them, by name."""


@dataclass(frozen=True)
class OneLane(Parameters):
    """A layer made of logic that knows one lane only.

    Notes
    -----
    ``start(known, seen)`` returns the memory before the first step; ``decide(memory, seen, below,
    reference)`` returns the next memory and the pitch of each blade. Everything that comes in is a
    plain float, or a list of floats where there is one per blade (or point): ``seen.pitch[0]``,
    ``seen.azimuth``, ``seen.valid["azimuth"]``. Torque and stop are passed on. Costs some ten
    microseconds per lane and call; whole-array layers are ten times cheaper in large batches.

    Raises
    ------
    ValueError
        If ``decide`` returns another number of pitch angles than there are blades, or changes
        the names in its memory.
    """

    name: ClassVar[str] = "one-lane"
    needs: ClassVar[tuple[str, ...]] = ()
    tower_pass: ClassVar[bool] = True

    def start(self, known: SimpleNamespace, seen: SimpleNamespace) -> Memory:
        """Return the memory of one lane before the first step."""
        raise NotImplementedError

    def decide(
        self, memory: Memory, seen: SimpleNamespace, below: SimpleNamespace, reference: SimpleNamespace
    ) -> tuple[Memory, list[float]]:
        """Return the next memory and the pitch of every blade [rad] of one lane."""
        raise NotImplementedError

    def init(self, known: Known, seen: Readings) -> State:
        """Gather the memories of all lanes."""
        lanes = range(len(seen.tick))
        return _gather([self.start(one_lane(known, lane), one_lane(seen, lane)) for lane in lanes])

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Let every lane decide for itself."""
        memories, pitches = [], []
        for lane in range(len(seen.tick)):
            memory = {name: values[lane].tolist() for name, values in state.items()}
            views = (one_lane(part, lane) for part in (seen, below, reference))
            after, pitch = self.decide(memory, *views)
            if set(after) != set(state):
                raise ValueError(f"memory holds {sorted(after)}, at the start it held {sorted(state)}")
            if len(pitch) != below.pitch.shape[1]:
                raise ValueError(f"{len(pitch)} pitch angles for {below.pitch.shape[1]} blades")
            memories.append(after)
            pitches.append(pitch)
        return _gather(memories), Commands(np.array(pitches, dtype=np.float64), below.torque, below.stop)


def one_lane(whole: Any, lane: int) -> SimpleNamespace:
    """Return one lane of readings, commands or what is known, as plain floats and lists."""
    return SimpleNamespace(**{f.name: _lane_of(getattr(whole, f.name), lane) for f in fields(whole)})


def _lane_of(value: Any, lane: int) -> Any:
    if isinstance(value, np.ndarray):
        return value[lane].tolist()
    if isinstance(value, Mapping):
        return {key: _lane_of(part, lane) for key, part in value.items()}
    return one_lane(value, lane) if hasattr(value, "__dataclass_fields__") else value


def _gather(memories: list[Memory]) -> dict[str, Array]:
    return {name: np.array([memory[name] for memory in memories]) for name in memories[0]}
