"""How does one step of a stack of logic change with each small change of what it remembers and reads?"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import RunError
from sim.interface import Commands, Known, Readings, State
from sim.linear.settle import Moment
from sim.stack import Stack, take_rows

Array = NDArray[Any]

SIZE = 1e-4
"""Steps of the differences, as a share of what is usual [-]."""
USUAL = {
    "pitch": 0.05,
    "tower_acceleration": 0.1,
    "wind_speed": 1.0,
    "wind_direction": 0.1,
    "tip_distance": 1.0,
    "last_pass_clearance": 1.0,
    "wind_preview": 1.0,
}
"""What is a usual change of a reading, in its SI unit."""
USUAL_SHARE = {"rotor_speed": 0.01, "torque": 0.05}
"""The same as a share of its value; of any other reading ``OTHER_SHARE``."""
OTHER_SHARE = 0.05


@dataclass(frozen=True)
class Leaf:
    """One entry of one layer's state: which numbers of the flat state it holds."""

    label: str
    first: int
    shape: tuple[int, ...]

    @property
    def span(self) -> slice:
        """Its place in the flat state."""
        return slice(self.first, self.first + int(np.prod(self.shape, dtype=int)))

    @property
    def names(self) -> list[str]:
        """A name for each of its numbers."""
        count = int(np.prod(self.shape, dtype=int))
        return [self.label] if count == 1 else [f"{self.label}[{k}]" for k in range(count)]


@dataclass(frozen=True)
class Difference:
    """The derivative of (next state, pitch of each blade, torque) by (state, readings) at one moment.

    Attributes
    ----------
    forward, backward : (state + 4, state + reading) float64 - differences to either side
    leaves : of the flat state
    scales : (state,) float64 - what is usual for each number of the state
    usual : (reading,) float64 - the same of the readings
    torque : float [N m] - what is usual of the torque
    """

    forward: Array
    backward: Array
    leaves: tuple[Leaf, ...]
    scales: Array
    usual: Array
    torque: float

    @property
    def states(self) -> int:
        """How many numbers the state holds."""
        return len(self.scales)

    @property
    def central(self) -> Array:
        """The mean of both differences."""
        return 0.5 * (self.forward + self.backward)


def differentiate(
    moment: Moment, stack: Stack, known: Known, modelled: Sequence[str], unmodelled: Sequence[str]
) -> Difference:
    """Step as many lanes as there are changes to try, each with one of them.

    Parameters
    ----------
    moment : Moment - of one lane
    stack : Stack
    known : Known - of one lane
    modelled, unmodelled : names of the readings that are changed, one after the other

    Raises
    ------
    RunError
        A layer fails.
    """
    readings = [*modelled, *unmodelled]
    usual = np.concatenate([_usual(moment.seen, name) for name in readings])
    memory = _Memory.of(moment, stack, known)
    scales = memory.scales(moment.states)
    steps = SIZE * np.concatenate([scales, usual])
    lanes = np.zeros(2 * len(steps) + 1, np.int64)
    states, seen = take_rows(moment.states, lanes), take_rows(moment.seen, lanes)
    moves = np.concatenate([np.diag(steps), -np.diag(steps), np.zeros((1, len(steps)))])
    memory.move(states, moves[:, : len(scales)])
    _move_readings(seen, readings, moves[:, len(scales) :])
    after, commands = _step(stack, states, seen, take_rows(known, lanes))
    found = np.concatenate([memory.flat(after), commands.pitch, commands.torque[:, None]], axis=1)
    rise, fall, base = found[: len(steps)], found[len(steps) : -1], found[-1]
    return Difference(
        forward=np.nan_to_num((rise - base) / steps[:, None]).T,
        backward=np.nan_to_num((base - fall) / steps[:, None]).T,
        leaves=tuple(memory.leaves.values()),
        scales=scales,
        usual=usual,
        torque=USUAL_SHARE["torque"] * float(known.rated_torque[0]),
    )


