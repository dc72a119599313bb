"""How are the cycles of every channel counted during a march, in memory that does not grow with time?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.kernels import layout as at
from sim.kernels import tally

Array = NDArray[Any]

EVERY = 512
"""Ticks after which the cycles that are closed are booked."""
LEFT_OVER = 256
"""Turning points that may wait for the rest of their cycle."""
MOMENT_UNIT, ANGLE_UNIT = 1000.0, 1e-5
"""Ranges below these [N m], [rad] share a cell."""

ALONE = {
    "shaft_bending_1": at.TURN_SHAFT_1,
    "shaft_bending_2": at.TURN_SHAFT_2,
    "hub_tilt": at.TURN_HUB_TILT,
    "hub_yaw": at.TURN_HUB_YAW,
    "tower_base_fore_aft": at.TURN_FA_BASE,
    "tower_base_side_side": at.TURN_SS_BASE,
    "tower_top_fore_aft": at.TURN_FA_TOP,
    "tower_top_side_side": at.TURN_SS_TOP,
}
"""Channels that a turbine has once, or once for each axis of the shaft, and their column."""
BY_BLADE = {
    "root_flap_moment": at.TURN_FLAP,
    "root_edge_moment": at.TURN_EDGE,
    "root_out_of_plane": at.TURN_OUT_OF_PLANE,
    "root_in_plane": at.TURN_IN_PLANE,
    "root_resultant": at.TURN_RESULTANT,
    "pitch": at.TURN_PITCH,
}
"""Channels that each blade has, and the column of blade 1; `parts` names them all."""


def parts(channel: str, blade_count: int) -> list[str]:
    """Return the names under which a channel is kept: one for each blade, or for each axis of the shaft."""
    if channel in BY_BLADE:
        return [f"{channel}_{blade + 1}" for blade in range(blade_count)]
    return [name for name in ALONE if name == channel or name.rstrip("_12") == channel]


def channels(blade_count: int) -> dict[str, int]:
    """Return the channels whose cycles are counted, and their column."""
    named = {f"{name}_{b + 1}": first + b for name, first in BY_BLADE.items() for b in range(blade_count)}
    return named | ALONE


def units() -> Array:
    """Return the smallest range that is told apart from nothing, for each channel (TURNING,) [N m], [rad]."""
    found = np.full(at.TURNING, MOMENT_UNIT)
    found[at.TURN_PITCH : at.TURN_PITCH + at.BLADES] = ANGLE_UNIT
    return found


def empty_log(lanes: int, judged_from: int, ticks: int, *, turning: bool, period: float) -> at.Log:
    """Return room for what ``ticks`` periods can bring."""
    passes = int(ticks * period * 1.0) + 12
    points, cells = (EVERY + LEFT_OVER, tally.CELLS) if turning else (0, 0)
    return at.Log(
        judged_from=np.full(lanes, judged_from, np.int64),
        passes=np.zeros((lanes, passes, at.PASS_COLUMNS)),
        pass_count=np.zeros(lanes, np.int64),
        turning=np.zeros((lanes, at.TURNING, points)),
        turning_state=np.zeros((lanes, at.TURNING, 2)),
        turning_count=np.zeros((lanes, at.TURNING), np.int64),
        cells=np.zeros((lanes, at.TURNING, cells, tally.SUMS)),
    )


def close_cycles(log: at.Log) -> None:
    """Book the cycles that are closed, so that there is room for the points of ``EVERY`` more ticks."""
    tally.close_lanes(log.turning, log.turning_count, log.cells, units(), LEFT_OVER)


def cells_of(log: at.Log, column: int) -> list[Array]:
    """Return the cells in use of one channel, for each lane: (cell, 1 + SUMS) - its number, then its sums."""
    found = []
    for lane in range(log.cells.shape[0]):
        table = log.cells[lane, column]
        used = np.flatnonzero(table[:, tally.COUNT])
        found.append(np.column_stack([used.astype(np.float64), table[used]]))
    return found


def left_over(log: at.Log, column: int) -> list[Array]:
    """Return the turning points of one channel that close no cycle yet, the last sample at the end."""
    found = []
    for lane in range(log.turning.shape[0]):
        count = int(log.turning_count[lane, column])
        points = log.turning[lane, column, :count]
        found.append(np.append(points, log.turning_state[lane, column, 0]) if count else np.zeros(0))
    return found
