"""Do characteristic clearances follow the rules of the standard, worked out by hand?"""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import InputError
from sim.measures import clearance
from sim.measures.labels import Labels


def labels(rows):
    """Return labels from (kind, condition, speed, number) rows."""
    kind, condition, speed, number = zip(*rows, strict=True)
    return Labels(np.array(kind), np.array(condition), np.array(speed), np.array(number))


TURBULENT = [("turbulence", "normal", 10.0, seed) for seed in range(6)]
STRONGER = [("turbulence", "extreme", 12.0, seed) for seed in range(6)]
GUST = [("event", "gust", 11.0, phase) for phase in range(12)]
NORMAL_VALUES = [5.0, 5.2, 4.1, 5.5, 6.0, 5.2]  # mean 31 / 6
EXTREME_VALUES = [4.0, 4.4, 4.2, 4.8, 5.0, 4.6]  # mean 4.5
GUST_VALUES = [5.0] * 11 + [4.6]


def test_turbulence_is_judged_by_the_mean_over_seeds_and_gusts_by_the_worst_phase():
    found = clearance.judge(
        labels(TURBULENT + STRONGER + GUST), NORMAL_VALUES + EXTREME_VALUES + GUST_VALUES, 3.9
    )
    assert [item.characteristic for item in found.bins] == pytest.approx([31.0 / 6.0, 4.5, 4.6])
    assert (found.governing.condition, found.governing.speed) == ("extreme", 12.0)
    assert found.governing.margin == pytest.approx(0.6)
    assert (found.smallest_clearance, found.smallest_case) == (4.0, 6)
    assert found.holds
    assert set(found.per_condition()) == {"normal", "extreme", "gust"}


def test_the_smallest_of_all_decides_nothing_in_turbulence_but_one_phase_does_in_a_gust():
    values = [1.0, *NORMAL_VALUES[1:]]  # mean 4.5, smallest 1.0
    assert clearance.judge(labels(TURBULENT), values, 4.4).holds
    assert not clearance.judge(labels(GUST), GUST_VALUES, 4.7).holds


def test_wind_speeds_are_not_pooled_and_the_worst_one_governs():
    rows = TURBULENT + [("turbulence", "normal", 14.0, seed) for seed in range(6)]
    found = clearance.judge(labels(rows), NORMAL_VALUES + [4.0] * 6, 4.1)
    assert found.governing.speed == 14.0
    assert not found.holds


@pytest.mark.parametrize(("count", "used"), [(12, 6), (13, 6), (1, 1)])
def test_a_fault_in_turbulence_is_judged_by_the_mean_of_its_worse_half(count, used):
    values = np.arange(count, dtype=float)[::-1]
    assert clearance.characteristic_value("fault", values) == np.mean(np.arange(used))


def test_too_few_seeds_are_flagged_with_the_number_that_the_rule_needs_and_cannot_hold():
    found = clearance.judge(labels(TURBULENT[:3]), [9.0, 9.0, 9.0], 1.0)
    assert not found.holds
    assert found.problems == ("normal at 10 m/s: 3 seeds; the rule needs 6",)
    assert found.governing.characteristic == 9.0


def test_a_failed_case_is_not_dropped_in_silence():
    found = clearance.judge(labels(TURBULENT), [np.nan, *NORMAL_VALUES[1:]], 1.0)
    assert not found.holds
    assert found.problems == ("normal at 10 m/s: 1 of 6 cases failed",)
    assert found.smallest_case == 2


def test_the_governing_case_is_the_one_of_the_smallest_margin_when_requirements_differ():
    required = [3.0] * 6 + [2.0] * 6
    found = clearance.judge(labels(TURBULENT + STRONGER), NORMAL_VALUES + EXTREME_VALUES, required)
    assert found.governing.condition == "normal"  # margin 2.17 against 2.5
    with pytest.raises(InputError, match="several values within normal at 10 m/s"):
        clearance.judge(labels(TURBULENT), NORMAL_VALUES, [1, 2, 1, 1, 1, 1])


@pytest.mark.parametrize(
    ("load", "combined"),
    [(1.35, 1.485), (1.1, 1.21), (1.25, 1.375)],  # IEC 61400-1 factors with gamma_m 1.1, gamma_n 1.0
)
def test_factored_deflection_just_reaches_the_tower_at_the_required_clearance(load, combined):
    unloaded = 13.0
    required = clearance.required_by_factors(unloaded, load, 1.1, 1.0)
    assert combined * (unloaded - required) == pytest.approx(unloaded, rel=1e-12)


def test_the_share_rule_asks_for_three_tenths_turning():
    assert clearance.required_by_share(13.0) == pytest.approx(3.9)  # PHYSICS.md, the plausible set
    with pytest.raises(InputError, match=r"share = 1.0; must lie between 0 and 1"):
        clearance.required_by_share(13.0, 1.0)
    with pytest.raises(InputError, match=r"product = 0.5; must be >= 1"):
        clearance.required_by_factors(13.0, 0.5, 1.0, 1.0)
    with pytest.raises(InputError, match="unloaded clearance = 0 m; must be > 0"):
        clearance.required_by_share(0.0)


def test_a_pass_at_the_requirement_is_not_broken_and_one_at_zero_is_a_strike():
    assert clearance.broken_passes([3.9, 3.8, -1.0], 3.9) == 2
    assert clearance.strikes([0.0, 0.1, -1.0]) == 2


def test_unknown_kinds_and_uneven_columns_are_refused():
    with pytest.raises(InputError, match="kind = calm; allowed: turbulence, event, steady, fault"):
        labels([("calm", "normal", 1.0, 1)])
    with pytest.raises(InputError, match="different lengths"):
        Labels(np.array(["event"]), np.array([]), np.array([1.0]), np.array([1]))
    with pytest.raises(InputError, match="must be"):
        clearance.judge(labels(TURBULENT), [1.0], 1.0)


CALM = [("steady", "steady", speed, 1) for speed in (9.0, 11.0)]


def test_steady_winds_alone_are_never_shown_to_hold_and_the_reason_is_said():
    found = clearance.judge(labels(CALM), [9.0, 8.0], 1.0)
    assert not found.holds
    assert found.problems == (clearance.ONLY_STEADY,)
    assert found.governing.characteristic == 8.0


def test_a_steady_wind_beside_turbulence_needs_no_phases_and_counts_by_its_smallest_pass():
    found = clearance.judge(labels(CALM + TURBULENT), [9.0, 4.6, *NORMAL_VALUES], 4.5)
    assert found.holds
    assert found.problems == ()
    assert found.governing.characteristic == 4.6
    assert not clearance.judge(labels(CALM + TURBULENT), [9.0, 4.4, *NORMAL_VALUES], 4.5).holds
