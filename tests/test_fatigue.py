"""Does the cycle count agree with the standard's example, closed forms and an independent package?"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from math import gamma, inf, sqrt

import numpy as np
import pytest
import rainflow as oracle
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.kernels import cycles
from sim.measures import fatigue

# ASTM E1049-85, figure 6 (values as in the standard's table, from memory, and computed by hand).
ASTM = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]


def gaussian(low, high, step, samples, seed):
    """Return a Gaussian history of unit variance, flat between two frequencies."""
    rng = np.random.Generator(np.random.Philox(key=[7, seed]))
    frequency = np.fft.rfftfreq(samples, step)
    inside = (frequency >= low) & (frequency < high)
    spectrum = np.where(inside, rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size), 0.0)
    series = np.fft.irfft(spectrum, samples)
    return series / np.std(series)


def test_the_astm_figure_6_example_gives_the_cycles_of_the_standard():
    ranges, means, counts = fatigue.rainflow(ASTM)
    total = Counter()
    for span, count in zip(ranges, counts, strict=True):
        total[span] += count
    assert total == {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
    whole = [(span, mean) for span, mean, count in zip(ranges, means, counts, strict=True) if count == 1.0]
    assert whole == [(4.0, 1.0)]  # the pair -1, 3: the only closed cycle of the figure


@pytest.mark.parametrize(("exponent", "expected"), [(3, 1094.0), (4, 8449.0), (10, 2848969501.0)])
def test_the_astm_example_gives_the_known_sums(exponent, expected):
    ranges, _, counts = fatigue.rainflow(ASTM)
    assert fatigue.cycle_sum(ranges, counts, exponent) == expected  # computed from the cycles above, exact


SAMPLES = st.one_of(
    st.floats(-1e6, 1e6), st.integers(-4, 4).map(float), st.sampled_from([0.0, -0.0, 5e-324, 1e-200, 1e150])
)


@settings(deadline=None, derandomize=True, max_examples=500)
@given(st.lists(SAMPLES, max_size=80))
def test_the_cycles_are_those_of_the_independent_package(series):
    found = sorted(zip(*fatigue.rainflow(series), strict=True))
    assert found == sorted(cycle[:3] for cycle in oracle.extract_cycles(series))


@pytest.mark.parametrize("smoothing", [1, 7, 60])
def test_long_random_histories_have_the_cycles_of_the_independent_package(smoothing):
    rng = np.random.Generator(np.random.Philox(key=[1, smoothing]))
    series = np.convolve(rng.normal(size=20000), np.ones(smoothing), mode="valid").round(2)
    found = sorted(zip(*fatigue.rainflow(series), strict=True))
    assert found == sorted(cycle[:3] for cycle in oracle.extract_cycles(series))


@settings(deadline=None, derandomize=True)
@given(st.lists(st.integers(-5, 5).map(float), min_size=3, max_size=60))
def test_turning_points_keep_every_cycle_and_are_their_own_turning_points(series):
    points = fatigue.turning_points(series)
    assert list(fatigue.turning_points(points)) == list(points)
    found = fatigue.count_points(points)
    for one, other in zip(found, fatigue.rainflow(series), strict=True):
        assert list(one) == list(other)


@settings(deadline=None, derandomize=True)
@given(st.lists(st.integers(-5, 5).map(float), min_size=2, max_size=60))
def test_the_streaming_filter_finds_the_points_of_the_whole_history(series):
    state, points, count = np.full(2, np.nan), np.empty(100), 0
    for value in series:
        count = cycles.record_turning(value, state, points, count)
    streamed = [*points[:count], series[-1]]
    assert streamed == list(fatigue.turning_points(series))


def test_the_streaming_filter_says_when_points_were_lost_and_writes_nothing_beyond_its_room():
    state, room, count = np.empty(2), np.full(6, 99.0), 0
    for value in [0.0, 1.0, 0.0, 1.0, 0.0, 1.0]:
        count = cycles.record_turning(value, state, room[:3], count)
    assert count == 5
    assert list(room) == [0.0, 1.0, 0.0, 99.0, 99.0, 99.0]


@settings(deadline=None, derandomize=True)
@given(st.lists(st.integers(-4, 4).map(float), min_size=3, max_size=120))
def test_counting_point_by_point_closes_the_cycles_of_the_whole_history(series):
    points = fatigue.turning_points(series)
    stack, depth, streamed = np.empty(200), 0, []
    for point in points:
        stack[depth], depth = point, depth + 1
        while True:
            depth, span, mean, count = cycles.close_cycle(stack, depth)
            if count == 0.0:
                break
            streamed.append((span, mean, count))
    rest = [(abs(one - two), 0.5 * (one + two), 0.5) for one, two in pairwise(stack[:depth])]
    assert sorted(streamed + rest) == sorted(zip(*fatigue.rainflow(series), strict=True))


@settings(deadline=None, derandomize=True)
@given(st.lists(st.integers(-50, 50).map(float), min_size=3, max_size=60))
def test_turning_a_history_upside_down_keeps_ranges_and_turns_means(series):
    upright = [(span, -mean, count) for span, mean, count in zip(*fatigue.rainflow(series), strict=True)]
    turned = zip(*fatigue.rainflow([-value for value in series]), strict=True)
    assert sorted(turned) == sorted(upright)


def test_a_single_rise_is_half_a_cycle_when_counted_from_its_points():
    ranges, means, counts = fatigue.count_points([1.0, 4.0])
    assert (list(ranges), list(means), list(counts)) == ([3.0], [2.5], [0.5])
    assert fatigue.rainflow([1.0, 4.0])[0].size == 0  # the package's edge, stated in the docstring


@pytest.mark.parametrize("exponent", [1.0, 4.0, 10.0])
def test_the_equivalent_range_of_a_sine_is_twice_its_amplitude(exponent):
    number, amplitude = 50, 3.5
    time = np.arange(number * 360 + 1) / 360.0
    series = amplitude * np.cos(2.0 * np.pi * time)  # starts and ends on a peak: `number` whole cycles
    ranges, _, counts = fatigue.rainflow(series)
    assert fatigue.equivalent_range(ranges, counts, exponent, number) == pytest.approx(
        2.0 * amplitude, rel=1e-12
    )


def test_a_range_of_ten_about_a_mean_of_twenty_is_goodmans_twelve_and_a_half():
    assert fatigue.goodman([10.0], [20.0], 100.0) == pytest.approx([12.5])  # 10 * 100 / (100 - 20)
    assert fatigue.goodman([10.0], [-20.0], 100.0) == pytest.approx([12.5])
    assert list(fatigue.goodman([10.0, 0.0], [100.0, 120.0], 100.0)) == [inf, 0.0]


@pytest.mark.parametrize(("exponent", "tolerance"), [(4, 0.015), (10, 0.05)])
def test_narrow_band_noise_has_the_equivalent_range_of_miles(exponent, tolerance):
    # J. W. Miles, J. Aeronaut. Sci. 21 (1954): DEL / sigma = 2 sqrt2 Gamma(1 + m/2)^(1/m), cycles at 1 Hz.
    # About 2e4 independent cycles: scatter of the sum 15.84 / sqrt(2e4) = 11 % at m = 10, so 1.1 % in DEL.
    duration, step = 2.0e5, 0.04
    series = gaussian(0.95, 1.05, step, int(duration / step), seed=1)
    ranges, _, counts = fatigue.rainflow(series)
    expected = 2.0 * sqrt(2.0) * gamma(1.0 + exponent / 2.0) ** (1.0 / exponent)
    found = fatigue.equivalent_range(ranges, counts, exponent, duration)
    assert found == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(("exponent", "moment"), [(4, 56.3856), (10, 1.62404e6)])
def test_wide_band_noise_has_the_equivalent_range_of_dirlik(exponent, moment):
    # T. Dirlik, "Application of computers in fatigue analysis", thesis, Warwick 1985: damage-rate moments of
    # the one-sided spectrum 1 from 0 to 1 Hz (computed from his formula); known to be good to 5 % in DEL.
    duration, step = 1.5e5, 0.05
    series = gaussian(0.0, 1.0, step, int(duration / step), seed=2)
    ranges, _, counts = fatigue.rainflow(series)
    found = fatigue.equivalent_range(ranges, counts, exponent, duration)
    assert found == pytest.approx(moment ** (1.0 / exponent), rel=0.05)


def test_damage_follows_the_curve_on_both_sides_of_its_knee():
    curve = fatigue.StressCurve(knee_range=100.0, knee_cycles=1e6, exponent=3.0, exponent_below=5.0)
    # By hand: 200 lives 1e6 / 8, 50 lives 1e6 * 32, 100 lives 1e6.
    assert fatigue.damage([200.0], [1.0], curve) == pytest.approx(8e-6)
    assert fatigue.damage([50.0], [1.0], curve) == pytest.approx(1e-6 / 32.0)
    assert fatigue.damage([100.0, 0.0], [2.0, 5.0], curve) == pytest.approx(2e-6)
    endless = fatigue.StressCurve(100.0, 1e6, 3.0, exponent_below=inf)
    assert fatigue.damage([99.0], [1e9], endless) == 0.0
    assert fatigue.damage([100.0], [1.0], endless) == pytest.approx(1e-6)


def test_a_stress_curve_with_a_slope_below_one_is_refused():
    with pytest.raises(InputError, match=r"exponent = 0.9; must be >= 1"):
        fatigue.StressCurve(1.0, 1.0, 0.9)
    with pytest.raises(InputError, match=r"exponent_below = 0.5; must be >= 1"):
        fatigue.StressCurve(1.0, 1.0, 3.0, 0.5)
    with pytest.raises(InputError, match=r"knee_range = 0.0; must be > 0"):
        fatigue.StressCurve(0.0, 1.0, 3.0)


def test_the_matrix_holds_every_cycle_and_refuses_to_drop_one():
    counted = fatigue.rainflow(ASTM)
    matrix = fatigue.range_mean_matrix(counted, [0.0, 4.0, 8.0, 10.0], [-1.5, 0.0, 1.5])
    assert matrix.sum() == 4.0
    assert list(matrix.sum(axis=1)) == [0.5, 2.0, 1.5]  # below 4; 4 and 6; 8 and 9
    with pytest.raises(InputError, match="range 9 lies outside"):
        fatigue.range_mean_matrix(counted, [0.0, 8.5], [-2.0, 2.0])


def test_bad_histories_and_counts_are_refused():
    with pytest.raises(InputError, match=r"series\[1\] = nan; must be finite"):
        fatigue.rainflow([0.0, np.nan, 1.0])
    with pytest.raises(InputError, match="has 2 dimensions; must have 1"):
        fatigue.rainflow([[0.0, 1.0]])
    with pytest.raises(InputError, match=r"reference_count = 0.0; must be > 0"):
        fatigue.equivalent_range([1.0], [1.0], 4.0, 0.0)
    with pytest.raises(InputError, match=r"exponent = 0.5; must be >= 1"):
        fatigue.equivalent_range([1.0], [1.0], 0.5, 1.0)
    with pytest.raises(InputError, match=r"series: has 0 dimensions"):
        fatigue.rainflow(5.0)


@pytest.mark.parametrize(
    ("ranges", "counts", "message"),
    [
        ([1.0, 2.0, 3.0], [1.0, 1.0], r"counts: shape \(2,\); must be that of the ranges, \(3,\)"),
        ([1.0, 2.0, 3.0], [1.0], r"counts: shape \(1,\); must be that of the ranges"),
        ([-1.0, -2.0], [1.0, 1.0], r"ranges: hold -1; must be finite and >= 0"),
        ([1.0, np.nan], [1.0, 1.0], r"ranges: hold nan; must be finite"),
        ([1.0, inf], [1.0, 1.0], r"ranges: hold inf; must be finite"),
        ([1.0, 2.0], [-1.0, 1.0], r"counts: hold -1; must be finite and >= 0"),
    ],
)
def test_ranges_and_counts_that_are_no_cycles_are_refused(ranges, counts, message):
    for call in (
        lambda: fatigue.equivalent_range(ranges, counts, 4.0, 1.0),
        lambda: fatigue.cycle_sum(ranges, counts, 4.0),
        lambda: fatigue.damage(ranges, counts, fatigue.StressCurve(1.0, 1e6, 4.0)),
    ):
        with pytest.raises(InputError, match=message):
            call()


@settings(deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(0.1, 1e3), st.sampled_from([0.5, 1.0])), min_size=1, max_size=20),
    st.sampled_from([1.0, 4.0, 10.0]),
    st.floats(1.0, 1e6),
)
def test_an_equivalent_range_grows_with_the_loads_and_does_their_damage(pairs, exponent, number):
    # Properties of the definition: scaled loads scale it, and `number` cycles of it have the same sum.
    ranges, counts = np.array(pairs).T
    found = fatigue.equivalent_range(ranges, counts, exponent, number)
    assert fatigue.equivalent_range(3.0 * ranges, counts, exponent, number) == pytest.approx(3.0 * found)
    assert fatigue.equivalent_range(ranges, counts, exponent, 2.0**exponent * number) == pytest.approx(
        0.5 * found
    )
    assert number * found**exponent == pytest.approx(fatigue.cycle_sum(ranges, counts, exponent))
