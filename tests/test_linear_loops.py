"""Stacks of logic in linear form, and what becomes of the plant under them."""

from __future__ import annotations

from dataclasses import replace

import control
import numpy as np
import pytest

from controllers.registry import find
from sim.errors import InputError, RunError
from sim.interface import Commands
from sim.linear.closed import ClosedLoop
from sim.linear.logic import READINGS, linearise_stack
from sim.linear.loop import LOOPS, Delays, Loop
from sim.linear.plant import COMMANDS, INPUTS
from sim.linear.settle import hold_turbine
from sim.stack import Stack
from tests.linear_marches import (
    COMPARED,
    DELAY,
    PERIOD,
    SHEAR,
    apart,
    held,
    machine,
    marched_gust,
    model,
    stack_of,
    told_of_tips,
)  # fmt: skip


def loop_of(speed: float, *names: str) -> Loop:
    settled = held("skerry", speed, *names)
    delays = Delays.of(settled.reading_delay, settled.command_delay, PERIOD)
    return Loop(model("skerry", speed, *names), linearise_stack(settled), delays)


def closed_step(loop: Loop, size: float, seconds: float) -> np.ndarray:
    return ClosedLoop.of(loop).step_response("wind_speed", size, seconds, list(COMPARED))[1]


def test_power_is_its_filter_its_integral_and_its_gains() -> None:
    """PI on the filtered rotor speed with the gains of its docstring: 2 z w J/|dQ/db|, w^2 J/|dQ/db|."""
    settled = held("skerry", 14.0)
    logic, layer, known = linearise_stack(settled), settled.stack.layers[0], settled.flock.known
    rules = layer.schedule(known)
    slope = rules["slope_at_floor"] + rules["slope_growth"] * (settled.point.pitch[0] - rules["gain_floor"])
    z = np.exp(2j * np.pi * 0.1 * PERIOD)
    share = 1.0 - np.exp(-PERIOD / layer.filter_s)
    lag = share / (1.0 - (1.0 - share) / z)
    proportional = 2.0 * layer.damping * layer.frequency_rad_s * known.rotor_inertia / slope
    integral = layer.frequency_rad_s**2 * known.rotor_inertia / slope
    expected = lag * (proportional + integral * PERIOD / (1.0 - 1.0 / z))
    answer = logic.response(np.array([2.0 * np.pi * 0.1]))[0]
    assert answer[0, READINGS.index("rotor_speed")] == pytest.approx(expected[0], rel=2e-3)
    assert np.abs(answer[1:]).max() < 1e-6, "no cyclic pitch, and torque at its limit"
    assert set(logic.states) == {"power.speed", "power.integral", "power.pitch"}


def test_power_below_rated_is_the_slope_of_its_torque_law() -> None:
    """Torque = gain speed^2, away from the ramps: slope 2 gain speed."""
    settled = held("skerry", 8.0)
    answer = linearise_stack(settled).response(np.array([1e-4]))[0]
    expected = 2.0 * settled.flock.known.optimal_torque_gain[0] * settled.point.rotor_speed
    assert answer[3, READINGS.index("rotor_speed")] == pytest.approx(expected, rel=1e-2)


@pytest.mark.parametrize("speed", [8.0, 14.0])
def test_linear_closed_loop_answers_a_step_of_the_wind_as_the_march_does(speed: float) -> None:
    marched = marched_gust(held("skerry", speed), 0.05, 10.0).mean(axis=1)
    assert apart(closed_step(loop_of(speed, "power"), 0.05, 10.0), marched).max() < 0.02


@pytest.mark.slow
def test_cyclic_pitch_relieves_a_step_of_the_shear_as_its_march_does() -> None:
    """Of the blades' own parts: read at one azimuth, moved at another, both must be turned right."""
    settled, tips = held("skerry", 14.0, "power", "cyclic"), ["tip_deflection_cosine", "tip_deflection_sine"]
    marched = marched_gust(settled, 1e-3, 20.0, "vertical_shear", told_of_tips).mean(axis=1)
    closed = ClosedLoop.of(loop_of(14.0, "power", "cyclic"))
    ours = closed.step_response("vertical_shear", 1e-3, 20.0, tips)[1]
    assert apart(ours, marched).max() < 0.02
    assert abs(marched[-1, 0]) < 0.5 * abs(marched[:, 0]).max(), "the logic does relieve"


@pytest.mark.slow
def test_cyclic_pitch_closes_two_loops_and_answers_as_its_march_does() -> None:
    """The layer's bandwidth is declared as the frequency at which its loop gain is one."""
    from sim.linear.margins import margins_of

    loop = loop_of(14.0, "power", "cyclic")
    assert loop.active == ["collective pitch", "cosine pitch", "sine pitch"]
    marched = marched_gust(held("skerry", 14.0, "power", "cyclic"), 0.05, 10.0).mean(axis=1)
    assert apart(closed_step(loop, 0.05, 10.0), marched).max() < 0.02
    for name in loop.active[1:]:
        found = margins_of(lambda w, name=name: loop.loop_response(name, w), loop.band)
        assert found.crossover == pytest.approx(0.2, rel=0.25)


def test_cut_loops_and_closed_loop_are_one_system() -> None:
    """Demand over command, all loops closed, is 1/(1 - cut loops); the closed loop through python-control."""
    loop = loop_of(14.0, "power")
    system = ClosedLoop.of(loop).state_space
    rows = [f"demanded_{name}" for name in COMMANDS]
    for frequency in (0.05, 0.6, 8.0):
        through = np.linalg.inv(np.eye(4) - loop.cut(np.array([frequency]))[0])
        found = system[rows, list(COMMANDS)](np.exp(1j * frequency * PERIOD))
        np.testing.assert_allclose(found, through, rtol=1e-6, atol=1e-8 * np.abs(through).max())
    assert system.input_labels == list(INPUTS)


