"""Margins of loops that are known in closed form, and of python-control."""

from __future__ import annotations

import math

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.linear.margins import margins_of

BAND = np.geomspace(1e-3, 1e2, 600)


def rational(numerator, denominator):
    return lambda w: np.polyval(numerator, 1j * w) / np.polyval(denominator, 1j * w)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(0.05, 2.0), st.floats(0.02, 0.6))
def test_margins_of_a_late_integrator_are_its_closed_form(gain, delay) -> None:
    """L = k exp(-s T)/s: real at pi/(2T), |L| = 1 at k; margins pi/(2kT), pi/2 - kT, and that over k."""
    found = margins_of(lambda w: gain * np.exp(-1j * w * delay) / (1j * w), BAND)
    assert found.gain_up == pytest.approx(math.pi / (2.0 * gain * delay), rel=1e-6)
    assert found.gain_frequency == pytest.approx(math.pi / (2.0 * delay), rel=1e-6)
    assert found.phase == pytest.approx(math.pi / 2.0 - gain * delay, rel=1e-6)
    assert found.delay == pytest.approx(math.pi / (2.0 * gain) - delay, rel=1e-6)
    assert found.crossover == pytest.approx(gain, rel=1e-6)
    assert found.gain_down == 0.0


def test_margins_of_three_equal_lags_and_of_a_conditionally_stable_loop() -> None:
    """8 over 1 by Routh for 1/(s+1)^3 ; k (s+1)^2/s^3 is stable for k > 1/2."""
    lags = margins_of(rational([1.0], np.poly([-1.0, -1.0, -1.0])), BAND)
    assert lags.gain_up == pytest.approx(8.0, rel=1e-6)
    assert lags.gain_frequency == pytest.approx(math.sqrt(3.0), rel=1e-6)
    conditional = margins_of(rational([4.0, 8.0, 4.0], [1.0, 0.0, 0.0, 0.0]), BAND)
    assert conditional.gain_down == pytest.approx(0.125, rel=1e-6)
    assert math.isinf(conditional.gain_up)


def test_what_no_gain_makes_unstable_has_an_infinite_margin() -> None:
    """1/(s + 1) never turns by 180 degrees and never reaches 1; its disc is the largest that there is."""
    found = margins_of(rational([0.5], [1.0, 1.0]), BAND)
    assert math.isinf(found.gain_up)
    assert math.isinf(found.phase)
    assert math.isinf(found.delay)
    assert math.isnan(found.crossover)


LOOPS = [
    ([2.0], [1.0, 1.0, 0.0]),
    ([1.5, 3.0], [1.0, 2.0, 4.0, 0.0]),
    ([0.3, 6.0, 2.0], [1.0, 3.0, 3.0, 1.0]),
]


@pytest.mark.parametrize(("numerator", "denominator"), LOOPS)
def test_margins_are_those_of_python_control(numerator, denominator) -> None:
    system = control.tf(numerator, denominator)
    gain, phase, stability, *_ = control.stability_margins(system)
    found = margins_of(rational(numerator, denominator), BAND)
    assert found.gain_up == pytest.approx(gain, rel=1e-5) or math.isinf(gain) == math.isinf(found.gain_up)
    assert math.degrees(found.phase) == pytest.approx(phase, rel=1e-5)
    assert 1.0 / found.peak_sensitivity == pytest.approx(stability, rel=1e-4)


@pytest.mark.skipif(not hasattr(control, "disk_margins"), reason="this python-control has no disc margins")
@pytest.mark.parametrize(("numerator", "denominator"), LOOPS)
def test_disc_is_that_of_python_control(numerator, denominator) -> None:
    system = control.ss(control.tf(numerator, denominator))
    disc, gain_db, phase_deg = control.disk_margins(system, np.geomspace(1e-2, 1e2, 8000))
    found = margins_of(rational(numerator, denominator), BAND)
    assert found.disc == pytest.approx(float(disc), rel=1e-5)
    assert 20.0 * math.log10(found.disc_gain) == pytest.approx(float(gain_db), rel=1e-5)
    assert math.degrees(found.disc_phase) == pytest.approx(float(phase_deg), rel=1e-5)


def test_a_loop_at_any_edge_of_its_disc_has_a_pole_on_the_axis() -> None:
    """At gain 1/(what the disc allows) or there turned, 2 (1 + L)/(1 - L) lies on the disc's circle."""
    found = margins_of(rational([2.0], [1.0, 1.0, 0.0]), BAND)
    value = 2.0 / ((1j * found.disc_frequency) * (1j * found.disc_frequency + 1.0))
    edge = 2.0 * (1.0 + value) / (1.0 - value)
    assert abs(edge) == pytest.approx(found.disc, rel=1e-9)
    factor = (2.0 + edge) / (2.0 - edge)
    assert factor * value == pytest.approx(-1.0, rel=1e-9) or value / factor == pytest.approx(-1.0, rel=1e-9)


def test_a_sampled_loop_is_limited_at_the_end_of_its_band() -> None:
    """0.5/z, period 1: real and -0.5 at half the sampling frequency; unstable from twice that gain on."""
    found = margins_of(lambda w: 0.5 * np.exp(-1j * w), np.geomspace(1e-3, np.pi, 300))
    assert found.gain_up == pytest.approx(2.0, rel=1e-9)
