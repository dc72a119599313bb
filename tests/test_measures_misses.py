"""Shares of rare events that come in bursts: exact limits, and how often they hold the truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sim.errors import InputError
from sim.measures.misses import poisson_limits, rare_share, scatter

# F. Garwood, Biometrika 28 (1936), table of 95 % limits; digits from memory.
GARWOOD = {0: (0.0, 3.689), 1: (0.0253, 5.572), 3: (0.619, 8.767), 10: (4.795, 18.39)}


@pytest.mark.parametrize(("count", "limits"), GARWOOD.items())
def test_limits_of_a_poisson_mean_are_garwoods(count, limits):
    assert poisson_limits(count) == pytest.approx(limits, rel=1e-3)


@given(st.integers(1, 400), st.floats(0.5, 0.999))
@settings(deadline=None, derandomize=True, max_examples=60)
def test_limits_leave_half_of_the_doubt_in_each_tail_of_the_count(count, confidence):
    low, high = poisson_limits(count, confidence)
    tail = 0.5 * (1.0 - confidence)
    assert stats.poisson.sf(count - 1, low) == pytest.approx(tail, rel=1e-6)
    assert stats.poisson.cdf(count, high) == pytest.approx(tail, rel=1e-6)


def test_an_event_a_unit_is_poissons_and_a_whole_unit_at_once_counts_once():
    # 4 events in 4 of 200 units of 5 trials: 4 +- Poisson over 1000. The same units failing whole: D = 5.
    trials, bins = np.full(200, 5.0), np.zeros(200)
    single, whole = np.zeros(200), np.zeros(200)
    single[:4], whole[:4] = 1.0, 5.0
    low, high = poisson_limits(4.0)
    alone = rare_share(single, trials, bins)
    assert (alone.low, alone.high) == pytest.approx((low / 1000.0, high / 1000.0), rel=1e-9)
    together = rare_share(whole, trials, bins)
    exact = 5.0 * (1.0 - 0.02) * 200.0 / 199.0  # variance of whole units over their number of events
    low, high = poisson_limits(20.0 / exact)
    assert together.value == 0.02
    assert (together.low, together.high) == pytest.approx((low * exact / 1e3, high * exact / 1e3), rel=1e-9)


def test_without_an_event_the_bound_is_one_on_units_unless_bursts_are_known():
    trials = np.full(100, 6.0)
    bound = rare_share(np.zeros(100), trials, np.zeros(100))
    assert bound.value == 0.0
    assert bound.low == 0.0
    assert bound.high == pytest.approx(poisson_limits(0.0)[1] / 100.0, rel=1e-12)
    known = rare_share(np.zeros(100), trials, np.zeros(100), burst=1.5)
    assert known.high == pytest.approx(1.5 * poisson_limits(0.0)[1] / 600.0, rel=1e-12)


def test_scatter_is_taken_within_wind_bins():
    rng = np.random.default_rng(3)
    trials, events = rng.integers(1, 9, 30).astype(float), rng.integers(0, 3, 30).astype(float)
    bins = np.arange(30) % 3
    off = events - events.sum() / trials.sum() * trials
    exact = sum(10.0 * np.var(off[bins == b], ddof=1) for b in range(3))
    assert scatter(events, trials, bins) == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize("rate", [0.003, 0.01, 0.04])
def test_intervals_hold_the_truth_where_few_winds_hold_all_the_misses(rate):
    # 120 winds, their demands negative binomial (mean 5, far from even); every sixth holds all the misses.
    # Nominal 95 %; 300 draws; with a true 93 %, fewer than 270 hold with a chance below 2.5 % (normal).
    rng, held, draws = np.random.default_rng(8), 0, 300
    for _ in range(draws):
        demands = rng.negative_binomial(0.5, 1.0 / 11.0, 120).astype(float)
        hard = rng.random(120) < 1.0 / 6.0
        missed = rng.binomial(demands.astype(int), np.where(hard, 6.0 * rate, 0.0)).astype(float)
        found = rare_share(missed, demands, np.arange(120) % 3)
        held += found.low <= rate <= found.high
    assert held >= 270


def test_counts_below_zero_are_refused():
    with pytest.raises(InputError, match="events and trials: must not be negative"):
        rare_share([-1.0, 0.0], [1.0, 1.0], [0, 0])
    with pytest.raises(InputError, match=r"events = -1\.0; must not be negative"):
        poisson_limits(-1.0)
