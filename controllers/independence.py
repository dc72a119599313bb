"""What must a layer's answer not depend on: other lanes, earlier calls, clocks, dice, files, its process?"""

from __future__ import annotations

import copy
import pickle
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from controllers.clauses import STOPPED, STRANGE, Factory
from controllers.cost import cost_per_call, yardstick
from controllers.made_up import commands, difference, readings, spoil
from controllers.scalar import OneLane
from controllers.trials import (
    LANES,
    SHORT,
    STEPS,
    BrokenClauseError,
    aged,
    call,
    compare,
    machine_of,
    run,
    told_value,
)
from controllers.watched import module_of, watched
from sim.interface import SENSED, Commands, Readings

MANY, TIMED_LANES = 65, 64
"""Lanes of the large batch, no whole number of what a processor adds at once; lanes of the timing."""
SLOWEST, SLOWEST_ONE_LANE = 30.0, 120.0
"""Times the yardstick; more for logic that handles one lane at a time, and is known to cost more."""


def keeps_its_memory_in_the_state(factory: Factory) -> str:
    machine, layer = machine_of(), factory()
    first = run(layer, machine)
    compare(first, run(layer, machine), "the same run a second time gives another answer")
    compare(first, run(factory(), machine), "a fresh layer gives another answer")
    seen, below = readings(machine, STEPS), commands(machine, STEPS)
    once = call(layer.step, f"tick {STEPS}", copy.deepcopy(first.state), seen, below, below)
    twice = call(layer.step, f"tick {STEPS}", copy.deepcopy(first.state), seen, below, below)
    said = difference(list(once), list(twice))
    if said:
        raise BrokenClauseError("the same state stepped twice gives two answers", f"tick {STEPS}: {said}")
    run(layer, machine_of(LANES - 2, 2), 2)
    after = call(layer.step, f"tick {STEPS}", copy.deepcopy(first.state), seen, below, below)
    said = difference(list(once), list(after))
    if said:
        raise BrokenClauseError(
            "the same state stepped after the layer began on other machines gives another answer",
            f"tick {STEPS}: {said}",
        )
    return ""


def leaves_its_inputs_alone(factory: Factory) -> str:
    """Good and lost readings by turns, so that a lost one that is overwritten shows too."""
    machine, layer = machine_of(), factory()
    known, state = copy.deepcopy(machine), None
    for tick in range(STEPS):
        given = {"readings": _patchy(tick), "below": commands(machine, tick)}
        given |= {"reference": commands(machine, tick), "known": known}
        clean = copy.deepcopy(given) | {"known": machine}
        if tick == 0:
            state = call(layer.init, "in init", known, given["readings"])
            _check_unchanged(given, clean, "in init")
        given["state"], clean["state"] = state, copy.deepcopy(state)
        now = given["readings"], given["below"], given["reference"]
        state, _ = call(layer.step, f"tick {tick}", state, *now)
        _check_unchanged(given, clean, f"tick {tick}")
    return ""


def _patchy(tick: int) -> Readings:
    seen = readings(machine_of(), tick)
    return spoil(seen, SENSED, np.arange(LANES) % 2 == tick % 2, np.nan, False)


def _check_unchanged(given: Mapping[str, Any], clean: Mapping[str, Any], when: str) -> None:
    said = difference(given, clean)
    if said:
        raise BrokenClauseError("an input was changed", f"{when}: {said}")


