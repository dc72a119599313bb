"""Which winds does a scenario's [[winds]] give, and where is an impossible one refused?

Numbers of IEC 61400-1 are from memory of its formulas; class II, category A: Vref 42.5 m/s, Iref 0.16.
"""

from __future__ import annotations

import logging
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scenarios.load import library_scenarios, load_scenario
from scenarios.simulate import make_flock, make_world
from sim.errors import InputError
from sim.interface import Status
from sim.kernels import layout as at
from sim.march import march
from sim.plant.rotor import steady_rotor
from sim.units import unit_of
from sim.wind import standard
from sim.wind.atmosphere import shear_exponent
from sim.wind.gusts import DIRECTION, SPEED, VERTICAL
from sim.wind.kinds import worst_time
from sim.wind.standard import Site

HEAD = """
name = "small"
turbine = "skerry"
seed = 3
settle_s = 20
duration_s = 60

[site]
wind_class = "II"
turbulence_category = "A"
shear_exponent = 0.15
upflow_deg = 2.0
yaw_error_deg = 0.0

[requirement]
rule = "share_of_unloaded"
share = 0.3

[sensors]
delay_s = 0.12
azimuth_noise_deg = 0.2
rotor_speed_noise_rpm = 0.02
pitch_noise_deg = 0.05
root_flap_moment_noise_kNm = 100.0
root_edge_moment_noise_kNm = 50.0
tower_acceleration_noise_m_s2 = 0.02
wind_speed_noise_m_s = 0.5
power_noise_kW = 20.0

[[entries]]
name = "plain"
stack = ["power"]

[[winds]]
label = "asked"
"""
FIRST = HEAD.count("\n")
"""Line of the label."""


def load(folder: Path, wind: str, *edits: tuple[str, str]):
    text = HEAD + wind
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    path = folder / "small.toml"
    path.write_text(text)
    return load_scenario(path)


def specs(folder: Path, wind: str, *edits: tuple[str, str]) -> list:
    return [case.wind for case in load(folder, wind, *edits).cases]


EVENTS = {
    "operating_gust": "",
    "direction_change": "sign = -1",
    "coherent_gust": "sign = -1",
    "vertical_shear": "sign = -1",
    "horizontal_shear": "sign = -1",
}


@pytest.mark.parametrize("kind", EVENTS)
def test_every_event_starts_at_each_phase_and_in_its_sense(tmp_path, kind) -> None:
    scenario = load(tmp_path, f'kind = "{kind}"\nspeeds_m_s = [10, 12]\nphases = 3\n{EVENTS[kind]}')
    assert len(scenario.cases) == 6 and all(case.is_event for case in scenario.cases)
    third = 2.0 * math.pi / 3.0 / 3.0
    assert [case.run.azimuth for case in scenario.cases[:3]] == pytest.approx([0.0, third, 2.0 * third])
    spec, design = scenario.cases[0].wind, scenario.reference.design
    place = Site("II", "A", design.rotor.hub_height, 2.0 * design.rotor_radius)
    sizes = {
        "operating_gust": (spec.added_speed, standard.operating_gust_amplitude(place, 10.0)),
        "direction_change": (spec.added_direction, -standard.direction_change_angle(place, 10.0)),
        "coherent_gust": (spec.added_direction, -math.radians(72.0)),
        "vertical_shear": (spec.added_vertical, -standard.shear_gradient(place, 10.0)),
        "horizontal_shear": (spec.added_horizontal, -standard.shear_gradient(place, 10.0)),
    }
    found, expected = sizes[kind]
    assert found == pytest.approx(expected, rel=1e-9)
    assert spec.transient_start == 20.0


