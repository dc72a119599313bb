"""Has the turbulence the standard's spectrum, variance and coherence, and are its bits its own?

Spectrum and coherence: IEC 61400-1:2005, annex B.2 (values from memory), through `sim.wind.spectra`, which
test_wind_standard.py holds against worked numbers. Statistical limits are 5 standard errors of the exact law
of Gaussian fields (false alarm about 1e-6 each) at fixed seeds.
"""

import tracemalloc

import numba
import numpy as np
import pytest

from sim.wind import factors as factor_store
from sim.wind.factors import factors
from sim.wind.grid import BoxGrid
from sim.wind.spectra import coherence, kaimal_density
from sim.wind.turbulence import bin_amplitudes, three_components, turbulence_box

SPEED, SCALE = 11.4, 42.0
FAR = BoxGrid(width=14 * 5000.0, height=14 * 5000.0, duration=660.0)
"""Points so far apart that all 225 are independent samples."""


@pytest.fixture(scope="module")
def far_fields():
    fields = [turbulence_box((7, seed), SPEED, SCALE, FAR) for seed in range(8)]
    return np.stack(fields, axis=1).reshape(FAR.period_samples, -1)


def test_variance_is_one_less_the_share_above_five_hertz(far_fields):
    # Integral of the Kaimal spectrum above 5 Hz: (1 + 6 * 5 * 8.1 * 42 / 11.4)^(-2/3) = 0.01076.
    variances = (far_fields.astype(float) ** 2).mean(axis=0)
    error = np.sqrt((bin_amplitudes(SPEED, SCALE, FAR) ** 4).sum() / variances.size)
    assert error < 0.01
    assert variances.mean() == pytest.approx(1.0 - 0.01076, abs=5 * error)


@pytest.mark.parametrize("low, high", [(0.01, 0.02), (0.05, 0.1), (0.5, 1.0), (2.0, 4.5)])
def test_spectrum_is_kaimals_in_each_band(far_fields, low, high):
    steps = len(far_fields)
    frequencies = np.fft.rfftfreq(steps, FAR.step)
    power = 2 * FAR.step / steps * (abs(np.fft.rfft(far_fields, axis=0)) ** 2).mean(axis=1)
    band = (frequencies >= low) & (frequencies < high)
    ratio = power[band] / kaimal_density(frequencies[band], SPEED, 1.0, SCALE)
    # One periodogram ordinate has a standard deviation of its mean; 0.5 % for leakage of the cut period.
    error = 1 / np.sqrt(band.sum() * far_fields.shape[1])
    assert ratio.mean() == pytest.approx(1.0, abs=5 * error + 0.005)


@pytest.mark.parametrize("across, frequency, value", [(True, 0.01, 0.48931), (False, 0.05, 0.58977)])
def test_coherence_between_two_points_is_the_standards(across, frequency, value):
    # Worked numbers (from the formula): 63 m at 0.01 Hz, 10 m at 0.05 Hz, V 11.4 m/s, Lambda1 42 m.
    grid = BoxGrid(width=63.0, height=10.0, duration=6600.0, ny=2, nz=2, step=0.5)
    window = np.hanning(grid.period_samples)[:, None]
    frequencies = np.fft.rfftfreq(grid.period_samples, grid.step)
    band = abs(frequencies / frequency - 1) < 0.1
    auto, cross = 0.0, 0.0
    for seed in range(150):
        field = turbulence_box((8, seed), SPEED, SCALE, grid)
        pair = field[:, 0, [0, 1]] if across else field[:, [0, 1], 0]
        one, two = np.fft.rfft(window * pair, axis=0)[band].T
        auto += (abs(one) ** 2 + abs(two) ** 2).sum() / 2
        cross += (one * two.conj()).sum()
    # A Hann window halves the number of independent ordinates.
    error = (1 - value**2) / np.sqrt(2 * 150 * band.sum() / 2)
    assert (cross / auto).real == pytest.approx(value, abs=5 * error + 0.003)
    assert abs((cross / auto).imag) < 5 / np.sqrt(2 * 150 * band.sum() / 2)


