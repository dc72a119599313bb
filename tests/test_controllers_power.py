"""Power production: torque law, speed loop against its closed form, saturation, missing readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controllers.power import Power
from controllers.thrust_limit import ThrustLimit
from sim.errors import InputError
from tests import small_machine as small


def run_on_straight_rotor(layer, start_speed, steps, pitch_start=0.2, slope=-2.0e7):
    """March J dw/dt = slope (pitch - pitch_start) with the layer's pitch; torque is balanced by design."""
    known = small.known(1)
    flat = np.full_like(known.steady.torque_per_pitch, slope)
    known = replace(known, steady=replace(known.steady, torque_per_pitch=flat))
    speed = np.array([start_speed])
    state = layer.init(known, small.readings(1, rotor_speed=small.RATED_SPEED, pitch=pitch_start))
    below, speeds = small.no_commands(1), []
    for _ in range(steps):
        seen = small.readings(1, rotor_speed=speed, pitch=pitch_start)
        state, command = layer.step(state, seen, below, below)
        speed = speed + small.PERIOD * slope * (command.pitch[:, 0] - pitch_start) / small.INERTIA
        speeds.append(speed[0])
    return np.array(speeds)


def test_the_speed_loop_follows_the_second_order_it_was_designed_for():
    # Closed form: e'' + 2 z w e' + w^2 e = 0, e(0) = e0, e'(0) = -2 z w e0 (the proportional part acts at
    # once), so for z = 1: e(t) = e0 (1 - w t) exp(-w t).
    w, e0 = 0.4, 0.001
    layer = Power(frequency_rad_s=w, damping=1.0, filter_s=0.001)
    speeds = run_on_straight_rotor(layer, small.RATED_SPEED + e0, 500)
    t = small.PERIOD * np.arange(1, 501)
    exact = e0 * (1.0 - w * t) * np.exp(-w * t)
    assert np.max(np.abs(speeds - small.RATED_SPEED - exact)) < 0.02 * e0


def test_torque_is_optimal_between_the_ramps_and_rated_above_them():
    layer, known = Power(), small.known(3)
    state = layer.init(known, small.readings(3))
    speed = np.array([0.85, 1.2, 0.5]) * np.array([1.0, small.RATED_SPEED, small.MINIMUM_SPEED])
    torque = layer.torque(state, speed)
    assert torque[0] == pytest.approx(known.optimal_torque_gain[0] * 0.85**2, rel=1e-12)
    assert torque[1] == pytest.approx(known.rated_torque[1], rel=1e-12)
    assert torque[2] == 0.0


def test_a_derated_rotor_turns_at_rated_speed_with_its_share_of_power_and_less_thrust():
    # Above rated the torque is constant at its share and the pitch holds the rated speed, so the power is the
    # share of the rated; a higher pitch at the same speed bends the blade less, on the small machine in
    # proportion to its thrust.
    winds = np.repeat(np.array([[13.0, 17.0, 21.0]]), 3000, axis=0)
    full, derated = (small.march([Power(derate_share=share)], winds) for share in (1.0, 0.7))
    assert derated.speed[-1] == pytest.approx(small.RATED_SPEED, rel=1e-3)
    assert derated.torque[-1] * derated.speed[-1] == pytest.approx(
        0.7 * small.RATED_POWER / small.EFFICIENCY, rel=2e-3
    )
    pitch = derated.pitch[-1][:, 0]
    assert small.torque(winds[-1], small.RATED_SPEED, pitch) == pytest.approx(
        0.7 * small.RATED_TORQUE, rel=5e-3
    )
    assert np.all(pitch > full.pitch[-1][:, 0] + np.deg2rad(0.5))


def test_torque_never_falls_as_the_rotor_speeds_up():
    layer, known = Power(), small.known(1)
    state = layer.init(known, small.readings(1))
    torque = [layer.torque(state, np.array([w]))[0] for w in np.linspace(0.3, 1.5, 400)]
    assert np.all(np.diff(torque) >= -1e-6)


