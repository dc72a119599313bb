"""Do the fifty-year levels of known parents lie within their intervals as often as those say?"""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import InputError
from sim.measures import extremes, levels, peaks

BLOCK = 600.0


def generator(*key):
    """Return keyed random numbers."""
    return np.random.Generator(np.random.Philox(key=list(key)))


def test_fifty_years_of_ten_minutes_have_the_exceedance_and_variate_of_the_standard():
    exceedance = levels.block_exceedance(BLOCK)
    assert exceedance == pytest.approx(3.80257e-7, rel=1e-5)  # CHECKS 2
    assert extremes.gumbel_variate(exceedance) == pytest.approx(14.7824, abs=1e-4)  # CHECKS 6


def test_davenports_peak_factor_has_its_known_value():
    assert peaks.davenport_peak_factor(600.0) == pytest.approx(3.73823, abs=5e-6)  # CHECKS 6
    with pytest.raises(InputError, match=r"crossings = 1.0; must be > 1"):
        peaks.davenport_peak_factor(1.0)


def test_a_large_gumbel_sample_gives_its_own_parameters_back():
    sample = 7.0 + 0.4 * generator(51, 0).gumbel(size=200_000)
    location, scale = extremes.fit_gumbel(sample)
    # Scatter of both about 1.1 * 0.4 / sqrt(2e5) = 1e-3: five of it.
    assert location == pytest.approx(7.0, abs=5e-3)
    assert scale == pytest.approx(0.4, abs=5e-3)


@pytest.mark.parametrize(
    ("blocks", "period"),
    [
        (6, levels.FIFTY_YEARS),
        pytest.param(6, 3.0 * BLOCK, marks=pytest.mark.slow),
        pytest.param(30, levels.FIFTY_YEARS, marks=pytest.mark.slow),
    ],
)
def test_the_interval_covers_the_level_of_a_gumbel_parent_as_often_as_it_says(blocks, period):
    # 400 trials of coverage 0.95: outside 0.92..0.98 by chance less than once in 100, with this fixed key.
    # The short period tries the location, the long one the scale.
    rng, inside = generator(52, blocks), 0
    truth = 7.0 - 0.4 * np.log(-np.log(1.0 - BLOCK / period))
    for trial in range(400):
        found = extremes.return_level(7.0 + 0.4 * rng.gumbel(size=blocks), BLOCK, period, seed=trial)
        inside += found.low <= truth <= found.high
    assert 0.92 <= inside / 400 <= 0.98


@pytest.mark.slow
def test_the_interval_over_several_winds_covers_the_level_of_the_mixture():
    location, scale = np.array([5.0, 7.0, 6.5]), np.array([0.3, 0.4, 0.6])
    hours = np.array([3000.0, 1000.0, 200.0])
    rng, inside = generator(53, 0), 0
    # The truth by a fine table of the mixture's exceedance, apart from the solver.
    table = np.linspace(5.0, 20.0, 150_001)
    exceeded = sum(
        h / 8766.0 * -np.expm1(-np.exp(-(table - m) / s))
        for h, m, s in zip(hours, location, scale, strict=True)
    )
    truth = table[np.argmin(np.abs(np.log(exceeded / 3.80257e-7)))]
    for trial in range(200):
        maxima = [m + s * rng.gumbel(size=12) for m, s in zip(location, scale, strict=True)]
        found = extremes.long_term_level(maxima, hours, BLOCK, seed=trial)
        inside += found.low <= truth <= found.high
    assert 0.90 <= inside / 200 <= 0.995  # 0.95, four standard deviations below, and a little caution above


def test_the_long_term_level_of_one_parent_in_many_bins_is_that_of_the_parent():
    sample = 7.0 + 0.4 * generator(54, 0).gumbel(size=40)
    alone = extremes.return_level(sample, BLOCK)
    several = extremes.long_term_level([sample] * 3, [2922.0] * 3, BLOCK)
    assert several.level == pytest.approx(alone.level, rel=1e-12)
    # A quarter of the hours is a quarter of the chances: four times the exceedance within them.
    rare = extremes.long_term_level([sample], [8766.0 / 4.0], BLOCK)
    location, scale = extremes.fit_gumbel(sample)
    assert rare.level == pytest.approx(
        location + scale * extremes.gumbel_variate(4.0 * 600.0 / levels.FIFTY_YEARS)
    )


def test_a_calm_bin_far_below_the_windy_one_neither_fails_nor_matters():
    windy = 9.0 + 1e-4 * generator(55, 0).gumbel(size=12)
    calm = 1.0 + 0.4 * generator(55, 1).gumbel(size=12)
    both = extremes.long_term_level([windy, calm], [4383.0, 4383.0], BLOCK)
    alone = extremes.long_term_level([windy], [4383.0], BLOCK)
    assert both.level == pytest.approx(alone.level, rel=1e-9)


def test_six_seeds_do_not_carry_a_fifty_year_level_and_many_do():
    sample = 7.0 + 0.4 * generator(56, 0).gumbel(size=400)
    few, many = extremes.convergence(sample, BLOCK, [6, 400])
    assert few.warning.startswith("6 samples do not carry this level")
    assert many.warning == ""
    assert many.high - many.low < 0.25 * (few.high - few.low)
    assert few.interval == (few.low, few.high)
    for number in (401, 2, -1):
        with pytest.raises(InputError, match="each must be 3 to the 400 blocks; a tail needs 3 seeds"):
            extremes.convergence(sample, BLOCK, [number])


