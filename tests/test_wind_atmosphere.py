"""Do stability, jets, veer and measured files give the mean wind that they should?"""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from sim.errors import InputError
from sim.wind.atmosphere import (
    Profile,
    low_level_jet,
    shear_exponent,
    stability_gradient,
    stability_shift,
    surface_layer,
    with_veer,
)
from sim.wind.gusts import DIRECTION, SPEED, TRANSIENT_STEP
from sim.wind.measured import read_profile, read_series


def test_neutral_shear_exponent_is_one_over_the_logarithm():
    # The textbook's seventh-power law: z/z0 = e^7 (Prandtl's logarithmic profile).
    assert shear_exponent(90.0, 90.0 * math.exp(-7.0)) == pytest.approx(1 / 7)


def test_stable_air_shears_more_and_unstable_air_less_than_neutral_air():
    neutral = shear_exponent(90.0, 0.03)
    assert shear_exponent(90.0, 0.03, 200.0) > 1.5 * neutral
    assert shear_exponent(90.0, 0.03, -200.0) < 0.7 * neutral


@pytest.mark.parametrize("ratio", [-2.0, -0.3, -0.01, 0.05, 1.0])
def test_the_shift_is_the_integral_of_what_the_gradient_lacks(ratio):
    # Paulson (1970): psi(z/L) = integral of (1 - phi) d ln z from the ground.
    integral = quad(lambda s: (1 - stability_gradient(s)) / s, 0.0, ratio)[0]
    assert stability_shift(ratio) == pytest.approx(integral, abs=1e-8)


def test_gradients_have_the_values_of_the_review():
    # Dyer (1974), from memory: phi = 1 + 5 z/L, (1 - 16 z/L)^(-1/4): 3.5 at 0.5, 0.5 at -15/16.
    assert stability_gradient(0.5) == pytest.approx(3.5)
    assert stability_gradient(-15 / 16) == pytest.approx(0.5)


@pytest.mark.parametrize("length", [math.inf, 150.0, -150.0])
def test_the_profile_has_the_exponent_as_its_slope_at_the_hub(length):
    profile = surface_layer(11.4, 90.0, 140.0, 0.05, length)
    low, high = profile.speed([88.0, 92.0])
    slope = math.log(high / low) / math.log(92.0 / 88.0)
    assert slope == pytest.approx(shear_exponent(90.0, 0.05, length), rel=2e-3)
    assert profile.speed(90.0) == pytest.approx(11.4, rel=1e-4)


@pytest.mark.parametrize("height, length", [(90.0, 80.0), (90.0, -40.0)])
def test_stability_beyond_the_measured_range_is_refused(height, length):
    with pytest.raises(InputError, match=r"height over Obukhov length = .*must be from -2 to 1"):
        shear_exponent(height, 0.05, length)


def test_impossible_surfaces_are_refused():
    with pytest.raises(InputError, match=r"roughness = 0\.0 m; must be > 0 and < height 90 m"):
        shear_exponent(90.0, 0.0)
    with pytest.raises(InputError, match=r"obukhov_length = 0\.0 m; must not be 0"):
        shear_exponent(90.0, 0.1, 0.0)


def test_a_jet_has_its_core_where_it_was_put_and_the_hubs_speed_at_the_hub():
    profile = low_level_jet(10.0, 100.0, 400.0, exponent=0.1, jet_speed=4.0, jet_height=120.0)
    assert profile.speed(100.0) == pytest.approx(10.0, rel=1e-4)
    bare = low_level_jet(10.0, 100.0, 400.0, exponent=0.0, jet_speed=4.0, jet_height=120.0)
    heights = np.linspace(50, 300, 2501)
    assert heights[bare.speed(heights).argmax()] == pytest.approx(120.0, abs=3.0)
    # Without exponent the rest is one speed: 10 minus the jet at the hub.
    rest = 10.0 - 4.0 * (100 / 120) * math.exp(0.5 * (1 - (100 / 120) ** 2))
    assert bare.speed(120.0) - rest == pytest.approx(4.0, rel=1e-3)
    with pytest.raises(InputError, match=r"the jet alone is .* m/s at the hub; must be <= 3 m/s"):
        low_level_jet(3.0, 100.0, 400.0, exponent=0.1, jet_speed=4.0, jet_height=120.0)