def test_every_steady_wind_comes_to_rest_without_limit_cycle():
    winds = np.repeat(np.arange(4.0, 25.1, 1.0)[None, :], 4000, axis=0)
    winds[1500:] += 0.5
    history = small.march([Power()], winds)
    assert np.max(np.ptp(history.speed[-1000:], axis=0)) < 2e-4 * small.RATED_SPEED
    full_load = winds[-1] > 11.0
    assert history.speed[-1][full_load] == pytest.approx(small.RATED_SPEED, rel=1e-3)


def test_the_integral_does_not_wind_up_while_the_servo_is_at_its_rate_limit():
    known = small.known(1)
    layer = Power()
    state = layer.init(known, small.readings(1, pitch=0.1))
    below = small.no_commands(1)
    for _ in range(50):
        seen = small.readings(1, rotor_speed=1.5 * small.RATED_SPEED)
        state, command = layer.step(state, seen, below, below)
    limit = 0.8 * small.PITCH_RATE * 2.0
    assert command.pitch[0, 0] == pytest.approx(0.1 + limit, rel=1e-9)
    assert state["integral"][0] <= command.pitch[0, 0]


def test_a_rotor_whose_speed_is_unknown_is_feathered_after_the_blind_time():
    layer = Power(blind_s=1.0)
    state = layer.init(small.known(1), small.readings(1))
    below, pitches = small.no_commands(1), []
    for _ in range(100):
        seen = small.readings(1, rotor_speed=np.nan)
        state, command = layer.step(state, seen, below, below)
        pitches.append(command.pitch[0, 0])
    assert np.all(np.isfinite(pitches))
    assert pitches[20] == 0.0
    assert pitches[-1] == pytest.approx(0.25 * 0.8 * small.PITCH_RATE * 3.0, rel=0.03)


def test_thrust_limit_holds_the_steady_thrust_at_its_share_of_the_peak():
    known = small.known(1)
    schedule = ThrustLimit(share=0.85).schedule(known)[0]
    rows = small.steady_table()[0]
    peak = rows["thrust"].max()
    pitch = np.maximum(schedule, rows["pitch"])
    limited = small.thrust(rows["wind_speed"], rows["rotor_speed"], pitch)
    # One linear step towards the limit: second-order error only, and never beyond five percent.
    assert limited.max() <= 0.90 * peak
    low = rows["thrust"] < 0.6 * peak
    assert np.all(schedule[low & (rows["wind_speed"] < 9)] == 0.0)


def test_thrust_limit_without_wind_keeps_the_highest_schedule():
    layer = ThrustLimit(blind_s=1.0)
    known = small.known(1)
    state = layer.init(known, small.readings(1, wind_speed=5.0))
    below = small.no_commands(1)
    for _ in range(500):
        state, command = layer.step(state, small.readings(1, wind_speed=np.nan), below, below)
    assert command.pitch[0] == pytest.approx(layer.schedule(known).max())


def test_a_parameter_out_of_range_is_refused_with_layer_name_value_and_range():
    with pytest.raises(InputError, match=r"layer power: damping = -1; must be a number from 0.3 to 3"):
        Power(damping=-1)
    with pytest.raises(InputError, match="damping = nan"):
        Power(damping=float("nan"))
    with pytest.raises(InputError, match="damping = True"):
        Power(damping=True)


@pytest.mark.parametrize(("raised", "expected"), [([4.0, 4.0, 4.0], 4.0), ([4.0, 4.0, 0.0], 0.0)])
def test_the_integral_stays_up_where_others_hold_all_blades_up_but_not_for_single_blades(raised, expected):
    layer, below = Power(), small.no_commands(1)
    state = layer.init(small.known(1), small.readings(1))
    for _ in range(50):
        seen = small.readings(1, rotor_speed=0.95 * small.RATED_SPEED, pitch=np.deg2rad([raised]))
        state, command = layer.step(state, seen, below, below)
    assert np.rad2deg(state["integral"][0]) == pytest.approx(expected)
    assert command.pitch[0, 0] < np.deg2rad(4.0)
