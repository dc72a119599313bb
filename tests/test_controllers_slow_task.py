"""Slow tasks: done in each lane at its own time, whatever its neighbours and whatever calls are missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from controllers import slow_task
from controllers.kalman_guard import FASTEST, KalmanGuard
from controllers.supervisor import REFERENCE, TRUSTS, Supervisor
from tests import small_machine as small


def at(tick, **values):
    """Readings of lanes with these clocks."""
    tick = np.array(tick)
    return replace(small.readings(len(tick), **values), tick=tick, time=tick * small.PERIOD)


def with_period(known, period):
    return replace(known, period=period)


def test_the_time_between_two_runs_is_a_whole_number_of_periods_and_at_least_one():
    for period, every in ((0.04, 4), (0.05, 3), (0.02, 8), (0.12, 1), (0.5, 1)):
        memory = slow_task.start(with_period(small.known(2), period), at([0, 0]))
        assert memory["every"].tolist() == [every, every]
        assert np.allclose(memory["pace"], every * period)
    assert slow_task.start(small.known(2), at([0, 0]), np.array([2.7, 0.4]))["every"].tolist() == [2, 1]


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 50), st.lists(st.integers(1, 9), min_size=1, max_size=30))
def test_a_task_is_done_once_in_every_turn_in_which_a_call_comes_and_at_the_first_of_them(first, gaps):
    ticks = first + np.concatenate([[0], np.cumsum(gaps)])
    state, done = slow_task.start(small.known(1), at([first])), []
    for tick in ticks:
        state["turn"], due = slow_task.due(state, at([tick]))
        done += [tick] if due[0] else []
    turns = [tick // 4 for tick in ticks]
    assert done == [ticks[turns.index(turn)] for turn in sorted(set(turns))]


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.lists(st.booleans(), min_size=1, max_size=6))
def test_lanes_that_are_due_are_renewed_and_all_others_stay(due):
    count, asked = len(due), []
    state = {"a": np.arange(count) + 0.5, "b": np.ones((count, 2)), "kept": np.zeros(count)}
    before = {name: value.copy() for name, value in state.items()}

    def task(now):
        asked.append(1)
        now["a"] = now["a"] * 10.0
        now["b"] = now["b"] + now["a"][:, None]  # what the task itself put there before

    slow_task.run(np.array(due), task, state)
    for lane, renewed in enumerate(due):  # one lane at a time
        a = before["a"][lane] * 10.0 if renewed else before["a"][lane]
        assert state["a"][lane] == a
        assert state["b"][lane].tolist() == [1.0 + a if renewed else 1.0] * 2
    assert np.array_equal(state["kept"], before["kept"])
    assert len(asked) == any(due)


def test_the_estimator_takes_no_longer_steps_than_the_blade_bears():
    stiff = replace(small.known(2), blade_frequency=np.array([[4.4, 12.0, 8.0], [9.0, 12.0, 8.0]]))
    state = KalmanGuard().init(stiff, at([0, 0]))
    assert state["every"].tolist() == [4, 2]  # 0.75 rad of the flap mode: 4.3 and 2.1 periods


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(0.4, 3.0), st.floats(0.0, 1.0), st.sampled_from([2, 3]))
def test_no_place_on_the_way_from_blade_to_blade_is_left_out(rated, phase, blades):
    known = replace(small.known(1, blades), rated_rotor_speed=np.full(1, rated))
    state = KalmanGuard().init(known, small.readings(1, blades))
    step = FASTEST * rated * state["pace"][0]
    way = np.arange(phase * step, 2 * np.pi / blades, step)
    last = int(state["last_place"][0])
    seen = np.minimum((way * state["places_per_angle"][0]).astype(int), last)
    assert set(seen) == set(range(last + 1))
    assert last >= 1


def test_a_call_that_comes_late_is_answered_at_once_and_not_at_the_next_run():
    layer, known, below = Supervisor(late_ticks=2.0), small.known(1), small.no_commands(1)
    state = layer.init(known, at([0]))
    for tick, mode in ((0, TRUSTS), (1, TRUSTS), (3, REFERENCE)):
        state, _ = layer.step(state, at([tick]), below, below)
        assert state["mode"][0] == mode
