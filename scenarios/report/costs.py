"""What does a page say of what the logic costs to compute?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.report.page import Row, Section, Table, Text
from scenarios.studies.cost import layers_words

NUMBERS = ("logic_us", "yardsticks", "share_of_wall_time")
HEAD = ["stack", "a call [us]", "over the numpy yardstick", "share of the wall time", "its layers alone"]


def cost_sections(cost: Mapping[str, Mapping[str, Any]]) -> list[Section]:
    """Return the section on cost, none where nothing was timed.

    Parameters
    ----------
    cost : mapping of entries to what `scenarios.studies.cost.StackCost.data` gives
    """
    if not cost:
        return []
    rows = [
        Row([name, *(f"{item[key]:.3g}" for key in NUMBERS), layers_words(item["layer_yardsticks"])])
        for name, item in cost.items()
    ]
    lanes = next(iter(cost.values()))["lanes"]
    note = (
        f"Timed on this machine, {lanes} lanes side by side; the yardstick is a fixed piece of numpy work. A "
        "call of the stack holds the checks of what its layers return; beside it the layers alone, over the "
        "yardstick."
    )
    slow = [name for name, item in cost.items() if item["slow"]]
    warning = [Text(f"Slow: {', '.join(slow)}.")] if slow else []
    return [Section("What the logic costs to compute", [Text(note), Table(HEAD, rows), *warning])]
