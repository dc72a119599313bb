"""Does an ensemble of fields follow the standard's spectra and coherence, by the exact laws of such fields?

Formulas of IEC 61400-1:2005, annex B.2 (from memory), written out again here; for the lateral and vertical
component the form of the longitudinal coherence with their own lengths, as `sim.wind.spectra.coherence` says.
A box holds a whole period, so its Fourier coefficients are independent complex normals, without leakage:

- power over its target, summed over n coefficients, is half a chi-square of 2 n degrees of freedom;
- with x + y and x - y independent, of variances 1 + c and 1 - c, the ratio of their summed powers, each over
  its own variance, is an F of (2 n, 2 n);
- the coherence squared of n pairs of independent coefficients exceeds b with the probability (1 - b)^(n - 1).

Each test has a false alarm once in a million at its fixed seeds, and must refuse planted errors.
"""

from __future__ import annotations

from functools import cache

import numba
import numpy as np
import pytest
from scipy import stats

from sim.wind.grid import BoxGrid
from sim.wind.turbulence import three_components, turbulence_box

SPEED, SCALE = 11.4, 42.0
LENGTHS = (8.1 * SCALE, 2.7 * SCALE, 0.66 * SCALE)
SIGMAS = (1.0, 0.8, 0.5)
FALSE_ALARM = 1e-6
pytestmark = pytest.mark.skipif(numba.config.DISABLE_JIT, reason="takes minutes where nothing is compiled")
FAR = 1e6
"""A distance [m] at which points are independent."""

DISTANCES = (120.0, 60.0, 20.0)
"""Of the closer pairs [m], by component: a coherence of 0.3 to 0.6 at the lowest frequencies."""


def grid(width: float) -> BoxGrid:
    return BoxGrid(width=width, height=FAR, duration=40_000.0, ny=2, nz=2, step=4.0)


def frequencies(box: BoxGrid) -> np.ndarray:
    return np.fft.rfftfreq(box.period_samples, box.step)


@cache
def pairs(component: int) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients (field and height, bin) at two points ``DISTANCES`` apart."""
    box = grid(DISTANCES[component])
    fields = np.stack([turbulence_box((31, seed), SPEED, SCALE, box, component) for seed in range(24)])
    waves = np.fft.rfft(fields.astype(float), axis=1)
    left, right = (np.moveaxis(waves[..., side], 2, 1).reshape(-1, waves.shape[1]) for side in (0, 1))
    return left, right


def coherence(frequency, distance, length, decay=12.0):
    return np.exp(-decay * np.hypot(frequency * distance / SPEED, 0.12 * distance / length))


def is_coherent(component: int, low: float, high: float, **told: float) -> bool:
    """Whether the ensemble is one of the coherence that the formula gives, told a length and a decay."""
    at = frequencies(grid(DISTANCES[component]))
    band = (at >= low) & (at < high)
    one, two = (side[:, band] for side in pairs(component))
    shared = coherence(at[band], DISTANCES[component], **({"length": LENGTHS[component]} | told))
    alike = (abs(one + two) ** 2 / (1 + shared)).sum()
    unlike = (abs(one - two) ** 2 / (1 - shared)).sum()
    place = stats.f.cdf(alike / unlike, 2 * one.size, 2 * one.size)
    return bool(FALSE_ALARM / 2 < place < 1 - FALSE_ALARM / 2)


@pytest.mark.parametrize("component", [0, 1, 2])
def test_slow_motion_of_two_points_is_as_coherent_as_the_length_scale_says(component):
    # Below a thousandth of a hertz the length alone decides.
    length = LENGTHS[component]
    assert is_coherent(component, 1e-5, 1e-3)
    assert not is_coherent(component, 1e-5, 1e-3, length=1.5 * length)
    assert not is_coherent(component, 1e-5, 1e-3, length=length / 1.5)


@pytest.mark.parametrize("component", [0, 1, 2])
def test_the_coherence_of_two_points_falls_with_frequency_as_the_decay_says(component):
    low, high = 0.004, 0.02
    assert is_coherent(component, low, high)
    assert not is_coherent(component, low, high, decay=24.0)
    assert not is_coherent(component, low, high, decay=6.0)


@cache
def lone() -> np.ndarray:
    """Coefficients (component, field and point, bin) of points that are independent, all three components."""
    box = grid(FAR)
    keys = [[(32, 3 * seed + part) for part in range(3)] for seed in range(16)]
    fields = np.stack([three_components(three, SPEED, SCALE, box) for three in keys]).astype(float)
    waves = np.fft.rfft(fields, axis=1)
    return np.moveaxis(waves, (2, 1), (0, -1)).reshape(3, -1, waves.shape[1])


def power(component: int, frequency: np.ndarray, size: float = 1.0, stretch: float = 1.0) -> np.ndarray:
    """Kaimal's mean of a coefficient's squared size; its variance and length taken times the factors told."""
    box, time = grid(FAR), stretch * LENGTHS[component] / SPEED
    density = size * SIGMAS[component] ** 2 * 4 * time / (1 + 6 * time * frequency) ** (5 / 3)
    # One-sided density S: the mean is S steps / (2 step).
    return density * box.period_samples / (2 * box.step)


def has_spectrum(component: int, low: float, high: float, **told: float) -> bool:
    """Whether the ensemble is one of the spectrum that the formula gives."""
    at = frequencies(grid(FAR))
    band = (at >= low) & (at < high)
    found = abs(lone()[component][:, band]) ** 2 / power(component, at[band], **told)
    place = stats.chi2.cdf(2 * found.sum(), 2 * found.size)
    return bool(FALSE_ALARM / 2 < place < 1 - FALSE_ALARM / 2)


@pytest.mark.parametrize("component", [0, 1, 2])
@pytest.mark.parametrize("low, high", [(4e-4, 2e-3), (4e-3, 0.02), (0.02, 0.12)])
def test_every_component_has_kaimals_spectrum_in_each_band(component, low, high):
    assert has_spectrum(component, low, high)
    assert not has_spectrum(component, low, high, size=2.0)
    assert not has_spectrum(component, low, high, size=0.5)


@pytest.mark.parametrize("component", [0, 1, 2])
@pytest.mark.parametrize("stretch", [1.5, 1 / 1.5])
def test_a_spectrum_of_another_length_would_be_seen(component, stretch):
    assert not has_spectrum(component, 4e-4, 2e-3, stretch=stretch)


@pytest.mark.parametrize("one, two", [(0, 1), (0, 2), (1, 2)])
def test_components_are_independent_of_each_other(one, two):
    at = frequencies(grid(FAR))[10:-1]
    a, b = (lone()[part][:, 10:-1] / np.sqrt(power(part, at)) for part in (one, two))
    shared = abs((a * b.conj()).sum()) ** 2 / ((abs(a) ** 2).sum() * (abs(b) ** 2).sum())
    assert shared < 1 - FALSE_ALARM ** (1 / (a.size - 1))
