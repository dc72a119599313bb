"""Does a limit state jump between near samples, so that a region may hide behind the jump?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SHARP = 6.0
"""Largest change over the typical one from which a limit state is said to jump: planes, spheres and several
regions stay below 5.6 with up to 1000 samples a level (measured here)."""


def sharpest(changes: ArrayLike) -> float:
    """Return the largest change of a limit state over the typical one, both from their median.

    Parameters
    ----------
    changes : (move,) float64 [any]
        Of the limit state from each sample to one that was made by a small move, over the move's length.

    Returns
    -------
    float [-]
        0 where fewer than 20 are finite or nothing changes.

    Notes
    -----
    max |d - median| / (1.4826 median |d - median|): the deviation is that of a normal law without its tails,
    as small moves in a smooth limit state have it. A limit state that jumps, or bends very sharply, has rare
    changes far beyond.

    References
    ----------
    F. R. Hampel, "The influence curve and its role in robust estimation", JASA 69 (1974) 383-393 (median
    absolute deviation; from memory).
    """
    told = np.asarray(changes, dtype=np.float64)
    told = told[np.isfinite(told)]
    if told.size < 20:
        return 0.0
    apart = np.abs(told - np.median(told))
    typical = 1.4826 * float(np.median(apart))
    return float(np.max(apart)) / typical if typical > 0.0 else 0.0


def jump_warning(levels: Sequence[float]) -> str:
    """Return what must be said of a limit state with these sharpest changes of its levels, or nothing."""
    worst = max(levels, default=0.0)
    if worst <= SHARP:
        return ""
    return (
        f"the limit state jumps between near samples (by {worst:.0f} times the typical change): a region "
        "that shows only behind such a jump may be missed, and the interval holds less often; sample by event"
    )