def test_extreme_winds_have_the_speed_of_class_and_return_period(tmp_path, caplog) -> None:
    wind = 'kind = "extreme_{}"\nreturn_period_years = {}\n{}'
    with caplog.at_level(logging.WARNING, logger="wideberth"):
        gusts = [specs(tmp_path, wind.format("steady", years, ""))[0] for years in (50, 1)]
    # 1.4 Vref and 0.8 of it; exponent 0.11.
    assert [spec.speed for spec in gusts] == pytest.approx([59.5, 47.6])
    assert "59.5 m/s is above cut-out (25 m/s)" in caplog.text
    mean = specs(tmp_path, wind.format("turbulent", 50, "seeds = 2"))
    assert len(mean) == 2 and mean[0].seed != mean[1].seed
    assert (mean[0].speed, mean[0].sigma) == pytest.approx((42.5, 0.11 * 42.5))
    assert {spec.shear_exponent for spec in (*gusts, *mean)} == {0.11}


def test_a_rotor_in_a_storm_starts_at_the_pitch_that_holds_its_power(tmp_path) -> None:
    case = load(tmp_path, 'kind = "extreme_steady"\nreturn_period_years = 1\n').cases[0]
    world, design_of, wind_of = make_world([case], 5.0)
    flock = make_flock([case], world, design_of, wind_of)
    machine, pitch = world.turbines[0].machine, flock.lanes.y[0, at.PITCH]
    point = np.array([[case.wind.speed, machine.rated_rotor_speed, pitch]])
    torque = steady_rotor(world.turbines[0]).evaluate(point).torque[0]
    assert torque * machine.rated_rotor_speed * machine.efficiency == pytest.approx(
        machine.rated_power, rel=1e-5
    )
    march(flock, 0.0, 5.0, forks=False)
    # From cut-out's own pitch, 26 degrees, it was beyond 1.5 times rated speed within a second.
    assert flock.lanes.status[0] == Status.RUNNING
    assert flock.lanes.y[0, at.SPEED] == pytest.approx(machine.rated_rotor_speed, rel=0.1)


def test_the_normal_profile_has_its_own_exponent_and_steady_wind_the_sites(tmp_path) -> None:
    exponents = [
        specs(tmp_path, f'kind = "{kind}"\nspeeds_m_s = [9]\n{own}')[0].shear_exponent
        for kind, own in (("normal_profile", ""), ("steady", ""), ("steady", "shear_exponent = -0.1"))
    ]
    assert exponents == [0.2, 0.15, -0.1]


def test_a_winds_own_upflow_yaw_error_veer_and_turbulence_come_before_the_sites(tmp_path) -> None:
    own = 'upflow_deg = 8.0\nyaw_error_deg = -6.0\nveer_deg_per_m = 0.1\nturbulence_model = "tensor"\n'
    wind = 'kind = "normal_turbulence"\nspeeds_m_s = [9]\nseeds = 1\n'
    mine, sites = specs(tmp_path, wind + own)[0], specs(tmp_path, wind)[0]
    assert np.degrees([mine.upflow, mine.yaw, mine.veer]) == pytest.approx([8.0, -6.0, 0.1])
    assert (mine.model, sites.model) == ("tensor", "kaimal")
    assert np.degrees([sites.upflow, sites.yaw, sites.veer]) == pytest.approx([2.0, 0.0, 0.0])
    changed = specs(
        tmp_path, wind, ("yaw_error_deg = 0.0", 'yaw_error_deg = 1.0\nturbulence_model = "tensor"')
    )
    assert (changed[0].model, math.degrees(changed[0].yaw)) == ("tensor", pytest.approx(1.0))


def test_drawn_intensities_follow_the_distribution_of_2019_and_leave_the_field(tmp_path) -> None:
    wind = 'kind = "normal_turbulence"\nspeeds_m_s = [12]\nseeds = 400\n'
    drawn = specs(tmp_path, wind + 'intensity = "drawn"\n')
    plain = specs(tmp_path, wind)
    assert [spec.seed for spec in drawn] == [spec.seed for spec in plain]
    assert drawn[7].turbulence_key() == plain[7].turbulence_key()
    shape, scale = 0.27 * 12.0 + 1.4, 0.16 * (0.75 * 12.0 + 3.3)
    shares = np.sort(1.0 - np.exp(-((np.array([spec.sigma for spec in drawn]) / scale) ** shape)))
    # Kolmogorov: the largest distance exceeds 1.95 / sqrt(n) once in a thousand.
    assert np.abs(shares - (np.arange(400) + 0.5) / 400).max() < 1.95 / 20.0
    assert drawn == specs(tmp_path, wind + 'intensity = "drawn"\n')


