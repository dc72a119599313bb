"""Does a layer keep the contract, clause by clause, and where it does not, on which smallest example?"""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable
from dataclasses import asdict, dataclass, is_dataclass
from typing import Any

import numpy as np

from controllers import made_up
from controllers.cost import cost_per_call, yardstick
from controllers.made_up import commands, difference, leaves, readings, spoil, take
from controllers.parameters import describe
from controllers.watched import module_of, watched
from sim.interface import SENSED, Commands, Known, Layer

LANES, STEPS, TIMED_LANES = 5, 160, 64
SLOWEST = 30.0  # times the yardstick; a one-lane logic behind the scalar wrapper still passes


@dataclass(frozen=True)
class ClauseResult:
    """One clause of the contract: passed or not, what is wrong, and the smallest example found."""

    clause: str
    passed: bool
    message: str = ""
    example: str = ""


class BrokenClauseError(Exception):
    """A clause is broken; the message and the example go into its result."""

    def __init__(self, message: str, example: str = "") -> None:
        super().__init__(message)
        self.message, self.example = message, example


def vet(factory: Callable[[], Layer]) -> list[ClauseResult]:
    """Check a layer against the whole contract.

    Parameters
    ----------
    factory : callable
        Makes the layer afresh, e.g. ``lambda: registry.find("my.py:EarlyNudge")``.

    Returns
    -------
    results : list of ClauseResult
        One per clause of ``CLAUSES``, in that order. If the layer lacks what the first clause asks
        for, or does not run at all, the clauses after it are not tried and not listed; nor are those
        that compare runs where no two are alike.
    """
    results: list[ClauseResult] = []
    forgetful = False
    for clause, check in CLAUSES.items():
        if forgetful and clause in COMPARING:
            continue
        results.append(_result(clause, check, factory))
        forgetful = forgetful or (clause == MEMORY and not results[-1].passed)
        if not results[-1].passed and clause in ESSENTIAL:
            break
    return results


def _result(
    clause: str, check: Callable[[Callable[[], Layer]], str], factory: Callable[[], Layer]
) -> ClauseResult:
    try:
        return ClauseResult(clause, True, check(factory))
    except BrokenClauseError as broken:
        return ClauseResult(clause, False, broken.message, broken.example)
    except Exception as error:
        return ClauseResult(clause, False, f"raised {type(error).__name__}: {error}")


@dataclass(frozen=True)
class Run:
    """What a layer gave over some ticks: its commands, and its last state."""

    commands: list[Commands]
    state: Any


def run(layer: Layer, machine: Known, steps: int = STEPS, pick: Any = None, edit: Any = None) -> Run:
    """Step a layer through made-up readings; ``pick`` selects lanes, ``edit`` spoils readings."""
    lanes = slice(None) if pick is None else pick
    given, state = [], None
    for tick in range(steps):
        seen = readings(machine, tick)
        seen = take(seen if edit is None else edit(seen), lanes)
        below = take(commands(machine, tick), lanes)
        if state is None:
            state = layer.init(take(machine, lanes), seen)
        state, command = layer.step(state, seen, below, below)
        given.append(command)
    return Run(given, state)


def compare(one: list[Commands], other: list[Commands], what: str) -> None:
    """Raise ``BrokenClauseError`` at the first tick at which two runs differ by a bit."""
    for tick, (a, b) in enumerate(zip(one, other, strict=True)):
        said = difference(a, b)
        if said:
            raise BrokenClauseError(what, f"tick {tick}: {said}")


def says_what_it_is(factory: Callable[[], Layer]) -> str:
    layer = factory()
    if not isinstance(getattr(layer, "needs", None), tuple):
        raise BrokenClauseError(
            "needs must be a tuple of sensor names", f"needs = {getattr(layer, 'needs', None)!r}"
        )
    strange = [name for name in layer.needs if name not in SENSED]
    if strange:
        raise BrokenClauseError(
            f"needs names no sensor: {', '.join(strange)}", f"allowed: {', '.join(SENSED)}"
        )
    if not isinstance(getattr(layer, "tower_pass", None), bool):
        raise BrokenClauseError("tower_pass must be True or False")
    if not (callable(getattr(layer, "init", None)) and callable(getattr(layer, "step", None))):
        raise BrokenClauseError("init and step must be methods")
    return f"needs {', '.join(layer.needs) or 'nothing'}"


