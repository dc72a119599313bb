"""Which coordinates of the standing frame describe a lane, and how do they follow from its packed state?

Every quantity that each blade has becomes its three parts (see `sim.linear.multiblade`); tower, rotor speed
and generator torque stay. The azimuth is left out: nothing that is averaged over it depends on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.kernels import layout as at
from sim.linear.multiblade import BLADES, PARTS, rates_of_parts, to_blades, to_parts

Array = NDArray[Any]

ROTOR_SPEED, TORQUE, SERVO = "rotor speed", "generator torque", "pitch servo"
INFLOW, LAG = "inflow", "section lag"


@dataclass(frozen=True)
class Coordinates:
    """The coordinates: all triples of parts one after the other, then what the whole turbine has once.

    Attributes
    ----------
    triples : (triple, blade) int64 - where the packed state holds each blade's quantity
    singles : (n,) int64 - where it holds the others
    names : of every coordinate, ``flap_1_cosine``
    families : of every coordinate: what moves, for people
    steps : (coordinate,) float64 - small enough to stay on one line of the section tables, large enough for
        rounding, SI units
    """

    triples: Array
    singles: Array
    names: tuple[str, ...]
    families: tuple[str, ...]
    steps: Array

    def __len__(self) -> int:
        return len(self.names)

    def of(self, y: Array, azimuth: float) -> Array:
        """Return the coordinates (lane, coordinate) of packed states (lane, STATE) at one azimuth [rad]."""
        parts = to_parts(y[:, self.triples], azimuth)
        return np.concatenate([parts.reshape(len(y), -1), y[:, self.singles]], axis=1)

    def write(self, y: Array, x: Array, azimuth: float) -> None:
        """Write coordinates (lane, coordinate) into packed states (lane, STATE)."""
        parts = x[:, : self.triples.size].reshape(len(x), -1, BLADES)
        y[:, self.triples] = to_blades(parts, azimuth)
        y[:, self.singles] = x[:, self.triples.size :]
        y[:, at.HELD : at.HELD + BLADES] = y[:, at.PITCH : at.PITCH + BLADES]

    def rates(self, y: Array, dy: Array, azimuth: float) -> Array:
        """Return the rates (lane, coordinate) of the coordinates of packed states and their rates."""
        parts = to_parts(y[:, self.triples], azimuth)
        speed = y[:, at.SPEED, None]
        rates = rates_of_parts(dy[:, self.triples], parts, azimuth, speed)
        return np.concatenate([rates.reshape(len(y), -1), dy[:, self.singles]], axis=1)


@cache
def coordinates() -> Coordinates:
    """Return the coordinates of a three-bladed turbine."""
    blade = np.arange(BLADES)
    told: list[tuple[str, str, Array, float]] = []
    for mode, name in enumerate(("flap_1", "flap_2", "edge_1")):
        family = name.replace("_", " ")
        told.append((name, family, at.Q + at.MODES * blade + mode, 1e-4))
        told.append((f"{name}_rate", family, at.QD + at.MODES * blade + mode, 1e-4))
    told.append(("pitch", SERVO, at.PITCH + blade, 1e-5))
    told.append(("pitch_rate", SERVO, at.RATE + blade, 1e-5))
    rows = (
        ("inflow_filter", INFLOW, at.ROW_Z, 1e-4),
        ("induced_velocity", INFLOW, at.ROW_W, 1e-4),
        ("slow_lag", LAG, at.ROW_X1, 1e-6),
        ("fast_lag", LAG, at.ROW_X2, 1e-6),
        ("separation", LAG, at.ROW_F, 1e-5),
    )
    for name, family, row, step in rows:
        for station in range(at.STATIONS):
            where = at.FLAT + row + at.STATIONS * blade + station
            told.append((f"{name}_{station + 1}", family, where, step))
    singles = (
        ("tower_fore_aft", "tower fore-aft", at.TOWER, 1e-5),
        ("tower_fore_aft_rate", "tower fore-aft", at.TOWER + 1, 1e-5),
        ("tower_side_side", "tower side-side", at.TOWER + 2, 1e-5),
        ("tower_side_side_rate", "tower side-side", at.TOWER + 3, 1e-5),
        ("rotor_speed", ROTOR_SPEED, at.SPEED, 1e-5),
        ("generator_torque", TORQUE, at.TORQUE, 10.0),
    )
    return Coordinates(
        triples=np.stack([where for _, _, where, _ in told]),
        singles=np.array([where for _, _, where, _ in singles]),
        names=(*(f"{name}_{part}" for name, *_ in told for part in PARTS), *(name for name, *_ in singles)),
        families=(*(family for _, family, *_ in told for _ in PARTS), *(row[1] for row in singles)),
        steps=np.array(
            [step for *_, step in told for _ in PARTS] + [step for *_, step in singles], dtype=float
        ),
    )
