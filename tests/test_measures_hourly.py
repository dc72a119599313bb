"""Are rates an hour and bounds at zero events right, and do they cover the truth as often as they say?"""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import InputError
from sim.measures.hourly import hourly_rate, weighted_zero_bound
from sim.measures.labels import Labels

SPEEDS, SEEDS = np.array([8.0, 12.0]), 30


def labels(seeds: int = SEEDS) -> Labels:
    size = SPEEDS.size * seeds
    return Labels(
        kind=np.full(size, "turbulence"),
        condition=np.full(size, "normal"),
        speed=np.repeat(SPEEDS, seeds),
        number=np.tile(np.arange(1, seeds + 1), SPEEDS.size),
    )


def test_none_in_sixty_seeds_shows_less_than_a_twentieth_per_run() -> None:
    assert weighted_zero_bound(np.full(60, 1 / 60), np.zeros(60)) == pytest.approx(1.0 - 0.05 ** (1 / 60))
    told = labels()
    rate = hourly_rate(np.zeros(60), np.full(60, 600.0), told, np.full(60, 4000.0))
    assert rate.per_hour.value == rate.per_hour.low == 0.0
    assert rate.per_hour.high == pytest.approx(6.0 * 0.0487, rel=1e-3)  # six runs of ten minutes an hour
    assert "exact" in rate.per_hour.method


def test_the_bound_is_the_largest_share_that_leaves_silence_its_chance() -> None:
    # Brute force over a grid of p in two bins of other weights and numbers.
    weight = np.r_[np.full(4, 0.7 / 4), np.full(9, 0.3 / 9)]
    group = np.repeat([0, 1], [4, 9])
    p = np.linspace(0.0, 1.0, 1201)
    chance = (1.0 - p[:, None]) ** 4 * (1.0 - p[None, :]) ** 9
    share = 0.7 * p[:, None] + 0.3 * p[None, :]
    assert weighted_zero_bound(weight, group) == pytest.approx(share[chance >= 0.05].max(), abs=1e-3)
    with pytest.raises(InputError, match=r"confidence = 1.0; must lie between 0 and 1"):
        weighted_zero_bound([1.0], [0], 1.0)


def test_counts_are_weighted_by_the_hours_of_their_wind() -> None:
    told = labels(2)
    hours = np.repeat([3000.0, 1000.0], 2)
    rate = hourly_rate(np.array([1.0, 3.0, 8.0, 8.0]), np.full(4, 600.0), told, hours)
    assert rate.per_hour.value == pytest.approx((3000.0 * 12.0 + 1000.0 * 48.0) / 4000.0)
    assert rate.per_year.value == pytest.approx(4000.0 * rate.per_hour.value)
    lost = hourly_rate(np.zeros(4), np.full(4, np.nan), told, hours)
    assert np.isnan(lost.per_hour.value)


@pytest.mark.parametrize("clumped", [1.0, 4.0])
def test_intervals_hold_a_logic_of_known_rate(clumped: float) -> None:
    # Drop-outs with probability p at each of 100 passes; clumped: a run's p is p times Gamma(1/c) of mean 1,
    # so counts are over-dispersed and only the seed is independent.
    told, probability, passes = labels(), 0.03, 100
    rng = np.random.Generator(np.random.Philox(7))
    held = 0
    for _ in range(40):
        own = probability * (rng.gamma(1.0 / clumped, clumped, told.size) if clumped > 1.0 else 1.0)
        events = rng.binomial(passes, np.minimum(own, 1.0), told.size)
        rate = hourly_rate(events, np.full(told.size, 600.0), told, np.full(told.size, 4000.0)).per_hour
        held += rate.low <= 6.0 * passes * probability <= rate.high
    # Of 40 intervals of coverage 0.90 fewer than 31 hold the truth once in 200 times (binomial law).
    assert held >= 31
