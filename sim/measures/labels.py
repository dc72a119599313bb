"""Which question does each case answer: kind of condition, name, wind speed, number of the seed or phase?"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError

KINDS = ("turbulence", "event", "steady", "fault")

SWEPT = MappingProxyType({"event": "gusts", "steady": "steady wind"})
"""Kinds that have no seeds, and the stratum of each: their shares are no probabilities."""


@dataclass(frozen=True)
class Labels:
    """Names of the cases of one entry, one row per case.

    Parameters
    ----------
    kind : (case,) str
        "turbulence" (seeds), "event" (a deterministic gust at several rotor phases), "steady" (a wind that
        does not change: one case) or "fault" (a fault in turbulence).
    condition : (case,) str
        Load case, like "normal turbulence".
    speed : (case,) float64 [m/s]
        Mean wind speed at hub height.
    number : (case,) int64
        Number of the seed or of the phase.

    Raises
    ------
    InputError
        Where lengths differ or a kind is unknown.
    """

    kind: NDArray
    condition: NDArray
    speed: NDArray
    number: NDArray

    def __post_init__(self) -> None:
        sizes = {np.size(column) for column in (self.kind, self.condition, self.speed, self.number)}
        if len(sizes) > 1:
            raise InputError(f"labels: columns have different lengths {sorted(sizes)}")
        for kind in np.unique(np.asarray(self.kind, dtype=str)):
            if kind not in KINDS:
                raise InputError(f"labels: kind = {kind}; allowed: {', '.join(KINDS)}")

    @property
    def size(self) -> int:
        """How many cases there are."""
        return int(np.size(self.kind))

    def bins(self) -> tuple[NDArray[np.int64], list[tuple[str, str, float]]]:
        """Gather the cases that differ only in seed or phase.

        Returns
        -------
        group : (case,) int64
            Number of the bin of each case, in order of first appearance.
        names : list of (kind, condition, speed)
            One for each bin.
        """
        found: dict[tuple[str, str, float], int] = {}
        group = np.empty(self.size, dtype=np.int64)
        rows = zip(self.kind, self.condition, self.speed, strict=True)
        for case, (kind, condition, speed) in enumerate(rows):
            group[case] = found.setdefault((str(kind), str(condition), float(speed)), len(found))
        return group, list(found)

    def strata(self) -> list[str]:
        """Return the stratum of wind of each case, over which rates may be pooled.

        Returns
        -------
        list of str
            All deterministic events are "gusts", all steady winds "steady wind"; each condition in turbulence
            is a stratum of its own, and a fault is never pooled with the sound machine.
        """
        rows = zip(self.kind, self.condition, strict=True)
        return [_stratum(str(kind), str(condition)) for kind, condition in rows]


def _stratum(kind: str, condition: str) -> str:
    if kind in SWEPT:
        return SWEPT[kind]
    return f"fault: {condition}" if kind == "fault" else condition
