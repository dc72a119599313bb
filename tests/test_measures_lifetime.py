"""Do lifetime sums, bills and bearing work agree with closed forms and sums by hand?"""

from __future__ import annotations

from math import exp, gamma, nan, pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sim.errors import InputError
from sim.measures import energy, lifetime
from sim.measures.equivalent import cycle_rates, equivalent_range_of_cases
from sim.measures.labels import Labels
from sim.measures.spectrum import spectrum_of


def labels(speeds, seeds):
    """Return labels of normal turbulence, several seeds at each speed."""
    speed = np.repeat(np.asarray(speeds, dtype=float), seeds)
    size = speed.size
    number = np.tile(np.arange(seeds), len(speeds))
    return Labels(np.full(size, "turbulence"), np.full(size, "normal"), speed, number)


def waves(span, number):
    """Return turning points of whole cycles of one range."""
    return np.append(np.tile([0.0, span], number), 0.0)


def test_the_hours_of_a_weibull_wind_are_those_of_scipys_distribution():
    edges = np.array([3.0, 5.0, 9.0, 25.0])
    expected = 8766.0 * np.diff(stats.weibull_min(2.2, scale=9.5).cdf(edges))
    assert lifetime.weibull_hours(edges, 9.5, 2.2) == pytest.approx(expected, rel=1e-12)
    assert lifetime.weibull_hours([0.0, 1e4], 9.5, 2.2) == pytest.approx([8766.0])


def test_the_hours_of_a_rayleigh_wind_follow_the_form_of_the_standard():
    # IEC 61400-1: P(V) = 1 - exp(-pi (V / 2 Vave)^2); value from memory.
    mean, low, high = 8.5, 10.0, 12.0
    expected = 1000.0 * (exp(-pi * (low / (2.0 * mean)) ** 2) - exp(-pi * (high / (2.0 * mean)) ** 2))
    assert lifetime.rayleigh_hours([low, high], mean, 1000.0) == pytest.approx([expected], rel=1e-12)
    assert lifetime.weibull_scale(mean, 2.0) * gamma(1.5) == pytest.approx(mean)


def test_the_bins_of_the_simulated_speeds_fill_cut_in_to_cut_out():
    assert lifetime.speed_edges([4.0, 8.0, 10.0], 3.0, 25.0).tolist() == [3.0, 6.0, 9.0, 25.0]
    with pytest.raises(InputError, match=r"must lie within 5\.\.25 m/s"):
        lifetime.speed_edges([4.0, 8.0], 5.0, 25.0)
    with pytest.raises(InputError, match="must rise"):
        lifetime.speed_edges([8.0, 8.0], 3.0, 25.0)


def test_no_distribution_is_made_from_edges_or_parameters_out_of_range():
    with pytest.raises(InputError, match="edges: must rise from zero or more"):
        lifetime.weibull_hours([5.0, 3.0], 9.0, 2.0)
    with pytest.raises(InputError, match=r"wind distribution: shape = 0.0; must be > 0"):
        lifetime.weibull_hours([3.0, 5.0], 9.0, 0.0)


def test_hours_are_shared_by_the_cases_of_a_bin_that_ran():
    found = lifetime.split_hours(
        labels([8.0, 12.0], 3), [6.0] * 3 + [9.0] * 3, [True, False, True] + [True] * 3
    )
    assert found.tolist() == [3.0, 0.0, 3.0, 3.0, 3.0, 3.0]


def test_cases_weigh_by_their_hours_and_not_by_their_length():
    # By hand: 100 cycles of range 2 in 100 s and 50 of range 4 in 50 s, both 1 Hz.
    points = [spectrum_of(waves(2.0, 100), 0.1), spectrum_of(waves(4.0, 50), 0.1)]
    found = equivalent_range_of_cases(points, [30.0, 10.0], [100.0, 50.0], 4.0)
    assert found == pytest.approx(((30.0 * 2.0**4 + 10.0 * 4.0**4) / 40.0) ** 0.25, rel=1e-12)
    twice = equivalent_range_of_cases(points, [30.0, 10.0], [100.0, 50.0], 4.0, reference_frequency=2.0)
    assert twice == pytest.approx(found / 2.0**0.25, rel=1e-12)


