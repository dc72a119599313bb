"""Where in a recorded time series does each blade pass the tower, and how near does it come?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.foreign import Recording

Floats = NDArray[np.float64]

BESIDE = np.radians(45.0)
"""The least distance of a pass is looked for this far to either side of straight down."""


def find_passes(recording: Recording) -> dict[str, NDArray]:
    """Return one row for each pass of each blade, in the order of time.

    Parameters
    ----------
    recording : Recording

    Returns
    -------
    dict of name to (pass,) array
        ``blade`` (from 0), ``time_s``, ``azimuth_rad`` of the blade, ``clearance_m``, ``pitch_rad``,
        ``wind_speed_m_s``. Time and azimuth are those of the least distance, or of the blade straight down
        where no distance is seen; not a number where a channel is not recorded.

    Notes
    -----
    The least distance between samples is the vertex of the parabola through the lowest sample and its two
    neighbours. Where the tip goes straight by, d(t) = (d^2 + v^2 t^2)^(1/2), it lies high by up to
    9 v^4 h^4 / (128 d^3), with v the tip's speed, h the time between samples and d the distance: 7 mm for 80
    m/s, 0.04 s and 10 m. Derived here: what a parabola makes of the term of fourth order, at the worst place
    of the samples.
    """
    rows = [row for blade in range(recording.blade_count) for row in _passes_of(recording, blade)]
    rows.sort(key=lambda row: row[1])
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 4)
    blade = table[:, 0].astype(np.int64)
    return {
        "blade": blade,
        "time_s": table[:, 1],
        "azimuth_rad": table[:, 2],
        "clearance_m": table[:, 3],
        "pitch_rad": _at(recording, "pitch", table[:, 1], blade),
        "wind_speed_m_s": _interpolated(recording, "wind_speed", table[:, 1]),
    }


def vertex(time: Floats, value: Floats) -> tuple[float, float]:
    """Return where and how low the parabola through three points is lowest.

    Parameters
    ----------
    time : (3,) float64 [s]
        Rising.
    value : (3,) float64 [any]
        The middle one is the lowest.
    """
    before, after = time[0] - time[1], time[2] - time[1]
    left, right = (value[0] - value[1]) / before, (value[2] - value[1]) / after
    bend = (right - left) / (after - before)
    if bend <= 0.0:
        return float(time[1]), float(value[1])
    slope = right - bend * after
    place = min(max(-0.5 * slope / bend, before), after)
    return float(time[1] + place), float(value[1] + (slope + bend * place) * place)


def _passes_of(recording: Recording, blade: int) -> list[tuple[float, float, float, float]]:
    angle = recording.azimuth + 2.0 * np.pi * blade / recording.blade_count
    turns = np.floor((angle - np.pi) / (2.0 * np.pi))
    distance = recording.channels.get(f"tip_distance_{blade + 1}")
    found = []
    for row in np.flatnonzero(np.diff(turns) > 0.0):
        down = np.pi + 2.0 * np.pi * turns[row + 1]
        share = (down - angle[row]) / (angle[row + 1] - angle[row])
        time = recording.time[row] + share * (recording.time[row + 1] - recording.time[row])
        least = np.nan
        if distance is not None:
            near = np.flatnonzero(np.abs(angle - down) < BESIDE)
            seen = near[np.isfinite(distance[near])]
            if seen.size:
                time, least = _least(recording.time, distance, seen)
        there = np.interp(time, recording.time, angle)
        found.append((float(blade), float(time), float(there % (2.0 * np.pi)), least))
    return found


def _least(time: Floats, distance: Floats, seen: NDArray[np.int64]) -> tuple[float, float]:
    lowest = int(seen[np.argmin(distance[seen])])
    beside = slice(lowest - 1, lowest + 2)
    if lowest == 0 or lowest + 1 == time.size or not np.all(np.isfinite(distance[beside])):
        return float(time[lowest]), float(distance[lowest])
    return vertex(time[beside], distance[beside])


def _at(recording: Recording, name: str, time: Floats, blade: NDArray[np.int64]) -> Floats:
    values = np.full(time.size, np.nan)
    for number in range(recording.blade_count):
        mine = blade == number
        values[mine] = _interpolated(recording, f"{name}_{number + 1}", time[mine])
    return values


def _interpolated(recording: Recording, name: str, time: Floats) -> Floats:
    values = recording.channels.get(name)
    return np.full(time.size, np.nan) if values is None else np.interp(time, recording.time, values)
