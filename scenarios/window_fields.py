"""Which turbulent field does a sampled window meet, and how is it moved to a near one?

A field is linear in its standard normals. So a sample moved by length s is sqrt(1 - s^2) times its parent's
field plus s times a fresh one, and is told by its parents, lengths and keys instead of by its normals.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.case import canonical
from sim.wind.field import COMPONENTS, fill_box
from sim.wind.grid import BOX_REACH, BoxGrid
from sim.wind.spec import WindSpec

Floats = NDArray[Any]

FIELD_S = 120.0
"""Time that a field is made for [s], of which a window meets the start: what is slower than this varies as if
its period were this."""


class Fields:
    """The fields and identities of the samples of one stratum, by the number of their evaluation.

    Parameters
    ----------
    key : str
        Of the stratum and its sampling.
    wind : WindSpec
        Its speed, scale and model make the spectra.
    rotor_radius : float [m]
    duration : float [s]
        Of a window.
    """

    def __init__(self, key: str, wind: WindSpec, rotor_radius: float, duration: float) -> None:
        size = 2.0 * rotor_radius * BOX_REACH
        self.grid = BoxGrid(width=size, height=size, duration=max(FIELD_S, duration))
        self.steps = BoxGrid(width=size, height=size, duration=duration).samples
        self.key, self.wind = key, wind
        self._kept: dict[int, Floats] = {}
        self.identities: list[int] = []

    def fresh(self, number: int) -> Floats:
        """Return the field of this evaluation's own normals: (step, component, point) float32."""
        keys = [_words(self.key, "field", number, part)[:2] for part in range(COMPONENTS)]
        grid, wind = self.grid, self.wind
        made = np.empty((grid.period_samples, COMPONENTS, grid.nz, grid.ny), np.float32)
        fill_box(made, wind.model, keys, wind.speed, wind.turbulence_scale, grid)
        cut = made[: self.steps].reshape(self.steps, COMPONENTS, -1)
        return cut[:, :1].copy() if self.wind.model == "longitudinal" else cut.copy()

    def move(self, number: int, parent: int, length: float) -> Floats:
        """Make the field of an evaluation from that of its parent.

        Parameters
        ----------
        number : int
            Of the evaluation; they come in order.
        parent : int
            Evaluation whose field is still kept; -1 for a field of its own.
        length : float [-]
        """
        box = self.fresh(number)
        if parent >= 0:
            box *= np.float32(length)
            box += np.float32(sqrt(1.0 - length**2)) * self._kept[parent]
        self.identities.append(self._identity(number, parent, length))
        return box

    def _identity(self, number: int, parent: int, length: float) -> int:
        """Return the identity of the sensors' noise: the parent's, or a fresh one as often as moves are long.

        Notes
        -----
        Any fixed chance keeps the law of independent noise. Where logic acts or not by a hair, fresh noise
        undoes most of what the parent had come to: with even odds short moves were hardly ever kept.
        """
        words = _words(self.key, "noise", number, 0)
        is_fresh = parent < 0 or words[1] < length * 2.0**64
        return words[0] if is_fresh else self.identities[parent]

    def keep(self, boxes: Mapping[int, Floats], wanted: set[int]) -> None:
        """Keep the fields of those evaluations that may still be parents, and forget all others."""
        self._kept |= boxes
        self._kept = {number: box for number, box in self._kept.items() if number in wanted}


def whole(boxes: Sequence[Floats]) -> Floats:
    """Return fields side by side as the kernels want them: (box, step, component point) float32."""
    steps, parts, points = boxes[0].shape
    joined = np.zeros((len(boxes), steps, COMPONENTS, points), np.float32)
    for row, box in zip(joined, boxes, strict=True):
        row[:, :parts] = box
    return joined.reshape(len(boxes), steps, -1)


def _words(*told: Any) -> tuple[int, int]:
    raw = hashlib.sha256(canonical(list(told)).encode()).digest()
    return int.from_bytes(raw[:8], "little"), int.from_bytes(raw[8:16], "little")
