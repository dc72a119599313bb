"""How many cycles of a given range does a material bear?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StressCurve:
    """A line of cycles to failure against range, straight in logarithms, with one knee.

    Parameters
    ----------
    knee_range : float [any]
        Range at the knee, in the unit of the loads.
    knee_cycles : float [-]
        Cycles to failure at that range.
    exponent : float [-]
        Slope above the knee, at least 1.
    exponent_below : float [-], optional
        Slope below the knee, at least 1; the same slope if left out; infinity for an endurance limit.

    Raises
    ------
    InputError
        Where a slope is below 1, or the knee is not positive.
    """

    knee_range: float
    knee_cycles: float
    exponent: float
    exponent_below: float | None = None

    def __post_init__(self) -> None:
        for key in ("knee_range", "knee_cycles"):
            if not 0.0 < getattr(self, key) < np.inf:
                raise InputError(f"stress curve: {key} = {getattr(self, key)}; must be > 0")
        check_exponent(self.exponent, "stress curve: exponent")
        if self.exponent_below is not None and not self.exponent_below >= 1.0:
            raise InputError(f"stress curve: exponent_below = {self.exponent_below}; must be >= 1")

    def cycles_to_failure(self, ranges: ArrayLike) -> Floats:
        """Return N(S) = N_k (S_k / S)^m, infinite for a range of zero.

        Parameters
        ----------
        ranges : (cycle,) float64 [any]

        Returns
        -------
        (cycle,) float64 [-]
        """
        span = np.asarray(ranges, dtype=np.float64)
        below = self.exponent if self.exponent_below is None else self.exponent_below
        exponent = np.where(span > self.knee_range, self.exponent, below)
        with np.errstate(divide="ignore", over="ignore"):
            ratio = self.knee_range / span
            life = np.where(ratio == 1.0, self.knee_cycles, self.knee_cycles * ratio**exponent)
        return life


def check_exponent(exponent: float, name: str) -> None:
    """Refuse an exponent of a damage sum that is below 1, with the name that its user knows.

    Raises
    ------
    InputError
        Where the exponent is below 1, infinite or not a number.
    """
    if not 1.0 <= exponent < np.inf:
        raise InputError(f"{name} = {exponent}; must be >= 1")
