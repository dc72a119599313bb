"""How do the standard's deterministic events run in time?

An event is a table with one row each ``TRANSIENT_STEP`` seconds and four columns: added speed [m/s], added
direction [rad], added vertical gradient [1/s] (times height above the hub), added horizontal gradient [1/s]
(times y). Before the start row 0 holds, after the end the last row.

References
----------
IEC 61400-1:2005 and :2019, clause 6.3.3 (extreme wind conditions); time functions from memory.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.wind.standard import COHERENT_PERIOD, DIRECTION_PERIOD, GUST_PERIOD, SHEAR_PERIOD

TRANSIENT_STEP = 0.02
"""[s] between rows; divides every period of the standard's events."""

SPEED, DIRECTION, VERTICAL, HORIZONTAL = range(4)
"""Columns of a table."""


def _clock(period: float) -> tuple[NDArray[Any], NDArray[Any]]:
    rows = round(period / TRANSIENT_STEP) + 1
    share = np.linspace(0.0, 1.0, rows)
    return share, np.zeros((rows, 4))


def operating_gust(amplitude: float) -> NDArray[Any]:
    """Return the table (526, 4) of an operating gust of Vgust = ``amplitude`` [m/s].

    Notes
    -----
    -0.37 Vgust sin(3 pi t/T) [1 - cos(2 pi t/T)], T = 10.5 s: a dip, the gust, a dip; 0 at both ends.
    """
    share, table = _clock(GUST_PERIOD)
    table[:, SPEED] = -0.37 * amplitude * np.sin(3.0 * np.pi * share) * (1.0 - np.cos(2.0 * np.pi * share))
    table[-1] = 0.0
    return table


def direction_change(angle: float) -> NDArray[Any]:
    """Return the table (301, 4) of a direction change by ``angle`` [rad], signed, held at the end.

    Notes
    -----
    0.5 angle [1 - cos(pi t/T)], T = 6 s.
    """
    share, table = _clock(DIRECTION_PERIOD)
    table[:, DIRECTION] = 0.5 * angle * (1.0 - np.cos(np.pi * share))
    return table


def coherent_gust(speed: float, angle: float) -> NDArray[Any]:
    """Return the table (501, 4) of a coherent gust with direction change, held at the end.

    Parameters
    ----------
    speed : float [m/s]
        Height of the gust; 15 m/s in the standard.
    angle : float [rad]
        Signed direction change.

    Notes
    -----
    Speed 0.5 speed [1 - cos(pi t/T)], direction angle t/T (linear; the standard's, from memory), T = 10 s.
    """
    share, table = _clock(COHERENT_PERIOD)
    table[:, SPEED] = 0.5 * speed * (1.0 - np.cos(np.pi * share))
    table[:, DIRECTION] = angle * share
    return table


def extreme_shear(vertical: float, horizontal: float) -> NDArray[Any]:
    """Return the table (601, 4) of an extreme shear.

    Parameters
    ----------
    vertical, horizontal : float [1/s]
        Signed gradients; the largest added gradient, at half time, is twice as much. A negative vertical
        gradient means more wind low down: the one that matters for clearance.

    Notes
    -----
    gradient [1 - cos(2 pi t/T)], T = 12 s; 0 at both ends.
    """
    share, table = _clock(SHEAR_PERIOD)
    shape = 1.0 - np.cos(2.0 * np.pi * share)
    table[:, VERTICAL] = vertical * shape
    table[:, HORIZONTAL] = horizontal * shape
    table[-1] = 0.0
    return table


def stack_tables(tables: list[NDArray[Any]]) -> NDArray[Any]:
    """Return tables (k, nt, 4) padded to equal length by repeating each one's last row; (0, 1, 4) if none."""
    if not tables:
        return np.zeros((0, 1, 4))
    rows = max(len(table) for table in tables)
    return np.stack([np.pad(table, ((0, rows - len(table)), (0, 0)), mode="edge") for table in tables])
