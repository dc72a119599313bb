"""What remains of a march once it is over: labelled arrays with units, which every measure starts from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.counting import ALONE, BY_BLADE, cells_of, channels, left_over
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
    "smallest_clearance_m": "m",
    "tip_deflection_max_m": "m",
    "pitch_travel_rad": "rad",
    "pitch_loaded_travel_Nm_rad": "N m rad",
    "pitch_moving_s": "s",
    "pitch_starts": "",
    "servo_work_J": "J",
    "pitch_rate_max_rad_s": "rad/s",
    "servo_torque_max_Nm": "N m",
    "servo_power_max_W": "W",
} | {f"{name}_max_Nm": "N m" for name in (*ALONE, *BY_BLADE) if name != "pitch"}


@dataclass(frozen=True)
class Record:
    """The result of one march; ``faults`` names the lanes that a layer failed."""

    passes: Mapping[str, Array]  #: by the names of PASS_FIELDS, one row a pass, ordered by lane and time
    cases: Mapping[str, Array]  #: by the names of CASE_FIELDS, (lane,) or (lane, blade)
    turning: Mapping[str, Sequence[Array]]  #: channel -> turning points of each lane that close no cycle
    cycles: Mapping[
        str, Sequence[Array]
    ]  #: channel -> closed cycles of each lane, see `sim.counting.cells_of`
    faults: Sequence[Fault]


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
        "smallest_clearance_m": t[:, at.MIN_CLEARANCE],
        "tip_deflection_max_m": t[:, at.MAX_TIP],
        "pitch_travel_rad": t[:, at.SUM_TRAVEL : at.SUM_TRAVEL + blades],
        "pitch_loaded_travel_Nm_rad": t[:, at.SUM_LOADED_TRAVEL : at.SUM_LOADED_TRAVEL + blades]
        * flock.world.period,
        "pitch_moving_s": t[:, at.SUM_MOVING : at.SUM_MOVING + blades],
        "pitch_starts": t[:, at.SUM_STARTS : at.SUM_STARTS + blades],
        "servo_work_J": t[:, at.SUM_WORK : at.SUM_WORK + blades],
        "pitch_rate_max_rad_s": t[:, at.MAX_RATE : at.MAX_RATE + blades],
        "servo_torque_max_Nm": t[:, at.MAX_SERVO_TORQUE : at.MAX_SERVO_TORQUE + blades],
        "servo_power_max_W": t[:, at.MAX_SERVO_POWER : at.MAX_SERVO_POWER + blades],
    }
    cases |= _largest(t, blades)
    columns = channels(blades).items()
    return Record(
        passes,
        {k: np.array(v) for k, v in cases.items()},
        {name: left_over(log, column) for name, column in columns},
        {name: cells_of(log, column) for name, column in columns},
        list(faults),
    )


def _largest(totals: Array, blades: int) -> dict[str, Array]:
    """Return the largest magnitude of every moment: (lane,), or (lane, blade) at the blades' roots."""
    largest = totals[:, at.LARGEST :]
    alone = {name: largest[:, column] for name, column in ALONE.items()}
    by_blade = {n: largest[:, first : first + blades] for n, first in BY_BLADE.items() if n != "pitch"}
    return {f"{name}_max_Nm": value for name, value in (alone | by_blade).items()}
