"""The scalar aerodynamic functions against closed forms and published values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sim.kernels import aero

steadily = settings(deadline=None, derandomize=True, max_examples=200)


def buhl(a: float, F: float) -> float:
    """Thrust coefficient after Buhl, NREL/TP-500-36834, 2005 (formula from memory)."""
    return 8 / 9 + (4 * F - 40 / 9) * a + (50 / 9 - 4 * F) * a**2


def prandtl(blades: float, r: float, tip: float, root: float, phi: float) -> float:
    """Prandtl's tip and root loss as in Glauert, Airplane Propellers, 1935."""
    outer = 2 / math.pi * math.acos(math.exp(-blades * (tip - r) / (2 * r * math.sin(phi))))
    inner = 2 / math.pi * math.acos(math.exp(-blades * (r - root) / (2 * root * math.sin(phi))))
    return outer * inner


@steadily
@given(st.floats(0.0, 12.0))
def test_exponential_keeps_its_stated_error(g):
    assert aero.exp_negative(g) == pytest.approx(math.exp(-g), rel=2e-8)


@steadily
@given(st.floats(0.0, 1.0))
def test_arc_cosine_keeps_its_stated_error(x):
    assert aero.arc_cosine(x) == pytest.approx(math.acos(x), abs=3e-8)


@steadily
@given(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3))
def test_arc_tangent_keeps_its_stated_error_in_all_quadrants(y, x):
    if max(abs(x), abs(y)) < 1e-3:
        return
    turn = aero.arc_tangent(y, x) - math.atan2(y, x)
    assert abs(math.remainder(turn, 2 * math.pi)) < 2e-8


def test_tip_loss_of_the_worked_case():
    """CHECKS 4: 3 blades, r/R 0.95, phi 6 deg: 0.68859 (computed from the formula, tip only)."""
    loss = aero.prandtl_loss(3.0, 1.0 / 0.95 - 1.0, 1e6, math.sin(math.radians(6.0)))
    assert loss == pytest.approx(0.68859, abs=5e-6)


@steadily
@given(st.floats(0.03, 0.999), st.floats(3.0, 80.0), st.sampled_from([2.0, 3.0]))
def test_loss_is_the_product_of_tip_and_root_loss(place, phi_deg, blades):
    """The kernel stops the exponent at 12, which moves either factor by (2/pi) exp(-12) = 4e-6 at most."""
    r, phi = 1.5 + place * (63.0 - 1.5), math.radians(phi_deg)
    wanted = max(prandtl(blades, r, 63.0, 1.5, phi), 1e-3)
    found = aero.prandtl_loss(blades, 63.0 / r - 1.0, r / 1.5 - 1.0, math.sin(phi))
    assert found == pytest.approx(wanted, abs=1e-5)


@steadily
@given(st.floats(-0.5, 0.4), st.floats(0.05, 1.0))
def test_induction_inverts_momentum_theory(a, F):
    assert aero.induction(4 * a * F * (1 - a), F) == pytest.approx(a, abs=1e-7)


@steadily
@given(st.floats(0.401, 0.999), st.floats(0.05, 1.0))
def test_induction_inverts_the_high_thrust_parabola(a, F):
    assert aero.induction(buhl(a, F), F) == pytest.approx(a, abs=1e-9)


def test_induction_meets_the_published_high_thrust_values():
    """CHECKS 4 (from memory): F = 1: ct 1.05556 at a 0.5, 1.52889 at a 0.8; digits set the tolerance."""
    assert aero.induction(1.05556, 1.0) == pytest.approx(0.5, abs=1e-5)
    assert aero.induction(1.52889, 1.0) == pytest.approx(0.8, abs=1e-5)


def test_momentum_theory_and_parabola_touch_with_one_slope():
    for F in (0.3, 0.7, 1.0):
        step, ct = 1e-6, 0.96 * F
        below = (aero.induction(ct, F) - aero.induction(ct - step, F)) / step
        above = (aero.induction(ct + 2 * step, F) - aero.induction(ct + step, F)) / step
        assert above == pytest.approx(below, rel=1e-3)
        assert aero.induction(ct + step, F) - aero.induction(ct, F) < 10 * step


