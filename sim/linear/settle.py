"""Where does a stack of logic hold the turbine in a steady wind, and what does it see and remember there?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.errors import InputError, RunError
from sim.flock import Flock, World, empty_log
from sim.interface import SENSED, Readings, State, Status
from sim.kernels import layout as at
from sim.keyplace import shown
from sim.linear.multiblade import BLADES, to_parts
from sim.linear.point import OperatingPoint, linear_turbine, steady_wind
from sim.plant.air import wind_arrays
from sim.sensors import Sensor, SensorSuite
from sim.stack import Fault, Stack, take_rows
from sim.wind.field import pack_winds

Array = NDArray[Any]

BLOCK_S = 60.0
"""After each such time the mean of a turn is compared with that of the block before [s]."""
MOST_BLOCKS = 12
SETTLED = 2e-4
"""Change of rotor speed, pitch (of a radian) and torque, relative to rated, that counts as none [-]."""
MOMENTS = 12
"""Moments of the last turn at which the logic is kept, for `sim.linear.logic`."""


@dataclass(frozen=True)
class Moment:
    """What one step of the stack starts from: one lane's states, its readings, and the true azimuth [rad]."""

    states: list[State]
    seen: Readings
    azimuth: float


@dataclass(frozen=True)
class Settled:
    """A stack that holds the turbine: where, and what it sees and remembers through a turn.

    Attributes
    ----------
    point : OperatingPoint
    stack : Stack
    moments : of the last turn, evenly spaced
    flock : the lane itself, settled, ready to be marched on
    period, command_delay : float [s]
    reading_delay : periods from sample to reading, of every sensor
    """

    point: OperatingPoint
    stack: Stack
    moments: Sequence[Moment]
    flock: Flock
    period: float
    command_delay: float
    reading_delay: int


@dataclass
class _Turn:
    """What is summed up over one turn."""

    commands: list[Array] = field(default_factory=list)
    speeds: list[float] = field(default_factory=list)

    def mean(self) -> Array:
        """Rotor speed, the three parts of pitch, and torque."""
        return np.array([np.mean(self.speeds), *np.mean(self.commands, axis=0)])


def hold_turbine(
    turbine: Turbine,
    stack: Stack,
    wind_speed: float,
    shear_exponent: float,
    reading_delay: float,
    period: float,
) -> Settled:
    """March the turbine under a stack, with sensors that are late but true, until it is settled.

    Parameters
    ----------
    turbine : Turbine
    stack : Stack
    wind_speed, shear_exponent : float [m/s, -]
    reading_delay, period : float [s]

    Raises
    ------
    InputError
        The wind speed is not within cut-in and cut-out, the rotor has not three blades, or a delay is no
        whole number of periods.
    RunError
        It does not settle, or a layer fails.
    """
    machine = turbine.machine
    if not machine.cut_in <= wind_speed <= machine.cut_out:
        raise InputError(
            f"--speed {wind_speed:g}: must be from cut-in {machine.cut_in:g} to cut-out "
            f"{machine.cut_out:g} m/s of {shown(turbine.source)}: outside the turbine makes no power"
        )
    turbine = linear_turbine(turbine)
    flock = _place(turbine, stack, steady_wind(wind_speed, shear_exponent), reading_delay, period)
    before = np.full(5, np.inf)
    rated = np.array([machine.rated_rotor_speed, 1.0, 1.0, 1.0, machine.rated_torque])
    for _ in range(MOST_BLOCKS):
        _march(flock, round(BLOCK_S / period))
        turn, moments = _watch_turn(flock)
        mean = turn.mean()
        change = np.abs(mean - before) / rated
        if change.max() < SETTLED:
            break
        before = mean
    else:
        raise RunError(
            f"the stack {'+'.join(stack.names)} does not settle at {wind_speed:g} m/s within "
            f"{MOST_BLOCKS * BLOCK_S:g} s: from one minute to the next its rotor speed still moves by "
            f"{change[0]:.2%} of rated, its pitch by {np.degrees(change[1]):.2f} deg, its torque by "
            f"{change[4]:.2%} of rated; its loops are unstable there, or a layer switches to and fro"
        )
    return Settled(
        point=OperatingPoint(wind_speed, shear_exponent, float(mean[0]), _three(mean[1:4]), float(mean[4])),
        stack=stack,
        moments=moments,
        flock=flock,
        period=period,
        command_delay=float(turbine.pitch.delay),
        reading_delay=int(flock.world.chain.delay.max()),
    )


def _three(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _place(turbine: Turbine, stack: Stack, wind: Any, delay: float, period: float) -> Flock:
    pack = pack_winds([wind], turbine.rotor.hub_height, 2.0 * turbine.rotor_radius, 1.0)
    suite = SensorSuite({name: Sensor(delay, 0.0) for name in SENSED})
    world = World.make(
        [turbine], wind_arrays(pack, turbine.rotor.hub_height), suite, period, np.radians(0.05)
    )
    one = np.zeros(1, np.int64)
    return Flock.settle_in(world, stack, one, one, one.astype(np.uint64), np.zeros(1), np.zeros(1))


def _march(flock: Flock, ticks: int, turn: _Turn | None = None, keep: Sequence[int] = ()) -> list[Moment]:
    """March; sum up what reaches the machine, and keep the moments at the given ticks from now."""
    log = empty_log(1, 2**40, 0, turning=False, period=flock.world.period)
    quiet = np.zeros((1, BLADES), bool)
    row, moments = np.zeros(1, np.int64), []
    with np.errstate(all="ignore"):
        for tick in range(ticks):
            seen, before = flock.sense(), flock.states
            y = flock.lanes.y[0]
            azimuth, speed = float(y[at.AZIMUTH]), float(y[at.SPEED])
            commands, _, faults = flock.decide(seen)
            _refuse(faults, flock)
            if tick in keep:
                moments.append(Moment(take_rows(before, row), take_rows(seen, row), azimuth))
            flock.advance(log, commands, quiet)
            if turn is not None:
                middle = azimuth + 0.5 * speed * flock.world.period
                pitch, torque = to_parts(_reached(flock), middle), commands.torque
                turn.commands.append(np.concatenate([pitch[0], torque]))
                turn.speeds.append(speed)
    return moments


def _reached(flock: Flock) -> Array:
    """Return the pitch that reached the servos in the last period, (lane, blade) [rad]."""
    depth = flock.ring.shape[1]
    given = int(flock.lanes.tick[0]) - 1 - int(flock.whole[0])
    newer, older = flock.ring[:, given % depth, :BLADES], flock.ring[:, (given - 1) % depth, :BLADES]
    return (1.0 - flock.share[:, None]) * newer + flock.share[:, None] * older


def _watch_turn(flock: Flock) -> tuple[_Turn, list[Moment]]:
    """March on for one turn and return its means and moments."""
    ticks = round(2.0 * np.pi / flock.lanes.y[0, at.SPEED] / flock.world.period)
    turn = _Turn()
    keep = [round(n * ticks / MOMENTS) for n in range(MOMENTS)]
    return turn, _march(flock, ticks, turn, keep)


def _refuse(faults: Sequence[Fault], flock: Flock) -> None:
    """End where a layer or the plant failed."""
    if faults:
        raise RunError(f"layer {faults[0].layer} {faults[0].message}")
    status = Status(int(flock.lanes.status[0]))
    if status > Status.STRUCK:
        raise RunError(f"the turbine does not run on in this steady wind: {status.name.lower()}")
