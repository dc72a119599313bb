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

from sim.interface import Commands, Known, Layer, Readings, State, Status

Array = NDArray[Any]


@dataclass(frozen=True)
class Fault:
    """A layer's failure in one lane."""

    lane: int
    layer: str
    status: Status
    message: str


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

    def init(self, known: Known, seen: Readings) -> list[State]:
        """Return the layers' first states."""
        return [layer.init(known, seen) for layer in self.layers]

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
        for k, layer in enumerate(self.layers):
            new, commands, found = _step_layer(layer, self.names[k], states[k], seen, below, reference)
            fresh.append(new)
            faults += found
            below = commands
            if k < self.reference_count:
                reference = below
        return fresh, below, reference, faults


def _step_layer(
    layer: Layer, name: str, state: State, seen: Readings, below: Commands, reference: Commands
) -> tuple[State, Commands, list[Fault]]:
    """Step one layer and check what it returns; guilty lanes keep their state and get ``below``."""
    try:
        new, commands = layer.step(state, seen, below, reference)
        wrong = wrong_shape(commands, below)
    except Exception as error:
        message = f"raised {type(error).__name__}: {error}"
        return _bisect(layer, state, (seen, below, reference), Fault(0, name, Status.LAYER_RAISED, message))
    if wrong:
        told = Fault(0, name, Status.LAYER_WRONG_SHAPE, wrong)
        return _bisect(layer, state, (seen, below, reference), told)
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


def wrong_shape(commands: Any, below: Commands) -> str:
    """Return what is wrong with the shape or type of a layer's commands, empty if nothing is."""
    for field in ("pitch", "torque", "stop"):
        value, like = getattr(commands, field, None), getattr(below, field)
        if not isinstance(value, np.ndarray):
            kind = type(value).__name__
            return f"returned {field} of type {kind}; expected an array {like.shape} {like.dtype}"
        if value.shape != like.shape or value.dtype != like.dtype:
            return f"returned {field} {value.shape} {value.dtype}; expected {like.shape} {like.dtype}"
    return ""


def _bisect(
    layer: Layer, state: State, seen: tuple[Readings, Commands, Commands], told: Fault
) -> tuple[State, Commands, list[Fault]]:
    """Step halves of the lanes on their own until those that fail are alone, each with its own failure."""
    readings, below, reference = seen
    lanes = below.torque.shape[0]
    if lanes == 1:
        return state, below, [told]
    done = []
    faults: list[Fault] = []
    for rows in (np.arange(lanes // 2), np.arange(lanes // 2, lanes)):
        part = tuple(take_rows(item, rows) for item in (readings, below, reference))
        new, commands, found = _step_layer(layer, told.layer, take_rows(state, rows), *part)
        done.append((new, commands))
        faults += [dataclasses.replace(fault, lane=int(rows[fault.lane])) for fault in found]
    return join_rows([part[0] for part in done]), join_rows([part[1] for part in done]), faults
