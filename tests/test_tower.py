"""Does the tower sway as a cantilever with a body on top must?"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from sim.design import Tower
from sim.errors import InputError
from sim.plant.beam import make_beam, make_grid
from sim.plant.tower import GRAVITY, TopBody, sway_mode, top_body, tower_beam, tower_modes
from sim.turbine import load_turbine

PUBLISHED = Path(__file__).parent / "data" / "published-5mw.toml"

TUBE = Tower(
    height=87.6,
    base_diameter=6.0,
    top_diameter=3.87,
    base_wall=0.0351,
    top_wall=0.0247,
    youngs_modulus=210e9,
    density=8500.0,
    damping_ratio=0.01,
    drag_coefficient=0.6,
)


def uniform(mass=1.0, stiffness=1.0, height=1.0):
    grid = make_grid(np.array([0.0, height]))
    ones = np.ones_like(grid.at)
    return make_beam(grid, mass * ones, stiffness * ones[:, None, None], free_end=False)


def machine(**tower):
    """The open 5 MW reference (Jonkman et al., NREL/TP-500-38060, 2009; from memory) on such a tube."""
    return replace(load_turbine(PUBLISHED), tower=replace(TUBE, **tower))


def test_without_a_body_on_top_the_uniform_tower_is_the_textbook_cantilever():
    # 3.51602 sqrt(EI / (m L^4)): Blevins 1979, table 8-1 (value from memory); here EI 8, m 2, L 2.
    mode = sway_mode(uniform(2.0, 8.0, 2.0), TopBody(0.0, 0.0, 0.0, 0.0), 0.0, 0.01, 0.0)
    assert 2.0 * np.pi * mode.frequency == pytest.approx(3.51602 * np.sqrt(8.0 / (2.0 * 2.0**4)), rel=2e-6)


@pytest.mark.parametrize("mass", [0.5, 1.0, 4.0])
def test_a_point_mass_on_top_obeys_the_exact_frequency_equation(mass):
    # 1 + cos b cosh b = (M/m L) b (sin b cosh b - cos b sinh b), omega = b^2: textbook closed form
    # (Blevins 1979, table 8-8; from memory, derived again from the free-end shear = M w'').
    mode = sway_mode(uniform(), TopBody(mass, 0.0, 0.0, 0.0), 0.0, 0.01, 0.0)
    b = np.sqrt(2.0 * np.pi * mode.frequency)
    left = 1.0 + np.cos(b) * np.cosh(b)
    right = mass * b * (np.sin(b) * np.cosh(b) - np.cos(b) * np.sinh(b))
    assert left == pytest.approx(right, abs=1e-9)


def test_a_heavy_body_on_top_sways_on_the_static_tip_stiffness():
    # omega^2 = 3 EI / (M L^3), top slope 3 / (2 L), base moment 3 EI / L^2 per metre, own mass 33/140 m L.
    mode = sway_mode(uniform(1.0, 8.0, 2.0), TopBody(1e7, 0.0, 0.0, 0.0), 0.0, 0.01, 0.0)
    assert (2.0 * np.pi * mode.frequency) ** 2 == pytest.approx(3.0 * 8.0 / (1e7 * 2.0**3), rel=1e-6)
    assert mode.stiffness == pytest.approx(3.0, rel=1e-6)
    assert mode.top_slope == pytest.approx(0.75, rel=1e-6)
    assert mode.base_moment_factor == pytest.approx(6.0, rel=1e-6)
    assert mode.mass == pytest.approx(33.0 / 140.0 * 2.0, rel=1e-6)


def test_rotary_inertia_alone_sways_on_the_stiffness_against_rotation():
    # A body of huge rotary inertia and no mass: the end is free to move sideways and turns under
    # the moment of inertia alone, k = EI / L, omega^2 = EI / (J L) (textbook end moment).
    mode = sway_mode(uniform(1e-9, 8.0, 2.0), TopBody(0.0, 0.0, 0.0, 0.0), 1e4, 0.01, 0.0)
    assert (2.0 * np.pi * mode.frequency) ** 2 == pytest.approx(8.0 / (1e4 * 2.0), rel=1e-6)


def test_a_body_above_the_top_moves_with_the_slope():
    # A point mass at height h on a massless beam: with flexibilities L^3/3, L^2/2, L of a unit EI the
    # compliance at the mass is L^3/3 + h L^2 + h^2 L (superposition, derived here).
    h, mass = 0.3, 2.0
    mode = sway_mode(uniform(1e-9), TopBody(mass, mass * h, 0.0, 0.0), mass * h**2, 0.01, 0.0)
    compliance = 1.0 / 3.0 + h + h**2
    assert (2.0 * np.pi * mode.frequency) ** 2 == pytest.approx(1.0 / (mass * compliance), rel=1e-6)


def test_the_top_body_collapses_the_tower_at_its_buckling_load():
    # Euler, cantilever: P = pi^2 EI / (4 L^2). Just below, the square of the frequency is almost gone.
    load = np.pi**2 / 4.0
    free = sway_mode(uniform(1e-9), TopBody(1.0, 0.0, 0.0, 0.0), 0.0, 0.01, 0.0)
    near = sway_mode(uniform(1e-9), TopBody(1.0, 0.0, 0.0, 0.0), 0.0, 0.01, 0.9999 * load)
    assert (near.frequency / free.frequency) ** 2 == pytest.approx(1e-4, rel=0.05)


def test_the_uniform_tower_collapses_under_its_own_weight_at_greenhills_height():
    # m g L^3 / EI = 7.8373 (Greenhill 1881; Timoshenko & Gere, Theory of Elastic Stability, 1961, art. 2.12;
    # value from memory).
    nobody = TopBody(0.0, 0.0, 0.0, 0.0)
    assert 0.0 < sway_mode(uniform(), nobody, 0.0, 0.01, 0.999 * 7.8373).frequency * 2.0 * np.pi < 0.15
    with pytest.raises(InputError, match="tower: it cannot carry"):
        sway_mode(uniform(), nobody, 0.0, 0.01, 1.001 * 7.8373)


def test_a_body_above_the_top_collapses_the_tower_earlier():
    # Derived here: EI w'' = P (D - w), D at the body, h above the end: k h tan(k L) = 1, P = k^2 EI.
    h = 0.3
    k = brentq(lambda k: k * h * np.tan(k) - 1.0, 0.5, 1.5)
    body = TopBody(1.0, h, 0.0, 0.0)
    free = sway_mode(uniform(1e-9), body, h**2, 0.01, 0.0)
    near = sway_mode(uniform(1e-9), body, h**2, 0.01, 0.9999 * k**2)
    assert (near.frequency / free.frequency) ** 2 == pytest.approx(1e-4, rel=0.05)


def test_the_5_mw_tower_has_its_published_frequency():
    # Published fore-aft 0.32 Hz, side-side 0.31 Hz, tower mass 347 460 kg (NREL/TP-500-38060, 2009; values
    # from memory). Rigid blades here; hold to 5 %.
    turbine = machine()
    modes = tower_modes(turbine)
    beam = tower_beam(turbine)
    assert beam.grid.integrate(beam.mass) == pytest.approx(347460.0, rel=0.002)
    assert modes.fore_aft.frequency == pytest.approx(0.32, rel=0.05)
    assert modes.side_side.frequency == pytest.approx(0.31, rel=0.05)


def test_the_top_body_is_the_sum_of_its_parts():
    # By hand from the report's masses; the blades' integrals by plain quadrature.
    turbine = machine()
    blade = replace(turbine.blade, mass_factor=np.array([1.0, 1.1, 0.9]))
    top = top_body(replace(turbine, blade=blade))
    r = np.linspace(1.5, 63.0, 200001)
    mass = np.interp(r, blade.r, blade.mass)
    rotor = 56780.0 + 3.0 * np.trapezoid(mass, r)
    assert top.mass == pytest.approx(240000.0 + rotor, rel=1e-8)
    assert top.lift == pytest.approx(240000.0 * 1.75 + rotor * 2.4, rel=1e-8)
    rolling = 240000.0 * 1.75**2 + rotor * 2.4**2
    ahead = 240000.0 * 1.9**2 + rotor * (5.0 * np.cos(np.radians(5.0))) ** 2
    disc = 0.5 * (115926.0 + 3.0 * np.trapezoid(mass * r**2, r))
    assert top.side_side_inertia == pytest.approx(rolling, rel=1e-8)
    assert top.fore_aft_inertia == pytest.approx(rolling + ahead + disc, rel=1e-8)


def test_the_frequency_is_that_of_the_fixed_shape_with_the_body_on_it():
    # Rayleigh's quotient of the exact mode: what the march uses must return the mode's own frequency.
    modes = tower_modes(machine())
    mode, top = modes.fore_aft, modes.top
    body = top.mass + 2.0 * top.lift * mode.top_slope + top.fore_aft_inertia * mode.top_slope**2
    quotient = mode.stiffness / (mode.mass + body)
    assert 2.0 * np.pi * mode.frequency == pytest.approx(np.sqrt(quotient), rel=1e-10)


def test_the_shape_is_clamped_rises_and_goes_on_straight_above_the_top():
    mode = tower_modes(machine()).fore_aft
    z = np.linspace(0.0, 87.6, 400)
    shape = mode.shape(z)
    assert shape[0] == 0.0 and shape[-1] == pytest.approx(1.0)
    assert np.all(np.diff(shape) > 0.0)
    assert shape[1] == pytest.approx(0.0, abs=1e-4)
    assert mode.shape(92.6) == pytest.approx(1.0 + 5.0 * mode.top_slope)
    assert mode.shape(-3.0) == 0.0
    assert (shape[-1] - shape[-2]) / (z[-1] - z[-2]) == pytest.approx(mode.top_slope, rel=1e-2)


def test_the_base_moment_of_a_slow_thrust_is_thrust_times_height():
    # A tip force F bends the top by F / K in the one mode; its base moment must come near F L (closed form).
    # The own mass is a tenth of the body here, and shifts the ratio by some percent.
    mode = tower_modes(machine()).side_side
    assert mode.base_moment_factor / mode.stiffness == pytest.approx(87.6, rel=0.06)


def test_weight_makes_the_tower_softer_by_about_its_share_of_the_buckling_load():
    beam, top = tower_beam(machine()), top_body(machine())
    with_weight = sway_mode(beam, top, top.side_side_inertia, 0.01, GRAVITY)
    without = sway_mode(beam, top, top.side_side_inertia, 0.01, 0.0)
    ratio = (with_weight.frequency / without.frequency) ** 2
    # 350 t on some 1.7e6 N/m over 87.6 m: 1.2 M g / (K L) is 2.7 %, plus the tube's weight (derived here).
    assert 0.955 < ratio < 0.975


@settings(deadline=None, derandomize=True, max_examples=20)
@given(factor=st.floats(0.5, 2.0))
def test_more_elastic_stiffness_and_thicker_walls_raise_the_frequency(factor):
    base = tower_modes(machine()).fore_aft.frequency
    stiffer = tower_modes(machine(youngs_modulus=210e9 * factor)).fore_aft.frequency
    assert (stiffer - base) * (factor - 1.0) >= 0.0
    assert stiffer / base == pytest.approx(np.sqrt(factor), rel=0.03)
