"""The estimator of the blade's deflection against python-control, scipy and the truth; the guard with it."""

from __future__ import annotations

from dataclasses import replace

import control
import numpy as np
import pytest
from scipy import linalg

from controllers.estimator import FlapModel, check_fit, kalman_gain
from controllers.guard import Guard
from controllers.kalman_guard import KalmanGuard
from scenarios.load import load_scenario
from sim.errors import InputError
from tests import small_machine as small

MODEL = FlapModel(frequency=4.4, damping=0.5, walk=2.0, noise=0.2)


def continuous(model):
    w, z = model.frequency, model.damping
    return np.array([[0.0, 1.0, 0.0], [-w * w, -2 * z * w, w * w], [0.0, 0.0, 0.0]])


@pytest.mark.parametrize("time", [0.04, 0.3, 2.0])
def test_the_motion_over_a_time_is_scipys_matrix_exponential(time):
    assert MODEL.transition(time) == pytest.approx(linalg.expm(continuous(MODEL) * time), abs=1e-12)


def test_the_model_over_a_period_is_python_controls_own_discretisation():
    system = control.ss(continuous(MODEL), np.zeros((3, 1)), np.eye(1, 3), 0)
    assert MODEL.transition(0.04) == pytest.approx(control.c2d(system, 0.04).A, abs=1e-12)


@pytest.mark.parametrize("noise", [0.05, 0.2, 1.0])
def test_the_gain_is_the_steady_state_of_the_riccati_recursion_and_of_scipys_solution(noise):
    model = replace(MODEL, noise=noise)
    a, c = model.transition(0.04), np.eye(1, 3)
    q = np.diag([0.0, 0.0, model.walk**2 * 0.04])
    p = linalg.solve_discrete_are(a.T, c.T, q, np.array([[noise**2]]))
    exact = a @ p @ c.T / (c @ p @ c.T + noise**2)
    assert kalman_gain(model, 0.04) == pytest.approx(exact.ravel(), rel=1e-8)
    p = np.eye(3)
    for _ in range(4000):
        gain = a @ p @ c.T / (c @ p @ c.T + noise**2)
        p = a @ p @ a.T - gain @ c @ p @ a.T + q
    assert kalman_gain(model, 0.04) == pytest.approx(gain.ravel(), rel=1e-6)


def test_the_spread_of_the_estimate_is_the_one_that_the_riccati_equation_promises():
    # 400 blades over 40 s of the model's own noise: the relative error of a standard deviation from n
    # independent samples is 1/sqrt(2 n); five of those are passed by chance once in 1.7 million.
    generator = np.random.Generator(np.random.Philox(key=3))
    a, c = MODEL.transition(0.04), np.eye(1, 3)
    q = np.diag([0.0, 0.0, MODEL.walk**2 * 0.04])
    promised = np.sqrt(np.diag(linalg.solve_discrete_are(a.T, c.T, q, np.array([[MODEL.noise**2]]))))
    gain = np.array(kalman_gain(MODEL, 0.04))[:, None]
    truth = estimate = np.zeros((3, 400))
    for _ in range(1000):
        measured = truth[0] + MODEL.noise * generator.standard_normal(400)
        estimate = a @ estimate + gain * (measured - estimate[0])
        truth = a @ truth
        truth[2] += MODEL.walk * 0.2 * generator.standard_normal(400)
    found = (truth - estimate).std(axis=1)
    assert found == pytest.approx(promised, rel=5.0 / np.sqrt(800.0))


def test_an_estimator_that_does_not_fit_its_turbine_is_refused_with_what_to_do():
    with pytest.raises(InputError, match=r"flap_frequency_rad_s = 8, but the first flap mode .* 4\.4 rad/s"):
        KalmanGuard(flap_frequency_rad_s=8.0).init(small.known(1), small.readings(1))
    with pytest.raises(InputError, match=r"fit its blade to 15 %: give 4\.4, or 0 to take the turbine's own"):
        KalmanGuard(flap_frequency_rad_s=3.0).fits(small.known(1))
    KalmanGuard(flap_frequency_rad_s=4.8).fits(small.known(1))
    with pytest.raises(InputError, match=r"period of 0\.2 s is too coarse .* use at most 0\.17 s"):
        check_fit("kalman-guard", 0.0, 4.4, 0.2)


def test_a_scenario_whose_estimator_does_not_fit_is_refused_with_its_line():
    entries = [
        {"name": "p", "stack": ["power"]},
        {
            "name": "k",
            "stack": ["power", "kalman-guard"],
            "parameters": {"kalman-guard": {"flap_frequency_rad_s": 9.0}},
        },
    ]
    with pytest.raises(InputError, match=r"\.stack\[1\] = .*kalman-guard.*flap_frequency_rad_s = 9"):
        load_scenario("hollin-fell", [("entries", entries)])


def test_the_layers_gain_is_python_controls_steady_state_for_the_step_that_it_takes():
    layer, known = KalmanGuard(), small.known(1)
    state = layer.init(known, small.readings(1))
    model, pace = layer.models(known)[0], 4 * small.PERIOD
    a = linalg.expm(continuous(model) * pace)
    exact = control.dlqe(a, np.eye(3)[:, 2:], np.eye(1, 3), model.walk**2 * pace, model.noise**2)[0]
    assert [state[f"gain_{name}"][0, 0] for name in "wvq"] == pytest.approx(exact.ravel(), rel=1e-8)
    assert [state[f"a_{i}{j}"][0, 0] for i in range(2) for j in range(2)] == pytest.approx(a[:2, :2].ravel())


