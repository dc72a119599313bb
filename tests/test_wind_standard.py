"""Does the standard's arithmetic give the worked numbers?

Worked numbers: computed independently from the formulas of IEC 61400-1:2005/:2019 (formulas from memory).
Set A: class I, category B, D 126 m, hub 90 m. Set B: class I, category A, D 178.3 m, hub 119 m.
Tolerances are half a unit of the last printed digit.
"""

import math

import numpy as np
import pytest

from sim.errors import InputError
from sim.wind import standard
from sim.wind.gusts import HORIZONTAL, SPEED, TRANSIENT_STEP, VERTICAL
from sim.wind.kinds import site_wind
from sim.wind.spectra import coherence, kaimal_density
from sim.wind.standard import Site

A = Site("I", "B", hub_height=90.0, rotor_diameter=126.0)
B = Site("I", "A", hub_height=119.0, rotor_diameter=178.3)


@pytest.mark.parametrize(
    "site, speed, normal, extreme",
    [(A, 10, 1.8340, 2.9613), (A, 11.4, 1.9810, 3.0742), (A, 25, 3.4090, 4.1709), (B, 11.4, 2.2640, 3.5133)],
)
def test_standard_deviations_match_the_worked_numbers(site, speed, normal, extreme):
    assert standard.normal_sigma(site, speed) == pytest.approx(normal, abs=5e-5)
    assert standard.extreme_sigma(site, speed) == pytest.approx(extreme, abs=5e-5)


@pytest.mark.parametrize(
    "site, speed, size, lowest, highest",
    [
        (A, 10, 4.6555, 8.7520, 13.445),
        (A, 11.4, 5.0287, 10.052, 15.121),
        (A, 25, 8.6536, 22.680, 31.404),
        (B, 11.4, 5.2447, 9.9941, 15.281),
    ],
)
def test_operating_gust_has_the_worked_size_and_extremes(site, speed, size, lowest, highest):
    spec = site_wind("operating_gust", site, speed)
    table = spec.transient_table()
    assert spec.added_speed == pytest.approx(size, abs=5e-5)
    assert speed + table[:, SPEED].min() == pytest.approx(lowest, abs=5e-4)
    # The peak lies between two rows of the table, 0.00004 Vgust above either.
    assert speed + table[:, SPEED].max() == pytest.approx(highest, abs=5e-4 + 4e-5 * size)


@pytest.mark.parametrize("site, speed, degrees", [(A, 11.4, 30.455), (A, 25, 23.952), (B, 11.4, 31.746)])
def test_direction_change_has_the_worked_angle_in_both_senses(site, speed, degrees):
    for sign in (1, -1):
        spec = site_wind("direction_change", site, speed, sign=sign)
        assert math.degrees(spec.added_direction) == pytest.approx(sign * degrees, abs=5e-4)


@pytest.mark.parametrize(
    "site, speed, bracket, plus, minus",
    [
        (A, 11.4, 5.8371, (18.514, 3.1233), (6.8392, 14.798)),
        (A, 25, 8.2427, (36.042, 11.407), (19.556, 27.893)),
        (B, 11.4, 6.6597, (19.409, 1.9857), (6.0891, 15.305)),
    ],
)
def test_extreme_shear_gives_the_worked_wind_at_top_and_bottom(site, speed, bracket, plus, minus):
    assert standard.shear_gradient(site, speed) * site.rotor_diameter == pytest.approx(bracket, abs=5e-5)
    for sign, worked in ((1, plus), (-1, minus)):
        spec = site_wind("vertical_shear", site, speed, sign=sign)
        gradient = spec.transient_table()[round(6.0 / TRANSIENT_STEP), VERTICAL]
        for side, value in zip((1, -1), worked, strict=True):
            height = site.hub_height + side * site.rotor_diameter / 2
            mean = standard.normal_profile(speed, height, site.hub_height, spec.shear_exponent)
            assert mean + gradient * side * site.rotor_diameter / 2 == pytest.approx(value, rel=5e-5)