def test_the_interval_covers_the_level_of_exponential_peaks_as_often_as_it_says():
    rng, inside = generator(57, 0), 0
    exposure, number = 36 * BLOCK, 60
    truth = 5.0 + 0.5 * np.log(number * levels.FIFTY_YEARS / exposure)
    for _ in range(400):
        sample = 5.0 + 0.5 * rng.exponential(size=number)
        found = peaks.level_by_exponential(sample, 5.0, exposure)
        inside += found.low <= truth <= found.high
    assert 0.92 <= inside / 400 <= 0.98


@pytest.mark.parametrize(
    "shape", [pytest.param(1.4, marks=pytest.mark.slow), 2.0, pytest.param(3.0, marks=pytest.mark.slow)]
)
def test_the_interval_covers_the_level_of_a_weibull_tail_as_often_as_it_says(shape):
    # Parent exp(-(x / 3)^k), its 400 peaks beyond 4, drawn by inversion of the law beyond the threshold.
    rng, inside = generator(58, int(10 * shape)), 0
    exposure, number = 72 * BLOCK, 400
    growth = np.log(number * levels.FIFTY_YEARS / exposure)
    base = (4.0 / 3.0) ** shape
    truth = 3.0 * (base + growth) ** (1.0 / shape)
    for _ in range(300):
        sample = 3.0 * (base + rng.exponential(size=number)) ** (1.0 / shape)
        found = peaks.level_by_weibull(sample, 4.0, exposure)
        inside += found.low <= truth <= found.high
    assert 0.91 <= inside / 300 <= 0.985


def test_gumbel_blocks_overstate_the_level_of_a_steep_tail_which_the_weibull_tail_does_not():
    # Why two methods: 50 peaks a block of a Gaussian-like tail (shape 2), known level.
    rng = generator(59, 0)
    sample = 3.0 * rng.exponential(size=(400, 50)) ** 0.5
    truth = 3.0 * np.log(50.0 * levels.FIFTY_YEARS / BLOCK) ** 0.5
    blocks = extremes.return_level(sample.max(axis=1), BLOCK)
    tail = peaks.level_by_weibull(sample.ravel(), 5.0, 400 * BLOCK)
    assert blocks.low > truth
    assert tail.low <= truth <= tail.high


def test_an_exponential_tail_is_stable_over_thresholds_and_a_bent_one_is_not():
    straight = 5.0 + 0.5 * generator(60, 0).exponential(size=4000)
    found = peaks.threshold_stability(straight, [5.0, 5.5, 6.0, 99.0], 36 * BLOCK)
    assert len(found) == 3  # nothing beyond 99
    assert all(item.low <= found[0].level <= item.high for item in found)
    bent = np.minimum(straight, 6.0 + 0.2 * (straight - 6.0))  # a logic that relieves beyond 6
    lower = peaks.threshold_stability(bent, [5.0, 6.0], 36 * BLOCK)
    assert lower[1].high < lower[0].low


def test_counting_bounds_the_chance_of_a_level_without_a_tail():
    low, high = extremes.exceedance_bound([6.0, 6.5, 7.0, 6.2, 6.1, 6.9], 7.5)
    assert (low, high) == (0.0, pytest.approx(1.0 - 0.025 ** (1.0 / 6.0)))
    assert extremes.exceedance_bound([6.0, 8.0], 7.5)[0] > 0.0


def test_too_few_or_lifeless_samples_are_refused():
    with pytest.raises(InputError, match="2 blocks; a tail needs at least 3 seeds"):
        extremes.return_level([1.0, 2.0], BLOCK)
    with pytest.raises(InputError, match="must be finite"):
        extremes.return_level([1.0, 2.0, np.nan], BLOCK)
    with pytest.raises(InputError, match="all are 2; no scatter, no tail"):
        extremes.return_level([2.0, 2.0, 2.0], BLOCK)
    with pytest.raises(InputError, match="hours: must be 1 values"):
        extremes.long_term_level([[1.0, 2.0, 3.0]], [9000.0], BLOCK)
    with pytest.raises(InputError, match=r"exposure_s = 0.0; must lie between"):
        extremes.return_level([1.0, 2.0, 3.0], 0.0)
    with pytest.raises(InputError, match="1 beyond the threshold 2; a tail needs at least 10"):
        peaks.level_by_exponential([1.0, 3.0], 2.0, BLOCK)
    with pytest.raises(InputError, match=r"threshold = -1.0; must be > 0"):
        peaks.level_by_weibull(np.arange(20.0), -1.0, BLOCK)
    with pytest.raises(InputError, match=r"exposure_s = -5.0; must be > 0"):
        peaks.level_by_exponential(np.arange(20.0), 2.0, -5.0)


def test_chances_and_confidences_beyond_zero_and_one_are_refused():
    sample = np.arange(1.0, 21.0)
    for confidence in (0.0, 1.0, 1.5, np.nan):
        for call in (
            lambda share: extremes.return_level(sample, BLOCK, confidence=share),
            lambda share: peaks.level_by_exponential(sample, 2.0, BLOCK, confidence=share),
            lambda share: peaks.level_by_weibull(sample, 2.0, BLOCK, confidence=share),
        ):
            with pytest.raises(InputError, match=r"confidence = .*; must lie between 0 and 1"):
                call(confidence)
    for exceedance in (0.0, 1.0, [0.5, -0.1]):
        with pytest.raises(InputError, match=r"exceedance = .*; must lie between 0 and 1"):
            extremes.gumbel_variate(exceedance)


def test_maxima_that_are_no_list_of_numbers_are_refused_for_what_they_are():
    with pytest.raises(InputError, match="have 2 dimensions; must have 1, one per seed"):
        extremes.return_level(np.ones((3, 3)), BLOCK)
    with pytest.raises(InputError, match="must be numbers"):
        extremes.exceedance_bound([np.nan, 8.0], 7.5)