def test_factors_multiply_back_to_the_coherence_matrix():
    grid = BoxGrid(width=40.0, height=60.0, duration=600.0, ny=3, nz=4)
    made = factors(SPEED, SCALE, grid)
    points = [(y, z) for z in np.linspace(-30, 30, 4) for y in np.linspace(-20, 20, 3)]
    distance = [[np.hypot(a[0] - b[0], a[1] - b[1]) for b in points] for a in points]
    frequencies = np.arange(1, len(made.group) + 1) / (grid.period_samples * grid.step)
    for group in (0, 5, made.group[-1]):
        lower = np.zeros((12, 12))
        lower.T[np.triu_indices(12)] = made.packed[group]
        mean = frequencies[made.group == group].mean()
        np.testing.assert_allclose(lower @ lower.T, coherence(mean, distance, SPEED, SCALE), atol=2e-6)


def test_bins_that_share_a_factor_lie_within_four_per_cent():
    made = factors(SPEED, SCALE, BoxGrid(138.6, 138.6, 660.0, ny=3, nz=3))
    bins = np.arange(1, len(made.group) + 1)
    for group in range(made.group[-1] + 1):
        shared = bins[made.group == group]
        assert shared.max() <= 1.04 * shared.min()


def test_points_are_independent_only_where_the_closest_pair_is_below_one_per_cent():
    grid = BoxGrid(width=100.0, height=36.0, duration=660.0, ny=6, nz=4)
    last = len(factors(SPEED, SCALE, grid).group) / (grid.period_samples * grid.step)
    # exp(-12 hypot(f r / V, 0.12 r / Lc)) = 0.01 at r = 12 m: f = 0.3643 Hz.
    assert last == pytest.approx(0.3643, abs=0.002)


def test_a_field_is_the_same_to_the_bit_whatever_was_made_before(monkeypatch):
    grid = BoxGrid(width=60.0, height=60.0, duration=60.0, ny=4, nz=3)
    first = turbulence_box((1, 2), SPEED, SCALE, grid).tobytes()
    monkeypatch.setattr(factor_store, "CACHE_BYTES", 1)
    for seed in range(3):
        turbulence_box((9, seed), 8.0 + seed, SCALE, grid)
    assert len(factor_store._kept) == 1
    assert turbulence_box((1, 2), SPEED, SCALE, grid).tobytes() == first
    assert turbulence_box((1, 3), SPEED, SCALE, grid).tobytes() != first


@pytest.mark.skipif(numba.config.DISABLE_JIT, reason="225 points take minutes where nothing is compiled")
def test_a_usual_field_needs_little_memory():
    # 6602 steps of 15 x 15 points in single precision are 5.9 MB; work space and factors add five times that.
    grid = BoxGrid(width=138.6, height=138.6, duration=660.0)
    factor_store._kept.clear()
    tracemalloc.start()
    turbulence_box((1, 2), 25.0, SCALE, grid)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 36e6
    assert factors(25.0, SCALE, grid).packed.nbytes < 12e6


def test_three_components_have_the_standards_ratios_and_their_own_spectra():
    # sigma2 = 0.8, sigma3 = 0.5 sigma1 (IEC 61400-1, from memory), less what lies above 5 Hz.
    grid = BoxGrid(width=14 * 5000.0, height=14 * 5000.0, duration=330.0)
    fields = np.stack([three_components([(s, 1), (s, 2), (s, 3)], SPEED, SCALE, grid) for s in range(4)])
    frequencies = np.fft.rfftfreq(grid.period_samples, grid.step)
    band = (frequencies >= 0.1) & (frequencies < 0.5)
    for component, sigma in enumerate((1.0, 0.8, 0.5)):
        field = fields[:, :, component].astype(float)
        amplitudes = bin_amplitudes(SPEED, SCALE, grid, component)
        lost = (1 + 6 * 5 * (8.1, 2.7, 0.66)[component] * SCALE / SPEED) ** (-2 / 3)
        error = np.sqrt((amplitudes**4).sum() / 900)
        assert field.var() == pytest.approx(sigma**2 * (1 - lost), rel=5 * error)
        power = (
            (abs(np.fft.rfft(field, axis=1)) ** 2).mean(axis=(0, 2, 3)) * 2 * grid.step / grid.period_samples
        )
        ratio = power[band] / kaimal_density(frequencies[band], SPEED, 1.0, SCALE, component)
        assert ratio.mean() == pytest.approx(1.0, abs=5 / np.sqrt(900 * band.sum()) + 0.005)
    one = turbulence_box((2, 1), SPEED, SCALE, grid)
    np.testing.assert_array_equal(fields[2, :, 0], one)
