"""What does a stack of logic cost per call, and how much of the march's time does it take?"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from controllers.cost import yardstick
from scenarios.answer import table
from scenarios.case import Case
from scenarios.simulate import make_flock, make_world
from sim.counting import empty_log
from sim.flock import Flock

LANES = 64
"""Lanes that are marched side by side for the timing."""
WARM, TIMED = 8, 60
"""Ticks before the clock starts, and ticks that are timed."""
SLOW_SHARE = 0.4
"""Share of the march's time above which a stack is called slow."""


@dataclass(frozen=True)
class StackCost:
    """What the parts of the march took, each the best of many ticks [s]."""

    sensing: float
    logic: float
    plant: float
    yardstick: float

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
    The yardstick is about 60 elementwise numpy operations on the same number of lanes. Times are the least of
    the ticks: a busy neighbour makes them larger, never smaller.
    """
    cases = [case] * lanes
    world, design_of, wind_of = make_world(cases[:1], duration=(WARM + TIMED + 2) * case.run.period)
    flock = make_flock(cases, world, design_of, wind_of)
    log = empty_log(lanes, 0, WARM + TIMED + 2, turning=True, period=case.run.period)
    rows = [_tick(flock, log) for _ in range(WARM + TIMED)][WARM:]
    sensing, logic, plant = (min(row[part] for row in rows) for part in range(3))
    return StackCost(sensing, logic, plant, yardstick(lanes))


def _tick(flock: Flock, log: Any) -> tuple[float, float, float]:
    start = time.perf_counter()
    seen = flock.sense()
    sensed = time.perf_counter()
    commands, reference, _ = flock.decide(seen)
    acting = flock.acting(commands, reference)
    decided = time.perf_counter()
    flock.advance(log, commands, acting)
    return sensed - start, decided - sensed, time.perf_counter() - decided


def cost_text(names: Sequence[str], costs: Sequence[StackCost]) -> str:
    """Return the costs for people; a slow stack is named."""
    rows = [
        [name, f"{cost.logic * 1e6:.0f}", f"{cost.logic / cost.yardstick:.1f}", f"{cost.share:.0%}"]
        for name, cost in zip(names, costs, strict=True)
    ]
    told = table(["stack", "us a call", "yardsticks", "of the wall time"], rows)
    slow = [name for name, cost in zip(names, costs, strict=True) if cost.share > SLOW_SHARE]
    warning = (
        f"\nslow: {', '.join(slow)}; whole arrays instead of loops over lanes are faster" if slow else ""
    )
    return (
        f"What a call costs at {LANES} lanes, in microseconds and against a fixed piece of numpy work:\n"
        f"{told}{warning}"
    )