def test_veer_turns_the_wind_by_its_rate():
    profile = with_veer(surface_layer(10.0, 90.0, 160.0, 0.05), rate=0.002, hub_height=90.0)
    assert profile.veer(30.0, 150.0) == pytest.approx(0.002, rel=1e-3)
    assert profile.direction(90.0) == pytest.approx(0.0, abs=1e-4)
    assert profile.direction(150.0) > 0


def test_a_profile_that_does_not_span_the_rotor_is_refused():
    profile = Profile([40.0, 80.0, 120.0], [7.0, 8.0, 9.0], [0.0, 0.0, 0.0])
    with pytest.raises(InputError, match="heights 40 to 120 m; must reach from 27 to 153 m"):
        profile.covers(27.0, 153.0)


@pytest.mark.parametrize(
    "heights, speeds, message",
    [
        ([40.0], [7.0], "1 heights; must be at least 2"),
        ([40.0, 30.0], [7.0, 8.0], "heights must be above 0 and rise"),
        ([40.0, 80.0], [7.0, -8.0], "speed = -8 m/s; must be >= 0"),
        ([40.0, 80.0], [7.0, math.nan], "must be finite"),
        ([40.0, 80.0], [7.0], "must be lists of equal length"),
    ],
)
def test_impossible_profiles_are_refused(heights, speeds, message):
    with pytest.raises(InputError, match=message):
        Profile(heights, speeds, [0.0] * len(heights))


def test_a_measured_profile_is_read_turned_to_the_hub_and_scaled(tmp_path):
    path = tmp_path / "mast.csv"
    path.write_text(
        "# invented\nheight_m,speed_m_s,direction_deg\n20,6,350\n90,9,0\n200,12,10\n", encoding="utf-8"
    )
    profile = read_profile(path).relative_to(90.0, speed=11.4)
    np.testing.assert_allclose(profile.speeds, np.array([6, 9, 12]) * 11.4 / 9)
    np.testing.assert_allclose(np.degrees(profile.directions), [-10, 0, 10], atol=1e-9)


def write_series(tmp_path, rows, header="time_s,speed_m_s,direction_deg"):
    path = tmp_path / "mast.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_a_measured_series_becomes_an_event_about_its_means(tmp_path):
    rows = [f"{100 + 0.5 * i},{10 + math.sin(i):.6f},{(358 + i) % 360}" for i in range(9)]
    series = read_series(write_series(tmp_path, rows), duration=4.0)
    table = series.table(90.0)
    assert len(table) == round(4.0 / TRANSIENT_STEP) + 1
    np.testing.assert_allclose(table[::25, SPEED] + series.mean_speed, series.speed)
    assert np.trapezoid(table[:, SPEED]) == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(np.degrees(table[::25, DIRECTION]), np.arange(9) - 4, atol=1e-9)
    assert len(series.digest()) == 16


@pytest.mark.parametrize(
    "rows, header, message",
    [
        (
            ["0,9,0", "1,9,0", "2,9,0", "4,9,0", "5,9,0"],
            None,
            r"mast.csv:5: time_s = 4; 2 s after the row before",
        ),
        (["0,9,0", "1,9,0", "1,9,0"], None, r"mast.csv:4: time_s = 1; must be above 1"),
        (["0,9,0", "1,nan,0", "2,9,0"], None, r"mast.csv:3: speed_m_s = .*must be a number >= 0"),
        (["0,9,0", "1,,0", "2,9,0"], None, r"mast.csv:3: speed_m_s"),
        (
            ["0,9", "1,9", "2,9"],
            "time_s,speed_km_h",
            r"unknown column 'speed_km_h'; did you mean 'speed_m_s'",
        ),
        (["0,9", "1,9", "2,9"], "time,speed", r"unknown column 'time'; did you mean 'time_s'"),
        (
            ["0,9,0", "1,9,0", "2,9,0"],
            None,
            r"mast.csv:4: time_s = 2; the series covers 2 s; must cover 600 s",
        ),
    ],
)
def test_a_faulty_series_is_refused_with_file_and_line(tmp_path, rows, header, message):
    path = write_series(tmp_path, rows, *([header] if header else []))
    with pytest.raises(InputError, match=message):
        read_series(path, duration=600.0)