def test_roughness_and_stability_give_a_profile_or_its_exponent(tmp_path) -> None:
    wind = 'kind = "steady"\nspeeds_m_s = [10]\nroughness_m = 0.1\nobukhov_length_m = 200.0\n'
    layer = specs(tmp_path, wind)[0].own_profile()
    power = specs(tmp_path, wind + "exponent_from_surface = true\n")[0]
    assert power.profile == ()
    assert power.shear_exponent == pytest.approx(shear_exponent(96.0, 0.1, 200.0))
    assert layer.speed(96.0) == pytest.approx(10.0, abs=1e-3)
    # Logarithm with Dyer's stable correction, from its textbook form.
    low = 10.0 * (math.log(30.0 / 0.1) + 5 * 30.0 / 200) / (math.log(96.0 / 0.1) + 5 * 96.0 / 200)
    assert layer.speed(30.0) == pytest.approx(low, abs=0.01)


def test_a_low_level_jet_can_turn_the_shear_of_the_lower_half_round(tmp_path) -> None:
    wind = 'kind = "steady"\nspeeds_m_s = [10]\njet_speed_m_s = 7.0\njet_height_m = 60.0\n'
    spec = specs(tmp_path, wind + "veer_deg_per_m = 0.2\n")[0]
    made = spec.own_profile()
    assert made.speed(60.0) > made.speed(96.0) + 0.5
    assert made.speed(96.0) == pytest.approx(10.0, abs=0.01)
    assert np.degrees(made.direction([46.0, 96.0, 146.0])) == pytest.approx([-10.0, 0.0, 10.0], abs=0.05)


def test_a_measured_profile_is_scaled_to_each_speed(tmp_path) -> None:
    (tmp_path / "mast.csv").write_text(
        "height_m,speed_m_s,direction_deg\n20,6,350\n96,8,0\n200,9,12\n", encoding="utf-8"
    )
    found = specs(tmp_path, 'kind = "steady"\nspeeds_m_s = [8, 12]\nprofile_file = "mast.csv"\n')
    # Linear in the logarithm of height between the points.
    place = math.log(60.0 / 20.0) / math.log(96.0 / 20.0)
    for spec, factor in zip(found, (1.0, 1.5), strict=True):
        made = spec.own_profile()
        assert made.speed(60.0) == pytest.approx(factor * (6.0 + 2.0 * place), abs=0.01)
        assert math.degrees(made.direction(60.0)) == pytest.approx(-10.0 * (1.0 - place), abs=0.1)


def measured(folder: Path, seconds: int = 40, heights: bool = False) -> None:
    rows = []
    for n in range(2 * seconds + 1):
        time = 0.5 * n
        hub = 10.0 + math.sin(0.3 * time)
        more = [hub - 1.5 + 0.02 * time, hub + 1.0 - 0.02 * time] if heights else []
        rows.append(",".join(f"{value:.5f}" for value in (time, hub, (355.0 + 0.5 * time) % 360.0, *more)))
    head = "time_s,speed_m_s,direction_deg" + (",speed_at_20_m_m_s,speed_at_180_m_m_s" if heights else "")
    (folder / "mast.csv").write_text("\n".join(["# invented", head, *rows]) + "\n", encoding="utf-8")


