"""Is a fork exactly what would have happened had the logic not acted?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controllers.registry import find
from sim import fork as forks
from sim.march import march
from sim.measures.labels import Labels
from sim.measures.logic import WORDS, Passes, make_ledger
from sim.stack import Stack
from tests.plant_flocks import Nothing, Nudge, Steady, flock_of
from tests.test_plant_twin import site

SETTLE, JUDGED = 4.0, 14.0


def winds():
    return [site("extreme_turbulence", 12.0, seed=3), site("normal_turbulence", 9.0, seed=1)]


def stack_of(*layers) -> Stack:
    return Stack(list(layers), [type(layer).__name__ for layer in layers])


@pytest.fixture
def every_fork(monkeypatch):
    """Draw every fork."""
    monkeypatch.setattr(forks, "COST", 1e-9)


def test_a_fork_in_which_nothing_differs_repeats_the_march_to_the_bit(every_fork):
    """A layer without effect, made to count as acting at every tick."""
    flock = flock_of(winds(), stack_of(find("power"), Nothing()), acted_above=-1.0)
    passes = march(flock, SETTLE, JUDGED).passes
    drawn = passes["acted"] & (passes["weight"] > 0.0)
    assert np.count_nonzero(drawn) >= 10
    assert np.array_equal(passes["clearance_without_m"][drawn], passes["clearance_m"][drawn])


def test_a_fork_is_the_march_of_the_stack_without_the_logic(every_fork):
    """The first action's fork against a run in which the logic was never fitted, equal to the bit."""
    start = 250
    acted = march(flock_of(winds(), stack_of(find("power"), Nudge(start, 330))), SETTLE, JUDGED).passes
    never = march(flock_of(winds(), stack_of(find("power"))), SETTLE, JUDGED).passes
    for lane in range(2):
        ours, bare = acted["lane"] == lane, never["lane"] == lane
        gaps, without = acted["clearance_m"][ours], acted["clearance_without_m"][ours]
        first = int(np.argmax(acted["acted"][ours]))
        assert np.array_equal(gaps[:first], never["clearance_m"][bare][:first])
        # the first acted pass of each blade was forked before anything had been done
        for n in range(first, first + 3):
            assert acted["acted"][ours][n]
            assert without[n] == never["clearance_m"][bare][n]
        # what was begun after a blade's nearest point could not change its pass any more
        assert np.any(gaps[first : first + 3] != without[first : first + 3])


def test_what_the_logic_did_not_touch_is_its_own_counterpart():
    flock = flock_of(winds(), stack_of(Steady(), Nudge(250, 300)))
    passes = march(flock, SETTLE, JUDGED).passes
    early = passes["time_s"] + SETTLE < 250 * 0.04
    assert early.any()
    assert np.array_equal(passes["clearance_without_m"][early], passes["clearance_m"][early])
    assert np.all(passes["weight"][early] == 1.0)


class Sway(Nudge):
    """Pitches up by two degrees, and down by two, four seconds each: some of what it does is harm."""

    def step(self, state, seen, below, reference):
        size = np.where(seen.tick % 200 < 100, np.radians(2.0), -np.radians(2.0))
        return state, replace(below, pitch=below.pitch + size[:, None])


REQUIRED = (7.0, 8.95)


@pytest.fixture(scope="module")
def judged_both_ways():
    """Return the passes of one march with hardly any fork drawn, and of the same with all of them.

    The logic acts at all passes, and about half of them break.
    """
    found = []
    for cost in (1e9, 1e-9):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(forks, "COST", cost)
            flock = flock_of(winds(), stack_of(Steady(), Sway(0, 10**9)))
            flock.known.required_clearance[:] = REQUIRED
            found.append(march(flock, SETTLE, 25.0).passes)
    return found


def test_every_pass_that_broke_under_the_logic_is_known_without_it_whatever_was_drawn(judged_both_ways):
    thin, full = judged_both_ways
    required = np.array(REQUIRED)[thin["lane"]]
    late = thin["time_s"] > 5.0  # begun before the judged time: no fork in either march
    broken = thin["acted"] & (thin["clearance_m"] < required) & late
    held = thin["acted"] & (thin["clearance_m"] >= required) & late
    assert np.count_nonzero(broken) >= 3
    assert np.count_nonzero(held) >= 3
    assert np.array_equal(thin["clearance_m"], full["clearance_m"])
    assert np.array_equal(thin["clearance_without_m"][broken], full["clearance_without_m"][broken])
    assert np.all(thin["weight"][broken] == 1.0)
    assert np.all(thin["weight"][held] == 0.0)


def test_missed_and_harmed_are_counted_and_not_estimated(judged_both_ways):
    """The ledger of a thinned march against that of all forks: the same two counts, exactly."""
    names = Labels(np.full(2, "turbulence"), np.full(2, "normal"), np.full(2, 10.0), np.arange(2))
    thin, full = (
        make_ledger(
            Passes(
                passes["lane"], passes["acted"], passes["clearance_m"], passes["clearance_without_m"],
                passes["weight"], np.array(REQUIRED)[passes["lane"]],
            ),
            names,
        )
        for passes in judged_both_ways
    )  # fmt: skip
    word = {name: place for place, name in enumerate(WORDS)}
    for name in ("missed", "harmed"):
        assert np.array_equal(thin.counts[:, word[name]], full.counts[:, word[name]])
        assert thin.counts[:, word[name]].sum() >= 2


@pytest.mark.slow
def test_rebound_within_a_revolution_is_told_by_the_fork(every_fork):
    """Passes that were not acted on themselves, but came within a turn of an action, have a counterpart."""
    passes = march(flock_of(winds(), stack_of(Steady(), Nudge(250, 262))), SETTLE, JUDGED).passes
    changed = ~passes["acted"] & (passes["clearance_without_m"] != passes["clearance_m"])
    assert changed.any()
    last = passes["time_s"][passes["acted"]].max()
    assert passes["time_s"][changed].max() < last + 1.3 * 2.0 * np.pi / 1.0


@pytest.mark.slow
def test_thinned_forks_are_some_of_all_forks_with_weights_that_make_up_for_the_others():
    """Acting at every pass, about one fork in COST is drawn; its counterfactual is unchanged."""
    record = march(flock_of(winds() * 16, stack_of(Steady(), Nudge(0, 10**9))), SETTLE, 20.0)
    passes = record.passes
    acted = passes["acted"] & (passes["time_s"] > 3.0)
    drawn = acted & (passes["weight"] > 0.0)
    assert 0.1 < np.count_nonzero(drawn) / np.count_nonzero(acted) < 0.45
    # the sum of weights estimates the number of acted passes; binomial, false alarm one in ten thousand
    chance = 1.0 / passes["weight"][drawn].mean()
    sd = np.sqrt(np.count_nonzero(acted) * (1.0 - chance) / chance)
    assert abs(passes["weight"][drawn].sum() - np.count_nonzero(acted)) < 3.9 * sd
    assert np.all(np.isnan(passes["clearance_without_m"][acted & ~drawn]))
    assert np.all(np.isfinite(passes["clearance_without_m"][drawn]))
