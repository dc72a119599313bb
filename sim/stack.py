"""What does a stack of layers command, and which lanes did a layer of it fail?

A stack is layers in order: the lowest makes power, those above adjust. The reference is what the layers
below the first tower-pass layer command.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.handover import changed_state, lock, told, wrong_shape, wrong_state
from sim.interface import Commands, Known, Layer, Readings, State, Status

Array = NDArray[Any]


@dataclass(frozen=True)
class Fault:
    """A layer's failure in one lane."""

    lane: int
    layer: str
    status: Status
    message: str


@dataclass(frozen=True)
class NoState:
    """Stands for the state of a layer that could begin in no lane."""


def take_rows(value: Any, rows: Array) -> Any:
    """Return the given lanes of a layer's state, readings, commands or known facts; arrays are copied.

    Dicts, dataclasses, tuples and lists are followed; what is no array is handed on as it is.
    """
    if isinstance(value, np.ndarray):
        return value[rows] if value.ndim else value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        inner = {f.name: take_rows(getattr(value, f.name), rows) for f in dataclasses.fields(value)}
        return type(value)(**inner)
    if isinstance(value, dict):
        return {key: take_rows(item, rows) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(take_rows(item, rows) for item in value)
    return value


def join_rows(values: Sequence[Any]) -> Any:
    """Return states of several groups of lanes as one, in their order; the inverse of ``take_rows``."""
    first = values[0]
    if isinstance(first, np.ndarray):
        return np.concatenate(values) if first.ndim else first
    if dataclasses.is_dataclass(first) and not isinstance(first, type):
        inner = {f.name: join_rows([getattr(v, f.name) for v in values]) for f in dataclasses.fields(first)}
        return type(first)(**inner)
    if isinstance(first, dict):
        return {key: join_rows([value[key] for value in values]) for key in first}
    if isinstance(first, tuple | list):
        return type(first)(join_rows(list(items)) for items in zip(*values, strict=True))
    return first


def put_rows(into: Any, other: Any, where: Array) -> Any:
    """Return ``into`` with the lanes of ``other`` put in where asked: (lane,) bool; both stay as they are."""
    if isinstance(into, np.ndarray):
        return np.where(where.reshape(-1, *[1] * (into.ndim - 1)), other, into) if into.ndim else into
    if dataclasses.is_dataclass(into) and not isinstance(into, type):
        inner = {
            f.name: put_rows(getattr(into, f.name), getattr(other, f.name), where)
            for f in dataclasses.fields(into)
        }
        return type(into)(**inner)
    if isinstance(into, dict):
        return {key: put_rows(into[key], other[key], where) for key in into}
    if isinstance(into, tuple | list):
        return type(into)(put_rows(a, b, where) for a, b in zip(into, other, strict=True))
    return into


def nothing_commanded(known: Known) -> Commands:
    """Return what lies below the lowest layer: fine pitch, no torque, no stop."""
    lanes = known.rated_power.shape[0]
    pitch = np.repeat(known.fine_pitch[:, None], known.blade_count, axis=1)
    return Commands(pitch=pitch, torque=np.zeros(lanes), stop=np.zeros(lanes, bool))


class Stack:
    """Layers in order, stepped together; holds no state of any lane."""

    def __init__(self, layers: Sequence[Layer], names: Sequence[str]) -> None:
        self.layers = list(layers)
        self.names = list(names)
        passing = [k for k, layer in enumerate(self.layers) if layer.tower_pass]
        self.acts = bool(passing)
        self.reference_count = passing[0] if passing else len(self.layers)

    def without_tower_pass(self) -> Stack:
        """Return the stack with its tower-pass layers taken out."""
        keep = [k for k, layer in enumerate(self.layers) if not layer.tower_pass]
        return Stack([self.layers[k] for k in keep], [self.names[k] for k in keep])

    def keep_states(self, states: list[State]) -> list[State]:
        """Return the states of the layers that ``without_tower_pass`` keeps."""
        return [state for state, layer in zip(states, self.layers, strict=True) if not layer.tower_pass]

    def init(self, known: Known, seen: Readings) -> tuple[list[State], list[Fault]]:
        """Return the layers' first states, and the lanes in which a layer could not begin.

        Notes
        -----
        A lane without a state of its own gets another lane's, so that the rest can be marched: it is to be
        ended. A layer that begins nowhere has ``NoState`` and is passed over.
        """
        states: list[State] = []
        faults: list[Fault] = []
        for layer, name in zip(self.layers, self.names, strict=True):
            state, found = _init_layer(layer, name, known, seen)
            states.append(state)
            faults += found
        return states, faults

    def init_anew(
        self, states: list[State], anew: Array, known: Known, seen: Readings
    ) -> tuple[list[State], list[Fault]]:
        """Return states in which some lanes, (lane,) bool, begin anew, and those that could not."""
        fresh, faults = self.init(known, seen)
        kept = [
            old if isinstance(new, NoState) or isinstance(old, NoState) else put_rows(old, new, anew)
            for old, new in zip(states, fresh, strict=True)
        ]
        return kept, [fault for fault in faults if anew[fault.lane]]

    def step(
        self, states: list[State], seen: Readings, known: Known
    ) -> tuple[list[State], Commands, Commands, list[Fault]]:
        """Step every layer once.

        Parameters
        ----------
        states : list of State, one a layer
        seen : Readings
        known : Known

        Returns
        -------
        states, commands, reference : as the layers left them
        faults : list of Fault, lanes whose commands are those of the layer below

        Notes
        -----
        A layer that raises or returns a wrong shape is stepped again on halves of its lanes until the guilty
        ones are alone.
        """
        below = reference = nothing_commanded(known)
        fresh: list[State] = []
        faults: list[Fault] = []
        lock(seen)
        for k, layer in enumerate(self.layers):
            new, commands, found = _step_layer(layer, self.names[k], states[k], seen, below, reference)
            fresh.append(new)
            faults += found
            below = commands
            if k < self.reference_count:
                reference = below
        return fresh, below, reference, faults


def _init_layer(layer: Layer, name: str, known: Known, seen: Readings) -> tuple[State, list[Fault]]:
    """Begin one layer; lanes in which it fails are found by halves."""
    lanes = seen.tick.shape[0]
    lock(known)
    lock(seen)
    try:
        state = layer.init(known, seen)
        wrong = wrong_state(state, lanes)
        fault = Fault(0, name, Status.LAYER_WRONG_SHAPE, f"init {wrong}")
    except (Exception, SystemExit) as error:
        wrong, state = told(error), None
        fault = Fault(0, name, Status.LAYER_RAISED, f"init {wrong}")
    if not wrong:
        return state, []
    if lanes == 1:
        return NoState(), [fault]
    parts, faults = [], []
    for rows in (np.arange(lanes // 2), np.arange(lanes // 2, lanes)):
        part, found = _init_layer(layer, name, take_rows(known, rows), take_rows(seen, rows))
        parts.append((part, len(rows)))
        faults += [dataclasses.replace(one, lane=int(rows[one.lane])) for one in found]
    good = [part for part, _ in parts if not isinstance(part, NoState)]
    if not good:
        return NoState(), faults
    first = [take_rows(good[0], np.zeros(n, int)) if isinstance(part, NoState) else part for part, n in parts]
    return join_rows(first), faults


def _step_layer(
    layer: Layer, name: str, state: State, seen: Readings, below: Commands, reference: Commands
) -> tuple[State, Commands, list[Fault]]:
    """Step one layer and check what it returns; guilty lanes keep their state and get ``below``."""
    if isinstance(state, NoState):
        return state, below, []
    lock(below)
    lock(reference)
    try:
        new, commands = layer.step(state, seen, below, reference)
        wrong = wrong_shape(commands, below) or changed_state(new, state)
        fault = Fault(0, name, Status.LAYER_WRONG_SHAPE, wrong)
    except (Exception, SystemExit) as error:
        wrong = told(error)
        fault = Fault(0, name, Status.LAYER_RAISED, wrong)
    if wrong:
        return _bisect(layer, state, (seen, below, reference), fault)
    finite = np.isfinite(commands.torque) & np.isfinite(commands.pitch).all(axis=1)
    if finite.all():
        return new, commands, []
    faults = [
        Fault(int(lane), name, Status.LAYER_NOT_FINITE, f"returned {_first_odd(commands, int(lane))}")
        for lane in np.flatnonzero(~finite)
    ]
    pitch = np.where(finite[:, None], commands.pitch, below.pitch)
    torque = np.where(finite, commands.torque, below.torque)
    return new, Commands(pitch=pitch, torque=torque, stop=commands.stop), faults


def _first_odd(commands: Commands, lane: int) -> str:
    if not np.isfinite(commands.torque[lane]):
        return f"torque {commands.torque[lane]}"
    return f"pitch {commands.pitch[lane].tolist()}"


def _bisect(
    layer: Layer, state: State, seen: tuple[Readings, Commands, Commands], fault: Fault
) -> tuple[State, Commands, list[Fault]]:
    """Step halves of the lanes on their own until those that fail are alone, each with its own failure."""
    readings, below, reference = seen
    lanes = below.torque.shape[0]
    if lanes == 1:
        return state, below, [fault]
    done = []
    faults: list[Fault] = []
    for rows in (np.arange(lanes // 2), np.arange(lanes // 2, lanes)):
        part = tuple(take_rows(item, rows) for item in (readings, below, reference))
        lock(part[0])
        new, commands, found = _step_layer(layer, fault.layer, take_rows(state, rows), *part)
        done.append((new, commands))
        faults += [dataclasses.replace(one, lane=int(rows[one.lane])) for one in found]
    return join_rows([part[0] for part in done]), join_rows([part[1] for part in done]), faults
