"""What remains of a march once it is over: labelled arrays with units, which every measure starts from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.flock import Flock
from sim.fork import Fork, clearance_without
from sim.kernels import layout as at
from sim.stack import Fault

Array = NDArray[Any]
SCHEMA = 1
"""Version of the names and meanings below."""

PASS_FIELDS: Mapping[str, tuple[str, str]] = {
    "lane": ("", "lane of the batch"),
    "blade": ("", "0 is the blade that the azimuth belongs to"),
    "time_s": ("s", "of the least distance, 0 at the start of the judged time"),
    "azimuth_rad": ("rad", "of the blade at that instant"),
    "radius_m": ("m", "of the nearest station"),
    "clearance_m": ("m", "outline to tower wall, negative where they overlap"),
    "pitch_rad": ("rad", "of the blade at that instant"),
    "wind_speed_m_s": ("m/s", "along the wind at the hub"),
    "acted": ("", "the logic acted in the run-up"),
    "clearance_without_m": ("m", "had the logic not acted; nan where no fork was drawn"),
    "weight": ("", "1, or one over the chance of the fork's draw; 0 for an action that was not drawn"),
}
CASE_FIELDS: Mapping[str, str] = {
    "status": "",
    "status_time_s": "s",
    "judged_s": "s",
    "energy_J": "J",
    "wind_speed_mean_m_s": "m/s",
    "rotor_speed_max_rad_s": "rad/s",
    "thrust_max_N": "N",
    "tower_base_fore_aft_max_Nm": "N m",
    "smallest_clearance_m": "m",
    "tip_deflection_max_m": "m",
    "pitch_travel_rad": "rad",
    "pitch_rate_max_rad_s": "rad/s",
    "root_flap_moment_max_Nm": "N m",
    "root_edge_moment_max_Nm": "N m",
    "servo_torque_max_Nm": "N m",
    "servo_power_max_W": "W",
}


@dataclass(frozen=True)
class Record:
    """The result of one march; ``faults`` names the lanes that a layer failed."""

    passes: Mapping[str, Array]  #: by the names of PASS_FIELDS, one row a pass, ordered by lane and time
    cases: Mapping[str, Array]  #: by the names of CASE_FIELDS, (lane,) or (lane, blade)
    turning: Mapping[str, Sequence[Array]]  #: channel -> turning points of each lane
    faults: Sequence[Fault]


def channels(blade_count: int) -> dict[str, int]:
    """Return the channels whose turning points are kept, and their column."""
    named = {"tower_base_fore_aft": at.TURN_FA_BASE}
    for b in range(blade_count):
        named[f"root_flap_moment_{b + 1}"] = at.TURN_FLAP + b
        named[f"root_edge_moment_{b + 1}"] = at.TURN_EDGE + b
        named[f"pitch_{b + 1}"] = at.TURN_PITCH + b
    return named


def make_record(
    flock: Flock, log: at.Log, forks: Sequence[Fork], faults: Sequence[Fault], settle: float
) -> Record:
    """Gather what a flock and its log hold.

    Parameters
    ----------
    settle : float [s] - start of the judged time, taken off every time
    """
    blades, lanes = flock.world.blade_count, flock.lanes
    room = np.arange(log.passes.shape[1])
    lane_of, place = np.nonzero(room[None, :] < log.pass_count[:, None])
    rows = log.passes[lane_of, place]
    without, weight = clearance_without(rows, lane_of, list(forks))
    passes = {
        "lane": lane_of.astype(np.int64),
        "blade": rows[:, at.PASS_BLADE].astype(np.int64),
        "time_s": rows[:, at.PASS_TIME] - settle,
        "azimuth_rad": rows[:, at.PASS_AZIMUTH],
        "radius_m": rows[:, at.PASS_RADIUS],
        "clearance_m": rows[:, at.PASS_CLEARANCE],
        "pitch_rad": rows[:, at.PASS_PITCH],
        "wind_speed_m_s": rows[:, at.PASS_WIND],
        "acted": rows[:, at.PASS_FIRST_ACT] >= 0,
        "clearance_without_m": without,
        "weight": weight,
    }
    t = lanes.totals
    cases = {
        "status": lanes.status.copy(),
        "status_time_s": lanes.status_time - settle,
        "judged_s": t[:, at.SUM_TIME],
        "energy_J": t[:, at.SUM_ENERGY],
        "wind_speed_mean_m_s": t[:, at.SUM_WIND] / np.maximum(t[:, at.SUM_TIME], flock.world.period),
        "rotor_speed_max_rad_s": t[:, at.MAX_SPEED],
        "thrust_max_N": t[:, at.MAX_THRUST],
        "tower_base_fore_aft_max_Nm": t[:, at.MAX_FA_BASE],
        "smallest_clearance_m": t[:, at.MIN_CLEARANCE],
        "tip_deflection_max_m": t[:, at.MAX_TIP],
        "pitch_travel_rad": t[:, at.SUM_TRAVEL : at.SUM_TRAVEL + blades],
        "pitch_rate_max_rad_s": t[:, at.MAX_RATE : at.MAX_RATE + blades],
        "root_flap_moment_max_Nm": t[:, at.MAX_FLAP : at.MAX_FLAP + blades],
        "root_edge_moment_max_Nm": t[:, at.MAX_EDGE : at.MAX_EDGE + blades],
        "servo_torque_max_Nm": t[:, at.MAX_SERVO_TORQUE : at.MAX_SERVO_TORQUE + blades],
        "servo_power_max_W": t[:, at.MAX_SERVO_POWER : at.MAX_SERVO_POWER + blades],
    }
    turning = {name: _points(log, column) for name, column in channels(blades).items()}
    return Record(passes, {k: np.array(v) for k, v in cases.items()}, turning, list(faults))


def _points(log: at.Log, column: int) -> list[Array]:
    """Turning points of one channel, its last sample appended as the history's end."""
    found = []
    for lane in range(log.turning.shape[0]):
        count = int(log.turning_count[lane, column])
        points = log.turning[lane, column, : min(count, log.turning.shape[2])]
        found.append(np.append(points, log.turning_state[lane, column, 0]) if count else np.zeros(0))
    return found
