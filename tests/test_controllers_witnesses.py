"""What is learned of the last passes, and what the wind ahead tells of the next, against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from controllers.guard import Guard
from controllers.learning import Learning
from controllers.preview import Preview, wind_effect
from tests import small_machine as small


def learn(layer, needs, wind=10.0):
    """Tell the layer of passes that needed so much relief; return its memory."""
    known, seen = small.known(1), small.readings(1, wind_speed=wind)
    state = layer.init(known, seen)
    for need in needs:
        after = state | {"heard": np.full(1, True), "newest": state["aim"][:, 0] - need}
        state = after | layer.foresee(state, after, seen, (np.zeros(1), np.full(1, 20.0)))[0]
    return state


def test_the_relief_that_is_learned_rests_at_the_expectile_of_what_was_needed():
    # scipy.stats.expectile is an independent solution of alpha E[(N - R)+] = (1 - alpha) E[(R - N)+].
    generator = np.random.Generator(np.random.Philox(key=5))
    needs = generator.normal(0.3, 1.0, 400)
    rise, fall = 0.01, 0.002
    layer = Learning(rise=rise, fall=fall)
    exact = stats.expectile(np.maximum(needs, 0.0), alpha=rise / (rise + fall))
    learned = learn(layer, np.tile(needs, 8))["learned"][0, 10]
    assert learned == pytest.approx(exact, abs=0.03)


def test_what_is_learned_in_one_wind_is_kept_apart_from_every_other():
    state = learn(Learning(start_m=0.25), [2.0, 2.0, 2.0], wind=12.5)
    assert state["learned"][0, 12] == pytest.approx(2.0 - 1.75 * 0.5**3)
    assert np.all(np.delete(state["learned"][0], 12) == 0.25)


def test_a_relief_that_is_no_longer_needed_is_forgotten_at_the_rate_that_was_asked_for():
    state = learn(Learning(rise=1.0, fall=0.02), [1.5] + [-2.0] * 50)
    assert state["learned"][0, 10] == pytest.approx(1.5 * 0.98**50)


def turn(layer, seconds, **given):
    """Turn at rated speed; values of ``given`` may be functions of time. Return states and pitches."""
    known = replace(small.known(1), preview_range=np.full(1, 120.0))
    below, state, rows = small.no_commands(1), None, []
    for tick in range(round(seconds / small.PERIOD)):
        time = tick * small.PERIOD
        now = {name: value(time) if callable(value) else value for name, value in given.items()}
        seen = small.readings(1, azimuth=(small.RATED_SPEED * time) % (2 * np.pi), **now)
        seen = replace(seen, tick=np.array([tick]), time=np.array([time]))
        state = layer.init(known, seen) if state is None else state
        state, command = layer.step(state, seen, below, below)
        rows.append((time, state, command.pitch[0]))
    return rows


def test_a_learning_layer_gives_every_pass_of_a_wind_the_relief_that_it_learned():
    layer = Learning(start_m=0.8)
    rows = turn(layer, 12.0, last_pass_clearance=9.0, wind_speed=10.5)
    promised = np.array([row[1]["promised"][0] for row in rows[150:]])
    assert promised.max(axis=0) == pytest.approx(np.full(3, 0.8), rel=0.05)


def test_the_effect_of_the_wind_is_the_slope_of_the_deflection_at_constant_pitch():
    known, table = small.known(1), small.steady_table()[0]
    effect = wind_effect(known)[0]
    for wind in (14.0, 16.0, 20.0):
        row = int(np.flatnonzero(table["wind_speed"] == wind)[0])
        middle = 0.25 * 2 * np.array([table["pitch"][row - 1] + table["pitch"][row]])
        near = [small.deflection(v, small.RATED_SPEED, middle)[0] for v in (wind - 0.5, wind)]
        assert effect[row] == pytest.approx((near[1] - near[0]) / 0.5, rel=0.02)


@pytest.mark.parametrize("wind", [8.0, 12.0])
def test_the_wind_seen_ahead_is_met_when_it_has_come_the_way(wind):
    # A step of 3 m/s seen at 30 s, 120 m ahead, comes on with the slow mean of what is seen: between 120/wind
    # and 120/(wind + 3) seconds later, and the flap answers a little late; passes are 1.8 s apart.
    layer = Preview(smooth_s=0.04, advection_s=60.0)
    rows = turn(layer, 55.0, wind_preview=lambda time: wind + 3.0 * (time >= 30.0))
    met = np.array([row[1]["met_at_pass"][0] for row in rows])
    come = rows[int(np.argmax(met > wind + 1.5))][0] - 30.0
    lag = 2 * (small.FLAP_DAMPING + 0.005) / small.FLAP_FREQUENCY
    assert 120.0 / (wind + 3.0) + lag - 0.2 < come < 120.0 / wind + lag + 1.9


def test_a_gust_that_was_seen_is_answered_before_it_comes_and_a_lull_is_not():
    room = {"last_pass_clearance": small.REQUIRED + 1.2 + 0.1}
    moved = {}
    for name, step in {"gust": 3.0, "lull": -3.0}.items():
        layer = Preview(preview_weight=1.0, advection_s=60.0)
        rows = turn(layer, 43.0, wind_preview=lambda time, s=step: 12.0 + s * (time >= 30.0), **room)
        moved[name] = np.array([row[2].max() for row in rows])
    assert np.all(moved["gust"][250:900] == 0.0)
    assert np.rad2deg(moved["gust"][900:].max()) > 0.4
    assert np.all(moved["lull"][250:] == 0.0)


class SeldomGuard(Guard):
    """A guard that looks ahead as seldom as the preview does."""

    slow = True


def test_without_preview_for_two_seconds_it_acts_as_a_guard_that_looks_ahead_as_seldom():
    near = {"last_pass_clearance": small.REQUIRED + 0.5}
    lost = turn(Preview(preview_weight=1.0), 10.0, wind_preview=np.nan, **near)
    plain = turn(SeldomGuard(), 10.0, **near)
    late = round(2.1 / small.PERIOD)
    assert np.array_equal(
        np.array([row[2] for row in lost[late:]]), np.array([row[2] for row in plain[late:]])
    )
