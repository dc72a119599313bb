"""What passes between the world and the logic: readings, commands, what is known, and the layer protocol.

Every array is lane-first: ``(lane,)`` or ``(lane, blade)``; SI units and radians throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Any, Protocol, runtime_checkable

from numpy.typing import NDArray

Array = NDArray[Any]
State = Any
"""A layer's memory: a dict or dataclass of arrays, every one lane-first, and nothing else."""


class Status(IntEnum):
    """How a lane fares, one number per lane; ``SENTENCE`` says each in words."""

    RUNNING = 0
    STRUCK = 1
    LAYER_RAISED = 2
    LAYER_STALLED = 3
    LAYER_NOT_FINITE = 4
    LAYER_WRONG_SHAPE = 5
    NOT_FINITE = 6
    OVERSPEED = 7
    OUT_OF_RANGE = 8
    SHAKEN = 9


SENTENCE: Mapping[Status, str] = {
    Status.RUNNING: "ran to its end",
    Status.STRUCK: "the blade touched the tower; the run marched on and is flagged",
    Status.LAYER_RAISED: "a controller layer raised an exception",
    Status.LAYER_STALLED: "a controller layer did not return in time",
    Status.LAYER_NOT_FINITE: "a controller layer returned nan or infinity",
    Status.LAYER_WRONG_SHAPE: "a controller layer returned arrays of the wrong shape or type",
    Status.NOT_FINITE: "the plant's state is no longer finite",
    Status.OVERSPEED: "the rotor ran away beyond 1.5 times its rated speed",
    Status.OUT_OF_RANGE: "a deflection left the range in which the blade model holds",
    Status.SHAKEN: "at rest a stalled blade shakes edgewise; how far is not to be had from this model",
}

ENDED = (
    Status.LAYER_RAISED,
    Status.LAYER_STALLED,
    Status.LAYER_NOT_FINITE,
    Status.LAYER_WRONG_SHAPE,
    Status.NOT_FINITE,
    Status.OUT_OF_RANGE,
)
"""The statuses that end a lane; its results are not judged."""


@dataclass(frozen=True)
class Readings:
    """What the sensors report at one tick, never the truth.

    ``valid[name]`` and ``age[name]`` run parallel to each field: whether the sensor itself
    vouches for the value, and how old it is [s]. A value that was never seen is nan and not valid. Where
    nothing new arrives (a drop-out, a tip out of sight) the last value stays, ages, and is not valid.
    """

    tick: Array  #: (lane,) int64 - controller periods since the lane's start
    time: Array  #: (lane,) float64 [s]
    azimuth: Array  #: (lane,) float64 [rad] - of blade 0, 0 = up, grows with rotation, in [0, 2 pi)
    rotor_speed: Array  #: (lane,) float64 [rad/s]
    pitch: Array  #: (lane, blade) float64 [rad] - grows towards feather
    root_flap_moment: Array  #: (lane, blade) float64 [N m] - positive bends the blade downwind at pitch 0
    root_edge_moment: Array  #: (lane, blade) float64 [N m] - positive bends towards the leading edge
    tip_distance: Array  #: (lane, blade) float64 [m] - blade to tower wall, while the sensor sees the blade
    last_pass_clearance: Array  #: (lane, blade) float64 [m] - smallest distance seen at the blade's last pass
    tower_acceleration: Array  #: (lane, 2) float64 [m/s2] - fore-aft, side-side at the tower top
    wind_speed: Array  #: (lane,) float64 [m/s] - nacelle anemometer, behind the rotor
    wind_direction: Array  #: (lane,) float64 [rad] - nacelle vane; positive when it comes from the left
    wind_preview: Array  #: (lane,) float64 [m/s] - seen ``Known.preview_range`` ahead of the rotor
    power: Array  #: (lane,) float64 [W] - electrical
    valid: Mapping[str, Array]
    age: Mapping[str, Array]


