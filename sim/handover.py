"""What is a layer handed, what may come back from it, and what is said where that is wrong?

What goes in is read-only, so that a layer that writes into it is told at once instead of changing what the
layers above it and the ledger see.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from pathlib import Path
from traceback import extract_tb
from typing import Any

import numpy as np

from sim.interface import Commands

READ_ONLY = "; what a layer is given it must leave as it is"


def lock(thing: Any) -> None:
    """Make every array of a dataclass, and of the mappings and dataclasses in it, read-only."""
    for inner in vars(thing).values():
        if type(inner) is np.ndarray:
            inner.setflags(write=False)
        elif isinstance(inner, Mapping):
            for array in inner.values():
                array.setflags(write=False)
        elif dataclasses.is_dataclass(inner):
            lock(inner)


def leaves(thing: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield what a thing holds, with its path: arrays, and whatever is neither array nor made of others."""
    if isinstance(thing, np.ndarray):
        yield path, thing
    elif isinstance(thing, Mapping):
        for key, inner in thing.items():
            yield from leaves(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(thing, tuple | list):
        for number, inner in enumerate(thing):
            yield from leaves(inner, f"{path}[{number}]")
    elif dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        for field in dataclasses.fields(thing):
            yield from leaves(getattr(thing, field.name), f"{path}.{field.name}" if path else field.name)
    else:
        yield path, thing


def told(error: BaseException) -> str:
    """Say what a layer raised, and where in its file."""
    frames = [frame for frame in extract_tb(error.__traceback__) if Path(frame.filename).is_file()]
    frames = [frame for frame in frames if "site-packages" not in frame.filename] or frames
    where = f" at {Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    more = READ_ONLY if "read-only" in str(error) or "cannot assign to field" in str(error) else ""
    return f"raised {type(error).__name__}: {error}{where}{more}"


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


def wrong_state(state: Any, lanes: int) -> str:
    """Return what is wrong with a layer's first state; empty if every entry is an array, lane first."""
    for path, leaf in leaves(state):
        at = f"state {path}" if path else "a state"
        if not isinstance(leaf, np.ndarray):
            return f"returned {at} of type {type(leaf).__name__}; expected an array, the {lanes} lanes first"
        if leaf.ndim < 1 or leaf.shape[0] != lanes or leaf.dtype.kind not in "biufc":
            return f"returned {at} {leaf.shape} {leaf.dtype}; expected numbers, the {lanes} lanes first"
    return ""


def changed_state(state: Any, before: Any) -> str:
    """Return how a state's entries differ in name or shape from those before, empty if they do not."""
    plain = type(state) is dict and type(before) is dict and state.keys() == before.keys()
    if plain and all(_alike(state[key], value) for key, value in before.items()):
        return ""
    now, once = dict(leaves(state)), dict(leaves(before))
    if now.keys() != once.keys():
        odd = sorted(set(now) ^ set(once))
        return f"returned a state with other entries: {', '.join(odd) or type(state).__name__}"
    for path, leaf in now.items():
        if not _alike(leaf, once[path]):
            got = f"{leaf.shape} {leaf.dtype}" if isinstance(leaf, np.ndarray) else type(leaf).__name__
            return f"returned state {path} {got}; expected {once[path].shape} {once[path].dtype}"
    return ""


def _alike(value: Any, before: Any) -> bool:
    if value is before:
        return True
    array = type(value) is np.ndarray and type(before) is np.ndarray
    return array and value.shape == before.shape and value.dtype == before.dtype
