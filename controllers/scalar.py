"""How does logic for one turbine, written with ``if``, join the others?

Write a subclass of ``OneLane`` whose ``start`` and ``decide`` handle one lane in plain floats and lists.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, is_dataclass
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

    def start(self, known: Any, seen: Any) -> Memory:
        """Return the memory of one lane before the first step."""
        raise NotImplementedError

    def decide(self, memory: Memory, seen: Any, below: Any, reference: Any) -> tuple[Memory, list[float]]:
        """Return the next memory and the pitch of every blade [rad] of one lane."""
        raise NotImplementedError

    def init(self, known: Known, seen: Readings) -> State:
        """Gather the memories of all lanes."""
        facts, read = Columns(known), Columns(seen)
        return _gather([self.start(facts.lane(n), read.lane(n)) for n in range(len(seen.tick))])

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Let every lane decide for itself."""
        memories, pitches = [], []
        before = {name: values.tolist() for name, values in state.items()}
        columns = Columns(seen), Columns(below), Columns(reference)
        for lane in range(len(seen.tick)):
            memory = {name: values[lane] for name, values in before.items()}
            after, pitch = self.decide(memory, *(part.lane(lane) for part in columns))
            if after.keys() != before.keys():
                raise ValueError(f"memory holds {sorted(after)}, at the start it held {sorted(before)}")
            if len(pitch) != below.pitch.shape[1]:
                raise ValueError(f"{len(pitch)} pitch angles for {below.pitch.shape[1]} blades")
            memories.append(after)
            pitches.append(pitch)
        return _gather(memories), Commands(np.array(pitches, dtype=np.float64), below.torque, below.stop)


class Columns:
    """All lanes of readings, commands or facts; each field becomes lists when it is first asked for."""

    __slots__ = ("lists", "whole")

    def __init__(self, whole: Any) -> None:
        self.whole = whole
        self.lists: dict[str, Any] = {}

    def of(self, name: str, lane: int) -> Any:
        """Return one lane's part of a field: a float, a list, or a lane of what lies deeper."""
        if name not in self.lists:
            named = isinstance(self.whole, Mapping)
            value = self.whole[name] if named else getattr(self.whole, name)
            deeper = isinstance(value, Mapping) or is_dataclass(value)
            self.lists[name] = Columns(value) if deeper else getattr(value, "tolist", lambda: value)()
        found = self.lists[name]
        if isinstance(found, Columns):
            return found.lane(lane)
        return found[lane] if isinstance(found, list) else found

    def lane(self, number: int) -> Any:
        """Return one lane, with a name for each field, or with a key for each item."""
        return _Named(self, number) if isinstance(self.whole, Mapping) else _Lane(self, number)


class _Lane:
    """One lane of a dataclass of arrays."""

    __slots__ = ("_columns", "_number")

    def __init__(self, columns: Columns, number: int) -> None:
        self._columns, self._number = columns, number

    def __getattr__(self, name: str) -> Any:
        return self._columns.of(name, self._number)


class _Named(Mapping[str, Any]):
    """One lane of a mapping of arrays."""

    __slots__ = ("_columns", "_number")

    def __init__(self, columns: Columns, number: int) -> None:
        self._columns, self._number = columns, number

    def __getitem__(self, name: str) -> Any:
        return self._columns.of(name, self._number)

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns.whole)

    def __len__(self) -> int:
        return len(self._columns.whole)


def _gather(memories: list[Memory]) -> dict[str, Array]:
    return {name: np.array([memory[name] for memory in memories]) for name in memories[0]}
