"""Is a fork exactly what would have happened had the logic not acted?"""

from __future__ import annotations

import numpy as np
import pytest

from controllers.registry import find
from sim import fork as forks
from sim.march import march
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
