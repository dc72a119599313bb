"""What does a stack of logic cost per call, and how much of the march's time does it take?

It is timed apart from the march, on copies of one case: results from the store were marched some other day.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from controllers.cost import cost_per_call, yardstick
from controllers.made_up import known
from controllers.registry import find
from scenarios.answer import table
from scenarios.case import Case
from scenarios.scenario import Scenario
from scenarios.simulate import make_flock, make_world

LANES = 64
"""Lanes that are marched side by side for the timing."""
WARM, TIMED, IN_A_ROW = 8, 72, 24
"""Ticks before the clock starts, ticks that are timed, and ticks of which the mean is taken: whole turns of
slow tasks.
"""
SLOW_SHARE = 0.4
"""Share of the march's time above which a stack is called slow."""


@dataclass(frozen=True)
class StackCost:
    """What the parts of the march took in a tick, each the best mean of a few ticks [s]."""

    sensing: float
    logic: float
    plant: float
    yardstick: float
    alone: tuple[
        float, ...
    ] = ()  #: of each layer, without the stack's checks; none where one is a user's own

    @property
    def layers(self) -> list[float]:
        """What each layer costs without the stack's checks, in yardsticks."""
        return [layer / self.yardstick for layer in self.alone]

    @property
    def share(self) -> float:
        """The logic's share of the wall time [-]."""
        return self.logic / (self.sensing + self.logic + self.plant)

    @property
    def sensing_share(self) -> float:
        """What sensors and faults add to the rest of the march [-]."""
        return self.sensing / (self.logic + self.plant)

    def data(self) -> dict[str, Any]:
        """Return the cost for machines."""
        return {
            "lanes": LANES,
            "logic_us": self.logic * 1e6,
            "yardstick_us": self.yardstick * 1e6,
            "yardsticks": self.logic / self.yardstick,
            "layer_yardsticks": self.layers,
            "share_of_wall_time": self.share,
            "sensing_over_rest": self.sensing_share,
            "slow": self.share > SLOW_SHARE,
        }


def measure(case: Case, lanes: int = LANES) -> StackCost:
    """March copies of a case for some ticks and time its parts.

    Parameters
    ----------
    case : Case
    lanes : int

    Notes
    -----
    The yardstick is about 60 elementwise numpy operations on the same number of lanes. Times are the least
    mean of a few ticks in a row: a busy neighbour makes them larger, never smaller, and a layer may be slow
    at every second or third call only.
    """
    from sim.flock import empty_log

    cases = [case] * lanes
    world, design_of, wind_of = make_world(cases[:1], duration=(WARM + TIMED + 2) * case.run.period)
    flock = make_flock(cases, world, design_of, wind_of)
    log = empty_log(lanes, 0, WARM + TIMED + 2, turning=True, period=case.run.period)
    with np.errstate(all="ignore"):
        rows = np.array([_tick(flock, log) for _ in range(WARM + TIMED)][WARM:])
    sensing, logic, plant = rows.reshape(-1, IN_A_ROW, 3).mean(axis=1).min(axis=0).tolist()
    return StackCost(sensing, logic, plant, yardstick(lanes), _alone(case, lanes))


def _alone(case: Case, lanes: int) -> tuple[float, ...]:
    """Time each layer of a stack by itself on made-up machines, with its defaults."""
    if any(layer.source for layer in case.stack):
        return ()
    machine = known(lanes, case.blade_count)
    return tuple(cost_per_call(find(layer.name), machine) for layer in case.stack)


def costs_of(
    scenario: Scenario, failed: Sequence[Mapping[str, str]], *, all_stacks: bool
) -> tuple[dict[str, StackCost], list[str]]:
    """Time the stacks of a scenario's entries.

    Parameters
    ----------
    scenario : Scenario
    failed : as of `scenarios.studies.study.Study`
    all_stacks : bool
        Or only those with a layer of the user's own.

    Returns
    -------
    costs : dict
        By entry.
    untimed : list of str
        Entries of which a case failed: their logic may never return.
    """
    troubled = {row["entry"] for row in failed}
    asked = [entry for entry in scenario.entries if all_stacks or any(layer.source for layer in entry.stack)]
    sound = [entry for entry in asked if entry.name not in troubled]
    untimed = [entry.name for entry in asked if entry.name in troubled]
    return {entry.name: measure(scenario.first_case_of(entry)) for entry in sound}, untimed


def _tick(flock: Any, log: Any) -> tuple[float, float, float]:
    start = time.perf_counter()
    seen = flock.sense()
    sensed = time.perf_counter()
    commands, reference, _ = flock.decide(seen)
    acting = flock.acting(commands, reference)
    decided = time.perf_counter()
    flock.advance(log, commands, acting)
    return sensed - start, decided - sensed, time.perf_counter() - decided


def layers_words(layers: Sequence[float]) -> str:
    """Write what the layers of a stack cost, from the lowest up."""
    return " + ".join(f"{layer:.1f}" for layer in layers) or "-"


def cost_data(costs: Mapping[str, StackCost]) -> dict[str, Any]:
    """Return the costs for machines, by entry."""
    return {name: cost.data() for name, cost in costs.items()}


def cost_text(costs: Mapping[str, StackCost], untimed: Sequence[str] = ()) -> str:
    """Return the costs for people; a slow stack is named with its share of the time."""
    rows = [
        [
            name,
            f"{cost.logic * 1e6:.0f}",
            f"{cost.logic / cost.yardstick:.1f}",
            layers_words(cost.layers),
            f"{cost.share:.0%}",
        ]
        for name, cost in costs.items()
    ]
    head = ["stack", "us a call", "yardsticks", "its layers alone", "of the wall time"]
    title = (
        f"What a call costs at {LANES} lanes, in microseconds and against a fixed piece of numpy work; the "
        "stack's holds the checks of what its layers return:"
    )
    lines = [title, table(head, rows)] if rows else []
    slow = [f"{name} ({cost.share:.0%})" for name, cost in costs.items() if cost.share > SLOW_SHARE]
    if slow:
        lines.append(f"slow, of the wall time: {', '.join(slow)}; whole arrays are faster than loops")
    if untimed:
        lines.append(f"not timed, for cases of it failed: {', '.join(untimed)}")
    return "\n".join(lines)