def test_a_measured_series_is_marched_from_its_file_for_as_long_as_it_lasts(tmp_path) -> None:
    measured(tmp_path)
    scenario = load(tmp_path, 'kind = "measured_series"\nseries_file = "mast.csv"\nphases = 2\n')
    case = scenario.cases[0]
    assert len(scenario.cases) == 2 and case.run.duration == pytest.approx(40.0)
    assert case.wind.speed == pytest.approx(10.0, abs=0.1)
    table = case.wind.transient_table()
    assert case.wind.speed + table[500, SPEED] == pytest.approx(10.0 + math.sin(3.0), abs=1e-4)
    assert math.degrees(table[500, DIRECTION]) == pytest.approx(0.5 * 10.0 - 10.0, abs=1e-6)
    key = case.key
    (tmp_path / "elsewhere").mkdir()
    measured(tmp_path / "elsewhere")
    again = load(
        tmp_path / "elsewhere", 'kind = "measured_series"\nseries_file = "mast.csv"\nphases = 2\n'
    ).cases[0]
    assert again.key == key
    measured(tmp_path, 50)
    with pytest.raises(InputError, match=r"mast.csv: changed since the wind was described"):
        case.wind.transient_table()


def test_further_heights_of_a_series_give_a_profile_and_a_changing_slope(tmp_path) -> None:
    measured(tmp_path, heights=True)
    scenario = load(tmp_path, 'kind = "measured_series"\nseries_file = "mast.csv"\nphases = 1\n')
    spec = scenario.cases[0].wind
    made = spec.own_profile()
    # Means over 40 s: 1.5 - 0.4 below the hub's speed at 20 m, 1.0 - 0.4 above it at 180 m.
    hub = spec.speed
    assert made.speed([26.0, 166.0]) == pytest.approx(
        [
            hub - 1.1 * (1 - math.log(26 / 20) / math.log(96 / 20)),
            hub + 0.6 * math.log(166 / 96) / math.log(180 / 96),
        ],
        abs=0.02,
    )
    # At the end the low wind has gained 0.4 m/s on the hub's, the high wind lost 0.4: least squares.
    arms = np.array([20.0 - 96.0, 180.0 - 96.0])
    slope = float(arms @ [0.4, -0.4] / (arms @ arms))
    assert spec.transient_table()[-1, VERTICAL] == pytest.approx(slope, rel=1e-3)


def test_the_worst_part_of_a_gust_is_where_the_standard_draws_it(tmp_path) -> None:
    expected = {
        "operating_gust": (5.25, 0.05),
        "direction_change": (6.0, 0.2),
        "coherent_gust": (10.0, 0.3),
        "vertical_shear": (6.0, 0.15),
        "horizontal_shear": (6.0, 0.15),
    }
    for kind, (time, within) in expected.items():
        spec = specs(tmp_path, f'kind = "{kind}"\nspeeds_m_s = [11]\nphases = 1\n')[0]
        assert worst_time(spec, 70.0) == pytest.approx(time, abs=within)


@pytest.mark.parametrize("blade", [1, 3])
def test_a_gusts_worst_part_meets_the_chosen_blade_at_the_tower(tmp_path, blade) -> None:
    wind = f'kind = "operating_gust"\nspeeds_m_s = [10]\nmeets_blade = {blade}\n'
    case = load(tmp_path, wind).cases[0]
    world, design_of, wind_of = make_world([case])
    flock = make_flock([case], world, design_of, wind_of)
    march(flock, 0.0, case.run.meets_s, forks=False)
    ahead = case.run.meets_s - flock.lanes.tick[0] * 0.04
    azimuth = flock.lanes.y[0, at.AZIMUTH] + ahead * flock.lanes.y[0, at.SPEED]
    azimuth += 2.0 * math.pi * (blade - 1) / 3.0
    # The start turns the rotor through tilt and shear elsewhere, so aiming ends within a degree, not at once.
    assert math.degrees((azimuth - math.pi + math.pi) % (2 * math.pi) - math.pi) == pytest.approx(
        0.0, abs=1.0
    )
    assert case.run.meets_s == pytest.approx(20.0 + 5.25, abs=0.06)
    assert replace(case, run=replace(case.run, meets_blade=2)).key != case.key