def test_a_case_that_did_not_run_makes_the_answer_not_a_number_unless_it_has_no_hours():
    points = [spectrum_of(series, 0.1) for series in (waves(1.0, 1), np.empty(0))]
    assert np.isnan(equivalent_range_of_cases(points, [1.0, 1.0], [10.0, 10.0], 4.0))
    assert np.isfinite(equivalent_range_of_cases(points, [1.0, 0.0], [10.0, 10.0], 4.0))
    with pytest.raises(InputError, match="sum > 0"):
        equivalent_range_of_cases(points, [0.0, 0.0], [10.0, 10.0], 4.0)


def test_loads_larger_by_a_tenth_are_a_ratio_of_one_point_one_whatever_the_wind():
    names = labels([8.0, 12.0, 16.0], 6)
    rng = np.random.Generator(np.random.Philox(key=[31, 0]))
    histories = [[rng.normal(size=400) for _ in range(18)] for _ in range(2)]
    durations = np.full(18, 100.0)
    reference, mine = (
        cycle_rates(
            [[spectrum_of(size * series, size) for series in part] for part in histories], durations, 10.0
        )
        for size in (1.0, 1.1)
    )
    found = lifetime.paired_ratio((mine, reference), names, np.repeat([900.0, 600.0, 100.0], 6), 10.0)
    assert found.ratio.value == pytest.approx(1.1, rel=1e-12)
    # Paired: the same winds cancel, and nothing is left to scatter.
    assert (found.ratio.low, found.ratio.high) == pytest.approx((1.1, 1.1), rel=1e-9)
    assert found.damage_ratio == pytest.approx(1.1**10, rel=1e-9)
    assert found.part == found.reference_part


def test_the_worst_blade_of_each_entry_is_billed_and_hours_weigh_the_winds():
    # By hand, exponent 2: blade 1: (3 * 4 + 1 * 16) / 4 = 7; reference blade 0: (3 * 1 + 1 * 9) / 4 = 3.
    names = labels([8.0, 12.0], 1)
    mine = [[1.0, 4.0], [1.0, 16.0]]
    reference = [[1.0, 0.5], [9.0, 0.5]]
    found = lifetime.paired_ratio((mine, reference), names, [3.0, 1.0], 2.0)
    assert (found.part, found.reference_part) == (1, 0)
    assert found.value == pytest.approx(7.0**0.5)
    assert found.reference == pytest.approx(3.0**0.5)
    assert found.ratio.value == pytest.approx((7.0 / 3.0) ** 0.5)
    assert found.ratio.method == "no interval: one seed per wind"


def test_a_reference_without_cycles_leaves_the_ratio_undefined_and_says_so():
    names = labels([8.0], 6)
    found = lifetime.paired_ratio((np.ones(6), np.zeros(6)), names, 1.0, 4.0)
    assert np.isnan(found.ratio.value)
    assert found.ratio.method == "undefined: the reference has none"


def test_a_case_that_failed_in_one_entry_is_left_out_of_both_and_counted():
    names = labels([8.0], 3)
    found = lifetime.paired_ratio(([2.0, nan, 4.0], [1.0, 50.0, 2.0]), names, 1.0)
    assert found.ratio.value == pytest.approx(2.0)
    assert found.cases_lost == 1
    nothing = lifetime.paired_ratio(([nan] * 3, [1.0] * 3), names, 1.0)
    assert np.isnan(nothing.value)
    assert nothing.ratio.method == "undefined: no case ran in both"
    with pytest.raises(InputError, match="rates: shape"):
        lifetime.paired_ratio(([1.0], [1.0, 2.0]), names, 1.0)


