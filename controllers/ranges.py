"""Which factor holds in which range of pitch, and do the ranges leave a gap?"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from sim.errors import InputError
from sim.interface import Array

LOWEST_DEG, HIGHEST_DEG = 0.0, 30.0
"""Pitch above fine that a schedule must cover: from there to beyond the steady pitch at cut-out [deg]."""
_RANGE = re.compile(r"^\s*(-?[\d.]+)\s*\.\.\s*(-?[\d.]+)\s*:\s*([\d.]+)\s*$")


@dataclass(frozen=True)
class Ranges:
    """A factor that is constant in each range of pitch.

    Parameters
    ----------
    starts : tuple of float [rad] - of each range, above fine pitch, rising
    factors : tuple of float [-]
    """

    starts: tuple[float, ...]
    factors: tuple[float, ...]

    def at(self, pitch: Array) -> Array:
        """Return the factor at a pitch above fine [rad]; below the first range that of the first."""
        value = np.full(pitch.shape, self.factors[0])
        for start, factor in zip(self.starts[1:], self.factors[1:], strict=True):
            value = np.where(pitch >= start, factor, value)
        return value


@lru_cache
def read_ranges(layer: str, name: str, text: str) -> Ranges:
    """Read ``"0..6: 1.0, 6..30: 0.5"``: ranges of pitch above fine [deg] and the factor in each.

    Raises
    ------
    InputError
        It does not read as ranges, a range is empty, a factor lies outside 0 to 10, two ranges overlap or
        leave a gap, or they do not cover 0 to 30 degrees.
    """

    def refuse(reason: str) -> InputError:
        return InputError(f"layer {layer}: {name} = '{text}'; {reason}")

    found = []
    for part in text.split(","):
        match = _RANGE.match(part)
        if match is None:
            raise refuse(
                f"'{part.strip()}' is no range; write 'from..to: factor' as in '0..6: 1.0, 6..30: 0.5'"
            )
        try:
            low, high, factor = (float(group) for group in match.groups())
        except ValueError as error:
            raise refuse(f"'{part.strip()}' holds no number: {error}") from error
        if not (low < high and 0.0 <= factor <= 10.0):
            raise refuse(f"'{part.strip()}': a range must rise and its factor lie from 0 to 10")
        found.append((low, high, factor))
    found.sort()
    for (_, end, _), (start, _, _) in pairwise(found):
        if start != end:
            kind = "leave a gap" if start > end else "overlap"
            low, high = sorted((start, end))
            raise refuse(f"the ranges {kind} from {low:g} to {high:g} deg; begin each where the last ends")
    if found[0][0] > LOWEST_DEG or found[-1][1] < HIGHEST_DEG:
        raise refuse(
            f"the ranges leave a gap: they cover {found[0][0]:g} to {found[-1][1]:g} deg and must cover "
            f"{LOWEST_DEG:g} to {HIGHEST_DEG:g}"
        )
    starts = tuple(float(np.deg2rad(low)) for low, _, _ in found)
    return Ranges(starts, tuple(factor for _, _, factor in found))