def treats_lanes_apart(factory: Factory) -> str:
    """Pairs first, for the smallest example; then all, reordered, in a large batch, beside a strange one."""
    machine, layer = machine_of(), factory()
    alone = [run(layer, machine, SHORT, pick=np.array([lane])) for lane in range(LANES)]
    groups = [list(pair) for pair in combinations(range(LANES), 2)]
    for group in [*groups, list(range(LANES)), [3, 0, 4, 2, 1]]:
        together = run(layer, machine, SHORT, pick=np.array(group))
        for place, lane in enumerate(group):
            what = f"lane {lane} gives another answer beside others than alone"
            compare(together.of([place]), alone[lane], what, f", lanes {group} and lane {lane} alone")
    many, count = machine_of(MANY), SHORT
    together = run(layer, many, count)
    for lane in (0, MANY // 2, MANY - 1):
        one = run(layer, many, count, pick=np.array([lane]))
        what = f"lane {lane} gives another answer beside others than alone"
        compare(together.of([lane]), one, what, f", {MANY} lanes and lane {lane} alone")
    _bears_a_strange_neighbour(factory)
    return ""


def _bears_a_strange_neighbour(factory: Factory) -> None:
    machine, layer = machine_of(), factory()
    others = [lane for lane in range(LANES) if lane != STOPPED]
    clean = run(layer, machine, SHORT).of(others)
    for value in STRANGE:
        odd = run(layer, machine, SHORT, edit=told_value(SENSED, STOPPED, value, True)).of(others)
        what = f"what lane {STOPPED} reads changes other lanes"
        compare(odd, clean, what, f" with all sensors of lane {STOPPED} at {value:g} and as usual")
    odd = run(layer, machine, SHORT, below=_strange_below).of(others)
    compare(
        odd, clean, f"what lane {STOPPED} is told to do changes other lanes", f" with lane {STOPPED} stopped"
    )


def _strange_below(below: Commands, tick: int) -> Commands:
    pitch, torque, stop = below.pitch.copy(), below.torque.copy(), below.stop.copy()
    pitch[STOPPED], torque[STOPPED], stop[STOPPED] = 1.5, 0.0, True
    return replace(below, pitch=pitch, torque=torque, stop=stop)


def keeps_nan_in_its_lane(factory: Factory) -> str:
    machine, layer = machine_of(), factory()
    others = [lane for lane in range(LANES) if lane != STOPPED]
    clean = run(layer, machine).of(others)
    spoiled = run(layer, machine, edit=told_value(SENSED, STOPPED, np.nan, False)).of(others)
    compare(clean, spoiled, f"nan in lane {STOPPED} changes another lane")
    return ""


def reads_only_what_it_needs(factory: Factory) -> str:
    machine, layer = machine_of(), factory()
    clean = run(layer, machine, SHORT)
    for name in (name for name in SENSED if name not in layer.needs):
        for value, valid in ((np.nan, False), *((value, True) for value in STRANGE)):
            edit = aged(told_value((name,), slice(None), value, valid), (name,), 0.0 if valid else 9.0)
            what = f"it reads {name}, which needs does not list"
            compare(
                clean, run(layer, machine, SHORT, edit=edit), what, f" with {name} as usual and at {value:g}"
            )
    return ""


def asks_no_clock(factory: Factory) -> str:
    return _asks_no("clock", factory)


def draws_no_random_numbers(factory: Factory) -> str:
    return _asks_no("random", factory)


def touches_no_files(factory: Factory) -> str:
    return _asks_no("file", factory)


def _asks_no(kind: str, factory: Factory) -> str:
    module = module_of(factory())
    with watched(module) as asked:
        layer = factory()
        asked["file"].clear()  # the layer's own source
        made = len(asked[kind])
        run(layer, machine_of(), 20)
    if asked[kind]:
        when = "when it is made" if made else "in 20 ticks"
        calls = made or len(asked[kind])
        raise BrokenClauseError(
            f"it calls {asked[kind][0]}", f"{calls} {'call' if calls == 1 else 'calls'} {when}"
        )
    return ""


def pickles(factory: Factory) -> str:
    layer, machine = factory(), machine_of()
    try:
        other = pickle.loads(pickle.dumps(layer))
    except Exception as error:
        raise BrokenClauseError("the layer does not pickle", f"{type(error).__name__}: {error}") from error
    compare(run(layer, machine, SHORT), run(other, machine, SHORT), "its pickle acts otherwise")
    if is_dataclass(layer) and asdict(type(layer)(**asdict(layer))) != asdict(layer):
        raise BrokenClauseError("its parameters do not survive a round trip", repr(layer))
    return ""


def is_quick_enough(factory: Factory) -> str:
    layer, machine = factory(), machine_of(TIMED_LANES)
    cost = cost_per_call(layer, machine) / yardstick(TIMED_LANES)
    said = f"{cost:.1f} times the numpy yardstick at {TIMED_LANES} lanes"
    most = SLOWEST_ONE_LANE if isinstance(layer, OneLane) else SLOWEST
    if cost > most:
        raise BrokenClauseError(f"slow: {said}", f"allowed: {most:g} times")
    return said