SENSED: tuple[str, ...] = tuple(
    f.name for f in fields(Readings) if f.name not in ("tick", "time", "valid", "age")
)
"""Names that a layer may list in ``needs``."""


@dataclass(frozen=True)
class Commands:
    """What a layer asks of the machine, held over one period."""

    pitch: Array  #: (lane, blade) float64 [rad]
    torque: Array  #: (lane,) float64 [N m] - generator torque referred to the rotor shaft
    stop: Array  #: (lane,) bool - True trips an emergency stop, which then lasts


@dataclass(frozen=True)
class SteadyTable:
    """Steady operating points, each (lane, point); rows are padded at the end by repeating the last point."""

    wind_speed: Array  #: [m/s]
    rotor_speed: Array  #: [rad/s]
    pitch: Array  #: [rad]
    torque: Array  #: [N m] at the rotor shaft
    thrust: Array  #: [N]
    root_flap_moment: Array  #: [N m]
    tip_deflection: Array  #: [m] towards the tower
    clearance: Array  #: [m] of a blade that passes with this steady deflection
    torque_per_pitch: Array  #: [N m/rad] d(aerodynamic torque)/d(pitch), negative above rated
    deflection_per_pitch: Array  #: [m/rad] d(tip deflection)/d(pitch) of one blade, settled, negative


@dataclass(frozen=True)
class Known:
    """What a controls engineer knows of the design, lane-first; never the wind, never the truth."""

    period: float  #: [s] controller period
    blade_count: int
    rated_power: Array  #: (lane,) [W] electrical
    rated_torque: Array  #: (lane,) [N m] at the rotor shaft
    rated_rotor_speed: Array  #: (lane,) [rad/s]
    minimum_rotor_speed: Array  #: (lane,) [rad/s]
    efficiency: Array  #: (lane,) [-] electrical power over shaft power
    rotor_inertia: Array  #: (lane,) [kg m2] rotor, shaft and generator, at the rotor shaft
    optimal_torque_gain: Array  #: (lane,) [N m s2/rad2] torque = gain * rotor_speed**2 in partial load
    fine_pitch: Array  #: (lane,) [rad]
    feather_pitch: Array  #: (lane,) [rad]
    pitch_rate_limit: Array  #: (lane,) [rad/s]
    pitch_acceleration_limit: Array  #: (lane,) [rad/s2]
    pitch_natural_frequency: Array  #: (lane,) [rad/s]
    pitch_damping_ratio: Array  #: (lane,) [-]
    pitch_delay: Array  #: (lane,) [s]
    steady: SteadyTable
    blade_frequency: Array  #: (lane, mode) [rad/s] flap 1, flap 2, edge 1 at rated speed
    blade_damping_ratio: Array  #: (lane, mode) [-] structural
    flap_aerodynamic_damping_ratio: Array  #: (lane,) [-] of the first flap mode at rated
    deflection_per_moment: Array  #: (lane,) [m/(N m)] tip deflection over root flap moment, first flap mode
    unloaded_clearance: Array  #: (lane,) [m]
    required_clearance: Array  #: (lane,) [m]
    rotor_radius: Array  #: (lane,) [m]
    side: Array  #: (lane,) float64: -1 upwind, +1 downwind
    preview_range: Array  #: (lane,) [m] how far ahead the forward-looking sensor sees; nan without one


@runtime_checkable
class Layer(Protocol):
    """One layer of logic: frozen parameters only, all memory in the state.

    ``tower_pass`` is True for logic that acts for the sake of the tower passage; forks switch it off.
    ``power`` is True for layers that make up the reference (power production).
    ``watches``, where a layer has it and it is True, is for one that judges what all others command: the
    uppermost.
    """

    needs: tuple[str, ...]
    tower_pass: bool

    def init(self, known: Known, seen: Readings) -> State:
        """Return the state before the first step."""
        ...

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Return the next state and the commands, called once per period for all lanes at once."""
        ...
