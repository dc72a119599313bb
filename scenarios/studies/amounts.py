"""How is an amount written with what is not known of it?"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.measures.logic import WORDS
from sim.measures.rates import StratumRates
from sim.measures.statistics import Interval

LEDGER_HEAD = ["passes", "broken", *WORDS]
"""What `ledger_cells` holds."""
ESTIMATED = (
    "~ estimated: where actions are many, some of them, drawn at random, were marched on without the logic; "
    "brackets hold 95 % by that draw alone. Missed and harmed are counted."
)


def number(value: float, style: str = ".2f") -> str:
    """Write a number, a dash where there is none."""
    return format(value, style) if math.isfinite(value) else "-"


def percent(interval: Interval) -> str:
    """Write a share with its interval."""
    if math.isnan(interval.value):
        return "-"
    value = _two_digits(100.0 * interval.value)
    if math.isnan(interval.low):
        return f"{value} %"
    return f"{value} ({_two_digits(100.0 * interval.low)}..{_two_digits(100.0 * interval.high)}) %"


def ratio_text(interval: Interval) -> str:
    """Write a ratio with its interval, to two digits of the interval's width and at least three decimals."""
    return _with_ends(interval, 3, 6)


def amount_text(interval: Interval) -> str:
    """Write an amount of some hundreds with its interval, in whole numbers unless that hides the interval."""
    return _with_ends(interval, 0, 3)


def _with_ends(interval: Interval, least: int, most: int) -> str:
    if math.isnan(interval.value):
        return "-"
    if math.isnan(interval.low) or interval.low == interval.high == interval.value:
        return f"{interval.value:.{least}f}"
    width = interval.high - interval.low
    digits = most if width <= 0.0 else min(max(least, 1 - math.floor(math.log10(width))), most)
    value, low, high = (f"{end:.{digits}f}" for end in (interval.value, interval.low, interval.high))
    return f"{value} ({low}..{high})"


def ledger_cells(rates: StratumRates, has_logic: bool) -> list[str]:
    """Return the counts of one stratum in the order of LEDGER_HEAD; ~ marks what forks drawn at random say.

    Without tower-pass logic there is nothing to save, to miss or to do for nothing: dashes.
    """
    counts = rates.counts
    broken = counts["missed"] + counts["harmed"]
    told = [f"{sum(counts.values()):.0f}", f"{broken:.0f}", f"{counts['quiet']:.0f}"]
    if not has_logic:
        return [*told, "-", "-", "-", "-"]
    mark = "~" if rates.is_drawn else ""
    saved = amount_text(rates.saved) if rates.is_drawn else f"{counts['saved']:.0f}"
    missed, harmed = (_count_text(counts[word]) for word in ("missed", "harmed"))
    return [*told, f"{mark}{saved}", missed, f"{mark}{counts['needless']:.0f}", harmed]


def is_estimated(cells: Sequence[str]) -> bool:
    """Say whether any of some cells is an estimate."""
    return any(cell.startswith("~") for cell in cells)


def _count_text(value: float) -> str:
    return f"{value:.0f}" if value == round(value) else f"~{value:.1f}"


def _two_digits(value: float) -> str:
    return f"{value:.0f}" if value >= 9.95 else f"{value:.2g}"
