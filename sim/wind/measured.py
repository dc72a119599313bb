"""What did a mast or lidar measure, as a file tells it?

Two kinds of CSV file, columns named with their units; `sim.table` says what the files look like. Directions
are compass directions that the wind comes from: they grow when the wind comes more from the left, seen
looking downwind, so they keep their sign here.
"""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.keyfile import read_text
from sim.table import Column, Table, read_table
from sim.wind.atmosphere import Profile
from sim.wind.gusts import DIRECTION, SPEED, TRANSIENT_STEP, VERTICAL

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
_AT_HEIGHT = re.compile(r"speed_at_(\d+(?:\.\d+)?)_m_m_s")


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
    """A measured time series at the hub and, if measured, at other heights.

    Parameters
    ----------
    time : (n,) float64 [s]
        Rising; only differences count.
    speed : (n,) float64 [m/s]
    direction : (n,) float64 [rad]
        Unwrapped.
    heights : (m,) float64 [m]
        Of further speeds.
    speeds : (m, n) float64 [m/s]
    """

    time: NDArray[Any]
    speed: NDArray[Any]
    direction: NDArray[Any]
    heights: NDArray[Any] = field(default_factory=lambda: np.zeros(0))
    speeds: NDArray[Any] = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def duration(self) -> float:
        """Time from the first to the last row [s]."""
        return float(self.time[-1] - self.time[0])

    @property
    def mean_speed(self) -> float:
        """Mean over time, not over rows [m/s]."""
        return self._mean(self.speed)

    @property
    def mean_direction(self) -> float:
        """Mean over time of the unwrapped direction [rad]."""
        return self._mean(self.direction)

    def _mean(self, values: NDArray[Any]) -> float:
        return float(np.trapezoid(values, self.time)) / self.duration

    def profile(self, hub_height: float) -> Profile | None:
        """Return the mean speed over height, None where the hub alone was measured."""
        if not len(self.heights):
            return None
        heights = np.append(self.heights, hub_height)
        means = np.array([*(self._mean(row) for row in self.speeds), self.mean_speed])
        order = np.unique(heights, return_index=True)[1]
        return Profile(heights[order], means[order], np.zeros(len(order)))

    def slope(self, hub_height: float) -> NDArray[Any]:
        """Return what the speed's slope over height (n,) [1/s] differs from its mean.

        Notes
        -----
        Least squares through the hub's own speed, each height with its distance from the hub.
        """
        arms = self.heights - hub_height
        slope = np.zeros(len(self.time))
        for arm, row in zip(arms, self.speeds, strict=True):
            slope += arm * (row - self._mean(row) - (self.speed - self.mean_speed))
        return slope / max(float((arms**2).sum()), 1e-9)

    def digest(self) -> str:
        """Return what tells this series from others: sixteen hexadecimal digits of its numbers."""
        content = [self.time - self.time[0], self.speed, self.direction, self.heights, self.speeds.ravel()]
        return hashlib.sha256(np.concatenate(content).astype("<f8").tobytes()).hexdigest()[:16]

    def table(self, hub_height: float) -> NDArray[Any]:
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
        table[:, VERTICAL] = np.interp(times, self.time, self.slope(hub_height))
        return table


def read_series(path: Path | str, duration: float | None = None) -> Series:
    """Read a measured time series: ``time_s``, ``speed_m_s`` and, if measured, ``direction_deg``.

    Speeds at other heights stand in columns like ``speed_at_40_m_m_s``.

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
    higher = _columns_at_heights(Path(path))
    columns = (*SERIES_COLUMNS, *(column for _, column in higher))
    table = read_table(Path(path), columns, rising="time_s", least_rows=3)
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
    series = Series(
        table["time_s"],
        table["speed_m_s"],
        _directions(table),
        np.array([height for height, _ in higher]),
        np.array([table[column.name] for _, column in higher]).reshape(len(higher), len(steps) + 1),
    )
    if duration is not None and series.duration < duration - 1e-9:
        last = len(table.lines) - 1
        told = f"the series covers {series.duration:g} s; must cover {duration:g} s"
        problems.append(table.problem(last, "time_s", told))
    if problems:
        raise InputError(problems)
    return series


def _columns_at_heights(path: Path) -> list[tuple[float, Column]]:
    """Return the heights [m] that a file's header names, lowest first, and their columns."""
    lines = (line.strip() for line in read_text(path).splitlines())
    header = next((line for line in lines if line and not line.startswith("#")), "")
    names = (cell.strip() for cell in header.split(","))
    found = [(float(match.group(1)), name) for name in names if (match := _AT_HEIGHT.fullmatch(name))]
    heights = [height for height, _ in found]
    twice = next((height for height in heights if heights.count(height) > 1), None)
    if twice is not None:
        raise InputError(f"{path}: two columns tell the speed at {twice:g} m; must be one")
    return [
        (height, Column(name, f"horizontal wind speed at {height:g} m", low=0.0, high=100.0))
        for height, name in sorted(found)
    ]


def _directions(table: Table) -> NDArray[Any]:
    if "direction_deg" not in table:
        return np.zeros(len(table.lines))
    return np.unwrap(np.radians(table["direction_deg"]))
