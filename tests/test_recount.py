"""Are the effects of single actions found by taking each back, to a revolution after its end?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from scenarios.studies.recount import Histories, single_effects
from sim.kernels import layout as at


def test_single_effects_sum_to_the_whole_where_actions_make_cycles_of_their_own() -> None:
    # A slow swing that holds all; two far actions each add one small cycle, which closes by itself.
    plain = np.concatenate([np.linspace(0.0, 10e6, 200), np.linspace(10e6, 0.0, 200)])
    mine = plain.copy()
    mine[50:60] += 1e6 * np.sin(np.linspace(0.0, 2.0 * np.pi, 10))
    mine[300:310] += 1e6 * np.sin(np.linspace(0.0, 2.0 * np.pi, 10))
    whole, without, effects = single_effects(mine, plain, [slice(50, 60), slice(300, 310)], 4.0)
    assert without == pytest.approx(0.5 * 2.0 * 10.0**4)  # up and down: two half cycles of 10 MN m
    assert whole > without
    assert effects == pytest.approx(whole - without, rel=1e-9)
    # One action over both counts its effect twice over when each half is taken back alone: not additive.
    halves = [slice(50, 55), slice(55, 60)]
    assert single_effects(mine, plain, halves, 4.0)[2] != pytest.approx(whole - without, rel=1e-3)


def test_means_count_after_goodman_where_an_ultimate_is_given() -> None:
    # Two half cycles of 10 MN m about a mean of 5 MN m; with an ultimate of 20 MN m each counts as
    # S U / (U - |mean|) = 10 x 20 / 15 MN m (Goodman 1899, from memory).
    plain = np.concatenate([np.linspace(0.0, 10e6, 200), np.linspace(10e6, 0.0, 200)])
    mine = plain.copy()
    mine[50:60] += 1e6 * np.sin(np.linspace(0.0, 2.0 * np.pi, 10))
    _, without, effects = single_effects(mine, plain, [slice(50, 60)], 4.0, 20e6)
    assert without == pytest.approx((10.0 * 20.0 / 15.0) ** 4)
    whole, none, _ = single_effects(mine, plain, [], 4.0, 20e6)
    assert effects == pytest.approx(whole - none)
    assert effects > single_effects(mine, plain, [slice(50, 60)], 4.0)[2]


def test_an_action_lasts_until_a_revolution_after_its_end() -> None:
    out, acting = np.zeros((100, at.OUTPUTS)), np.zeros((100, 3), dtype=bool)
    out[:, at.OUT_SPEED] = math.pi / 2.0  # four seconds a turn
    acting[10:20, 1] = acting[90:95, 1] = True
    found = Histories(out, acting, 0.1).windows(1)
    assert [(window.start, window.stop) for window in found] == [(10, 60), (90, 100)]
    assert Histories(out, acting, 0.1).windows(0) == []
