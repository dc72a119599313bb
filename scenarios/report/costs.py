"""What does a page say of what the logic costs to compute?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.report.page import Row, Section, Table, Text

NUMBERS = ("logic_us", "yardsticks", "share_of_wall_time")
HEAD = ["stack", "a call [us]", "over the numpy yardstick", "share of the wall time"]


def cost_sections(cost: Mapping[str, Mapping[str, Any]]) -> list[Section]:
    """Return the section on cost, none where nothing was timed.

    Parameters
    ----------
    cost : mapping of entries to what `scenarios.studies.cost.StackCost.data` gives
    """
    if not cost:
        return []
    rows = [Row([name, *(f"{item[key]:.3g}" for key in NUMBERS)]) for name, item in cost.items()]
    lanes = next(iter(cost.values()))["lanes"]
    note = f"Timed on this machine, {lanes} lanes side by side; the yardstick is a fixed piece of numpy work."
    slow = [name for name, item in cost.items() if item["slow"]]
    warning = [Text(f"Slow: {', '.join(slow)}.")] if slow else []
    return [Section("What the logic costs to compute", [Text(note), Table(HEAD, rows), *warning])]
