"""Multi-blade coordinates against their closed form."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.linear.coordinates import coordinates
from sim.linear.multiblade import rates_of_parts, to_blades, to_parts
from sim.linear.poles import poles_of

ANGLES = st.floats(-50.0, 50.0)
VALUES = st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=3)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(VALUES, ANGLES)
def test_parts_and_blades_are_each_others_inverse(values, azimuth) -> None:
    there = to_blades(np.array(values), azimuth)
    np.testing.assert_allclose(to_parts(there, azimuth), values, atol=1e-9)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.floats(0.1, 5.0), ANGLES, ANGLES)
def test_a_wave_once_per_turn_is_a_still_vector(amplitude, azimuth, phase) -> None:
    """z_b = A cos(a_b - p) has the parts (0, A cos p, A sin p) at every azimuth."""
    blades = amplitude * np.cos(azimuth + 2.0 * np.pi / 3.0 * np.arange(3) - phase)
    expected = [0.0, amplitude * np.cos(phase), amplitude * np.sin(phase)]
    np.testing.assert_allclose(to_parts(blades, azimuth), expected, atol=1e-9)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(VALUES, VALUES, ANGLES, st.floats(-2.0, 2.0))
def test_rates_of_parts_are_those_of_motions_given_in_parts(parts, rates, azimuth, speed) -> None:
    """Parts p + r t at azimuth a + speed t: central differences of the blades give r back."""
    step = 1e-6

    def blades(time: float) -> np.ndarray:
        return to_blades(np.array(parts) + time * np.array(rates), azimuth + speed * time)

    found = rates_of_parts(
        (blades(step) - blades(-step)) / (2.0 * step), np.array(parts), azimuth, np.array(speed)
    )
    np.testing.assert_allclose(found, rates, atol=2e-3)


def test_coordinates_return_the_state_that_they_were_taken_from() -> None:
    axes, y = coordinates(), np.random.default_rng(5).normal(size=(4, 360))
    copy = np.zeros_like(y)
    axes.write(copy, axes.of(y, 1.234), 1.234)
    places = [*axes.triples.ravel(), *axes.singles]
    np.testing.assert_allclose(copy[:, places], y[:, places], atol=1e-12)
    assert len(set(places)) == len(axes)


def test_whirls_of_blades_that_swing_alone_are_told_apart() -> None:
    """Three blades of frequency w seen from the standing frame: w, w - speed backward, w + speed forward."""
    axes, frequency, speed = coordinates(), 4.0, 1.0
    n = len(axes)
    first = axes.names.index("flap_1_collective")
    rate = axes.names.index("flap_1_rate_collective")
    turn = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, -speed], [0.0, speed, 0.0]])
    A = -np.eye(n)
    A[first : first + 3, first : first + 3] = A[rate : rate + 3, rate : rate + 3] = turn
    A[first : first + 3, rate : rate + 3] = np.eye(3)
    A[rate : rate + 3, first : first + 3] = -(frequency**2) * np.eye(3)
    found = {pole.name: pole.value.imag for pole in poles_of(A, axes.families) if pole.value.imag > 0.1}
    assert set(found) == {"flap 1 collective", "flap 1 backward", "flap 1 forward"}
    np.testing.assert_allclose(
        [found[f"flap 1 {whirl}"] for whirl in ("collective", "backward", "forward")], [4.0, 3.0, 5.0]
    )


def test_poles_of_an_oscillator_have_its_frequency_damping_and_owner() -> None:
    from scipy.linalg import expm

    A = np.array([[0.0, 1.0, 0.0], [-9.0, -1.2, 0.0], [0.0, 0.0, -0.5]])
    families = ("spring", "spring", "store")
    for poles in (poles_of(A, families), poles_of(expm(0.04 * A), families, 0.04)):
        slow, swinging = poles
        assert (slow.family, swinging.family) == ("store", "spring")
        np.testing.assert_allclose(swinging.frequency, 3.0 / (2.0 * np.pi))
        np.testing.assert_allclose([swinging.damping, slow.damping, slow.value.real], [0.2, 1.0, -0.5])
        np.testing.assert_allclose([slow.share, swinging.share], 1.0)