@steadily
@given(st.floats(0.0, 0.99), st.floats(3.0, 30.0), st.floats(5.0, 90.0))
def test_swirl_closes_the_energy_equation(a, v0, omega_r):
    """Glauert 1935: a (1 - a) v0^2 = a' (1 + a') (omega r)^2."""
    turn = aero.swirl(a, v0, omega_r)
    if turn < 1.0:
        assert turn * (1 + turn) * omega_r**2 == pytest.approx(a * (1 - a) * v0**2, rel=1e-9, abs=1e-9)


def time_constants(a, radius, v0, tip=63.0):
    """The two time constants [s], which the kernel hands out inverted."""
    first, second = aero.inflow_bandwidths(a, 1.0 / tip, 1.0 / (0.39 - 0.26 * (radius / tip) ** 2), v0)
    return 1.0 / first, 1.0 / second


def test_inflow_time_constants_of_the_worked_case():
    """CHECKS 4 (Oye 1990; Snel and Schepers, ECN-C-94-107, 1995; from memory): 9.0058 s and 2.3649 s."""
    tau1, tau2 = time_constants(0.25, 0.7 * 63.0, 11.4)
    assert tau1 == pytest.approx(9.0058, abs=5e-5)
    assert tau2 == pytest.approx(2.3649, abs=5e-5)


def test_inflow_answers_a_step_as_published():
    """CHECKS 4: 0.21478, 0.48255, 0.81463 at 1, 3, 10 s after a unit step of the balanced value."""
    tau1, tau2 = time_constants(0.25, 0.7 * 63.0, 11.4)
    found = solve_ivp(
        lambda _, state: aero.inflow_rates(state[0], state[1], 1.0, 1.0 / tau1, 1.0 / tau2),
        (0.0, 10.0), [0.0, 0.0], t_eval=[1.0, 3.0, 10.0], rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    assert found.y[1] == pytest.approx([0.21478, 0.48255, 0.81463], abs=1e-5)


def test_inflow_rests_where_the_balance_is():
    tau1, tau2 = time_constants(0.3, 30.0, 9.0)
    assert aero.inflow_rates(0.4 * 2.5, 2.5, 2.5, 1.0 / tau1, 1.0 / tau2) == pytest.approx(
        (0.0, 0.0), abs=1e-15
    )


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_inflow_time_constants_fall_towards_the_tip_and_stay_positive(share):
    inner = time_constants(0.3, share * 63.0, 9.0)[1]
    outer = time_constants(0.3, (share + 0.1) * 63.0, 9.0)[1]
    assert 0.0 < outer < inner


def test_lift_answers_a_step_of_angle_as_wagner_after_jones():
    """Jones, NACA 681, 1940: 1 - 0.165 exp(-0.0455 s) - 0.335 exp(-0.3 s), s in semi-chords."""
    along = np.array([0.0, 1.0, 5.0, 20.0, 100.0])
    found = solve_ivp(
        lambda _, x: aero.wagner_rates(x[0], x[1], 0.1, 1.0),
        (0.0, 100.0), [0.0, 0.0], t_eval=along, rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    felt = [aero.effective_angle(x1, x2, 0.1) / 0.1 for x1, x2 in found.y.T]
    assert felt == pytest.approx(1 - 0.165 * np.exp(-0.0455 * along) - 0.335 * np.exp(-0.3 * along), abs=1e-8)


def test_separation_covers_63_per_cent_of_a_step_in_its_lag():
    chords = solve_ivp(
        lambda _, f: [aero.separation_rate(f[0], 1.0, 20.0)],
        (0.0, aero.SEPARATION_LAG / 20.0), [0.0], rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    assert chords.y[0, -1] == pytest.approx(1 - math.exp(-1), abs=1e-8)
