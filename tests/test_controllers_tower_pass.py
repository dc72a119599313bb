"""Scheduled pulse, the pulse's relief, foresight and the guard, on the small machine."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from controllers import foresight
from controllers.guard import Guard
from controllers.power import Power
from controllers.pulse import INSTANT, Pulse, flap_damping, response_lag, still_to_gain
from controllers.rotor import crossed, servo_lag
from controllers.scheduled import Scheduled
from controllers.signals import angle_to_tower, interpolate, raised_cosine, wrap
from tests import small_machine as small


def one_turn(layer, lanes=1, **given):
    """Turn the rotor twice at rated speed; return the second turn's angles and pitches of blade 0."""
    state = layer.init(small.known(lanes), small.readings(lanes, **given))
    below, rows = small.no_commands(lanes), []
    turn = round(2 * np.pi / small.RATED_SPEED / small.PERIOD)
    for step in range(2 * turn):
        azimuth = np.mod(step * small.PERIOD * small.RATED_SPEED, 2 * np.pi)
        state, command = layer.step(state, small.readings(lanes, azimuth=azimuth, **given), below, below)
        rows.append((azimuth, command.pitch[0, 0]))
    return np.array(rows[turn:])


def test_the_scheduled_pulse_peaks_at_its_centre_less_the_servo_lag():
    rows = one_turn(Scheduled(amplitude_deg=2.0, centre_deg=160.0, half_width_deg=90.0))
    lag = small.RATED_SPEED * servo_lag(small.known(1))[0]
    peak = rows[np.argmax(rows[:, 1])]
    assert np.rad2deg(peak[1]) == pytest.approx(2.0, abs=0.01)
    assert peak[0] == pytest.approx(np.deg2rad(160.0) - lag, abs=small.RATED_SPEED * small.PERIOD)


@pytest.mark.parametrize("half_width", [20.0, 60.0])
def test_the_scheduled_pulse_stays_within_its_share_of_the_servo_rate(half_width):
    rows = one_turn(Scheduled(amplitude_deg=6.0, half_width_deg=half_width, rate_share=0.5))
    assert np.max(np.abs(np.diff(rows[:, 1]))) / small.PERIOD <= 0.5 * small.PITCH_RATE * 1.001


def test_a_scheduled_pulse_without_azimuth_becomes_a_constant_offset():
    rows = one_turn(Scheduled(amplitude_deg=2.0))
    assert rows[:, 1].min() == 0.0
    layer = Scheduled(amplitude_deg=2.0)
    state = layer.init(small.known(1), small.readings(1))
    below = small.no_commands(1)
    for _ in range(600):
        state, command = layer.step(state, small.readings(1, azimuth=np.nan), below, below)
    assert np.rad2deg(command.pitch[0]) == pytest.approx(2.0)


def test_the_relief_of_a_pulse_agrees_with_scipys_simulation_of_servo_delay_and_flap():
    known = small.known(1)
    pulse = Pulse(np.deg2rad(65.0), 0.0)
    lag = response_lag(known)
    time = np.arange(0.0, 6.0, 0.001)
    angle = small.RATED_SPEED * (time - 4.0)
    command = pulse.shape(angle, np.array(small.RATED_SPEED), lag)
    w, z = small.FLAP_FREQUENCY, flap_damping(known)[0]
    _, tip, _ = signal.lsim(signal.TransferFunction([w**2], [1, 2 * z * w, w**2]), command, time)
    exact = np.interp(4.0 - servo_lag(known)[0], time, tip)
    table = pulse.relief_table(known)
    ours = still_to_gain(table, np.array([1.0]), np.array([[4.0]]))[0, 0]
    assert ours == pytest.approx(exact, abs=0.004)
    assert exact == pytest.approx(np.interp(4.0 - servo_lag(known)[0], time, tip).max(), rel=0.02)


def test_less_relief_is_to_be_had_the_later_a_pulse_begins_and_none_at_the_tower():
    table = Pulse(np.deg2rad(65.0), 0.0).relief_table(small.known(1))
    left = np.arange(100)[None, :] * INSTANT
    gain = still_to_gain(table, np.array([1.0]), left)[0]
    assert gain[0] == 0.0
    assert np.all(np.diff(gain[:20]) >= 0.0)
    assert gain.max() < gain[-1] + 0.1
    assert 0.8 < gain[-1] < 1.1


def test_a_guard_that_foresees_room_enough_does_nothing():
    rows = one_turn(Guard(), last_pass_clearance=9.0)
    assert np.all(rows[:, 1] == 0.0)


