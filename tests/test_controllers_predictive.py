"""The smallest effort against a general-purpose solver, and the layer that plans with it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy import optimize, signal

from controllers.effort import smallest_effort
from controllers.power import Power
from controllers.predictive import Predictive
from controllers.pulse import angles, flap_damping, held_relief_table
from controllers.rotor import servo_lag
from controllers.scheduled import Scheduled
from tests import small_machine as small


def random_problems(count, moves, seed):
    generator = np.random.Generator(np.random.Philox(key=seed))
    gain = generator.uniform(-0.3, 1.0, (count, moves))
    limit = generator.uniform(0.0, 1.0, (count, moves)) * (generator.random((count, moves)) > 0.1)
    most = (np.maximum(gain, 0.0) * limit).sum(axis=1)
    return gain, generator.uniform(-0.2, 1.4, count) * most, limit, most


def test_the_smallest_effort_is_what_scipy_finds_on_random_problems_feasible_or_not():
    gain, need, limit, most = random_problems(200, 6, 7)
    ours = smallest_effort(gain, need, limit)
    assert np.sum(need > most) > 30 and np.sum(need < 0.0) > 10
    for row in range(len(need)):
        bounds = list(zip(np.zeros(6), limit[row], strict=True))
        reach = optimize.linprog(-gain[row], bounds=bounds, method="highs")
        if -reach.fun < need[row]:
            # Infeasible: nothing within the bounds brings more than ours does.
            assert gain[row] @ ours[row] == pytest.approx(-reach.fun, abs=1e-9)
            continue
        found = optimize.minimize(
            lambda x: 0.5 * x @ x,
            limit[row],
            jac=lambda x: x,
            bounds=bounds,
            constraints={"type": "ineq", "fun": lambda x, r=row: gain[r] @ x - need[r]},
            method="SLSQP",
            options={"ftol": 1e-14, "maxiter": 300},
        )
        assert ours[row] == pytest.approx(found.x, abs=2e-5)


@settings(deadline=None, derandomize=True)
@given(
    gain=some.lists(some.floats(-1.0, 2.0), min_size=4, max_size=4),
    limit=some.lists(some.floats(0.0, 3.0), min_size=4, max_size=4),
    need=some.floats(-2.0, 5.0),
)
def test_every_plan_keeps_its_bounds_and_yields_what_is_needed_or_all_there_is(gain, limit, need):
    g, u = np.array([gain]), np.array([limit])
    x = smallest_effort(g, np.array([need]), u)
    assert np.all((x >= 0.0) & (x <= u))
    most = (np.maximum(g, 0.0) * u).sum()
    assert (g * x).sum() >= min(need, most) - 1e-9
    if need <= 0.0:
        assert np.all(x == 0.0)


def test_one_row_of_a_batch_is_solved_as_it_would_be_alone_to_the_bit():
    gain, need, limit, _ = random_problems(50, 6, 8)
    whole = smallest_effort(gain, need, limit)
    for row in (0, 17, 49):
        part = slice(row, row + 1)
        assert np.array_equal(smallest_effort(gain[part], need[part], limit[part])[0], whole[row])


def test_the_relief_of_a_held_pitch_is_scipys_step_response_at_the_time_that_is_left():
    known = small.known(1)
    w, z = small.FLAP_FREQUENCY, flap_damping(known)[0]
    time = np.arange(0.0, 2.5, 0.001)
    _, tip = signal.step(signal.TransferFunction([w**2], [1, 2 * z * w, w**2]), T=time)
    left = -angles() / small.RATED_SPEED - servo_lag(known)[0]
    exact = np.where(left > 0.0, np.interp(left, time, tip), 0.0)
    assert held_relief_table(known)[0] == pytest.approx(exact, abs=0.03)


def approach(layer, newest, turns=1.0):
    """Turn at rated speed with one and the same witness; return (angle past the tower, offset, promised)."""
    known = small.known(1)
    state = layer.init(known, small.readings(1))
    below, rows = small.no_commands(1), []
    for step in range(round(turns * 2 * np.pi / small.RATED_SPEED / small.PERIOD)):
        azimuth = np.mod(step * small.PERIOD * small.RATED_SPEED, 2 * np.pi)
        state = state | {"newest": np.full(1, newest), "second": np.full(1, newest)}
        state, command = layer.step(state, small.readings(1, azimuth=azimuth), below, below)
        rows.append((state["angle"][0, 0], command.pitch[0, 0], state["promised"][0, 0]))
    return np.array(rows)


def test_a_plan_promises_just_the_shortfall_and_is_back_before_the_next_approach():
    rows = approach(Predictive(margin_m=0.5, gust_weight=0.0, pitch_weight=0.0), 3.4)
    before = rows[(rows[:, 0] > -0.15) & (rows[:, 0] < 0.0)]
    assert before[:, 2] == pytest.approx(small.REQUIRED + 0.5 - 3.4, rel=0.01)
    assert np.all(rows[rows[:, 0] > np.deg2rad(62.0), 1] == 0.0)
    assert np.max(np.abs(np.diff(rows[:, 1]))) <= 0.9 * small.PITCH_RATE * small.PERIOD * (1 + 1e-9)


def test_the_carried_out_plan_costs_hardly_more_effort_than_the_best_of_all_motions():
    # The best motion with every period a move of its own, by the same conditions, from the start of the plan.
    layer = Predictive(margin_m=0.5, gust_weight=0.0, pitch_weight=0.0, start_deg=110.0)
    rows = approach(layer, 3.4)
    up = np.diff(rows[(rows[:, 0] > np.deg2rad(-112.0)) & (rows[:, 0] < 0.0), 1])
    known = small.known(1)
    state = layer.init(known, small.readings(1))
    period_angle = small.PERIOD * small.RATED_SPEED
    ahead = np.arange(-np.deg2rad(110.0), -small.RATED_SPEED * servo_lag(known)[0], period_angle)
    gain = state["held"][0, ((ahead + np.pi) * 180 / (2 * np.pi)).astype(int)] * state["relief_first"][0]
    need = small.REQUIRED + 0.5 - 3.4
    best = need * gain / np.sum(gain**2)
    assert np.sum(best**2) < np.sum(np.maximum(up, 0.0) ** 2) < 1.1 * np.sum(best**2)


def test_an_approach_with_room_enough_is_left_alone_and_a_hopeless_one_gets_all_there_is():
    assert np.all(approach(Predictive(), 9.0)[:, 1] == 0.0)
    rows = approach(Predictive(max_amplitude_deg=3.0), -30.0)
    assert np.rad2deg(rows[:, 1].max()) == pytest.approx(3.0, abs=0.01)


def test_planning_holds_more_clearance_for_less_travel_than_a_permanent_pulse():
    lanes = 3
    wind = small.turbulence(np.full(lanes, 9.0), 1.0, 120, 2)
    low = small.turbulence(np.full(lanes, 2.5), 1.0, 120, 3, 6.0) - 2.0
    stacks = {"power": [], "scheduled": [Scheduled()], "predictive": [Predictive(margin_m=1.5)]}
    runs = {
        name: small.march([Power(), *layers], wind, low, settle_s=20.0) for name, layers in stacks.items()
    }
    broken = {name: np.sum(run.clearances() < small.REQUIRED) for name, run in runs.items()}
    travel = {name: run.travel_deg_per_hour() for name, run in runs.items()}
    assert broken["power"] > 10
    assert broken["predictive"] < 0.1 * broken["power"]
    assert travel["predictive"] - travel["power"] < 0.7 * (travel["scheduled"] - travel["power"])
