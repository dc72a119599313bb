"""Scheduled pulse, the pulse's relief, foresight and the guard, on the small machine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from controllers.foresight import Foresight
from controllers.guard import Guard
from controllers.power import Power
from controllers.pulse import Pulse, angles, entry, flap_damping, place
from controllers.rotor import servo_lag
from controllers.scheduled import Scheduled
from controllers.signals import interpolate, look_up, raised_cosine, wrap
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
    time = np.arange(0.0, 6.0, 0.001)
    angle = small.RATED_SPEED * (time - 4.0)
    command = pulse.shape(angle, pulse.centre(known)[0])
    w, z = small.FLAP_FREQUENCY, flap_damping(known)[0]
    _, tip, _ = signal.lsim(signal.TransferFunction([w**2], [1, 2 * z * w, w**2]), command, time)
    exact = np.interp(4.0 - servo_lag(known)[0], time, tip)
    ours = pulse.relief_table(known)[0, 5]
    assert ours == pytest.approx(exact, abs=0.004)
    assert exact == pytest.approx(np.interp(4.0 - servo_lag(known)[0], time, tip).max(), rel=0.02)


def test_less_relief_is_to_be_had_the_later_a_pulse_begins_and_none_at_the_tower():
    table = Pulse(np.deg2rad(65.0), 0.0).relief_table(small.known(1))
    late = (angles() > np.deg2rad(-60.0)) & (angles() < 0.0)
    assert np.all(table[0, angles() > 0.0] == 0.0)
    assert np.all(np.diff(table[0, late]) <= 0.0)
    assert table.max() < table[0, 0] + 0.1
    assert 0.8 < table[0, 0] < 1.1


def test_a_guard_that_foresees_room_enough_does_nothing():
    rows = one_turn(Guard(), last_pass_clearance=9.0)
    assert np.all(rows[:, 1] == 0.0)


def test_a_guard_pitches_by_the_shortfall_over_the_relief_per_pitch_and_releases():
    # The witnesses lie one metre below requirement plus margin: the settled relief of the pulse must be
    # one metre: amplitude = 1 m / (relief per rad * share of the pulse).
    layer = Guard(margin_m=0.5, last_call_deg=5.0, rate_share=1.0, half_width_deg=65.0, lead_deg=0.0)
    known = small.known(1)
    state = layer.init(known, small.readings(1))
    below, reference = small.no_commands(1), small.no_commands(1)
    reference = type(reference)(reference.pitch, known.rated_torque, reference.stop)
    rows = []
    turn = round(2 * np.pi / small.RATED_SPEED / small.PERIOD)
    for step in range(turn):
        azimuth = np.mod(step * small.PERIOD * small.RATED_SPEED, 2 * np.pi)
        state = state | {"newest": np.full(1, 3.4), "second": np.full(1, 3.4)}
        seen = small.readings(1, azimuth=azimuth)
        state, command = layer.step(state, seen, below, reference)
        rows.append((azimuth, command.pitch[0, 0], state["promised"][0, 0]))
    rows = np.array(rows)
    per_pitch = state["relief_first"][0]
    share = state["still"][0, 5]
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


def after_a_pass(promised, seconds, **given):
    """Return state and readings ``seconds`` after blade 0 passed with ``promised`` relief."""
    foresight = Foresight(trend=0.0, pitch_weight=1.0, gust_weight=0.0, gust_from=0.0, wait_s=0.8)
    seen = small.readings(1, **given)
    state = foresight.start(small.known(1), seen, np.zeros(1)) | {"period": np.full(1, small.PERIOD)}
    passing, relief = np.array([[True, False, False]]), np.array([[promised, 0.0, 0.0]])
    state |= foresight.note_passing(state, seen, passing, relief, np.array([0.1]))
    return foresight, state | {"since_pass": np.array([seconds])}, seen


def aged(seen, seconds):
    ages = dict(seen.age) | {"last_pass_clearance": np.full((1, 3), seconds)}
    return replace(seen, age=ages)


def test_relief_that_the_logic_gave_is_taken_from_a_witness():
    foresight, state, seen = after_a_pass(1.5, 0.5, last_pass_clearance=5.0)
    heard = foresight.hear(state, aged(seen, 0.2))
    assert heard["newest"][0] == pytest.approx(3.5)
    assert heard["second"][0] == state["newest"][0]
    assert heard["pitch_then"][0] == pytest.approx(0.1)
    assert not heard["awaited"].any()


def test_a_reading_older_than_the_pass_is_not_taken_for_it():
    foresight, state, seen = after_a_pass(1.5, 0.5, last_pass_clearance=5.0)
    heard = foresight.hear(state, aged(seen, 5.0))
    assert heard["newest"][0] == state["newest"][0]
    assert heard["awaited"].tolist() == [True]


def test_a_silent_distance_sensor_leaves_the_flap_moment_as_witness_never_the_better_one():
    tightest = small.steady_table()[0]["clearance"].min()
    for bent, expected in ((12.0, small.UNLOADED - 12.0), (1.0, tightest)):
        given = {"last_pass_clearance": np.nan, "root_flap_moment": bent * small.STIFFNESS}
        foresight, state, seen = after_a_pass(0.0, 0.9, **given)
        assert foresight.hear(state, seen)["newest"][0] == pytest.approx(expected)
        early = foresight.hear(state | {"since_pass": np.array([0.5])}, seen)
        assert early["newest"][0] == state["newest"][0]


def test_a_rise_of_pitch_since_the_witness_is_foreseen_as_clearance_and_a_trend_goes_on():
    foresight = Foresight(trend=0.5, pitch_weight=2.0, gust_weight=0.0, gust_from=0.0, wait_s=0.8)
    state = foresight.start(small.known(1), small.readings(1), np.zeros(1))
    state |= {"newest": np.array([5.0]), "second": np.array([6.0])}
    foreseen = foresight.foresee(state, np.array([0.02]), np.array([30.0]))
    assert foreseen[0] == pytest.approx(5.0 - 0.5 + 2.0 * 30.0 * 0.02)


@pytest.mark.parametrize(("growth", "expected"), [(0.9, 5.0), (2.5, 2.0)])
def test_a_gust_over_the_whole_disc_shows_in_the_mean_deflection_beyond_its_threshold(growth, expected):
    foresight = Foresight(trend=0.0, pitch_weight=0.0, gust_weight=2.0, gust_from=1.0, wait_s=0.8)
    state = foresight.start(small.known(1), small.readings(1), np.zeros(1)) | {"newest": np.array([5.0])}
    state |= {"period": np.full(1, small.PERIOD)}
    seen = small.readings(1, root_flap_moment=(6.0 + growth) * small.STIFFNESS)
    nothing = np.zeros((1, 3))
    state |= foresight.note_passing(state, seen, nothing > 0, nothing, np.zeros(1))
    assert foresight.foresee(state, np.zeros(1), np.ones(1))[0] == pytest.approx(expected)


def test_a_table_over_the_turn_is_read_at_each_lanes_own_angle():
    table = np.stack([angles(), 10.0 + angles()])
    angle = np.array([[-3.1, 0.2, 3.1], [1.0, -1.0, 0.0]])
    read = entry(table, place(angle)) - np.array([[0.0], [10.0]])
    assert np.max(np.abs(read - angle)) <= np.deg2rad(1.001)


def test_an_evenly_spaced_table_is_read_as_by_numpy():
    table = np.array([[1.0, 3.0, 2.0, 5.0], [0.0, 0.0, 1.0, -1.0]])
    share = np.array([0.4, 1.7])
    assert look_up(table, share) == pytest.approx([np.interp(1.2, np.arange(4), table[0]), -1.0])


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
