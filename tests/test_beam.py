"""Does the beam formulation give the textbook's static and dynamic answers?"""

import numpy as np
import pytest

from sim.plant.beam import make_beam, make_grid, solve_modes

# Clamped-free uniform beam: roots 1.87510407, 4.69409113, 7.85475744 of cos x cosh x = -1, squared
# (Blevins, Formulas for Natural Frequency and Mode Shape, 1979, table 8-1; from memory, recomputed).
CANTILEVER = np.array([1.875104068711961, 4.694091132974175, 7.854757438237613]) ** 2


def straight(stiffness=lambda xi: 1.0 + 0.0 * xi, **options):
    grid = make_grid(np.array([0.0, 1.0]))
    return make_beam(grid, np.ones_like(grid.at), stiffness(grid.at)[:, None, None], **options)


def tip_under(beam, force):
    """Tip deflection for a force in the beam's unknowns (its elastic stiffness is the unit matrix)."""
    return force @ beam.shape[:, 0, -1]


@pytest.mark.parametrize(
    ("load", "tip"),
    [(lambda xi: 1.0 + 0.0 * xi, 1 / 8), (lambda xi: xi, 11 / 120), (lambda xi: xi**2, 13 / 180)],
)
def test_a_distributed_load_bends_the_uniform_beam_as_the_closed_form_says(load, tip):
    # Textbook: uniform 1/8, triangular 11/120. Parabolic: integral xi^4 (3 - xi)/6 = 13/180, derived here.
    beam = straight()
    force = beam.grid.integrate(beam.shape[:, 0] * load(beam.grid.at))
    assert tip_under(beam, force) == pytest.approx(tip, rel=1e-12)


def test_a_tip_force_bends_the_uniform_beam_by_a_third():
    beam = straight()  # textbook: F L^3 / (3 EI)
    assert tip_under(beam, beam.shape[:, 0, -1]) == pytest.approx(1 / 3, rel=1e-12)


def test_stiffness_falling_linearly_to_half_gives_the_published_tip_deflections():
    # Unit-load integrals, EI = 1 - x/2: integral (1-x)^2/EI = 2 ln 2 - 1 = 0.3862943611 (tip force),
    # 1/2 integral (1-x)^3/EI = 0.1401861528 (uniform load).
    beam = straight(lambda xi: 1.0 - xi / 2.0)
    assert tip_under(beam, beam.shape[:, 0, -1]) == pytest.approx(0.3862943611, abs=1e-10)
    assert tip_under(beam, beam.grid.integrate(beam.shape[:, 0])) == pytest.approx(0.1401861528, abs=1e-10)


def test_the_uniform_cantilever_has_its_three_textbook_frequencies():
    beam = straight()
    frequency, _ = solve_modes(np.eye(len(beam.moment)), beam.mass_matrix(), 3)
    np.testing.assert_allclose(frequency, CANTILEVER, rtol=1e-10)


def test_a_moment_at_the_end_needs_a_basis_that_does_not_vanish_there():
    # Pure bending: slope M L / EI = 1, deflection M L^2 / (2 EI) = 1/2 (textbook closed form).
    beam = straight(free_end=False)
    amplitude = beam.slope[:, 0, -1]
    assert amplitude @ beam.slope[:, 0, -1] == pytest.approx(1.0, rel=1e-12)
    assert amplitude @ beam.shape[:, 0, -1] == pytest.approx(0.5, rel=1e-12)
    closed = straight()
    assert closed.slope[:, 0, -1] @ closed.slope[:, 0, -1] < 0.9999


def test_the_moments_are_orthonormal_in_elastic_energy_over_five_decades_of_stiffness():
    grid = make_grid(np.linspace(0.0, 60.0, 13))
    stiffness = (1e10 * np.exp(-grid.at / 60.0 * np.log(1e5)))[:, None, None]
    beam = make_beam(grid, np.ones_like(grid.at), stiffness)
    flexibility = beam.product(1.0 / stiffness[:, 0, 0], beam.moment, beam.moment)
    np.testing.assert_allclose(flexibility, np.eye(len(flexibility)), atol=1e-9)


def test_frequencies_fall_towards_their_limit_as_the_basis_grows():
    # Ritz: every larger basis contains the smaller one, so no frequency may rise.
    found = []
    for polynomials in (4, 6, 8, 12, 20):
        beam = straight(lambda xi: 10.0 ** (-4.0 * xi), polynomials=polynomials)
        found.append(solve_modes(np.eye(len(beam.moment)), beam.mass_matrix(), 2)[0])
    steps = np.diff(found, axis=0)
    assert np.all(steps <= 1e-9)
    assert np.all(np.abs(steps[-1]) < 1e-4 * np.abs(steps[0]))


def test_running_and_whole_integrals_are_exact_for_polynomials_on_uneven_panels():
    grid = make_grid(np.array([1.0, 1.2, 3.0, 7.5]), panels=7)
    np.testing.assert_allclose(grid.accumulate(grid.at**6), (grid.at**7 - 1.0) / 7.0, rtol=1e-12, atol=1e-9)
    assert grid.integrate(grid.at**11) == pytest.approx((7.5**12 - 1.0) / 12.0, rel=1e-12)
    assert np.all(np.diff(grid.at) > 0.0)
    assert {1.0, 1.2, 3.0, 7.5} <= set(np.round(grid.at, 12))
