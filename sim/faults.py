"""What can break in a lane, from when to when, and how is it laid out for the kernels?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError, closest
from sim.kernels import breaking
from sim.kernels import layout as at
from sim.sensors import CHANNELS

Array = NDArray[Any]
FOREVER = float(2**53)
"""The tick at which a fault without end would end."""


class Kind(NamedTuple):
    """What one kind of fault is about."""

    code: int
    part: str  #: "sensor", "servo" or "machine"
    size: str  #: what its size is: "" for none, "reading" in the sensor's unit, "s", or "-" for a share
    meaning: str


KINDS: Mapping[str, Kind] = {
    "sensor_frozen": Kind(breaking.FROZEN, "sensor", "", "repeats its last value and vouches for it"),
    "sensor_biased": Kind(breaking.BIASED, "sensor", "reading", "is wrong by its size"),
    "sensor_drifting": Kind(
        breaking.DRIFTING, "sensor", "reading", "goes wrong evenly, by its size at the end"
    ),
    "sensor_noisy": Kind(breaking.NOISY, "sensor", "reading", "has white noise of its size on top"),
    "sensor_silent": Kind(breaking.SILENT, "sensor", "", "gives nothing, and is known to"),
    "sensor_delayed": Kind(breaking.DELAYED, "sensor", "s", "is later than it says"),
    "false_echo": Kind(
        breaking.ECHO, "sensor", "reading", "sees something else, always at the same distance"
    ),
    "other_blade": Kind(breaking.OTHER_BLADE, "sensor", "", "tells the next blade's reading as this one's"),
    "encoder_slip": Kind(breaking.BIASED, "sensor", "reading", "has slipped on its shaft by its size"),
    "servo_stuck": Kind(breaking.STUCK, "servo", "", "stands where it is"),
    "servo_slow": Kind(breaking.SLOW, "servo", "-", "turns at a share of its rate limit"),
    "servo_to_fine": Kind(breaking.TO_FINE, "servo", "", "runs away to the stop at fine pitch"),
    "servo_to_feather": Kind(breaking.TO_FEATHER, "servo", "", "runs away to feather"),
    "servo_weak": Kind(breaking.WEAK_STOP, "servo", "-", "has a share of its rate in an emergency stop"),
    "computer_late": Kind(breaking.LATE, "machine", "s", "its commands come later"),
    "computer_frozen": Kind(breaking.HUNG, "machine", "", "its commands stand still; then it goes on"),
    "computer_restarted": Kind(
        breaking.RESTARTED, "machine", "", "its commands stand still; then it begins anew, all forgotten"
    ),
    "torque_lost": Kind(breaking.TORQUE_LOST, "machine", "", "the generator gives no torque"),
    "grid_lost": Kind(
        breaking.GRID_LOST, "machine", "", f"no torque, and an emergency stop {breaking.GRID_WAIT} s later"
    ),
    "emergency_stop": Kind(
        breaking.EMERGENCY_STOP, "machine", "", "all blades to feather, no torque, for good"
    ),
}
ONLY_FOR: Mapping[str, tuple[str, ...]] = {
    "false_echo": ("tip_distance", "last_pass_clearance"),
    "encoder_slip": ("azimuth",),
    "other_blade": tuple(name for name, (_, count) in CHANNELS.items() if count == 3),
}
"""Sensors that a kind of fault is about, where not about any."""


@dataclass(frozen=True)
class FaultSpec:
    """One thing that breaks; times count from the start of the judged time."""

    kind: str
    start: float  #: [s]
    duration: float | None = None  #: [s]; None: to the end
    blade: int | None = None  #: 0 is the one that the azimuth belongs to; None: all
    sensor: str = ""
    size: float = 0.0  #: see `KINDS`, in SI units

    def problems(self, blade_count: int) -> list[tuple[str, str]]:
        """Return pairs of field and sentence for what is wrong with it; empty for a sound one."""
        kind = KINDS.get(self.kind)
        if kind is None:
            return [("kind", f"unknown{closest(self.kind, KINDS)}")]
        found = []
        if kind.part == "sensor":
            allowed = ONLY_FOR.get(self.kind, tuple(CHANNELS))
            if self.sensor not in allowed:
                known = closest(self.sensor, allowed)
                found.append(("sensor", f"{_a(self.kind)} needs one of its sensors{known}"))
            elif self.blade is not None and CHANNELS[self.sensor][1] != 3:
                found.append(("blade", f"{self.sensor} is no sensor of single blades"))
        elif self.sensor:
            found.append(("sensor", f"{_a(self.kind)} is not about a sensor"))
        if kind.part == "machine" and self.blade is not None:
            found.append(("blade", f"{_a(self.kind)} is not about a blade"))
        if self.blade is not None and not 0 <= self.blade < blade_count:
            found.append(("blade", f"there are blades 1 to {blade_count}"))
        if self.duration is None and self.kind in ("sensor_drifting", "computer_restarted"):
            found.append(("duration_s", f"{_a(self.kind)} needs one"))
        return found


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def lay_out(cases: Sequence[Sequence[FaultSpec]], settle: float, period: float) -> at.Faults:
    """Lay the faults of each lane out for the kernels; starts and ends are rounded up to whole periods.

    Raises
    ------
    InputError
        If a kind or a sensor is unknown.
    """
    room = max([1, *(len(faults) for faults in cases)])
    table = np.zeros((len(cases), room, at.FAULT_WIDTH))
    for lane, faults in enumerate(cases):
        for place, fault in enumerate(faults):
            table[lane, place] = _row(fault, settle, period)
    count = np.array([len(faults) for faults in cases], np.int64)
    return at.Faults(table, count, np.full(len(cases), -1, np.int64))


def _row(fault: FaultSpec, settle: float, period: float) -> list[float]:
    found = fault.problems(at.BLADES)
    if found:
        raise InputError([f"fault {fault.kind}: {field}: {sentence}" for field, sentence in found])
    kind = KINDS[fault.kind]
    begun = _tick(settle + fault.start, period)
    until = FOREVER if fault.duration is None else _tick(settle + fault.start + fault.duration, period)
    first, count = CHANNELS[fault.sensor] if fault.sensor else (0, 0)
    size = np.ceil(fault.size / period - 1e-9) if kind.size == "s" else fault.size
    blade = -1 if fault.blade is None else fault.blade
    return [kind.code, begun, until, first, max(count, 1), blade, size]


def _tick(time: float, period: float) -> float:
    return float(np.ceil(time / period - 1e-6))


def longest_delay(faults: at.Faults, kind: int) -> int:
    """Return the most ticks by which a fault of this kind delays anything."""
    sizes = faults.table[:, :, at.FAULT_SIZE][faults.table[:, :, at.FAULT_KIND] == kind]
    return int(sizes.max(initial=0.0))


def hangs(faults: at.Faults, tick: Array) -> tuple[Array, Array]:
    """Return where the computer stands still, and where it begins anew at this tick: (lane,) bool each.

    Parameters
    ----------
    tick : (lane,) int64
    """
    kind = faults.table[:, :, at.FAULT_KIND]
    begun, until = faults.table[:, :, at.FAULT_FROM], faults.table[:, :, at.FAULT_UNTIL]
    now = tick[:, None]
    stops = (kind == breaking.HUNG) | (kind == breaking.RESTARTED)
    hung = (stops & (begun <= now) & (now < until)).any(axis=1)
    return hung, ((kind == breaking.RESTARTED) & (now == until)).any(axis=1) & ~hung


def ever_hangs(faults: at.Faults) -> bool:
    """Say whether any lane's computer will stand still."""
    kind = faults.table[:, :, at.FAULT_KIND]
    return bool(((kind == breaking.HUNG) | (kind == breaking.RESTARTED)).any())
