"""Are amounts written so that a reader sees how sure they are?"""

from __future__ import annotations

import pytest

from scenarios.studies.amounts import amount_text, is_estimated, ledger_cells, ratio_text
from sim.measures.logic import WORDS
from sim.measures.rates import COUNTED, StratumRates
from sim.measures.statistics import Interval

NAN = float("nan")


def between(value: float, low: float = NAN, high: float = NAN, method: str = "told") -> Interval:
    return Interval(value, low, high, 6, method)


@pytest.mark.parametrize(
    ("interval", "told"),
    [
        (between(1.0, 1.0, 1.0), "1.000"),
        (between(0.9), "0.900"),
        (between(NAN), "-"),
        (between(0.9990, 0.9985, 0.9994), "0.99900 (0.99850..0.99940)"),
        (between(1.1236, 1.1059, 1.1361), "1.124 (1.106..1.136)"),
        (between(0.95, 0.5, 1.5), "0.950 (0.500..1.500)"),
        (between(1.0, 1.0, 1.0 + 1e-12), "1.000000 (1.000000..1.000000)"),
    ],
)
def test_a_ratio_has_digits_enough_to_tell_its_ends_apart(interval: Interval, told: str) -> None:
    assert ratio_text(interval) == told


def test_an_amount_of_hundreds_is_whole_with_its_interval() -> None:
    assert amount_text(between(3462.1, 3436.4, 3487.9)) == "3462 (3436..3488)"
    assert amount_text(between(3462.1)) == "3462"
    assert amount_text(between(341.02, 340.9, 341.2)) == "341.02 (340.90..341.20)"


def rates(counts: tuple[float, ...], saved: Interval) -> StratumRates:
    share = between(0.0)
    named = {str(word): count for word, count in zip(WORDS, counts, strict=True)}
    return StratumRates("normal turbulence", named, share, share, share, share, share, saved)


def test_counts_that_forks_drawn_at_random_tell_are_marked_with_what_the_draw_leaves_open() -> None:
    drawn = rates((100.0, 31.4, 2.0, 266.6, 1.0), between(31.4, 14.2, 60.3, "drawn"))
    cells = ledger_cells(drawn, has_logic=True)
    assert cells == ["401", "3", "100", "~31 (14..60)", "2", "~267", "1"]
    assert is_estimated(cells)
    sure = ledger_cells(rates((100.0, 31.0, 2.0, 267.0, 1.0), between(31.0, 31.0, 31.0, COUNTED)), True)
    assert sure == ["401", "3", "100", "31", "2", "267", "1"]
    assert not is_estimated(sure)


def test_a_stack_without_tower_pass_logic_has_broken_passes_and_misses_none() -> None:
    cells = ledger_cells(rates((100.0, 0.0, 26.0, 0.0, 0.0), between(0.0, 0.0, 0.0, COUNTED)), False)
    assert cells == ["126", "26", "100", "-", "-", "-", "-"]
