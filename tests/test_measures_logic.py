"""Does the ledger put every pass into its class once, also where only some forks were marched?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError, RunError
from sim.measures import logic
from sim.measures.labels import Labels
from sim.measures.rates import rates_per_stratum

REQUIRED = 3.9
NAN = float("nan")


def labels(number, condition="normal turbulence", kind="turbulence", speed=10.0):
    """Return labels of several seeds of one wind."""
    return Labels(
        np.full(number, kind), np.full(number, condition), np.full(number, speed), np.arange(number)
    )


def joined(*parts):
    """Return labels one after another."""
    columns = ("kind", "condition", "speed", "number")
    return Labels(*(np.concatenate([getattr(part, column) for part in parts]) for column in columns))


def passes(rows, required=REQUIRED):
    """Return passes from (case, acted, clearance, clearance without, weight) rows."""
    case, acted, clearance, without, weight = (np.array(column) for column in zip(*rows, strict=True))
    return logic.Passes(case.astype(np.int64), acted.astype(bool), clearance, without, weight, required)


ONE_OF_EACH = [
    (0, False, 5.0, 5.0, 1.0),  # quiet
    (0, False, 3.0, 3.0, 1.0),  # missed: it broke, and the logic did nothing
    (0, True, 4.0, 3.0, 1.0),  # saved
    (0, True, 3.5, 3.0, 1.0),  # missed: broken with and without
    (0, True, 5.0, 4.5, 1.0),  # needless
    (0, True, 3.8, 4.2, 1.0),  # harmed
]


def test_each_pass_has_the_class_that_the_words_define():
    # The truth table of ARCHITECTURE.md, The ledger.
    words = ["quiet", "missed", "saved", "missed", "needless", "harmed"]
    assert list(logic.classify(passes(ONE_OF_EACH))) == words
    ledger = logic.make_ledger(passes(ONE_OF_EACH), labels(1))
    assert ledger.total() == {"quiet": 1.0, "saved": 1.0, "missed": 2.0, "needless": 1.0, "harmed": 1.0}
    assert list(ledger.acted) == [4.0]


def test_a_pass_exactly_at_the_requirement_is_not_broken():
    rows = [(0, False, REQUIRED, REQUIRED, 1.0), (0, True, REQUIRED, REQUIRED, 1.0)]
    assert list(logic.classify(passes(rows))) == ["quiet", "needless"]


def test_an_acted_pass_without_a_fork_is_unknown_and_a_lost_fork_is_counted():
    rows = [(0, True, 5.0, NAN, 0.0), (0, True, 5.0, NAN, 2.0), (0, True, 5.0, 3.0, 2.0)]
    assert list(logic.classify(passes(rows))) == ["unknown", "unknown", "saved"]
    ledger = logic.make_ledger(passes(rows), labels(1))
    assert ledger.forks_lost == 1
    assert ledger.total()["saved"] == 3.0


ROW = st.tuples(
    st.integers(0, 6),
    st.booleans(),
    st.sampled_from([3.0, 3.9, 5.0]),
    st.sampled_from([3.0, 5.0, NAN]),
    st.sampled_from([0.0, 1.0, 3.0, 7.3]),
)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.lists(ROW, min_size=1, max_size=60))
def test_the_five_classes_sum_exactly_to_the_passes_however_forks_were_thinned(rows):
    table = passes(rows)
    names = joined(labels(4), labels(2, "extreme turbulence"), labels(1, "gust", "event"))
    ledger = logic.make_ledger(table, names)
    assert list(ledger.passes) == list(np.bincount(table.case, minlength=7))
    assert sum(ledger.total().values()) == len(rows)
    assert np.all(ledger.counts >= 0.0)
    # Broken passes are seen, not estimated: missed and harmed sum to them, exactly, in every case.
    broken = np.bincount(table.case, weights=table.clearance < REQUIRED, minlength=7)
    assert list(ledger.counts[:, 2] + ledger.counts[:, 4]) == list(broken)


def thinned(chance, seed):
    """Return ledgers of one invented entry with all forks and with some of them, drawn at random."""
    rng = np.random.Generator(np.random.Philox(key=[21, seed]))
    size, number = 12, 6000
    case = rng.integers(0, size, number)
    acted = rng.random(number) < 0.3
    clearance = np.where(rng.random(number) < 0.05, 3.0, 5.0)
    demand = rng.random(number) < 0.1 + 0.05 * case  # seeds differ
    without = np.where(acted, np.where(demand, 3.0, 5.0), clearance)
    drawn = rng.random(number) < chance
    weight = np.where(acted, np.where(drawn, 1.0 / chance, 0.0), 1.0)
    known = np.where(acted & ~drawn, NAN, without)
    full = logic.Passes(case, acted, clearance, without, np.ones(number), REQUIRED)
    some = logic.Passes(case, acted, clearance, known, weight, REQUIRED)
    return logic.make_ledger(full, labels(size)), logic.make_ledger(some, labels(size))


def test_thinned_forks_give_the_full_ledger_on_average():
    # 200 independent thinnings to a tenth. The mean's own scatter is measured from them; four standard errors
    # are exceeded by chance once in 16 000.
    excess = {word: [] for word in logic.WORDS}
    for seed in range(200):
        full, some = thinned(0.1, seed)
        for word in logic.WORDS:
            excess[word].append(some.total()[word] - full.total()[word])
    assert not any(excess["quiet"])
    for word in ("saved", "missed", "needless", "harmed"):
        values = np.array(excess[word])
        assert np.std(values) > 0.0
        assert abs(np.mean(values)) < 4.0 * np.std(values) / np.sqrt(200.0)


def test_a_fork_counts_for_as_many_passes_as_it_was_drawn_from():
    # One fork drawn from four (saved), one drawn for certain (needless): 4 to 1 of the ten that acted.
    rows = [(0, True, 5.0, 3.0, 4.0), (0, True, 5.0, 5.0, 1.0)] + [(0, True, 5.0, NAN, 0.0)] * 8
    assert logic.make_ledger(passes(rows), labels(1)).total()["saved"] == 8.0


def test_a_case_without_forks_borrows_from_its_own_wind_first_and_never_from_another_stratum():
    names = joined(labels(3), labels(1, speed=14.0), labels(1, "extreme turbulence"))
    rows = [
        (0, True, 5.0, 3.0, 1.0),  # 10 m/s: saved
        (1, True, 5.0, 5.0, 1.0),  # 10 m/s: needless
        (2, True, 5.0, NAN, 0.0),  # 10 m/s, nothing known: half and half
        (3, True, 5.0, NAN, 0.0),  # 14 m/s, nothing known at this speed: the stratum's half and half
        (4, True, 5.0, NAN, 0.0),  # another stratum, nothing known: charged to the logic
        (4, True, 3.0, NAN, 0.0),
    ]
    ledger = logic.make_ledger(passes(rows), names)
    assert ledger.counts[2].tolist() == [0.0, 0.5, 0.0, 0.5, 0.0]
    assert ledger.counts[3].tolist() == [0.0, 0.5, 0.0, 0.5, 0.0]
    assert ledger.counts[4].tolist() == [0.0, 0.0, 0.0, 1.0, 1.0]
    assert ledger.pooled.tolist() == [0.0, 0.0, 1.0, 1.0, 0.0]
    assert ledger.assumed.tolist() == [0.0, 0.0, 0.0, 0.0, 2.0]


def test_rates_are_never_pooled_over_strata_and_gusts_have_no_interval():
    names = joined(labels(6), labels(6, "extreme turbulence"), labels(2, "gust", "event"))
    rows = [(case, False, 5.0, 5.0, 1.0) for case in range(14) for _ in range(100)]
    rows += [(6 + case, True, 5.0, 3.0, 1.0) for case in range(6) for _ in range(case)]
    rows += [(6, True, 3.0, 3.0, 1.0), (12, True, 3.0, 3.0, 1.0)]
    normal, extreme, gusts = rates_per_stratum(logic.make_ledger(passes(rows), names), names)
    assert [normal.stratum, extreme.stratum, gusts.stratum] == [
        "normal turbulence",
        "extreme turbulence",
        "gusts",
    ]
    # Normal: no demand in 6 seeds: Clopper-Pearson 0 of 6, 1 - 0.025^(1/6); the miss share is undefined.
    assert normal.demand.high == pytest.approx(1.0 - 0.025 ** (1.0 / 6.0))
    assert np.isnan(normal.miss.value)
    assert extreme.demand.value == pytest.approx(16.0 / 616.0)
    assert extreme.miss.value == pytest.approx(1.0 / 16.0)
    assert extreme.demand.low < extreme.demand.value < extreme.demand.high
    assert gusts.miss.value == 1.0
    assert np.isnan(gusts.miss.high)
    assert gusts.miss.method.startswith("no interval")


def test_what_the_draw_of_forks_leaves_open_is_the_exact_bound_times_the_actions():
    """Ten actions that held, four forks, one demand: Clopper and Pearson 1 of 4, by its equations."""
    rows = [(0, True, 5.0, 3.0, 2.5)] + [(0, True, 5.0, 5.0, 2.5)] * 3 + [(0, True, 5.0, NAN, 0.0)] * 6
    (found,) = rates_per_stratum(logic.make_ledger(passes(rows), labels(1)), labels(1))
    low, high = found.saved.low / 10.0, found.saved.high / 10.0
    assert found.saved.value == 2.5
    assert 1.0 - (1.0 - low) ** 4 == pytest.approx(0.025)
    assert (1.0 - high) ** 4 + 4.0 * high * (1.0 - high) ** 3 == pytest.approx(0.025)
    assert found.is_drawn
    assert found.saved.units == 4


def test_where_every_action_has_a_fork_the_saved_passes_are_known():
    (found,) = rates_per_stratum(logic.make_ledger(passes(ONE_OF_EACH), labels(1)), labels(1))
    assert (found.saved.low, found.saved.value, found.saved.high) == (1.0, 1.0, 1.0)
    assert not found.is_drawn


def test_steady_winds_are_a_stratum_of_their_own_without_interval():
    names = joined(labels(2, "gust", "event"), labels(1, "calm", "steady"), labels(1, "windy", "steady"))
    rows = [(case, False, 3.0 if case == 3 else 5.0, NAN, 1.0) for case in range(4)]
    gusts, steady = rates_per_stratum(logic.make_ledger(passes(rows), names), names)
    assert [gusts.stratum, steady.stratum] == ["gusts", "steady wind"]
    assert (gusts.demand.value, steady.demand.value) == (0.0, 0.5)
    assert steady.demand.method == "no interval: a share of the steady winds swept"
    assert np.isnan(steady.demand.high)


def test_hours_weigh_the_shares_and_not_the_counts():
    names = joined(labels(2), labels(2, speed=20.0))
    rows = [(case, False, 3.0 if case == 2 else 5.0, NAN, 1.0) for case in range(4)]
    ledger = logic.make_ledger(passes(rows), names)
    (found,) = rates_per_stratum(ledger, names, weight=[3.0, 3.0, 1.0, 1.0])
    assert found.counts["missed"] == 1.0
    assert found.demand.value == pytest.approx(1.0 / 8.0)


def test_a_pass_of_an_unknown_case_or_without_a_clearance_is_refused():
    with pytest.raises(InputError, match="case 1 is not one of the 1 cases"):
        logic.make_ledger(passes([(1, False, 5.0, 5.0, 1.0)]), labels(1))
    with pytest.raises(RunError, match="pass 0 of case 0: its clearance is not a number"):
        logic.make_ledger(passes([(0, False, NAN, 5.0, 1.0)]), labels(1))
