"""What is claimed when a level is said to be exceeded once in a return period?"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from sim.errors import InputError
from sim.measures.lifetime import HOURS_PER_YEAR

FIFTY_YEARS = 50.0 * HOURS_PER_YEAR * 3600.0  #: [s]
#: Wanted half width of an interval, as a share of the way from the median to the level (our choice).
WANTED_HALF_WIDTH = 0.2


@dataclass(frozen=True)
class ReturnLevel:
    """A level that is exceeded once in the return period, with its interval.

    Parameters
    ----------
    level, low, high : float [any]
    exceedance : float [-]
        Probability that one block, or one peak, exceeds the level.
    samples : int
        Blocks or peaks behind it.
    method : str
    warning : str
        Why the claim does not carry; empty where it does.
    """

    level: float
    low: float
    high: float
    exceedance: float
    samples: int
    method: str
    warning: str

    @property
    def interval(self) -> tuple[float, float]:
        """Its ends, low and high."""
        return self.low, self.high


def block_exceedance(exposure_s: float, return_period_s: float = FIFTY_YEARS) -> float:
    """Return the chance that one block exceeds the level of the return period: exposure over period.

    Parameters
    ----------
    exposure_s, return_period_s : float [s]
        Length of a block, shorter than the return period.

    Returns
    -------
    float [-]

    Raises
    ------
    InputError
        Where the block is not shorter than the period.
    """
    if not 0.0 < exposure_s < return_period_s < np.inf:
        raise InputError(f"exposure_s = {exposure_s}; must lie between 0 and {return_period_s:g} s")
    return exposure_s / return_period_s


def explain_width(level: float, half_width: float, median: float, number: int) -> str:
    """Return a warning where the interval of a level is too wide for a claim, else an empty text.

    Parameters
    ----------
    level, half_width, median : float [any]
    number : int
        Samples behind the level.

    Returns
    -------
    str
    """
    reach = abs(level - median)
    share = half_width / reach if reach > 0.0 else np.inf
    if share <= WANTED_HALF_WIDTH:
        return ""
    if not np.isfinite(share):
        return f"{number} samples do not carry this level: its interval is open"
    wanted = ceil(number * (share / WANTED_HALF_WIDTH) ** 2)
    return (
        f"{number} samples do not carry this level: the interval is +-{100.0 * share:.0f} % of the way from "
        f"the median to it; about {wanted} would bring it to {100.0 * WANTED_HALF_WIDTH:.0f} %"
    )
