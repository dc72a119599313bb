"""Do the intervals agree with exact laws, and do they cover the truth as often as they say?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from sim.errors import InputError
from sim.measures import statistics


def test_clopper_pearson_gives_the_known_limits():
    # CHECKS 6, computed from the beta quantiles of Clopper & Pearson (1934).
    assert statistics.clopper_pearson(0, 100) == (0.0, pytest.approx(0.0362167, abs=5e-8))
    low, high = statistics.clopper_pearson(3, 1000)
    assert low == pytest.approx(0.0006191, abs=5e-8)
    assert high == pytest.approx(0.00874202, abs=5e-9)
    assert statistics.clopper_pearson(0, 0) == (0.0, 1.0)


@pytest.mark.parametrize(("events", "trials", "confidence"), [(1, 2, 0.95), (7, 19, 0.9), (50, 50, 0.99)])
def test_clopper_pearson_agrees_with_scipy_and_mirrors(events, trials, confidence):
    exact = stats.binomtest(events, trials).proportion_ci(confidence, method="exact")
    found = statistics.clopper_pearson(events, trials, confidence)
    assert found == pytest.approx((exact.low, exact.high), rel=1e-9)
    mirrored = statistics.clopper_pearson(trials - events, trials, confidence)
    assert mirrored == pytest.approx((1.0 - found[1], 1.0 - found[0]), rel=1e-9)


def test_three_thousand_clean_trials_show_less_than_one_in_a_thousand():
    assert statistics.zero_failure_trials(1e-3, 0.95) == 2995  # CHECKS 6
    assert (1.0 - 1e-3) ** 2995 <= 0.05 < (1.0 - 1e-3) ** 2994


def test_counts_and_shares_out_of_range_are_refused():
    with pytest.raises(InputError, match="events = 3; must lie between 0 and the 2 trials"):
        statistics.clopper_pearson(3, 2)
    with pytest.raises(InputError, match=r"probability = 0.0; must lie between 0 and 1"):
        statistics.zero_failure_trials(0.0)
    with pytest.raises(InputError, match="events: must lie between 0 and trials"):
        statistics.share_over_units([2.0], [1.0], [0])


def test_resampling_keeps_every_group_at_its_size_and_repeats_itself():
    groups = np.array(["a", "b", "a", "b", "b"])
    times = statistics.resample(groups, draws=200, seed=5)
    assert np.all(times[:, groups == "a"].sum(axis=1) == 2)
    assert np.all(times[:, groups == "b"].sum(axis=1) == 3)
    assert np.array_equal(times, statistics.resample(groups, draws=200, seed=5))
    assert not np.array_equal(times, statistics.resample(groups, draws=200, seed=6))


def test_the_bootstrap_scatter_is_that_of_the_exact_bootstrap_law():
    # The variance of a bootstrapped sum of n units is exactly n times their plug-in variance.
    values = np.array([1.0, 4.0, 2.0, 9.0, 5.0, 3.0])
    times = statistics.resample(np.zeros(6, dtype=int), draws=20000)
    drawn = times @ values
    # Relative scatter of a variance from 20000 draws is 1 %: four standard deviations, one alarm in 16000.
    assert np.var(drawn) == pytest.approx(6.0 * np.var(values), rel=0.04)


@pytest.mark.parametrize("bins", [1, pytest.param(4, marks=pytest.mark.slow)])
def test_the_interval_over_six_seeds_covers_the_truth_about_as_often_as_it_says(bins):
    # Normal units, 400 trials of a true coverage of 0.95: below 0.92 by chance once in 300; the plain
    # percentile interval of six units covers about 0.86 and fails here.
    rng = np.random.Generator(np.random.Philox(key=[11, bins]))
    groups = np.repeat(np.arange(bins), 6)
    inside = 0
    for trial in range(400):
        values = 5.0 + rng.normal(size=6 * bins)
        sums = np.stack([values, np.ones(values.size)], axis=1)
        found = statistics.cluster_bootstrap(statistics.ratio, sums, groups, seed=trial)
        inside += found.low <= 5.0 <= found.high
    assert 0.92 <= inside / 400 <= 0.985


def test_correlated_passes_widen_the_interval_and_the_number_of_passes_does_not_narrow_it():
    events = np.array([0.0, 30.0, 2.0, 0.0, 11.0, 5.0])
    few = statistics.share_over_units(events, np.full(6, 100.0), np.zeros(6, dtype=int))
    many = statistics.share_over_units(10.0 * events, np.full(6, 1000.0), np.zeros(6, dtype=int))
    assert few.value == pytest.approx(0.08)
    assert (many.low, many.high) == pytest.approx((few.low, few.high))
    exact = statistics.clopper_pearson(48, 600)  # what independence of the passes would claim
    assert few.high - few.low > 2.0 * (exact[1] - exact[0])


def test_no_event_gives_the_exact_bound_on_seeds_and_not_on_passes():
    found = statistics.share_over_units(np.zeros(6), np.full(6, 300.0), np.zeros(6, dtype=int))
    # Clopper-Pearson 0 of 6, two-sided 95 %: 1 - 0.025^(1/6).
    assert (found.value, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(1.0 - 0.025 ** (1.0 / 6.0), rel=1e-12)
    assert found.method == "no event: exact bound on seeds"


def test_nothing_but_events_gives_the_mirrored_bound_and_no_trials_give_none():
    found = statistics.share_over_units([3.0, 2.0, 0.0], [3.0, 2.0, 0.0], [0, 0, 0])
    assert (found.value, found.high, found.units) == (1.0, 1.0, 2)
    assert found.low == pytest.approx(0.025**0.5, rel=1e-12)
    nothing = statistics.share_over_units([0.0], [0.0], [0])
    assert np.isnan(nothing.value)
    assert nothing.method == "undefined: no trial"


def test_one_seed_per_wind_has_no_interval_and_says_so():
    found = statistics.share_over_units([1.0, 2.0], [10.0, 10.0], [0, 1])
    assert found.value == pytest.approx(0.15)
    assert np.isnan(found.low)
    assert found.method == "no interval: one seed per wind"


def test_the_only_seed_with_an_event_may_be_missing_from_a_bin_whose_other_seeds_had_no_trial():
    # Six seeds in each of two winds; in the second only one seed had a trial. It is left out of a resample
    # with the probability (5/6)^6 = 0.33, so the share reaches down to 0, and up to more than its value.
    events, trials = np.zeros(12), np.r_[np.full(6, 4.0), np.zeros(6)]
    events[7] = trials[7] = 1.0
    found = statistics.share_over_units(events, trials, np.repeat([0, 1], 6))
    assert found.value == pytest.approx(1.0 / 25.0)
    assert found.low == 0.0
    assert found.high > 2.0 / 26.0
    assert found.units == 7
