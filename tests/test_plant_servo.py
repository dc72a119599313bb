"""Pitch servos and generator against closed forms: second order, limits, delay."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sim.kernels import layout as at
from sim.march import march
from sim.sensors import Sensor, SensorSuite
from sim.stack import Stack
from tests.plant_flocks import Steady, flock_of
from tests.plant_lanes import Rig, rig, steady_wind, turbine

START = 0.2  #: pitch before the step [rad]


def stepped(size: float, seconds: float = 3.0, parts: int = 4) -> Rig:
    lane = rig(turbine(), [steady_wind(12.0)], parts=parts, seconds=4.0)
    lane.lanes.y[0, at.PITCH : at.PITCH + 3] = START
    lane.restart()
    lane.pitch[:] = START + size
    return lane.march(seconds, keep="y")


def closed_form(t, frequency: float, damping: float):
    """Unit step of a second-order system, any control textbook."""
    damped = frequency * np.sqrt(1.0 - damping**2)
    phase = np.arccos(damping)
    return 1.0 - np.exp(-damping * frequency * t) / np.sqrt(1.0 - damping**2) * np.sin(damped * t + phase)


def test_a_small_step_is_that_of_a_second_order_system():
    lane, servo = stepped(0.002), turbine().pitch
    t = (np.arange(len(lane.history)) + 1) * lane.period
    wanted = START + 0.002 * closed_form(t, servo.natural_frequency, servo.damping_ratio)
    for b in range(3):
        assert lane.kept[:, 0, at.PITCH + b] == pytest.approx(wanted, abs=2e-7)


def test_a_large_step_runs_up_at_the_acceleration_limit_and_on_at_the_rate_limit():
    """Closed form: a t^2 / 2 up to the rate v, then a straight line, until the servo comes near."""
    lane, servo = stepped(1.0), turbine().pitch
    t = (np.arange(len(lane.history)) + 1) * lane.period
    pitch, rate = lane.kept[:, 0, at.PITCH] - START, lane.kept[:, 0, at.RATE]
    a, v = servo.acceleration_limit, servo.rate_limit
    gain = 2.0 * servo.damping_ratio * servo.natural_frequency
    rising = t < (v - a / gain) / a  # after that the speed loop rounds the corner
    assert rising.sum() > 5
    assert pitch[rising] == pytest.approx(0.5 * a * t[rising] ** 2, rel=1e-9)
    assert rate.max() <= v * (1.0 + 1e-9)
    assert rate[t > 1.5] == pytest.approx(v, rel=1e-6)
    # the corner: the rate comes up to v exponentially, which costs v t_c / 2 in all
    lag = v * v / (2.0 * a) + a / gain**2 / 2.0
    assert pitch[-1] == pytest.approx(v * t[-1] - lag, rel=1e-3)


@pytest.mark.parametrize("size", [0.3, -0.15])
def test_a_step_arrives_with_no_more_than_the_overshoot_that_its_brake_allows(size):
    """The acceleration limit cannot stop the full rate as fast as the servo would: v^2 / 2a at most."""
    lane, servo = stepped(size, 8.0), turbine().pitch
    gone = (lane.kept[:, 0, at.PITCH] - START) / size
    assert gone[-1] == pytest.approx(1.0, abs=1e-4)
    assert (gone.max() - 1.0) * abs(size) < servo.rate_limit**2 / (2.0 * servo.acceleration_limit)
    assert np.abs(np.diff(lane.kept[:, 0, at.RATE])).max() <= servo.acceleration_limit * lane.period * 1.001


def test_stops_hold_the_blade():
    lane = stepped(-1.0, 4.0)
    low = lane.design.scalars[0, at.PITCH_LOW]
    assert lane.kept[-1, 0, at.PITCH] == low
    assert lane.kept[:, 0, at.PITCH].min() >= low
    assert lane.kept[-1, 0, at.RATE] >= 0.0


def test_the_generator_follows_its_command_as_a_first_order_lag():
    lane = rig(turbine(), [steady_wind(12.0)], seconds=2.0)
    start = lane.lanes.y[0, at.TORQUE]
    lane.torque[:] = 0.5 * start
    lane.march(0.4, keep="y")
    t = (np.arange(10) + 1) * lane.period
    wanted = 0.5 * start * (1.0 + np.exp(-t / turbine().machine.torque_lag))
    assert lane.kept[:, 0, at.TORQUE] == pytest.approx(wanted, rel=2e-3)


class Step(Steady):
    """Asks for a tenth of a degree more from a tick on."""

    def step(self, state, seen, below, reference):
        state, commands = super().step(state, seen, below, reference)
        more = np.where(seen.tick >= 25, 0.0017, 0.0)[:, None]
        return state, replace(commands, pitch=commands.pitch + more)


@cache
def answer(whole: int, share: float = 0.0) -> np.ndarray:
    """Pitch of blade 0 at every tick, settled before the step; the delay is given in ticks."""
    machine = turbine(("pitch.delay_s", 0.10))
    suite = SensorSuite({"pitch": Sensor(0.0, 0.0)})
    flock = flock_of([steady_wind(12.0)], Stack([Step()], ["step"]), machines=[machine], suite=suite)
    assert flock.whole.tolist() == [2]
    assert flock.share == pytest.approx(0.5)
    flock.whole[:], flock.share[:] = whole, share
    before = machine.pitch.fine + 0.05
    state = flock.lanes.y[0]
    state[at.PITCH : at.PITCH + 3] = state[at.HELD : at.HELD + 3] = before
    flock.ring[:] = before
    seen = []
    march(flock, 0.0, 1.6, observe=lambda flock, *_: seen.append(flock.lanes.y[0, at.PITCH]))
    return np.array(seen) - before


def test_a_command_reaches_the_servo_after_its_delay_to_the_tick():
    prompt, late = answer(0), answer(2)
    assert np.abs(prompt[:26]).max() < 1e-12
    assert prompt[26] > 1e-5
    assert late[2:] == pytest.approx(prompt[:-2], abs=1e-9)


def test_a_delay_of_half_a_tick_more_is_the_mean_of_the_ticks_beside_it():
    """Derived here: the fractional delay is linear between ticks, and so is the servo within its limits."""
    assert answer(1, 0.5) == pytest.approx(0.5 * (answer(1) + answer(2)), abs=1e-9)
