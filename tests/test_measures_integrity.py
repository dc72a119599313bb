"""Do bands, regimes and architectures agree with the standards' tables and closed forms?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from sim.errors import InputError
from sim.measures.architecture import NAMES, Channel, failures_per_hour, probability_on_demand
from sim.measures.integrity import HIGH, LOW, ask_of, integrity_level, performance_level, tolerable_rate

HOURS = 8766.0
PLAIN = Channel(1e-6, 0.0, 8760.0, 0.0, 0.05, 0.05)


def test_the_target_index_allows_one_strike_in_two_thousand_years():
    assert 1.0 - np.exp(-tolerable_rate()) == pytest.approx(stats.norm.sf(3.3), rel=1e-12)
    assert tolerable_rate(4.7) == pytest.approx(stats.norm.sf(4.7), rel=1e-5)


@pytest.mark.parametrize(
    ("value", "level"),
    [(1e-4, "none asked"), (2e-5, "PL a"), (1e-5, "PL a"), (9.9e-6, "PL b"), (3e-6, "PL b"), (2e-6, "PL c"),
     (5e-7, "PL d"), (1e-8, "PL e"), (9e-9, "beyond PL e")],
)  # fmt: skip
def test_performance_levels_are_those_of_iso_13849(value, level):
    assert performance_level(value) == level  # ISO 13849-1, table 2 (CHECKS 7; from memory)


@pytest.mark.parametrize(
    ("value", "regime", "level"),
    [(5e-6, HIGH, "SIL 1"), (1e-7, HIGH, "SIL 2"), (9.9e-8, HIGH, "SIL 3"), (1e-5, HIGH, "none asked"),
     (5e-2, LOW, "SIL 1"), (5e-3, LOW, "SIL 2"), (5e-4, LOW, "SIL 3"), (5e-6, LOW, "beyond SIL 4")],
)  # fmt: skip
def test_integrity_levels_are_those_of_iec_61508(value, regime, level):
    assert integrity_level(value, regime) == level  # IEC 61508-1, tables 2 and 3 (from memory)


def test_more_than_one_demand_a_year_is_counted_per_hour_and_fewer_on_demand():
    often = ask_of(200.0, 5e-4, 1e-4)
    assert often.regime == HIGH and often.allowed == pytest.approx(4e-4 / HOURS)
    assert (often.integrity_level, often.performance_level) == ("SIL 3", "PL e")
    seldom = ask_of(0.02, 5e-4)
    assert seldom.regime == LOW and seldom.allowed == pytest.approx(0.025)
    assert seldom.integrity_level == "SIL 1"
    assert ask_of(1.0, 5e-4).regime == LOW
    assert ask_of(1e-6, 5e-4).allowed == 1.0
    assert ask_of(0.0, 5e-4).integrity_level == "none asked"
    assert ask_of(3.0, 5e-4, 6e-4).allowed < 0.0


def test_a_tolerable_rate_of_zero_is_refused():
    with pytest.raises(InputError, match="tolerable rate = 0 strikes per year; must be > 0"):
        ask_of(1.0, 0.0)
    with pytest.raises(InputError, match="residual = -1 per year"):
        ask_of(1.0, 1e-4, -1.0)
    with pytest.raises(InputError, match="'high demand', 'low demand'"):
        integrity_level(1e-3, "rare")


def test_closed_forms_give_the_known_probabilities_on_demand():
    # CHECKS 7: l = 1e-6/h, T = 8760 h; IEC 61508-6 annex B closed forms.
    assert probability_on_demand("1oo1", PLAIN) == pytest.approx(4.36724e-3, rel=2e-6)
    assert probability_on_demand("1oo2", PLAIN) == pytest.approx(2.42085e-4, rel=2e-6)


@pytest.mark.parametrize(("name", "needed", "channels"), [("1oo1", 1, 1), ("1oo2", 1, 2), ("2oo3", 2, 3)])
def test_without_common_cause_the_mean_over_the_interval_is_that_of_the_binomial_law(name, needed, channels):
    channel = Channel(2e-7, 0.0, 4380.0, 0.0, 0.0, 0.0)

    def down(hour):
        return stats.binom.cdf(needed - 1, channels, np.exp(-2e-7 * hour))

    exact = integrate.quad(down, 0.0, 4380.0, epsabs=0.0, epsrel=1e-10)[0] / 4380.0
    # First order in the failure probability of 9e-4 at the interval's end.
    assert probability_on_demand(name, channel) == pytest.approx(exact, rel=2e-3)
    # Failures per hour: what has failed at the end of the interval, over the interval.
    rate = down(4380.0) / 4380.0
    assert failures_per_hour(name, channel) == pytest.approx(rate, rel=2e-3)


def test_diagnosis_and_repair_enter_as_the_standard_has_them():
    channel = Channel(1e-5, 0.9, 8760.0, 8.0, 0.1, 0.05)
    # IEC 61508-6:2010 B.3.2.2 (from memory), by hand:
    # tCE = 0.1 (4380 + 8) + 0.9 8, tGE = 0.1 (2920 + 8) + 0.9 8.
    tce, tge = 446.0, 300.0
    alone = 0.95 * 9e-6 + 0.9 * 1e-6
    expected = 6.0 * alone**2 * tce * tge + 0.05 * 9e-6 * 8.0 + 0.1 * 1e-6 * 4388.0
    assert probability_on_demand("2oo3", channel) == pytest.approx(expected, rel=1e-12)
    per_hour = 2.0 * alone * 0.9e-6 * tce + 0.1 * 1e-6
    assert failures_per_hour("1oo2", channel) == pytest.approx(per_hour, rel=1e-12)


def test_a_channel_that_common_causes_own_gains_nothing_from_a_second_one():
    channel = Channel(1e-6, 0.0, 8760.0, 0.0, 1.0, 1.0)
    for name in NAMES:
        assert failures_per_hour(name, channel) == pytest.approx(1e-6)
    assert probability_on_demand("1oo2", channel) == pytest.approx(0.5 * 8.76e-3)


def test_channels_out_of_range_and_unknown_arrangements_are_refused():
    with pytest.raises(InputError, match=r"dangerous_per_hour = 0.0; must be > 0\n.*common_cause = 1.5"):
        Channel(0.0, 0.0, 8760.0, 0.0, 1.5, 0.0)
    with pytest.raises(InputError, match="arrangement '1oo3' is not known; did you mean"):
        probability_on_demand("1oo3", PLAIN)