def returns_right_shapes(factory: Callable[[], Layer]) -> str:
    for blades in (3, 2):
        result = run(factory(), made_up.known(LANES, blades), 3)
        for tick, command in enumerate(result.commands):
            _check_commands(command, blades, tick)
        for path, value in leaves(result.state):
            if not isinstance(value, np.ndarray) or value.ndim < 1 or value.shape[0] != LANES:
                shape = getattr(value, "shape", type(value).__name__)
                raise BrokenClauseError(
                    "every entry of the state must be an array with the lane first", f"{path}: {shape}"
                )
    return ""


def _check_commands(command: Any, blades: int, tick: int) -> None:
    wanted = {"pitch": ((LANES, blades), "f"), "torque": ((LANES,), "f"), "stop": ((LANES,), "b")}
    for name, (shape, kind) in wanted.items():
        value = getattr(command, name, None)
        array = isinstance(value, np.ndarray)
        if not array or value.shape != shape or value.dtype != (np.float64 if kind == "f" else np.bool_):
            got = f"{value.dtype} {value.shape}" if array else type(value).__name__
            expected = f"{'float64' if kind == 'f' else 'bool'} {shape}"
            raise BrokenClauseError(
                f"commands.{name} has the wrong shape or type", f"tick {tick}: expected {expected}, got {got}"
            )


def stays_finite(factory: Callable[[], Layer]) -> str:
    machine, layer = made_up.known(LANES, 3), factory()
    cases = [(None, 0.0, True)]
    cases += [(name, value, True) for name in layer.needs for value in (0.0, 1e3, -1e3)]
    cases += [(name, np.nan, valid) for name in layer.needs for valid in (False, True)]
    for name, value, valid in cases:
        spoiled = None if name is None else _spoiler((name,), slice(None), value, valid)
        for tick, command in enumerate(run(layer, machine, 60, edit=spoiled).commands):
            if not (np.all(np.isfinite(command.pitch)) and np.all(np.isfinite(command.torque))):
                raise BrokenClauseError(
                    "commands are not finite", f"tick {tick} with {name} = {value}, valid = {valid}"
                )
    return ""


def _spoiler(names: tuple[str, ...], lanes: Any, value: float, valid: bool) -> Callable[[Any], Any]:
    return lambda seen: spoil(seen, names, lanes, value, valid)


def stays_finite_at_the_ends_of_its_parameters(factory: Callable[[], Layer]) -> str:
    layer, machine = factory(), made_up.known(LANES, 3)
    rows = describe(type(layer))
    for row in rows:
        for value in (row.low, row.high):
            other = type(layer)(**{row.name: value})
            given = run(other, machine, 60).commands[-1]
            if not (np.all(np.isfinite(given.pitch)) and np.all(np.isfinite(given.torque))):
                raise BrokenClauseError("commands are not finite", f"{row.name} = {value:g}")
    return f"{len(rows)} parameters"


def keeps_its_memory_in_the_state(factory: Callable[[], Layer]) -> str:
    machine, layer = made_up.known(LANES, 3), factory()
    first = run(layer, machine)
    compare(first.commands, run(layer, machine).commands, "the same run a second time gives another answer")
    compare(first.commands, run(factory(), machine).commands, "a fresh layer gives another answer")
    seen, below = readings(machine, STEPS), commands(machine, STEPS)
    kept = copy.deepcopy(first.state)
    once = layer.step(kept, seen, below, below)
    twice = layer.step(copy.deepcopy(first.state), seen, below, below)
    said = difference(list(once), list(twice))
    if said:
        raise BrokenClauseError("the same state stepped twice gives two answers", f"tick {STEPS}: {said}")
    return ""


def leaves_its_inputs_alone(factory: Callable[[], Layer]) -> str:
    machine, layer = made_up.known(LANES, 3), factory()
    known, seen = copy.deepcopy(machine), readings(machine, 0)
    state = layer.init(known, seen)
    given = {"known": known, "readings": seen}
    clean = {"known": machine, "readings": readings(machine, 0)}
    for tick in range(STEPS):
        given |= {"readings": readings(machine, tick), "below": commands(machine, tick)}
        clean |= {"readings": readings(machine, tick), "below": commands(machine, tick)}
        given |= {"reference": commands(machine, tick), "state": state}
        clean |= {"reference": commands(machine, tick), "state": copy.deepcopy(state)}
        state, _ = layer.step(state, given["readings"], given["below"], given["reference"])
        said = difference(given, clean)
        if said:
            raise BrokenClauseError("an input was changed", f"tick {tick}: {said}")
    return ""