def test_a_formula_below_zero_wind_is_told_once_and_marched(tmp_path, caplog) -> None:
    wind = 'kind = "vertical_shear"\nspeeds_m_s = [4]\nphases = 2\n'
    with caplog.at_level(logging.WARNING, logger="wideberth"):
        assert len(load(tmp_path, wind).cases) == 2
    # 4 (26/96)^0.15 - 2.5 - 0.2 6.4 0.16 (3 + 5.6) (140/42)^0.25 = -1.59 m/s (rotor of 139.5 m or so).
    assert len(caplog.records) == 1
    assert "goes to -1." in caplog.text and "asked at 4 m/s" in caplog.text


def test_sideways_shear_below_zero_wind_is_told_as_well(tmp_path, caplog) -> None:
    with caplog.at_level(logging.WARNING, logger="wideberth"):
        load(tmp_path, 'kind = "horizontal_shear"\nspeeds_m_s = [4]\nphases = 1\nsign = -1\n')
    # 4 - 2.5 - 0.2 6.4 0.16 (3 + 5.6) (139/42)^0.25 = -0.88 m/s on the left, where the wind gets less.
    assert "goes to -0.88 m/s at the left edge" in caplog.text


def test_winds_that_share_a_label_are_told_apart_by_kind_and_sense(tmp_path) -> None:
    wind = 'kind = "vertical_shear"\nspeeds_m_s = [9]\nphases = 1\nsign = {}\n'
    more = '[[winds]]\nlabel = "asked"\n'
    found = load(tmp_path, wind.format(1) + more + wind.format(-1)).cases
    assert [case.load_case for case in found] == ["asked, vertical shear +1", "asked, vertical shear -1"]
    with pytest.raises(
        InputError, match=r"winds\[1\].label = \"asked\"; winds\[0\] has this label and speed"
    ):
        load(tmp_path, wind.format(1) + more + wind.format(1))
    other = load(tmp_path, wind.format(1) + more + wind.format(1).replace("9", "10")).cases
    assert {case.load_case for case in other} == {"asked"}


@pytest.mark.parametrize(
    "kind, lasts", [("coherent_gust", 10), ("vertical_shear", 12), ("operating_gust", 10.5)]
)
def test_a_judged_time_that_would_cut_a_gust_off_is_refused(tmp_path, kind, lasts) -> None:
    wind = f'kind = "{kind}"\nspeeds_m_s = [9]\nphases = 1\n'
    just = ("settle_s = 20", f"settle_s = 20\ngust_duration_s = {lasts}")
    assert load(tmp_path, wind, just).cases[0].run.duration == lasts
    short = ("settle_s = 20", f"settle_s = 20\ngust_duration_s = {lasts - 0.5}")
    with pytest.raises(
        InputError, match=rf"small.toml:6: gust_duration_s = .*at least {lasts} s, as long as"
    ):
        load(tmp_path, wind, short)