def test_the_interval_of_a_bill_covers_the_true_ratio_about_as_often_as_it_says():
    # Three bins of six seeds, 300 trials of a true coverage of 0.95: below 0.91 by chance once in 500.
    rng = np.random.Generator(np.random.Philox(key=[32, 0]))
    names = labels([8.0, 12.0, 16.0], 6)
    hours = np.repeat([3.0, 2.0, 1.0], 6)
    level = np.repeat([1.0, 3.0, 5.0], 6)
    inside = 0
    for trial in range(300):
        wind = rng.gamma(9.0, level / 9.0)
        mine = wind * rng.gamma(25.0, 1.3 / 25.0, 18)
        found = lifetime.paired_ratio((mine, wind), names, hours, seed=trial)
        inside += found.ratio.low <= 1.3 <= found.ratio.high
    assert 0.91 <= inside / 300 <= 0.99


def test_energy_is_compared_as_mean_power_in_the_same_winds():
    names = labels([8.0, 12.0], 1)
    found = energy.energy_ratio(
        ([90.0, 400.0], [100.0, 400.0]), ([10.0, 10.0], [10.0, 10.0]), names, [3.0, 1.0]
    )
    assert found.value == pytest.approx((3.0 * 9.0 + 40.0) / 4.0)
    assert found.ratio.value == pytest.approx(67.0 / 70.0)


def test_a_cyclic_demand_travels_four_amplitudes_a_period():
    # Mean rate 4 A f: A = 2 deg at 0.2 Hz for 600 s, on three blades: 1.6 deg/s or 5760 deg/h.
    amplitude, frequency, duration = np.radians(2.0), 0.2, 600.0
    time = np.arange(0.0, duration + 1e-9, 0.05)
    travel = np.sum(np.abs(np.diff(amplitude * np.sin(2.0 * np.pi * frequency * time))))
    found = energy.travel_per_hour(np.full((6, 3), travel), np.full(6, duration), labels([8.0], 6), 1.0)
    assert found.value == pytest.approx(5760.0, rel=1e-9)
    with pytest.raises(InputError, match="must be"):
        energy.travel_per_hour(np.ones(6), np.ones(6), labels([8.0], 6), 1.0)


def filtered_reversals(series, dead_band):
    """Count reversals by a filter that waits for the way back to exceed the dead band."""
    low = high = series[0]
    direction, number = 0, 0
    for value in series[1:]:
        low, high = min(low, value), max(high, value)
        if direction >= 0 and high - value > dead_band:
            number, direction, low, high = number + direction, -1, value, value
        elif direction <= 0 and value - low > dead_band:
            number, direction, low, high = number - direction, 1, value, value
    return number


@settings(deadline=None, derandomize=True)
@given(st.lists(st.floats(-10.0, 10.0), min_size=3, max_size=200), st.integers(0, 8 * 6))
def test_reversals_are_those_that_a_filter_with_the_dead_band_lets_through(series, eighths):
    # A band on the edge of a cell, so that no cell lies on both sides of it.
    dead_band = 0.1 * 2.0 ** (eighths / 8.0)
    found = energy.count_reversals(spectrum_of(series, 0.1), dead_band)
    # The last range of a history is no reversal, and its first may be one short.
    assert abs(found - filtered_reversals(series, dead_band)) <= 2.0


def test_pitch_cycles_are_counted_by_amplitude_and_hour():
    # 100 cycles of range 0.2 (amplitude 0.1) and 10 of range 2 (amplitude 1) in half an hour.
    points = np.concatenate([waves(0.2, 100), waves(2.0, 10)[1:]])
    found = energy.amplitudes_per_hour([spectrum_of(points, 0.01)], [1800.0], [0.0, 0.05, 0.15, 0.8])
    assert found[0] == pytest.approx([0.0, 200.0, 20.0])


def test_a_thousand_actions_cost_a_thousand_times_their_mean():
    assert energy.per_thousand_actions(130.0, 100.0, 60.0) == pytest.approx(500.0)
    assert np.isnan(energy.per_thousand_actions(1.0, 1.0, 0.0))