def treats_lanes_apart(factory: Callable[[], Layer]) -> str:
    machine, layer = made_up.known(LANES, 3), factory()
    whole = run(layer, machine).commands
    choices = [np.array([3, 0, 4, 2, 1]), np.array([1, 2]), *(np.array([lane]) for lane in range(LANES))]
    for pick in choices:
        part = run(layer, machine, pick=pick).commands
        compare([take(c, pick) for c in whole], part, f"lanes {pick.tolist()} alone give another answer")
    return ""


def keeps_nan_in_its_lane(factory: Callable[[], Layer]) -> str:
    machine, layer = made_up.known(LANES, 3), factory()
    others = np.array([0, 1, 3, 4])
    clean = [take(c, others) for c in run(layer, machine).commands]
    spoiled = run(layer, machine, edit=_spoiler(SENSED, 2, np.nan, False)).commands
    compare(clean, [take(c, others) for c in spoiled], "nan in lane 2 changes another lane")
    return ""


def reads_only_what_it_needs(factory: Callable[[], Layer]) -> str:
    machine, layer = made_up.known(LANES, 3), factory()
    clean = run(layer, machine).commands
    for name in (name for name in SENSED if name not in layer.needs):
        spoiled = run(layer, machine, edit=_spoiler((name,), slice(None), np.nan, False)).commands
        compare(clean, spoiled, f"it reads {name}, which needs does not list")
    return ""


def _asks_no(kind: str) -> Callable[[Callable[[], Layer]], str]:
    def check(factory: Callable[[], Layer]) -> str:
        layer = factory()
        with watched(module_of(layer)) as asked:
            run(layer, made_up.known(LANES, 3), 20)
        if asked[kind]:
            raise BrokenClauseError(f"it calls {asked[kind][0]}", f"{len(asked[kind])} calls in 20 ticks")
        return ""

    return check


def pickles(factory: Callable[[], Layer]) -> str:
    layer, machine = factory(), made_up.known(LANES, 3)
    try:
        other = pickle.loads(pickle.dumps(layer))
    except Exception as error:
        raise BrokenClauseError("the layer does not pickle", f"{type(error).__name__}: {error}") from error
    compare(run(layer, machine, 40).commands, run(other, machine, 40).commands, "its pickle acts otherwise")
    if is_dataclass(layer) and asdict(type(layer)(**asdict(layer))) != asdict(layer):
        raise BrokenClauseError("its parameters do not survive a round trip", repr(layer))
    return ""


def is_quick_enough(factory: Callable[[], Layer]) -> str:
    layer, machine = factory(), made_up.known(TIMED_LANES, 3)
    cost = cost_per_call(layer, machine) / yardstick(TIMED_LANES)
    said = f"{cost:.1f} times the numpy yardstick at {TIMED_LANES} lanes"
    if cost > SLOWEST:
        raise BrokenClauseError(f"slow: {said}", f"allowed: {SLOWEST:g} times")
    return said


CLAUSES: dict[str, Callable[[Callable[[], Layer]], str]] = {
    "says what it is": says_what_it_is,
    "returns right shapes": returns_right_shapes,
    "stays finite": stays_finite,
    "stays finite at the ends of its parameters": stays_finite_at_the_ends_of_its_parameters,
    "keeps its memory in the state": keeps_its_memory_in_the_state,
    "leaves its inputs alone": leaves_its_inputs_alone,
    "treats lanes apart": treats_lanes_apart,
    "keeps nan in its lane": keeps_nan_in_its_lane,
    "reads only what it needs": reads_only_what_it_needs,
    "asks no clock": _asks_no("clock"),
    "draws no random numbers": _asks_no("random"),
    "touches no files": _asks_no("file"),
    "pickles": pickles,
    "is quick enough": is_quick_enough,
}
ESSENTIAL = ("says what it is", "returns right shapes")
MEMORY = "keeps its memory in the state"
COMPARING = ("treats lanes apart", "keeps nan in its lane", "reads only what it needs", "pickles")
"""Clauses that compare runs, and tell nothing of a layer that never runs twice alike."""