def test_horizontal_shear_has_the_size_of_the_vertical_one():
    spec = site_wind("horizontal_shear", A, 11.4, sign=-1)
    table = spec.transient_table()
    assert table[300, HORIZONTAL] * 63.0 == pytest.approx(-5.8371, abs=5e-5)
    assert not table[:, VERTICAL].any()


@pytest.mark.parametrize("speed, degrees", [(3.0, 180.0), (4.0, 180.0), (11.4, 63.158), (24.0, 30.0)])
def test_coherent_gust_turns_by_the_standard_angle(speed, degrees):
    assert math.degrees(standard.coherent_gust_angle(speed)) == pytest.approx(degrees, abs=5e-4)


def test_extreme_speeds_follow_the_reference_speed():
    # IEC 61400-1, 6.3.3.2 (value from memory): Ve50 = 1.4 Vref, so 70, 59.5, 52.5 m/s at the hub.
    for turbine_class, ve50 in (("I", 70.0), ("II", 59.5), ("III", 52.5)):
        site = Site(turbine_class, "C", hub_height=80.0, rotor_diameter=100.0)
        assert standard.extreme_speed_50(site) == pytest.approx(ve50)
        assert standard.extreme_speed_1(site) == pytest.approx(0.8 * ve50)
        assert standard.extreme_speed_50(site, 40.0) == pytest.approx(ve50 * 0.5**0.11)


def test_scale_stops_growing_at_sixty_metres():
    assert [standard.turbulence_scale(z) for z in (30.0, 60.0, 200.0)] == pytest.approx([21.0, 42.0, 42.0])


def test_near_the_reference_speed_the_gust_is_limited_by_the_yearly_extreme():
    # 1.35 (56 - 54) = 2.7 m/s, below 3.3 sigma1/(1 + 0.1 D/Lambda1) = 16.4 m/s.
    assert standard.operating_gust_amplitude(A, 54.0) == pytest.approx(2.7)
    with pytest.raises(InputError, match="needs less than Ve1 = 56 m/s"):
        standard.operating_gust_amplitude(A, 56.0)


def test_kaimal_densities_match_the_worked_numbers():
    worked = [
        [84.693, 3.4916, 0.081594],
        [45.809, 3.9309, 0.10664],
        [7.6047, 2.1301, 0.098086],
    ]
    for component, row in enumerate(worked):
        density = kaimal_density([0.01, 0.1, 1.0], 11.4, 1.9810, 42.0, component)
        np.testing.assert_allclose(density, row, rtol=3e-5)


@pytest.mark.parametrize(
    "distance, frequency, value", [(10, 0, 0.95856), (10, 0.05, 0.58977), (63, 0.01, 0.48931)]
)
def test_coherence_matches_the_worked_numbers(distance, frequency, value):
    assert coherence(frequency, distance, 11.4, 42.0) == pytest.approx(value, abs=5e-6)


def test_class_s_states_its_own_values():
    site = Site("S", "S", 100.0, 150.0, reference_speed=44.0, average_speed=9.1, reference_intensity=0.13)
    assert (site.vref, site.vave, site.iref) == (44.0, 9.1, 0.13)


@pytest.mark.parametrize(
    "arguments, message",
    [
        (("IV", "B", 90, 126), "turbine_class = 'IV' is not known.*'I'"),
        (("I", "D", 90, 126), "category = 'D' is not known"),
        (("S", "B", 90, 126), "turbine_class = 'S' needs reference_speed"),
        (("I", "B", 90, 126, 50.0), "reference_speed may be stated with turbine_class 'S' only"),
        (("I", "B", 90, 126, None, 8.0), "average_speed may be stated with turbine_class S only"),
        (("I", "B", -90, 126), "hub_height = -90; must be a positive number"),
        (("I", "B", 90, math.nan), "rotor_diameter = nan; must be a positive number"),
    ],
)
def test_an_impossible_site_is_refused_with_the_key(arguments, message):
    with pytest.raises(InputError, match=message):
        Site(*arguments)
