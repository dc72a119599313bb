"""How is a late, noisy, sometimes missing reading made fit for use, for all lanes at once?"""

from __future__ import annotations

import numpy as np

from sim.interface import Array, Known, Readings

FULL_TURN = 2.0 * np.pi


def usable(seen: Readings, name: str) -> Array:
    """Say where a sensor vouches for its value and the value is finite: bool, shaped like the reading."""
    return np.logical_and(seen.valid[name], np.isfinite(getattr(seen, name)))


def hold(seen: Readings, name: str, last: Array) -> Array:
    """Return the reading where it is usable and the last good value elsewhere."""
    return np.where(usable(seen, name), getattr(seen, name), last)


def age(seen: Readings, name: str, longest: float = 2.0) -> Array:
    """Return the age of a reading [s], 0 where it is unknown, at most ``longest``."""
    known_age = np.where(np.isfinite(seen.age[name]), seen.age[name], 0.0)
    return np.clip(known_age, 0.0, longest)


def smooth(last: Array, value: Array, period: Array, time_constant: Array | float) -> Array:
    """Advance a first-order low-pass filter by one period.

    Notes
    -----
    y += (1 - exp(-period/time_constant)) (value - y): exact for a value held over the period.
    """
    return last + (1.0 - np.exp(-period / time_constant)) * (value - last)


def smoothstep(x: Array) -> Array:
    """Rise from 0 at x <= 0 to 1 at x >= 1 with level ends: 3 x^2 - 2 x^3."""
    inside = np.clip(x, 0.0, 1.0)
    return inside * inside * (3.0 - 2.0 * inside)


def raised_cosine(angle: Array, centre: Array, half_width: Array) -> Array:
    """Return 1/2 (1 + cos(pi (angle - centre)/half_width)) inside the half width, else 0.

    The angle is taken by the shorter way round, so the pulse may lie across any cut of the circle.
    """
    distance = np.abs(wrap(angle - centre)) / half_width
    return np.where(distance < 1.0, 0.5 * (1.0 + np.cos(np.pi * np.minimum(distance, 1.0))), 0.0)


def wrap(angle: Array) -> Array:
    """Bring an angle [rad] into [-pi, pi)."""
    return np.mod(angle + np.pi, FULL_TURN) - np.pi


def angle_to_tower(azimuth: Array, blade_count: int) -> Array:
    """Return each blade's angle past the tower, (lane, blade) [rad] in [-pi, pi): negative before the pass.

    Blade b stands at azimuth + 2 pi b / blade_count; the tower is at azimuth pi.
    """
    spread = FULL_TURN * np.arange(blade_count) / blade_count
    return wrap(azimuth[:, None] + spread - np.pi)


def interpolate(x: Array, table_x: Array, table_y: Array) -> Array:
    """Interpolate linearly in each lane's own table; the ends are held.

    Parameters
    ----------
    x : (lane,) float64
    table_x : (lane, point) float64
        Must not fall along the points; where it stays level the last of the level points counts.
    table_y : (lane, point) float64

    Notes
    -----
    Padding a table by repeating its last point changes nothing, to the bit.
    """
    last = table_x.shape[1] - 1
    below = np.clip(np.sum(table_x <= x[:, None], axis=1) - 1, 0, last)[:, None]
    above = np.minimum(below + 1, last)
    x0, x1 = _pick(table_x, below), _pick(table_x, above)
    y0, y1 = _pick(table_y, below), _pick(table_y, above)
    width = x1 - x0
    share = np.clip((x - x0) / np.where(width > 0.0, width, 1.0), 0.0, 1.0)
    return y0 + share * (y1 - y0)


def _pick(table: Array, index: Array) -> Array:
    return np.take_along_axis(table, index, axis=1)[:, 0]


def blade_mean(per_blade: Array) -> Array:
    """Average over the blades in a fixed order, so that the last bit cannot depend on the batch."""
    total = per_blade[:, 0]
    for blade in range(1, per_blade.shape[1]):
        total = total + per_blade[:, blade]
    return total / per_blade.shape[1]


def lane_period(known: Known) -> Array:
    """Return the controller period once per lane, (lane,) [s], as a state may hold it."""
    return np.full(known.rated_torque.shape, float(known.period))


def operating_table(known: Known) -> Array:
    """Return a coordinate of the steady operating point that grows with wind speed, (lane, point) [-]."""
    steady = known.steady
    raw = operating_point(steady.torque, steady.pitch, known.rated_torque[:, None], known.fine_pitch[:, None])
    return np.maximum.accumulate(raw, axis=1)


def operating_point(torque: Array, pitch: Array, rated_torque: Array, fine_pitch: Array) -> Array:
    """Place an operating point: torque over rated torque, plus 5 per radian of pitch above fine.

    Notes
    -----
    Torque grows with wind in partial load, pitch in full load, so the sum grows everywhere. It needs
    no anemometer. The factor 5 only sets how the two halves are mixed near rated. Derived here.
    """
    return torque / rated_torque + 5.0 * (pitch - fine_pitch)