def test_a_guard_pitches_by_the_shortfall_over_the_relief_per_pitch_and_releases():
    # The witnesses lie one metre below requirement plus margin: the settled relief of the pulse must be
    # one metre: amplitude = 1 m / (relief per rad * share of the pulse).
    layer = Guard(margin_m=0.5, own_weight=0.0, last_call_deg=5.0, rate_share=1.0)
    known = small.known(1)
    state = layer.init(known, small.readings(1))
    below, reference = small.no_commands(1), small.no_commands(1)
    reference = type(reference)(reference.pitch, known.rated_torque, reference.stop)
    rows = []
    turn = round(2 * np.pi / small.RATED_SPEED / small.PERIOD)
    for step in range(turn):
        azimuth = np.mod(step * small.PERIOD * small.RATED_SPEED, 2 * np.pi)
        state = state | {"witness": np.full((1, 3), 3.4), "point": np.ones(1)}
        seen = small.readings(1, azimuth=azimuth)
        state, command = layer.step(state, seen, below, reference)
        rows.append((azimuth, command.pitch[0, 0], state["promised"][0, 0]))
    rows = np.array(rows)
    per_pitch = interpolate(np.ones(1), state["table_point"], state["table_relief"])[0]
    share = still_to_gain(state["gain_table"], np.ones(1), np.array([[4.0]]))[0, 0]
    assert rows[:, 1].max() == pytest.approx(1.0 / (per_pitch * share), rel=0.03)
    assert rows[:, 2].max() == pytest.approx(1.0, rel=1e-6)
    after = wrap(rows[:, 0] - np.pi) > np.deg2rad(40.0)
    assert np.all(rows[after, 1] == 0.0)


def test_guard_holds_more_clearance_for_less_travel_than_a_permanent_pulse():
    lanes = 6
    wind = small.turbulence(np.full(lanes, 9.0), 1.0, 200, 2)
    low = small.turbulence(np.full(lanes, 2.5), 1.0, 200, 3, 6.0) - 2.0
    runs = {
        name: small.march([Power(), *layers], wind, low, settle_s=20.0)
        for name, layers in {"power": [], "scheduled": [Scheduled()], "guard": [Guard(margin_m=1.5)]}.items()
    }
    broken = {name: np.sum(run.clearances() < small.REQUIRED) for name, run in runs.items()}
    travel = {name: run.travel_deg_per_hour() for name, run in runs.items()}
    assert broken["guard"] < 0.5 * broken["power"]
    assert travel["guard"] - travel["power"] < 0.5 * (travel["scheduled"] - travel["power"])


def test_relief_that_the_logic_gave_is_taken_from_a_witness():
    known, seen = small.known(1), small.readings(1, last_pass_clearance=5.0)
    state = foresight.start(known, seen) | {"given": np.array([[1.5, 0.0, 0.0]]), "speed": np.ones(1)}
    before, now = np.array([[0.29, 2.0, -2.0]]), np.array([[0.31, 2.02, -1.98]])
    witness = foresight.hear_witnesses(state, seen, (before, now), 0.3)
    assert witness[0, 0] == pytest.approx(3.5)
    assert witness[0, 1] == state["witness"][0, 0]


def test_a_silent_distance_sensor_leaves_the_flap_moment_as_witness_never_the_better_one():
    known = small.known(1)
    seen = small.readings(1, last_pass_clearance=np.nan)
    state = foresight.start(known, seen) | {"speed": np.ones(1), "bent_at_pass": np.full((1, 3), 12.0)}
    before, now = np.array([[0.29, 2.0, -2.0]]), np.array([[0.31, 2.02, -1.98]])
    assert foresight.hear_witnesses(state, seen, (before, now), 0.3)[0, 0] == pytest.approx(1.0)


def test_the_blade_ahead_is_the_one_that_passes_before():
    state = foresight.start(small.known(1), small.readings(1))
    angle = np.array([[-0.5, -0.5 + 2 * np.pi / 3, -0.5 - 2 * np.pi / 3]])
    assert angle_to_tower(np.pi + angle[:, 0], 3) == pytest.approx(angle)
    record = state["recorded"].copy()
    record[0, 1, foresight.sector(angle)[0, 0]] = 9.0
    state |= {"recorded": record, "witness": np.full((1, 3), 5.0)}
    bent = np.full((1, 3), 6.0)
    foreseen = foresight.foresee(state, angle, bent, np.array([1.0, 0.0, 0.0]), 1.0)
    assert foreseen[0, 0] > 5.5


def test_a_crossing_is_seen_once_and_never_at_the_cut():
    angles = wrap(np.arange(-10.0, 10.0, 0.05))
    seen = crossed(angles[:-1], angles[1:], 0.3)
    assert seen.sum() == 3
    assert np.abs(angles[1:][seen] - 0.3).max() < 0.05


def test_interpolation_in_lanes_agrees_with_numpy_and_ignores_padding():
    x = np.array([-1.0, 0.3, 1.7, 9.0])
    table_x, table_y = np.array([0.0, 1.0, 2.0, 5.0]), np.array([3.0, -1.0, 4.0, 4.5])

    def rows(values):
        return np.repeat(values[None, :], 4, axis=0)

    ours = interpolate(x, rows(table_x), rows(table_y))
    assert ours == pytest.approx(np.interp(x, table_x, table_y))
    padded = interpolate(x, rows(np.append(table_x, [5.0, 5.0])), rows(np.append(table_y, [4.5, 4.5])))
    assert np.array_equal(ours, padded)


def test_a_raised_cosine_across_the_cut_of_the_circle_is_whole():
    angle = wrap(np.linspace(2.5, 4.0, 31))
    shape = raised_cosine(angle, np.array(np.pi), np.array(0.5))
    assert shape.max() == pytest.approx(1.0, abs=0.01)
    assert np.count_nonzero(shape) == pytest.approx(20, abs=1)
