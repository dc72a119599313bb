"""What must a layer return, whatever it reads: shapes, finite numbers, commands that a machine can follow?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from controllers.made_up import commands as made_commands
from controllers.made_up import leaves, readings
from controllers.parameters import Described, describe
from controllers.trials import (
    LANES,
    SHORT,
    STEPS,
    BrokenClauseError,
    LayerRaisedError,
    Run,
    StalledError,
    call,
    machine_of,
    run,
    told_value,
)
from sim.errors import InputError
from sim.interface import SENSED, Commands, Layer, Readings

Factory = Callable[[], Layer]
STRANGE = (0.0, 1e3, -1e3, 1e9)
"""Values that every sensor may read, however absurd."""
FURTHEST_PITCH = np.deg2rad(15.0)
"""How far beyond its stops a layer may ask a blade to pitch; the servo stops it."""
MOST_TORQUE = 2.0
"""The largest torque that a layer may ask for, as a multiple of the rated one."""
STOPPED = 2
"""The lane that is made strange, lost or stopped."""


def says_what_it_is(factory: Factory) -> str:
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


def returns_from_every_call(factory: Factory) -> str:
    """Two blades and three; plausible, absurd and lost readings, of all lanes and of one alone."""
    layer = factory()
    for blades in (3, 2):
        _try(layer, blades, STEPS, None, "")
    for where in (slice(None), STOPPED):
        whose = "" if where == slice(None) else f" of lane {STOPPED}"
        for value in STRANGE:
            _try(
                layer,
                3,
                SHORT,
                told_value(SENSED, where, value, True),
                f" with all sensors{whose} at {value:g}",
            )
        _try(layer, 3, SHORT, told_value(SENSED, where, np.nan, False), f" with all sensors{whose} lost")
    return ""


def _try(layer: Layer, blades: int, steps: int, edit: Any, how: str) -> None:
    """Run all lanes; where that raises, look for one lane that does so alone."""
    machine = machine_of(LANES, blades)
    try:
        run(layer, machine, steps, edit=edit)
    except (LayerRaisedError, StalledError) as error:
        for lane in range(LANES):
            try:
                run(layer, machine, steps, pick=np.array([lane]), edit=edit)
            except StalledError as alone:
                raise StalledError(f"{alone}, {blades} blades, lane {lane} alone{how}") from error
            except LayerRaisedError as alone:
                raise BrokenClauseError(
                    alone.what, f"{alone.when}, {blades} blades, lane {lane} alone{how}"
                ) from error
        beside = f"{blades} blades, {LANES} lanes{how}"
        if isinstance(error, StalledError):
            raise StalledError(f"{error}, {beside}") from error
        raise BrokenClauseError(error.what, f"{error.when}, {beside}") from error


def returns_right_shapes(factory: Factory) -> str:
    for lanes, blades in ((LANES, 3), (LANES - 1, 2)):
        machine, layer = machine_of(lanes, blades), factory()
        state = call(layer.init, "in init", machine, readings(machine, 0))
        _check_state(state, lanes)
        first = dict(leaves(state))
        for tick in range(STEPS):
            below = made_commands(machine, tick)
            state, command = _pair(
                call(layer.step, f"tick {tick}", state, readings(machine, tick), below, below)
            )
            _check_commands(command, (lanes, blades), tick)
            _check_change(dict(leaves(state)), first, tick)
    return ""


def _pair(returned: Any) -> tuple[Any, Any]:
    if not isinstance(returned, tuple) or len(returned) != 2:
        got = (
            f"{type(returned).__name__} of {len(returned)}"
            if isinstance(returned, tuple)
            else type(returned).__name__
        )
        raise BrokenClauseError(
            "step must return the next state and the commands", f"expected (state, commands), got {got}"
        )
    return returned


def _check_state(state: Any, lanes: int) -> None:
    for path, value in leaves(state):
        array = isinstance(value, np.ndarray)
        if not array or value.ndim < 1 or value.shape[0] != lanes or value.dtype.kind not in "biufc":
            got = f"{value.dtype} {value.shape}" if array else type(value).__name__
            raise BrokenClauseError(
                "every entry of the state must be an array of numbers with the lane first",
                f"{path or 'state'}: expected ({lanes}, ...), got {got}",
            )


def _check_change(now: dict[str, Any], first: dict[str, Any], tick: int) -> None:
    odd = sorted(set(now) ^ set(first))
    if odd:
        raise BrokenClauseError("the state's entries change", f"tick {tick}: {', '.join(odd)}")
    for path, value in now.items():
        was = first[path]
        if not isinstance(value, np.ndarray) or value.shape != was.shape or value.dtype != was.dtype:
            got = f"{value.dtype} {value.shape}" if isinstance(value, np.ndarray) else type(value).__name__
            raise BrokenClauseError(
                "an entry of the state changes its shape or type",
                f"tick {tick}: {path}: expected {was.dtype} {was.shape}, got {got}",
            )


def _check_commands(command: Any, shape: tuple[int, int], tick: int) -> None:
    wanted = {"pitch": (shape, np.float64), "torque": (shape[:1], np.float64), "stop": (shape[:1], np.bool_)}
    for name, (like, kind) in wanted.items():
        value = getattr(command, name, None)
        array = isinstance(value, np.ndarray)
        if not array or value.shape != like or value.dtype != kind:
            got = f"{value.dtype} {value.shape}" if array else type(value).__name__
            raise BrokenClauseError(
                f"commands.{name} has the wrong shape or type",
                f"tick {tick}: expected {np.dtype(kind)} {like}, got {got}",
            )


def stays_finite(factory: Factory) -> str:
    layer = factory()
    cases = [(None, 0.0, True)]
    cases += [(name, value, True) for name in layer.needs for value in STRANGE]
    cases += [(name, np.nan, valid) for name in layer.needs for valid in (False, True)]
    for name, value, valid in cases:
        spoiled = None if name is None else told_value((name,), slice(None), value, valid)
        how = "" if name is None else f" with {name} = {value}, valid = {valid}"
        _check_finite(run(layer, machine_of(), SHORT, edit=spoiled), how)
    return ""


def _check_finite(given: Run, how: str) -> None:
    for tick, command in enumerate(given.commands):
        if not (np.all(np.isfinite(command.pitch)) and np.all(np.isfinite(command.torque))):
            raise BrokenClauseError("commands are not finite", f"tick {tick}{how}")


def stays_finite_at_the_ends_of_its_parameters(factory: Factory) -> str:
    """Each end alone, then enough mixtures that every two parameters meet at each pair of their ends."""
    kind = type(factory())
    rows = describe(kind)
    for given in ends(rows):
        try:
            layer = kind(**given)
        except InputError:
            continue  # parameters may refuse each other
        told = ", ".join(f"{name} = {value:g}" for name, value in given.items())
        try:
            _check_finite(run(layer, machine_of(), SHORT), f" with {told}")
        except LayerRaisedError as error:
            if not isinstance(error.__cause__, InputError):  # a model may be refused by a machine
                raise BrokenClauseError(error.what, f"{error.when} with {told}") from error
    return f"{len(rows)} parameters"


def ends(rows: list[Described]) -> Iterator[dict[str, float]]:
    """Yield values of parameters at their ends.

    Notes
    -----
    Derived here: two different numbers differ in some binary digit, so that taking each digit of a
    parameter's number as its end, and the digit's opposite, and all low, and all high, brings every two
    parameters to all four pairs of their ends in 2 + 2 ceil(log2 n) mixtures.
    """
    yield from ({row.name: end} for row in rows for end in (row.low, row.high))
    if len(rows) < 2:
        return
    yield {row.name: row.low for row in rows}
    yield {row.name: row.high for row in rows}
    for digit in range((len(rows) - 1).bit_length()):
        for one in (0, 1):
            yield {
                row.name: row.high if number >> digit & 1 == one else row.low
                for number, row in enumerate(rows)
            }


def asks_for_what_a_machine_can_do(factory: Factory) -> str:
    """Pitch near its range and torque near its own, on plausible readings: degrees for radians show here."""
    machine = machine_of()
    low, high = machine.fine_pitch - FURTHEST_PITCH, machine.feather_pitch + FURTHEST_PITCH
    for tick, command in enumerate(run(factory(), machine).commands):
        far = (command.pitch < low[:, None]) | (command.pitch > high[:, None])
        if far.any():
            lane, blade = np.argwhere(far)[0]
            raise BrokenClauseError(
                "it asks for pitch far beyond the stops; angles are in radians",
                f"tick {tick}: pitch[{lane}, {blade}] = {command.pitch[lane, blade]:.4g} rad, "
                f"allowed {low[lane]:.3g} to {high[lane]:.3g}",
            )
        most = MOST_TORQUE * machine.rated_torque
        far = (command.torque < -0.01 * most) | (command.torque > most)
        if far.any():
            lane = int(np.argmax(far))
            raise BrokenClauseError(
                "it asks for torque far beyond the generator's; in N m at the rotor shaft",
                f"tick {tick}: torque[{lane}] = {command.torque[lane]:.4g}, allowed 0 to {most[lane]:.3g}",
            )
    return ""


def passes_a_stop_on(factory: Factory) -> str:
    def stopped(below: Commands, tick: int) -> Commands:
        stop = below.stop.copy()
        stop[STOPPED] = tick >= 10
        return replace(below, stop=stop)

    for tick, command in enumerate(run(factory(), machine_of(), SHORT, below=stopped).commands):
        if tick >= 10 and not command.stop[STOPPED]:
            raise BrokenClauseError(
                "it takes back the emergency stop that a layer below asks for",
                f"tick {tick}: below.stop[{STOPPED}] is True, commands.stop[{STOPPED}] is False",
            )
    return ""


def recovers_from_lost_readings(factory: Factory) -> str:
    layer, machine = factory(), machine_of()
    clean = dict(leaves(run(layer, machine).state))
    for name in layer.needs:
        lost = dict(leaves(run(layer, machine, edit=_gap(name)).state))
        for path, value in lost.items():
            if value.dtype.kind == "f" and np.any(np.isfinite(clean[path]) & ~np.isfinite(value)):
                raise BrokenClauseError(
                    "its state stays nan after readings were lost for some ticks; hold the last good value",
                    f"{name} lost at ticks 20 to 24: state {path} after tick {STEPS - 1}",
                )
    return ""


def _gap(name: str) -> Callable[[Readings, int], Readings]:
    lose = told_value((name,), slice(None), np.nan, False)
    return lambda seen, tick: lose(seen, tick) if 20 <= tick < 25 else seen
