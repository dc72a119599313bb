"""How is a layer run on made-up readings, and where do two runs first differ?"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from traceback import extract_tb
from typing import Any

import numpy as np

from controllers import made_up
from controllers.made_up import commands, difference, readings, spoil, take
from sim.interface import Commands, Known, Layer, Readings

LANES, STEPS, SHORT = 5, 120, 24
PACKAGES = "site-packages"  #: where installed code lies: a user looks for the line in a file of her own
LONGEST_CALL_S = 3.0
"""A call that takes longer counts as one that never returns."""

Edit = Callable[[Readings, int], Readings]
"""Changes the readings of a tick."""


class BrokenClauseError(Exception):
    """A clause is broken; the message and the example go into its result."""

    def __init__(self, message: str, example: str = "") -> None:
        super().__init__(message)
        self.message, self.example = message, example


class StalledError(BaseException):
    """A call did not return in time; not an ``Exception``, lest the layer catches it."""


class LayerRaisedError(Exception):
    """The layer itself raised; says what, where, and at which tick."""

    def __init__(self, error: BaseException, when: str) -> None:
        frames = [frame for frame in extract_tb(error.__traceback__) if Path(frame.filename).is_file()]
        frames = [frame for frame in frames if PACKAGES not in frame.filename] or frames
        where = f" at {Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
        self.what = f"raised {type(error).__name__}: {error}{where}"
        self.when = when
        super().__init__(f"{self.what}, {when}")


@dataclass(frozen=True)
class Run:
    """What a layer gave over some ticks: its commands, and its last state."""

    commands: list[Commands]
    state: Any

    def of(self, lanes: Any) -> Run:
        """Return what belongs to a selection of its lanes."""
        return Run([take(given, lanes) for given in self.commands], take(self.state, lanes))


def run(
    layer: Layer,
    machine: Known,
    steps: int = STEPS,
    pick: Any = None,
    edit: Edit | None = None,
    below: Callable[[Commands, int], Commands] | None = None,
) -> Run:
    """Step a layer through made-up readings.

    Parameters
    ----------
    pick : lanes to run, all where None
    edit, below : change the readings, and what the layer underneath commands

    Raises
    ------
    LayerRaisedError
        The layer raised, or asked the program to end.
    """
    lanes = slice(None) if pick is None else pick
    given, state = [], None
    for tick in range(steps):
        seen = readings(machine, tick)
        seen = take(seen if edit is None else edit(seen, tick), lanes)
        under = commands(machine, tick)
        under = take(under if below is None else below(under, tick), lanes)
        if tick == 0:
            state = call(layer.init, "in init", take(machine, lanes), seen)
        state, command = call(layer.step, f"tick {tick}", state, seen, under, under)
        given.append(command)
    return Run(given, state)


def call(method: Callable[..., Any], when: str, *given: Any) -> Any:
    """Call a layer's method; what it raises is told with the moment, and a stall ends it."""
    try:
        with _limited(), np.errstate(all="ignore"):
            return method(*given)
    except StalledError as stalled:
        raise StalledError(f"{stalled}, {when}") from None
    except (Exception, SystemExit) as error:
        raise LayerRaisedError(error, when) from error


@contextmanager
def _limited() -> Iterator[None]:
    """End what takes too long, where the system can: with an alarm, in the main thread."""
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGALRM, _stall)
    signal.setitimer(signal.ITIMER_REAL, LONGEST_CALL_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def _stall(number: int, frame: Any) -> None:
    while frame and frame.f_back and PACKAGES in frame.f_code.co_filename:
        frame = frame.f_back
    where = f" at {Path(frame.f_code.co_filename).name}:{frame.f_lineno}" if frame else ""
    raise StalledError(f"a call did not return within {LONGEST_CALL_S:g} s{where}")


def compare(one: Run, other: Run, what: str, how: str = "") -> None:
    """Raise ``BrokenClauseError`` where two runs differ by a bit: in commands, or in their last states."""
    for tick, (a, b) in enumerate(zip(one.commands, other.commands, strict=True)):
        said = difference(a, b)
        if said:
            raise BrokenClauseError(what, f"tick {tick}{how}: {said}")
    said = difference({"state": one.state}, {"state": other.state})
    if said:
        raise BrokenClauseError(what, f"after tick {len(one.commands) - 1}{how}: {said}")


def told_value(names: tuple[str, ...], lanes: Any, value: float, valid: bool) -> Edit:
    """Return an edit that has some sensors of some lanes read a value at every tick."""
    return lambda seen, tick: spoil(seen, names, lanes, value, valid)


def aged(edit: Edit, names: tuple[str, ...], age: float) -> Edit:
    """Return an edit that makes these sensors' readings as old as given, besides."""

    def older(seen: Readings, tick: int) -> Readings:
        seen = edit(seen, tick)
        return replace(seen, age={**seen.age, **{name: np.full_like(seen.age[name], age) for name in names}})

    return older


def machine_of(lanes: int = LANES, blades: int = 3) -> Known:
    """Return what is known of the made-up machines."""
    return made_up.known(lanes, blades)
