"""What did a mast or lidar measure, as a file tells it?

Two kinds of CSV file, columns named with their units; `sim.table` says what the files look like. Directions
are compass directions that the wind comes from: they grow when the wind comes more from the left, seen
looking downwind, so they keep their sign here.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.table import Column, Table, read_table
from sim.wind.atmosphere import Profile
from sim.wind.gusts import DIRECTION, SPEED, TRANSIENT_STEP

GAP = 1.5
"""A step of time longer than this many usual steps is a gap."""

_SPEED = Column("speed_m_s", "horizontal wind speed", low=0.0, high=100.0)
_DIRECTION = Column("direction_deg", "where the wind comes from", low=-360.0, high=720.0, required=False)
PROFILE_COLUMNS = (
    Column("height_m", "height above ground", low=0.0, low_is_open=True),
    _SPEED,
    _DIRECTION,
)
SERIES_COLUMNS = (Column("time_s", "time"), _SPEED, _DIRECTION)


def read_profile(path: Path | str) -> Profile:
    """Read a measured profile: ``height_m``, ``speed_m_s`` and, if measured, ``direction_deg``.

    Returns
    -------
    Profile
        Directions in radians, unwrapped; zero where the file has none.

    Raises
    ------
    InputError
        With file and line: unreadable file, unknown or missing column (a wrong unit is one), a cell that is
        no number or out of range, heights that do not rise, fewer than two rows.
    """
    table = read_table(Path(path), PROFILE_COLUMNS, rising="height_m", least_rows=2)
    return Profile(table["height_m"], table["speed_m_s"], _directions(table))


@dataclass(frozen=True)
class Series:
    """A measured time series at the hub.

    Parameters
    ----------
    time : (n,) float64 [s]
        Rising; only differences count.
    speed : (n,) float64 [m/s]
    direction : (n,) float64 [rad]
        Unwrapped.
    """

    time: NDArray[Any]
    speed: NDArray[Any]
    direction: NDArray[Any]

    @property
    def duration(self) -> float:
        """Time from the first to the last row [s]."""
        return float(self.time[-1] - self.time[0])

    @property
    def mean_speed(self) -> float:
        """Mean over time, not over rows [m/s]."""
        return float(np.trapezoid(self.speed, self.time)) / self.duration

    @property
    def mean_direction(self) -> float:
        """Mean over time of the unwrapped direction [rad]."""
        return float(np.trapezoid(self.direction, self.time)) / self.duration

    def digest(self) -> str:
        """Return what tells this series from others: sixteen hexadecimal digits of its numbers."""
        content = np.stack([self.time - self.time[0], self.speed, self.direction])
        return hashlib.sha256(content.astype("<f8").tobytes()).hexdigest()[:16]

    def table(self) -> NDArray[Any]:
        """Return the series as an event (row, 4) around its means, as `sim.wind.gusts` describes events.

        Notes
        -----
        Linear between the file's rows. The machine is taken to stand to the mean direction: a standing yaw
        error is a property of the wind's spec.
        """
        rows = math.floor(self.duration / TRANSIENT_STEP + 1e-6) + 1
        times = self.time[0] + TRANSIENT_STEP * np.arange(rows)
        table = np.zeros((rows, 4))
        table[:, SPEED] = np.interp(times, self.time, self.speed) - self.mean_speed
        table[:, DIRECTION] = np.interp(times, self.time, self.direction) - self.mean_direction
        return table


def read_series(path: Path | str, duration: float | None = None) -> Series:
    """Read a measured time series: ``time_s``, ``speed_m_s`` and, if measured, ``direction_deg``.

    Parameters
    ----------
    path : the CSV file
    duration : float [s], optional
        What the series must cover at least.

    Raises
    ------
    InputError
        With file and line: what `read_profile` refuses, time that does not rise, a gap (a step longer than
        one and a half times the usual one), a series shorter than ``duration``.
    """
    table = read_table(Path(path), SERIES_COLUMNS, rising="time_s", least_rows=3)
    steps = np.diff(table["time_s"])
    usual = float(np.median(steps))
    problems = [
        table.problem(
            int(row) + 1,
            "time_s",
            f"{steps[row]:g} s after the row before, where {usual:g} s is usual; fill this gap or cut it off",
        )
        for row in np.flatnonzero(steps > GAP * usual)
    ]
    series = Series(table["time_s"], table["speed_m_s"], _directions(table))
    if duration is not None and series.duration < duration - 1e-9:
        last = len(table.lines) - 1
        told = f"the series covers {series.duration:g} s; must cover {duration:g} s"
        problems.append(table.problem(last, "time_s", told))
    if problems:
        raise InputError(problems)
    return series


def _directions(table: Table) -> NDArray[Any]:
    if "direction_deg" not in table:
        return np.zeros(len(table.lines))
    return np.unwrap(np.radians(table["direction_deg"]))