def test_a_gain_beyond_its_margin_makes_the_closed_loop_unstable_at_the_frequency_told() -> None:
    from sim.linear.margins import margins_of

    loop = loop_of(14.0, "power")
    margins = margins_of(lambda w: loop.loop_response("collective pitch", w), loop.band)
    for factor, is_stable in ((0.999, True), (1.001, False)):
        gain = np.diag([factor * margins.gain_up, 1.0, 1.0, 1.0])
        logic = replace(loop.logic, C=gain @ loop.logic.C, D=gain @ loop.logic.D)
        values = np.linalg.eigvals(ClosedLoop.of(replace(loop, logic=logic)).A)
        assert (np.abs(values).max() < 1.0) == is_stable
    worst = values[np.argmax(np.abs(values))]
    assert abs(np.angle(worst)) / PERIOD == pytest.approx(margins.gain_frequency, rel=1e-2)


def test_a_delay_beyond_its_margin_makes_the_closed_loop_unstable() -> None:
    from sim.linear.margins import margins_of

    loop = loop_of(14.0, "power")
    margin = margins_of(lambda w: loop.loop_response("collective pitch", w), loop.band).delay
    for late, is_stable in ((int(margin / PERIOD), True), (int(margin / PERIOD) + 1, False)):
        delays = replace(loop.delays, reading=loop.delays.reading + late)
        values = np.linalg.eigvals(ClosedLoop.of(replace(loop, delays=delays)).A)
        assert (np.abs(values).max() < 1.0) == is_stable


def test_parted_delays_are_those_of_the_march() -> None:
    assert Delays.of(3, 0.08, 0.04) == Delays(3, 2, 0.0)
    parted = Delays.of(0, 0.05, 0.04)
    assert (parted.command, parted.share) == (1, pytest.approx(0.25))


def test_a_scheduled_pulse_has_no_linear_form_and_is_named() -> None:
    with pytest.raises(InputError, match=r"layer scheduled: .* at 14 m/s: its answer turns with"):
        linearise_stack(held("skerry", 14.0, "power", "scheduled"))


class Over:
    """Power's layer above: adds pitch where the rotor turns faster than its settled speed, never less."""

    needs: tuple[str, ...] = ("rotor_speed",)
    tower_pass, power = False, False

    def init(self, known, seen):
        return {"rated": known.rated_rotor_speed}

    def step(self, state, seen, below, reference):
        excess = np.maximum(seen.rotor_speed - state["rated"], 0.0)
        return state, Commands(below.pitch + 0.5 * excess[:, None], below.torque, below.stop)


class Clearance(Over):
    """Pitches by what the last passes left."""

    def step(self, state, seen, below, reference):
        least = np.where(np.isfinite(seen.last_pass_clearance), seen.last_pass_clearance, 8.0)
        return state, Commands(below.pitch + 0.001 * (8.0 - least), below.torque, below.stop)


def mixed(layer) -> Stack:
    return Stack([*stack_of("power").layers, layer], ["power", "mine"])


def test_an_answer_to_rises_alone_has_no_linear_form() -> None:
    settled = held("skerry", 14.0)
    still = [
        replace(m, states=[*m.states, Over().init(settled.flock.known, m.seen)],
                seen=replace(m.seen, rotor_speed=settled.flock.known.rated_rotor_speed.copy()))
        for m in settled.moments
    ]  # fmt: skip
    with pytest.raises(InputError, match=r"layer mine: .* a small rise otherwise than a small fall"):
        linearise_stack(replace(settled, stack=mixed(Over()), moments=still))


def test_an_answer_to_what_no_linear_plant_tells_has_no_linear_form() -> None:
    settled = hold_turbine(machine("skerry"), mixed(Clearance()), 14.0, SHEAR, DELAY, PERIOD)
    with pytest.raises(InputError, match=r"layer mine: .*last_pass_clearance.*try --stack power"):
        linearise_stack(settled)


def test_speeds_outside_cut_in_and_cut_out_are_refused() -> None:
    for speed in (2.0, 25.5):
        with pytest.raises(InputError, match=r"--speed .*: must be from cut-in 3 to cut-out 25 m/s"):
            hold_turbine(machine("skerry"), stack_of("power"), speed, SHEAR, DELAY, PERIOD)


def test_a_stack_that_swings_for_ever_is_told(monkeypatch) -> None:
    monkeypatch.setattr("sim.linear.settle.MOST_BLOCKS", 3)
    wild = Stack([find("power", {"frequency_rad_s": 1.2})], ["power"])
    with pytest.raises(RunError, match=r"power does not settle at 14 m/s .* its loops are unstable"):
        hold_turbine(machine("skerry"), wild, 14.0, SHEAR, DELAY, PERIOD)


def test_a_layer_that_fails_is_told() -> None:
    class Broken(Over):
        def step(self, state, seen, below, reference):
            raise ValueError("no")

    with pytest.raises(RunError, match="layer mine raised ValueError: no"):
        hold_turbine(machine("skerry"), mixed(Broken()), 14.0, SHEAR, DELAY, PERIOD)


def test_loops_are_named_by_what_they_move() -> None:
    assert list(LOOPS.values()) == list(COMMANDS)
    assert loop_of(8.0, "power").active == ["generator torque"]
    assert isinstance(ClosedLoop.of(loop_of(8.0, "power")).state_space, control.StateSpace)