def turn(layer, seconds, bent_of, blades=3):
    """Turn at rated speed; ``bent_of(time, blade, offsets)`` is the deflection that each gauge tells."""
    known = small.known(1, blades)
    below, state, rows = small.no_commands(1, blades), None, []
    offset = np.zeros((1, blades))
    for tick in range(round(seconds / small.PERIOD)):
        time = tick * small.PERIOD
        bent = np.array([[bent_of(time, blade) for blade in range(blades)]])
        azimuth = (small.RATED_SPEED * time) % (2 * np.pi)
        seen = small.readings(1, blades, azimuth=azimuth, root_flap_moment=bent * small.STIFFNESS)
        seen = replace(seen, tick=np.array([tick]), time=np.array([time]))
        state = layer.init(known, seen) if state is None else state
        state, command = layer.step(state, seen, below, below)
        offset = command.pitch
        rows.append((time, state, offset[0]))
    return rows


def test_the_estimate_comes_to_rest_on_a_steady_deflection_and_its_load():
    state = turn(KalmanGuard(), 10.0, lambda time, blade: 5.0 + blade)[-1][1]
    assert state["w"][0] == pytest.approx([5.0, 6.0, 7.0], abs=1e-6)
    assert state["q"][0] == pytest.approx([5.0, 6.0, 7.0], abs=1e-6)
    assert state["v"][0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-6)


@pytest.mark.parametrize("blades", [2, 3])
def test_every_pass_is_counted_once_though_few_happen_while_the_layer_looks(blades):
    rows = turn(KalmanGuard(), 30.0, lambda time, blade: 6.0, blades)
    turned = np.array([row[0] for row in rows]) * small.RATED_SPEED * blades / (2 * np.pi)
    # Of three blades one starts a sixth of a turn before the tower, of two one starts there.
    passes = np.floor(turned + 1e-9) if blades == 2 else np.floor(turned + 0.5)
    counted = np.array([row[1]["passed"][0] for row in rows])
    assert np.array_equal(counted[4::4] - counted[0], passes[4::4] - passes[0])
    assert counted[-1] - counted[0] == passes[-1] - passes[0] >= 10


@pytest.mark.parametrize("blades", [2, 3])
def test_blades_that_all_move_alike_over_the_turn_are_foreseen_as_the_guard_does(blades):
    def alike(time, blade):
        return 6.0 + 0.5 * np.cos(small.RATED_SPEED * time + 2 * np.pi * blade / blades)

    # Steady once a turn: within a few periods' rotation each blade stands where the one ahead stood.
    rows = turn(KalmanGuard(own_weight=1.5), 40.0, alike, blades)
    plain = turn(Guard(), 40.0, alike, blades)
    a = np.array([row[2] for row in rows[500:]])
    b = np.array([row[2] for row in plain[500:]])
    assert np.max(np.abs(a - b)) < np.deg2rad(0.35)


def test_a_blade_that_bends_more_than_the_one_ahead_is_foreseen_nearer():
    gap = small.UNLOADED - 7.0 - small.REQUIRED - 1.2  # of the usual witness: room for 0.9 m

    def heavier(time, blade):
        return 6.0 + (4.0 * gap if blade == 0 and time > 20.0 else 0.0)

    moved = np.array([row[2] for row in turn(KalmanGuard(own_weight=1.0), 30.0, heavier)[500:]])
    assert np.rad2deg(moved[:, 0].max()) > 0.5
    quiet = np.array([row[2] for row in turn(KalmanGuard(own_weight=0.0), 30.0, heavier)[500:]])
    assert np.array_equal(quiet, np.array([row[2] for row in turn(Guard(), 30.0, heavier)[500:]]))


def test_the_relief_that_the_logic_gives_does_not_look_like_a_lighter_load():
    # The gauge sees the relief by servo and flap; what is estimated must be the blade without it.
    layer = KalmanGuard()
    known = small.known(1)
    state = layer.init(known, small.readings(1, root_flap_moment=6.0 * small.STIFFNESS))
    per_pitch, offset, w, z = 20.0, np.deg2rad(3.0), small.FLAP_FREQUENCY, 0.505
    servo = tip = rate = 0.0
    state = state | {"offset": np.full((1, 3), offset), "relief": np.full((1, 3), per_pitch)}
    lag = 2 * small.PITCH_DAMPING / small.PITCH_FREQUENCY
    worst = 0.0
    for _ in range(round(8.0 / state["pace"][0])):
        told = layer.relieve(state)
        seen = small.readings(1, root_flap_moment=(6.0 - tip) * small.STIFFNESS)
        told |= layer.estimate(state, seen, told["relieved"])
        state = state | told
        worst = max(worst, abs(state["q"][0, 0] - 6.0))
        for _ in range(round(state["pace"][0] / 0.002)):
            servo += 0.002 / lag * (offset - servo)
            rate += 0.002 * (w * w * (servo * per_pitch - tip) - 2 * z * w * rate)
            tip += 0.002 * rate
    assert tip == pytest.approx(1.047, abs=0.01)
    assert worst < 0.2 * tip
    assert state["w"][0, 0] == pytest.approx(6.0, abs=0.01)