def _step(stack: Stack, states: list[State], seen: Readings, known: Known) -> tuple[list[State], Commands]:
    with np.errstate(all="ignore"):
        after, commands, _, faults = stack.step(states, seen, known)
    if faults:
        raise RunError(f"layer {faults[0].layer} {faults[0].message}")
    return after, commands


def _usual(seen: Readings, name: str) -> Array:
    """Return what is a usual change of each number of a reading."""
    values = np.atleast_1d(getattr(seen, name)[0])
    if name in USUAL:
        return np.full(values.shape, USUAL[name])
    size = np.abs(values).max()
    return np.full(values.shape, USUAL_SHARE.get(name, OTHER_SHARE) * size if size > 0.0 else 1.0)


def _move_readings(seen: Readings, names: Sequence[str], moves: Array) -> None:
    first = 0
    for name in names:
        values = getattr(seen, name)
        flat = values.reshape(len(values), -1)
        flat += moves[:, first : first + flat.shape[1]]
        first += flat.shape[1]


@dataclass(frozen=True)
class _Memory:
    """Where each number of the layers' states lies in one flat state."""

    names: Sequence[str]  #: of the layers
    leaves: dict[str, Leaf]

    @classmethod
    def of(cls, moment: Moment, stack: Stack, known: Known) -> _Memory:
        """Give every number a place; what a step hands on untouched is a constant and has none."""
        row = np.zeros(1, np.int64)
        states = take_rows(moment.states, row)
        after, _ = _step(stack, states, take_rows(moment.seen, row), take_rows(known, row))
        kept = dict(_leaves(after, stack.names))
        leaves: dict[str, Leaf] = {}
        first = 0
        for label, array in _leaves(states, stack.names):
            if array.dtype.kind == "f" and kept.get(label) is not array:
                leaves[label] = Leaf(label, first, array.shape[1:])
                first = leaves[label].span.stop
        return cls(stack.names, leaves)

    def flat(self, states: Sequence[State]) -> Array:
        """Return the flat state, (lane, number)."""
        found = {label: array for label, array in _leaves(states, self.names) if label in self.leaves}
        parts = [found[label].reshape(len(found[label]), -1) for label in self.leaves]
        lanes = len(next(iter(dict(_leaves(states, self.names)).values()))) if not parts else 0
        return np.concatenate(parts, axis=1) if parts else np.zeros((lanes, 0))

    def move(self, states: Sequence[State], moves: Array) -> None:
        """Add moves, (lane, number), to states that are nobody else's."""
        for label, array in _leaves(states, self.names):
            if label in self.leaves:
                flat = array.reshape(len(array), -1)
                flat += moves[:, self.leaves[label].span]

    def scales(self, states: Sequence[State]) -> Array:
        """Return what is usual for each number: the largest of its entry, 1e-3 where that is nothing."""
        values = np.nan_to_num(self.flat(states)[0], posinf=0.0, neginf=0.0)
        scales = np.ones_like(values)
        for leaf in self.leaves.values():
            size = float(np.abs(values[leaf.span]).max(initial=0.0))
            scales[leaf.span] = size if size > 1e-9 else 1e-3
        return scales


def _leaves(states: Sequence[State], names: Sequence[str]) -> Iterator[tuple[str, Array]]:
    """Yield the arrays of every layer's state, each with a label."""
    for name, state in zip(names, states, strict=True):
        yield from _walk(name, state)


def _walk(label: str, value: Any) -> Iterator[tuple[str, Array]]:
    if isinstance(value, np.ndarray):
        if value.ndim:
            yield label, value
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        for f in dataclasses.fields(value):
            yield from _walk(f"{label}.{f.name}", getattr(value, f.name))
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _walk(f"{label}.{key}", inner)
    elif isinstance(value, tuple | list):
        for k, inner in enumerate(value):
            yield from _walk(f"{label}.{k}", inner)
