"""Does a turning blade bend as the theory of rotating beams says?"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.errors import InputError
from sim.plant.blade import blade_modes
from sim.plant.spinning import Spin, blade_beam
from sim.turbine import load_turbine

PUBLISHED = Path(__file__).parent / "data" / "published-5mw.toml"

# mu = omega sqrt(m L^4 / EI) of a uniform cantilever flapping at eta, likewise of rotor speed, hub radius 0:
# Wright, Smith, Thresher, Wang, J. Appl. Mech. 49 (1982) 197-202; recomputed to 2e-8, printed to 1e-5.
ROTATING = [
    (0.0, 3.51602, 22.03449),
    (1.0, 3.68165, 22.18101),
    (2.0, 4.13732, 22.61492),
    (3.0, 4.79728, 23.32026),
    (4.0, 5.58500, 24.27335),
    (6.0, 7.36037, 26.80908),
    (8.0, 9.25684, 29.99538),
    (12.0, 13.17015, 37.60311),
]


@pytest.fixture(scope="module")
def published():
    return load_turbine(PUBLISHED)


def unit(turbine, edge_stiffness=64.0, side=-1.0, prebend=0.0, twist=0.0, cone=0.0):
    """A uniform blade of unit length, mass and flap stiffness from the axis on, made of the given turbine."""
    ones, none = np.ones(2), np.zeros(3)
    blade = replace(
        turbine.blade, r=np.array([0.0, 1.0]), mass=ones, flap_stiffness=ones,
        edge_stiffness=edge_stiffness * ones, structural_twist=twist * ones, prebend=0.0 * ones,
        prebend_offset=none + prebend, stiffness_factor=none + 1.0, mass_factor=none + 1.0,
    )  # fmt: skip
    rotor = replace(turbine.rotor, side=side, cone=cone)
    machine = replace(turbine.machine, rated_rotor_speed=2.0)
    return replace(turbine, blade=blade, rotor=rotor, machine=machine)


def nothing(r):
    return 0.0 * r


# ---- the uniform rotating beam ----


@pytest.mark.parametrize(("eta", "first", "second"), ROTATING)
def test_the_uniform_rotating_blade_flaps_at_the_published_frequencies(published, eta, first, second):
    mu = blade_beam(unit(published)).modes(Spin(eta, 0.0, 0.0))[0]
    assert mu[0] == pytest.approx(first, abs=1.2e-5)
    assert mu[1] == pytest.approx(second, abs=1.2e-5)


@pytest.mark.parametrize("eta", [0.0, 1.0, 4.0, 12.0])
def test_in_plane_the_square_of_the_speed_is_lost_exactly(published, eta):
    # Textbook: the string stiffening of flap, less Omega^2: mu_edge^2 = mu_flap^2 - eta^2 at equal stiffness.
    turbine = unit(published, edge_stiffness=1.0 + 1e-12)
    full = blade_beam(turbine)
    flap, _, edge = full.modes(Spin(eta, 0.0, 0.0))[0]
    expected = dict((row[0], row[1]) for row in ROTATING)[eta]
    if eta > 0.0:
        assert flap == pytest.approx(expected, abs=1.2e-5)
        assert edge**2 == pytest.approx(flap**2 - eta**2, rel=1e-8)
    else:
        assert edge == pytest.approx(expected, abs=1.2e-5)


def test_pitched_to_feather_flapping_lies_in_the_plane(published):
    full = blade_beam(unit(published))
    flap = full.modes(Spin(4.0, np.pi / 2.0, 0.0))[0][0]
    assert flap**2 == pytest.approx(5.58500**2 - 4.0**2, rel=1e-5)


def test_a_steeply_coned_blade_feels_the_square_of_its_cosine_only(published):
    # Derived here: tension and radius each carry cos(cone), normal motion goes along the radius by sin(cone):
    # mu^2(eta, cone) = mu^2 of stiffening eta cos(cone), less (eta sin(cone))^2.
    full = blade_beam(unit(published))
    flap = full.modes(Spin(4.0 * np.sqrt(2.0), 0.0, np.pi / 4.0))[0][0]
    assert flap**2 == pytest.approx(5.58500**2 - 16.0, rel=1e-5)


def test_a_blade_that_rotation_would_fold_is_refused(published):
    # The same formula: cone 60 degrees, eta 8: 5.585^2 - 48 is negative.
    with pytest.raises(InputError, match=r"8\.00 rad/s .* cone 60\.0 deg"):
        blade_beam(unit(published)).modes(Spin(8.0, 0.0, np.pi / 3.0))


def test_a_blade_too_stiff_in_edge_for_its_modes_to_be_told_is_refused(published):
    with pytest.raises(InputError, match="hold 12 flap and 0 edge modes"):
        blade_modes(unit(published, edge_stiffness=1e9))


# ---- the load of rotation on cone and prebend, closed forms ----


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_the_centrifugal_load_on_the_cone_bends_towards_the_rotor_plane(published, side):
    # A slow rotor: load Omega^2 m r sin cos (cone), triangular: tip 11/120 of it, against the cone's side.
    eta, cone = 1e-3, 0.1
    tip = (
        blade_modes(unit(published, side=side, cone=cone))
        .static(nothing, nothing, Spin(eta, 0.0, cone))
        .x[-1]
    )
    assert tip == pytest.approx(-side * 11.0 / 120.0 * eta**2 * np.sin(cone) * np.cos(cone), rel=1e-5)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_the_centrifugal_load_on_the_prebend_straightens_the_blade(published, side):
    # Prebend a xi^2, tension m Omega^2 (1 - xi^2)/2: transverse load (N p')' = a Omega^2 m (1 - 3 xi^2)
    # towards the prebend's side, whose tip deflection is 1/8 - 3 * 13/180 = -11/120 (derived here).
    eta, a = 1e-3, 0.05
    modes = blade_modes(unit(published, side=side, prebend=a))
    deflection = modes.static(nothing, nothing, Spin(eta, 0.0, 0.0))
    assert deflection.x[-1] == pytest.approx(-side * a * 11.0 / 120.0 * eta**2, rel=1e-5)


def test_at_feather_the_prebend_lies_in_the_plane_and_is_carried_outwards_too(published):
    # Additional load Omega^2 m a xi^2 along the prebend: 1/8 - 2 * 13/180 = -7/360 (derived here).
    eta, a = 1e-3, 0.05
    modes = blade_modes(unit(published, side=1.0, prebend=a))
    deflection = modes.static(nothing, nothing, Spin(eta, np.pi / 2.0, 0.0))
    assert deflection.x[-1] == pytest.approx(-a * 7.0 / 360.0 * eta**2, rel=1e-5)


def test_twist_turns_a_downwind_load_into_a_forward_motion(published):
    # Constant twist t, load along x: tip (cos^2/EIf + sin^2/EIe, sin cos (1/EIf - 1/EIe)) / 8.
    t = 0.3
    found = blade_modes(unit(published, edge_stiffness=4.0, twist=t)).static(
        np.ones_like, nothing, Spin(0, 0, 0)
    )
    assert found.x[-1] == pytest.approx((np.cos(t) ** 2 + np.sin(t) ** 2 / 4.0) / 8.0, rel=1e-10)
    assert found.y[-1] == pytest.approx(0.75 * np.sin(t) * np.cos(t) / 8.0, rel=1e-10)