TURBULENT = 'kind = "normal_turbulence"\nspeeds_m_s = [11]\nseeds = 2\n'
GUST = 'kind = "operating_gust"\nspeeds_m_s = [11]\nphases = 2\n'
WRONG = {
    "phases without a gust": ('kind = "steady"\nspeeds_m_s = [9]\nphases = 3\n', 3, r"phases = 3; .*no gust"),
    "phases of turbulence": (TURBULENT + "phases = 3\n", 4, r"phases = 3; .*seeds instead; there is no gust"),
    "a blade without a gust": (TURBULENT + "meets_blade = 1\n", 4, r"meets_blade = 1; .*no gust to be"),
    "both phases and a blade": (GUST + "meets_blade = 1\n", 4, r"meets_blade = 1; give either"),
    "no phases": ('kind = "operating_gust"\nspeeds_m_s = [11]\n', -1, r"phases is missing; .*or meets_blade"),
    "seeds of steady wind": ('kind = "steady"\nspeeds_m_s = [9]\nseeds = 3\n', 3, r"seeds = 3; .* no seeds"),
    "no speeds": ('kind = "steady"\n', -1, r"speeds_m_s is missing"),
    "speeds of an extreme wind": (
        'kind = "extreme_steady"\nreturn_period_years = 50\nspeeds_m_s = [50]\n', 3, r"follows from class"
    ),
    "no return period": ('kind = "extreme_steady"\n', -1, r"return_period_years is missing"),
    "return period of a gust": (GUST + "return_period_years = 50\n", 4, r"is for kind extreme_steady and"),
    "another return period": (
        'kind = "extreme_steady"\nreturn_period_years = 10\n', 2, r"return_period_years = 10; must be one of"
    ),
    "intensity of a gust": (GUST + 'intensity = "drawn"\n', 4, r"intensity = \"drawn\"; only that of normal"),
    "turbulence of a gust": (GUST + 'turbulence_model = "tensor"\n', 4, r"has no turbulence"),
    "an unknown model": (TURBULENT + 'turbulence_model = "tensr"\n', 4, r"did you mean .*'tensor'"),
    "a sense of a gust": (GUST + "sign = -1\n", 4, r"sign = -1; .*has no sense"),
    "two profiles": (GUST + 'roughness_m = 0.1\nprofile_file = "x.csv"\n', 5, r"roughness_m already gives"),
    "exponent and profile": (GUST + "roughness_m = 0.1\nshear_exponent = 0.1\n", 5, r"already gives the"),
    "stability alone": (GUST + "obukhov_length_m = 100.0\n", -1, r"roughness_m is missing"),
    "jet without height": (GUST + "jet_speed_m_s = 3.0\n", -1, r"jet_height_m is missing"),
    "too strong a jet": (
        GUST + "jet_speed_m_s = 30.0\njet_height_m = 90.0\n", 4, r"jet_speed_m_s: atmosphere: the jet alone"
    ),
    "beyond measured stability": (
        GUST + "roughness_m = 0.1\nobukhov_length_m = 20.0\n", 5, r"obukhov_length_m: atmosphere: height over"
    ),
    "no such series": (
        'kind = "measured_series"\nseries_file = "no.csv"\nphases = 1\n', 2, r"no.csv: cannot be read"
    ),
    "a speed beyond cut-out": (
        'kind = "operating_gust"\nspeeds_m_s = [11, 26]\nphases = 2\n', 2, r"speeds_m_s\[1\] = 26.*cut-in to"
    ),
    "a blade that is not there": (
        'kind = "operating_gust"\nspeeds_m_s = [11]\nmeets_blade = 4\n', 3, r"meets_blade = 4"
    ),
}  # fmt: skip


@pytest.mark.parametrize("which", WRONG)
def test_a_wrong_wind_is_refused_with_file_line_key_and_reason(tmp_path, which) -> None:
    wind, line, message = WRONG[which]
    with pytest.raises(InputError, match=message) as caught:
        load(tmp_path, wind)
    place = FIRST - 1 if line < 0 else FIRST + line
    told = str(caught.value)
    assert f"small.toml:{place}: winds[0]" in told, told


def test_a_gust_above_vref_is_refused_with_its_speed(tmp_path) -> None:
    own = 'wind_class = "S"\nreference_wind_speed_m_s = 15.0'
    with pytest.raises(InputError, match=r"speeds_m_s\[0\] = 20.*above Vref = 15 m/s .* operating gust"):
        load(tmp_path, 'kind = "operating_gust"\nspeeds_m_s = [20]\nphases = 2\n', ('wind_class = "II"', own))


def test_an_impossible_site_is_refused_in_the_files_own_words(tmp_path) -> None:
    with pytest.raises(
        InputError, match=r"small.toml:\d+: site: wind_class = 'S' needs reference_wind_speed"
    ):
        load(tmp_path, GUST, ('wind_class = "II"', 'wind_class = "S"'))


