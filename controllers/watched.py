"""Does a layer ask a clock, a source of random numbers or a file while it works?"""

from __future__ import annotations

import builtins
import datetime
import io
import os
import random
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np

CLOCKS = ("time", "time_ns", "perf_counter", "perf_counter_ns", "monotonic", "monotonic_ns", "process_time")
DICE = ("random", "uniform", "gauss", "normalvariate", "randint", "randrange", "choice", "shuffle")
NUMPY_DICE = (
    "default_rng",
    "rand",
    "randn",
    "random",
    "normal",
    "uniform",
    "standard_normal",
    "randint",
    "Generator",
)


@contextmanager
def watched(module: ModuleType | None) -> Iterator[dict[str, list[str]]]:
    """Record calls of clocks, random numbers and files, in the library modules and in the layer's own names.

    Parameters
    ----------
    module : module or None
        The layer's own, in which ``from time import time`` may have bound a name.

    Yields
    ------
    asked : dict
        ``asked["clock"]``, ``asked["random"]`` and ``asked["file"]``: names of what was called.
    """
    asked: dict[str, list[str]] = {"clock": [], "random": [], "file": []}
    spies = _spies(asked)
    changed: list[tuple[Any, str, Any]] = []
    places: list[Any] = [time, random, os, np.random, builtins, io]
    if module is not None:
        places.append(module)
    for place in places:
        for name, value in list(vars(place).items()):
            spy = next((made for original, made in spies if original is value), None)
            if spy is not None:
                changed.append((place, name, value))
    try:
        for place, name, value in changed:
            setattr(place, name, next(made for original, made in spies if original is value))
        yield asked
    finally:
        for place, name, value in changed:
            setattr(place, name, value)


def module_of(layer: Any) -> ModuleType | None:
    """Return the module in which a layer's class stands."""
    return sys.modules.get(type(layer).__module__)


def _spies(asked: dict[str, list[str]]) -> list[tuple[Any, Any]]:
    pairs = [
        (getattr(time, name), _spy(asked["clock"], f"time.{name}", getattr(time, name))) for name in CLOCKS
    ]
    dice = [(random, name) for name in DICE] + [(np.random, name) for name in NUMPY_DICE] + [(os, "urandom")]
    for place, name in dice:
        original = getattr(place, name)
        pairs.append((original, _spy(asked["random"], f"{place.__name__}.{name}", original)))
    pairs.append((builtins.open, _spy(asked["file"], "open", builtins.open)))
    pairs.append((datetime.datetime, _watched_datetime(asked["clock"])))
    return pairs


def _spy(calls: list[str], name: str, original: Callable[..., Any]) -> Callable[..., Any]:
    def spy(*positional: Any, **named: Any) -> Any:
        calls.append(name)
        return original(*positional, **named)

    return spy


def _watched_datetime(calls: list[str]) -> type:
    class Watched(datetime.datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime.datetime:
            calls.append("datetime.now")
            return datetime.datetime.now(tz)

    return Watched
