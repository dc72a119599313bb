"""Do levels over all winds cover known truths, and does the study refuse what its seeds cannot carry?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scenarios.load import load_scenario
from scenarios.studies import extreme
from scenarios.studies.gather import yearly_hours
from sim.errors import InputError
from sim.measures import levels
from sim.measures.long_term import TAIL, long_term_peaks, separate_peaks
from tests.brisk import FILE, Brisk, brisk


@pytest.fixture(scope="module")
def small() -> Brisk:
    return brisk()


def exponential_seeds(rng, seeds: int, number: int, start: float, scale: float):
    return [start + scale * rng.exponential(size=number) for _ in range(seeds)]


@pytest.mark.slow
def test_the_interval_over_several_winds_covers_the_level_of_exponential_peaks_as_often_as_it_says():
    # 200 trials of 95 %, the bootstrap's own error allowed for: below 0.88 by chance less than once in 1000.
    rng, inside = np.random.Generator(np.random.Philox(key=[81, 0])), 0
    hours, start, scale = [3000.0, 1000.0], np.array([3.0, 4.0]), np.array([0.5, 0.7])
    # The truth: 30 peaks of each 600 s, all exponential from their start on; by a fine table.
    table = np.linspace(4.0, 30.0, 260_001)
    often = np.array(hours) * 3600.0 * 30.0 / 600.0 * 50.0
    expected = sum(n * np.exp(-(table - a) / s) for n, a, s in zip(often, start, scale, strict=True))
    truth = table[np.argmin(np.abs(np.log(expected)))]
    for trial in range(200):
        bins = [exponential_seeds(rng, 12, 30, a, s) for a, s in zip(start, scale, strict=True)]
        found = long_term_peaks(bins, hours, 600.0, seed=trial)
        inside += found.low <= truth <= found.high
    assert 0.88 <= inside / 200 <= 0.995


def test_one_parent_in_several_winds_has_the_level_of_the_parent_alone():
    rng = np.random.Generator(np.random.Philox(key=[82, 0]))
    seeds = exponential_seeds(rng, 20, 50, 5.0, 0.5)
    alone = long_term_peaks([seeds], [8766.0], 600.0)
    several = long_term_peaks([seeds, seeds], [4383.0, 4383.0], 600.0)
    assert several.level == pytest.approx(alone.level, rel=1e-9)
    # By hand: the threshold, and ln of how many peaks beyond it fifty years hold.
    every = np.concatenate(seeds)
    threshold = np.quantile(every, 1.0 - TAIL)
    beyond = every[every > threshold]
    many = beyond.size * levels.FIFTY_YEARS / (20 * 600.0)
    assert alone.level == pytest.approx(threshold + np.mean(beyond - threshold) * np.log(many), rel=1e-9)


def test_peaks_of_one_excursion_count_once():
    time = np.array([0.0, 1.0, 2.0, 11.0, 12.0, 35.0])
    assert separate_peaks(time, [1.0, 3.0, 2.0, 7.0, 5.0, 4.0], 10.0).tolist() == [3.0, 7.0, 4.0]
    with pytest.raises(InputError, match=r"apart_s = 0.0; must be > 0"):
        separate_peaks(time, time, 0.0)


def test_too_few_peaks_and_hours_that_do_not_fit_are_refused():
    with pytest.raises(InputError, match=r"peaks of bin 0: 1 beyond; a tail needs 10"):
        long_term_peaks([[np.arange(5.0), np.arange(4.0)]], [100.0], 600.0)
    with pytest.raises(InputError, match="hours: must be 1 values"):
        long_term_peaks([[np.arange(50.0)]], [100.0, 3.0], 600.0)


def test_no_tail_is_fitted_where_the_logic_acts_at_some_passes_only(small: Brisk):
    found = {item["entry"]: item for item in extreme.extreme_data(small.scenario, small.judged.entries)}
    guarded = small.judged.entries[-1]
    share = np.mean(guarded.gathered.passes["acted"])
    assert 0.01 < share < 0.99
    assert "clearance_by_blocks_m" not in found["guarded"]
    assert "not fitted" in found["guarded"]["why_not"]
    counts = found["guarded"]["counts"]
    assert 0.0 == counts["chance_of_a_block_low"] < counts["chance_of_a_block_high"] < 1.0


def test_a_minutes_blocks_and_six_seeds_are_said_not_to_carry_a_fifty_year_level(small: Brisk):
    found = extreme.extreme_data(small.scenario, small.judged.entries)[0]
    level = found["clearance_by_blocks_m"]
    assert level["low"] < level["level"] < level["high"]
    assert level["warning"].startswith("12 samples do not carry this level")
    assert "do not carry" in extreme.extreme_text([found])
    # Without a life the winds are the site's by the standard, Rayleigh of 0.2 Vref, and that is said.
    assert "in winds of 8.50 m/s annual mean, Weibull shape 2 (" in extreme.extreme_text([found])
    assert [row["seeds"] for row in found["convergence"]] == [3, 4, 6]
    assert found["convergence"][-1]["level"] == pytest.approx(level["level"])
    # By hand: the level's chance over the hours of both winds is the exceedance asked for.
    chance = sum(
        row["hours_per_year"]
        / 8766.0
        * -np.expm1(-np.exp(-(-level["level"] - place) / row["gumbel_scale_m"]))
        for row in found["by_wind_speed"]
        for place in [-row["most_likely_smallest_clearance_m"]]
    )
    assert chance == pytest.approx(found["exceedance"], rel=1e-6)
    assert found["exceedance"] == pytest.approx(60.0 / levels.FIFTY_YEARS)


def test_fewer_than_three_seeds_and_winds_without_turbulence_say_why_there_is_no_level(small: Brisk):
    entry = small.judged.entries[0]
    hours = yearly_hours(small.scenario, entry.gathered)
    few = replace(
        entry, gathered=replace(entry.gathered, results=_only(entry.gathered.results, (0, 1, 6, 7)))
    )
    found = extreme._entry_data(few, hours)
    assert found["why_not"] == "2 seeds at a wind speed; a tail needs at least 3"
    assert extreme._entry_data(entry, 0.0 * hours)["why_not"] == "no normal turbulence"


def _only(results, rows):
    return [result if index in rows else None for index, result in enumerate(results)]


def test_the_page_shows_the_level_with_the_data_and_its_convergence(small: Brisk):
    from scenarios.report.drawing import pens
    from scenarios.report.extreme import extreme_section

    entries = small.judged.entries
    hours = yearly_hours(small.scenario, entries[0].gathered)
    found = extreme.extreme_data(load_scenario(FILE), entries)
    section = extreme_section(entries, hours, found, pens([entry.name for entry in entries]))
    figures = [part for part in section.parts if part.kind == "figure"]
    assert len(figures) == 1
    assert "seeds at each wind speed" in figures[0].svg