def test_a_series_with_a_gap_is_refused_with_its_own_line(tmp_path) -> None:
    (tmp_path / "mast.csv").write_text("time_s,speed_m_s\n0,9\n1,9\n2,9\n4,9\n5,9\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"small.toml:\d+: winds\[0\].series_file: .*mast.csv:5: time_s = 4"):
        load(tmp_path, 'kind = "measured_series"\nseries_file = "mast.csv"\nphases = 1\n')


SERIES = 'kind = "measured_series"\nseries_file = "mast.csv"\nphases = 1\n'
ODD_SERIES = {
    "too short": (range(4), ",9", "", "", r"mast.csv: covers 3 s; must cover 5 to 3600 s"),
    "too long": (range(4000), ",9", "", "", r"covers 3999 s; .*cut it into several files"),
    "a storm": (range(9), ",31", "", "", r"series_file: its mean speed, 31 m/s, must be from"),
    "one height twice": (
        range(9), ",9,8,8", ",speed_at_20_m_m_s,speed_at_20.0_m_m_s", "", r"at 20 m; must be one"
    ),
    "a second profile": (
        range(9), ",9,8,10", ",speed_at_20_m_m_s,speed_at_180_m_m_s", "shear_exponent = 0.1\n",
        r"winds\[0\].shear_exponent = 0.1; the series tells further heights",
    ),
}  # fmt: skip


@pytest.mark.parametrize("which", ODD_SERIES)
def test_a_series_that_cannot_be_marched_as_it_stands_is_refused(tmp_path, which) -> None:
    times, rest, head, more, message = ODD_SERIES[which]
    rows = [f"time_s,speed_m_s{head}", *(f"{time}{rest}" for time in times)]
    (tmp_path / "mast.csv").write_text("\n".join(rows), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        load(tmp_path, SERIES + more)


def test_rows_far_apart_are_marched_with_a_warning(tmp_path, caplog) -> None:
    rows = "\n".join(f"{10 * n},{9 + n % 2}" for n in range(9))
    (tmp_path / "mast.csv").write_text(f"time_s,speed_m_s\n{rows}\n", encoding="utf-8")
    with caplog.at_level(logging.WARNING, logger="wideberth"):
        assert len(load(tmp_path, SERIES).cases) == 1
    assert "the rows of mast.csv lie 10 s apart; the wind runs straight from row to row" in caplog.text


def test_a_profile_that_does_not_reach_across_the_rotor_is_refused(tmp_path) -> None:
    (tmp_path / "mast.csv").write_text("height_m,speed_m_s\n40,9\n120,10\n", encoding="utf-8")
    with pytest.raises(
        InputError, match=r"winds\[0\].profile_file: profile: heights 40 to 120 m; must reach"
    ):
        load(tmp_path, 'kind = "steady"\nspeeds_m_s = [9]\nprofile_file = "mast.csv"\n')


def test_the_shipped_load_cases_are_those_of_the_standard() -> None:
    scenario = load_scenario(library_scenarios()["load-cases"])
    numbers = {case.load_case.split()[0] for case in scenario.cases}
    assert numbers == {"1.1", "1.3", "1.4", "1.5", "6.1"}
    assert {case.run.at_rest for case in scenario.cases if case.load_case.startswith("6.1")} == {True}
    shears = {
        (case.wind.kind, math.copysign(1.0, case.wind.added_vertical + case.wind.added_horizontal))
        for case in scenario.cases
        if case.load_case.startswith("1.5")
    }
    assert shears == {(f"{way}_shear", sign) for way in ("vertical", "horizontal") for sign in (-1.0, 1.0)}
    turbulent = [case for case in scenario.cases if not case.is_event]
    assert {case.wind.model for case in turbulent} == {"kaimal"}
    assert min(sum(c.wind.speed == case.wind.speed for c in turbulent) for case in turbulent) >= 6


def test_keys_of_winds_are_listed_with_their_units() -> None:
    units = {"veer_deg_per_m": "deg/m", "return_period_years": "years", "jet_speed_m_s": "m/s"}
    assert {key: unit_of(key)[0] for key in units} == units
    assert unit_of("veer_deg_per_m")[1] == pytest.approx(math.pi / 180.0)
