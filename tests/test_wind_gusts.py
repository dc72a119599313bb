"""Do the deterministic events run in time as the standard draws them?

Formulas of IEC 61400-1:2005, 6.3.3, from memory; worked numbers computed from them independently.
"""

import math

import numpy as np
import pytest

from sim.wind import gusts
from sim.wind.gusts import DIRECTION, HORIZONTAL, SPEED, TRANSIENT_STEP, VERTICAL


def test_operating_gust_dips_then_peaks_at_half_time():
    # Trough -0.26806 Vgust at 0.23405 T, peak +0.74 Vgust at T/2, T = 10.5 s.
    table = gusts.operating_gust(1.0)
    speed = table[:, SPEED]
    assert len(table) == 526
    assert speed.min() == pytest.approx(-0.26806, abs=2e-5)
    assert speed[: len(speed) // 2].argmin() * TRANSIENT_STEP == pytest.approx(
        0.23405 * 10.5, abs=TRANSIENT_STEP / 2
    )
    # 5.25 s lies between two rows: the table's peak is 0.00004 lower.
    assert speed.max() == pytest.approx(0.74, abs=5e-5)
    assert speed.argmax() * TRANSIENT_STEP == pytest.approx(5.25, abs=TRANSIENT_STEP)
    np.testing.assert_allclose(speed, speed[::-1], atol=1e-12)
    assert not table[:, [DIRECTION, VERTICAL, HORIZONTAL]].any()


def test_direction_change_is_half_done_at_three_seconds_and_held():
    table = gusts.direction_change(0.4)
    times = TRANSIENT_STEP * np.arange(len(table))
    assert times[-1] == pytest.approx(6.0)
    np.testing.assert_allclose(
        table[[0, 75, 150, 300], DIRECTION], [0, 0.4 * 0.5 * (1 - math.sqrt(0.5)), 0.2, 0.4]
    )


def test_coherent_gust_rises_as_worked():
    # V = 11.4 m/s: 11.4, 13.597, 18.900, 26.400 m/s at 0, 2.5, 5, 10 s.
    table = gusts.coherent_gust(15.0, math.radians(63.158))
    np.testing.assert_allclose(11.4 + table[[0, 125, 250, 500], SPEED], [11.4, 13.597, 18.9, 26.4], atol=5e-4)
    np.testing.assert_allclose(np.degrees(table[[0, 250, 500], DIRECTION]), [0.0, 31.579, 63.158], rtol=1e-9)


def test_extreme_shear_is_twice_its_gradient_at_half_time_and_gone_at_the_end():
    table = gusts.extreme_shear(0.02, -0.01)
    times = TRANSIENT_STEP * np.arange(len(table))
    assert times[-1] == pytest.approx(12.0)
    np.testing.assert_allclose(table[300, [VERTICAL, HORIZONTAL]], [0.04, -0.02])
    np.testing.assert_allclose(table[150, [VERTICAL, HORIZONTAL]], [0.02, -0.01])
    assert not table[-1].any()


def test_stacked_tables_hold_their_last_row():
    stacked = gusts.stack_tables([gusts.direction_change(1.0), gusts.extreme_shear(0.01, 0.0)])
    assert stacked.shape == (2, 601, 4)
    assert (stacked[0, 300:, DIRECTION] == 1.0).all()
    assert gusts.stack_tables([]).shape == (0, 1, 4)
