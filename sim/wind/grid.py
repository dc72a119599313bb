"""Where and when does a turbulent field hold values?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.errors import InputError

BOX_REACH = 1.1
"""Half width of a usual box over the rotor radius."""


@dataclass(frozen=True)
class BoxGrid:
    """Where and when a box holds wind: points across the wind, centred on the hub, and time.

    Parameters
    ----------
    width, height : float [m]
        Between the outermost points.
    duration : float [s]
        Time that must be covered.
    ny, nz : int
        Points, at least 2 each.
    step : float [s]

    Raises
    ------
    InputError
        For a length or time that is not positive, or fewer than two points in a row.
    """

    width: float
    height: float
    duration: float
    ny: int = 15
    nz: int = 15
    step: float = 0.1

    def __post_init__(self) -> None:
        problems = [
            f"grid: {name} = {getattr(self, name):g}; must be above 0 and finite"
            for name in ("width", "height", "duration", "step")
            if not 0.0 < getattr(self, name) < math.inf
        ]
        problems += [
            f"grid: {name} = {getattr(self, name)}; must be at least 2"
            for name in ("ny", "nz")
            if getattr(self, name) < 2
        ]
        if problems:
            raise InputError(problems)

    @property
    def dy(self) -> float:
        """Distance between points along y [m]."""
        return self.width / (self.ny - 1)

    @property
    def dz(self) -> float:
        """Distance between points along z [m]."""
        return self.height / (self.nz - 1)

    @property
    def samples(self) -> int:
        """Time steps that are needed to interpolate at ``duration`` itself."""
        return math.ceil(round(self.duration / self.step, 6)) + 2

    @property
    def nbytes(self) -> int:
        """Memory [bytes] of a box of three components in single precision."""
        return 3 * 4 * self.period_samples * self.nz * self.ny

    @property
    def period_samples(self) -> int:
        """Steps that a box holds and then repeats: even, of factors 2, 3 and 5, 2 % beyond ``samples``."""
        length = 2 * math.ceil(0.51 * self.samples)
        while not _is_smooth(length):
            length += 2
        return length


def _is_smooth(number: int) -> bool:
    for factor in (2, 3, 5):
        while number % factor == 0:
            number //= factor
    return number == 1
