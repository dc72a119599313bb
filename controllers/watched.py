"""Does a layer ask a clock, a source of random numbers or a file while it works?"""

from __future__ import annotations

import datetime
import os
import random
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np

CLOCKS = (
    "time", "time_ns", "perf_counter", "perf_counter_ns", "monotonic", "monotonic_ns", "process_time",
    "process_time_ns", "thread_time", "thread_time_ns", "clock_gettime", "clock_gettime_ns", "localtime",
    "gmtime", "ctime", "strftime", "sleep",
)  # fmt: skip
FILES = (
    "open", "os.listdir", "os.scandir", "os.mkdir", "os.remove", "os.rename", "os.rmdir", "os.truncate",
    "os.system", "subprocess.Popen", "socket.connect", "socket.bind", "shutil.copyfile", "sqlite3.connect",
)  # fmt: skip
"""Events of the interpreter that mean a file, another process or the network."""
EXCUSED = ("importlib", "_frozen_importlib", "numba", "linecache", "tokenize")
"""Who opens files without being asked to by the layer: late imports, compiled caches, printed warnings."""
NO_SPY = ("RandomState", "BitGenerator", "SeedSequence")
"""Classes that numpy asks for by name; drawing with them shows in ``os.urandom`` or in the bit generator."""
_listening: list[list[str]] = []
_hooked: list[bool] = []


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
    places: list[Any] = [time, datetime, random, os, np, np.random]
    if module is not None:
        places.append(module)
    changed = [
        (place, name, value, spies[id(value)])
        for place in places
        for name, value in list(vars(place).items())
        if id(value) in spies
    ]
    if not _hooked:
        sys.addaudithook(_hear)
        _hooked.append(True)
    try:
        for place, name, _, spy in changed:
            setattr(place, name, spy)
        _listening.append(asked["file"])
        yield asked
    finally:
        _listening.pop()
        for place, name, value, _ in changed:
            setattr(place, name, value)


def module_of(layer: Any) -> ModuleType | None:
    """Return the module in which a layer's class stands."""
    return sys.modules.get(type(layer).__module__)


def _hear(event: str, details: tuple[Any, ...]) -> None:
    """Note a file that is touched, unless the interpreter or a compiler does it for its own ends."""
    if not _listening or event not in FILES:
        return
    frame = sys._getframe(1)
    while frame is not None:
        if frame.f_globals.get("__name__", "").partition(".")[0] in EXCUSED:
            return
        frame = frame.f_back
    _listening[-1].append(event)


def _spies(asked: dict[str, list[str]]) -> dict[int, Any]:
    """Return what stands in for each clock and source of random numbers, by the original's identity."""
    clocks = [(time, name) for name in CLOCKS if hasattr(time, name)]
    names = [name for name in np.random.__all__ if name not in NO_SPY]
    dice = [(random, name) for name in random.__all__] + [(np.random, name) for name in names]
    dice.append((os, "urandom"))
    found: dict[int, Any] = {}
    for kind, pairs in (("clock", clocks), ("random", dice)):
        for place, name in pairs:
            original = getattr(place, name)
            if callable(original):
                found[id(original)] = _spy(asked[kind], f"{place.__name__}.{name}", original)
    found[id(datetime.datetime)] = _watched_date(
        asked["clock"], datetime.datetime, ("now", "utcnow", "today")
    )
    found[id(datetime.date)] = _watched_date(asked["clock"], datetime.date, ("today",))
    found[id(np.datetime64)] = _watched_datetime64(asked["clock"])
    return found


def _spy(calls: list[str], name: str, original: Callable[..., Any]) -> Callable[..., Any]:
    def spy(*positional: Any, **named: Any) -> Any:
        calls.append(name)
        return original(*positional, **named)

    return spy


def _watched_date(calls: list[str], original: Any, names: tuple[str, ...]) -> type:
    """Return a class like ``datetime.datetime`` that notes who asks it for the present."""

    def asking(name: str) -> Any:
        def ask(cls: type, *given: Any) -> Any:
            calls.append(f"{original.__name__}.{name}")
            return getattr(original, name)(*given)

        return classmethod(ask)

    return type(original.__name__, (original,), {name: asking(name) for name in names})


def _watched_datetime64(calls: list[str]) -> Callable[..., Any]:
    original = np.datetime64

    def ask(*given: Any) -> Any:
        if given and given[0] in ("now", "today"):
            calls.append(f"numpy.datetime64('{given[0]}')")
        return original(*given)

    return ask
