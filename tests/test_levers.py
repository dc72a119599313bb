"""Levers: closed forms of geometry, weights and cosines, and the cheapest mix against a grid."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scenarios.cli import main
from scenarios.reading import open_results
from scenarios.studies import lever_loads as loads
from scenarios.studies.lever_design import LEVERS, Mix, made, mass_factor, mix_of, size_of
from scenarios.studies.lever_keys import WeightKeys
from scenarios.studies.lever_mix import cheapest, cost_of, mix_data
from scenarios.studies.lever_running import power, running
from scenarios.studies.lever_worth import Given, Worth, worth_of
from scenarios.studies.levers import cosine_exponents, one_metre, straightened
from scenarios.studies.levers_text import warning_words
from sim.design import Turbine
from sim.kernels import layout as at
from sim.plant.geometry import unloaded_clearance, unloaded_clearance_axis
from sim.turbine import load_turbine
from sim.wind.standard import Site
from tests.plant_lanes import rig, steady_wind
from tests.plant_solver import clearance_of
from tests.reference_rotor import reference_turbine

GRAVITY = 9.80665
DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def skerry() -> Turbine:
    return load_turbine("skerry")


@pytest.fixture(scope="module")
def given(skerry: Turbine) -> Given:
    return Given(Site("II", "A", skerry.rotor.hub_height, 2.0 * skerry.rotor_radius))


@pytest.fixture(scope="module")
def base(skerry: Turbine, given: Given) -> Worth:
    return worth_of(skerry, mix_of(skerry), given)


def moved(turbine: Turbine, given: Given, name: str, by: float) -> Worth:
    return worth_of(turbine, mix_of(turbine).moved(name, by), given)


def test_levers_at_rest_leave_the_published_rotor_its_clearance() -> None:
    """Open 5 MW rotor, reference line: 10.539 m (CHECKS.md 8, computed); to the table's own rounding."""
    turbine = reference_turbine()
    same = made(turbine, mix_of(turbine))
    assert unloaded_clearance_axis(same) == pytest.approx(10.539, abs=0.02)
    assert unloaded_clearance(same) == pytest.approx(unloaded_clearance(turbine), abs=1e-12)


def test_each_lever_of_geometry_gains_what_the_closed_form_says(skerry: Turbine, given: Given) -> None:
    """d/dL = cos(tilt); d/dcone = R cos(tilt + cone) - p sin(tilt + cone), less the tower's taper."""
    mix, rotor, step = mix_of(skerry), skerry.rotor, 0.01
    lean, radius, prebend = rotor.tilt + rotor.cone, skerry.rotor_radius, float(skerry.blade.prebend[-1])
    widening = 0.5 * (skerry.tower.base_diameter - skerry.tower.top_diameter) / skerry.tower.height
    lift = radius * math.sin(lean) + prebend * math.cos(lean)
    by_cone = radius * math.cos(lean) - prebend * math.sin(lean) + widening * lift
    closed = {
        "overhang_m": math.cos(rotor.tilt),
        "cone_deg": math.radians(by_cone),
        "tilt_deg": math.radians(by_cone - rotor.overhang * math.sin(rotor.tilt)),
        "prebend_m": math.cos(lean) + widening * math.sin(lean),
        "tower_thinner_m": 0.5,
    }
    for name, gain in closed.items():
        high, low = (unloaded_clearance_axis(made(skerry, mix.moved(name, way * step))) for way in (1, -1))
        assert (high - low) / (2.0 * step) == pytest.approx(gain, abs=2e-5), name


@pytest.mark.parametrize(("name", "by"), [("tilt_deg", 1.0), ("cone_deg", -1.0), ("prebend_m", 1.0)])
def test_closed_form_of_a_moved_lever_is_the_clearance_of_the_compiled_plant_at_rest(
    skerry: Turbine, name: str, by: float
) -> None:
    """To a millimetre; stations further in stand nearer than the unloaded tip, and are put away."""
    changed = made(skerry, mix_of(skerry).moved(name, by))
    lane = rig(changed, [steady_wind(10.0)], seconds=1.0)
    lane.design.stations[0, at.PREBEND : at.PREBEND + at.STATIONS] = -100.0
    y = np.zeros(at.STATE)
    y[at.AZIMUTH] = np.pi
    assert clearance_of(lane, y, 0)[0] == pytest.approx(unloaded_clearance(changed), abs=0.001)


def test_overhung_weight_bends_the_bed_plate_as_a_cantilever(skerry: Turbine, base: Worth) -> None:
    """M = W L for a weight on the end of a cantilever; W of three blades and the hub, from the file alone."""
    blade = float(np.trapezoid(skerry.blade.mass, skerry.blade.r))
    weight = GRAVITY * (3.0 * blade + skerry.nacelle.hub_mass)
    arm = skerry.rotor.overhang * math.cos(skerry.rotor.tilt)
    assert base.bed_plate_mean_kNm == pytest.approx(weight * arm / 1e3, rel=1e-9)
    assert base.main_bearing_mean_kNm == pytest.approx(0.5 * weight * arm / 1e3, rel=1e-9)


def test_yaw_bearing_balances_weight_against_thrust_on_either_side(skerry: Turbine) -> None:
    """The weights tip an upwind rotor upwind and a downwind one downwind; thrust tips both downwind."""
    for side in (-1.0, 1.0):
        turbine = replace(skerry, rotor=replace(skerry.rotor, side=side))
        at_rest = loads.yaw_bearing_bending(turbine, 0.0)
        hub = np.array([side * turbine.rotor.overhang * math.cos(turbine.rotor.tilt), 0.0])
        hub[1] = turbine.rotor.hub_height - turbine.tower.height
        force = 7e5 * np.array([math.cos(turbine.rotor.tilt), side * math.sin(turbine.rotor.tilt)])
        about_top = hub[1] * force[0] - hub[0] * force[1]
        assert loads.yaw_bearing_bending(turbine, 7e5) - at_rest == pytest.approx(about_top)
        nacelle = GRAVITY * turbine.nacelle.mass * turbine.nacelle.centre_x
        assert math.copysign(1.0, at_rest - nacelle) == side


def test_root_moment_of_rotation_is_that_of_a_sum_over_points(skerry: Turbine) -> None:
    """Brute force: the moment of every point's centrifugal force and weight, averaged over a turn."""
    blade, rotor, speed = skerry.blade, skerry.rotor, skerry.machine.rated_rotor_speed
    turning, hanging = loads.root_bending(skerry, speed)
    along = np.array([math.cos(rotor.cone), math.sin(rotor.cone)])  # away from the shaft, away from the tower
    across = np.array([-math.sin(rotor.cone), math.cos(rotor.cone)])
    points = blade.r[:, None] * along + blade.prebend[:, None] * across
    pulled = blade.mass * speed**2 * points[:, 0]
    arm = points[:, 1] - blade.r[0] * along[1]
    by_hand = np.trapezoid(pulled * arm, blade.r)
    assert turning == pytest.approx(float(by_hand), rel=1e-9)  # downwind, for it stands upwind
    down = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
    first = float(np.trapezoid(blade.mass * (blade.r - blade.r[0]), blade.r))
    lean = np.sin(rotor.tilt) * np.cos(rotor.cone) - np.cos(rotor.tilt) * np.sin(rotor.cone) * np.cos(down)
    assert hanging == pytest.approx(GRAVITY * first * float(np.mean(lean)), rel=1e-9)


def test_spar_caps_carry_stiffness_and_mass_alike() -> None:
    """A box of two caps (share s of the mass) and a shell without stiffness: both caps k times as thick."""
    depth, thickness, shell, share = 0.8, 0.01, 30.0, 0.4
    caps = shell * share / (1.0 - share)
    for factor in (0.7, 1.3):
        stiffness = factor * thickness * depth**2 / (thickness * depth**2)
        mass = (factor * caps + shell) / (caps + shell)
        assert mass_factor(stiffness, share) == pytest.approx(mass)


def test_tower_made_thinner_bends_as_before(skerry: Turbine) -> None:
    """D^3 t is kept at both ends; a thin tube's second moment is pi D^3 t / 8."""
    mix = mix_of(skerry)
    thin = made(skerry, mix.moved("tower_thinner_m", 0.2)).tower
    for now, then in ((thin.base_diameter, thin.base_wall), (thin.top_diameter, thin.top_wall)):
        assert now > 0.0 and then > 0.0
    assert thin.base_diameter**3 * thin.base_wall == pytest.approx(
        skerry.tower.base_diameter**3 * skerry.tower.base_wall
    )
    assert thin.base_diameter == pytest.approx(skerry.tower.base_diameter - 0.2)


def test_every_lever_has_the_sign_that_physics_gives_it(skerry: Turbine, given: Given, base: Worth) -> None:
    """Stiffness, tilt, cone, overhang, prebend each add clearance; rotation takes some of it back."""
    for name, by in (("overhang_m", 0.2), ("tilt_deg", 0.5), ("cone_deg", 0.5), ("prebend_m", 0.2)):
        there = moved(skerry, given, name, by)
        assert there.governing_m > base.governing_m and there.unloaded_m > base.unloaded_m
    for name, by in (("stiffness_factor", 0.1), ("thrust_cut", 0.1), ("pulse_deg", 1.0)):
        there = moved(skerry, given, name, by)
        assert there.governing_m > base.governing_m
        assert there.unloaded_m == pytest.approx(base.unloaded_m, abs=1e-9)
    assert moved(skerry, given, "overhang_m", 1.0).bed_plate_mean_kNm > base.bed_plate_mean_kNm
    assert moved(skerry, given, "thrust_cut", 0.1).energy_GWh < base.energy_GWh
    assert moved(skerry, given, "pulse_deg", 1.0).energy_GWh < base.energy_GWh
    left = straightened(skerry, mix_of(skerry), given)
    assert 0.5 < left["prebend_m_per_m"] < 0.95


def test_tilt_and_cone_cost_the_cosine_powers_that_momentum_gives(skerry: Turbine, given: Given) -> None:
    """P ~ (V cos tilt)^3; a coned rotor whose momentum is balanced along the blade's normal: cos^3 too.

    A blade that neither bends nor is prebent has the closed form alone; the swept area by itself gives cos^2.
    Five or six degrees of tilt cost very little of a year's energy (CHECKS.md 9, common practice, no source).
    """
    blade = skerry.blade
    rigid = replace(
        blade,
        flap_stiffness=300.0 * blade.flap_stiffness,
        edge_stiffness=300.0 * blade.edge_stiffness,
        prebend=0.0 * blade.prebend,
    )
    straight = replace(skerry, blade=rigid)
    found = cosine_exponents(straight, mix_of(straight), given)
    assert found["tilt_below_rated"] == pytest.approx(3.0, abs=0.01)
    assert found["cone_below_rated"] == pytest.approx(3.0, abs=0.02)
    assert 0.0 < found["tilt_over_year"] < 3.0
    two = replace(straight, rotor=replace(straight.rotor, blade_count=2))  # at its highest speed before rated
    assert cosine_exponents(two, mix_of(two), given)["tilt_below_rated"] == pytest.approx(3.0, abs=0.01)
    assert 0.0 < found["tilt_year_loss_percent"] < 1.0


def test_energy_of_a_year_is_that_of_a_fine_sum(skerry: Turbine, given: Given, base: Worth) -> None:
    """Brute force: the steady table's power over Rayleigh's density, trapezium rule, every 0.05 m/s."""
    from sim.plant.trim import steady_table

    steady = steady_table(skerry)
    wind = np.arange(skerry.machine.cut_in, skerry.machine.cut_out, 0.05)
    facing = math.cos(skerry.rotor.tilt)
    power = np.interp(wind * facing, steady.wind_speed, steady.power)
    mean = given.site.vave
    density = 0.5 * math.pi * wind / mean**2 * np.exp(-0.25 * math.pi * (wind / mean) ** 2)
    assert base.energy_GWh == pytest.approx(8766.0 * np.trapezoid(power * density, wind) / 1e9, rel=0.003)


def test_pulse_is_worth_what_a_pulse_was_found_to_be_worth(
    skerry: Turbine, given: Given, base: Worth
) -> None:
    """Two degrees win about one metre, three about one and a half (an independent scratch model)."""
    assert moved(skerry, given, "pulse_deg", 2.0).governing_m - base.governing_m == pytest.approx(
        1.0, abs=0.2
    )
    assert moved(skerry, given, "pulse_deg", 3.0).pitch_travel_deg_h == pytest.approx(4000.0, rel=0.02)


def test_pulse_of_pitch_loses_power_in_second_order_where_pitch_is_at_its_best(
    skerry: Turbine, given: Given
) -> None:
    """At the best pitch the first derivative of power is none (Fermat): three times the pulse, nine times."""
    mix = mix_of(skerry)
    still = running(skerry, mix, given.spar_share)
    wind = np.array([0.8 * still.rated])
    fine = np.radians(np.linspace(-1.5, 1.5, 61))
    points = np.stack([np.full_like(fine, wind[0]), np.full_like(fine, still.speed(wind)[0]), fine], axis=1)
    best = float(np.degrees(fine[int(np.argmax(still.rotor.evaluate(points).torque))]))
    assert abs(best) < 1.4
    at_best = replace(skerry, pitch=replace(skerry.pitch, fine=math.radians(best)))
    lost = [
        1.0 - float((power(running(at_best, mix.moved("pulse_deg", by), 0.4), wind) / power(still, wind))[0])
        for by in (0.0, 1.0, 3.0)
    ]
    assert (lost[2] - lost[0]) / (lost[1] - lost[0]) == pytest.approx(9.0, rel=0.25)


@pytest.mark.slow
def test_pulse_costs_what_the_marched_plant_loses_by_it(skerry: Turbine, given: Given, tmp_path) -> None:
    """The pulse of a layer of logic in steady wind below rated; its mean lags count for the difference."""
    source = (DATA / "steady-pulse.toml").read_text(encoding="utf-8")
    (tmp_path / "steady-pulse.toml").write_text(source, encoding="utf-8")
    told = ["results", str(tmp_path / "steady-pulse.toml"), "--jobs", "0", "--quiet"]
    assert main([*told, "--out", str(tmp_path), "--store", str(tmp_path / "store")]) == 0
    cases = open_results(tmp_path / "steady-pulse.nc").cases
    facing = math.cos(skerry.rotor.tilt)
    for wind in (8.0, 9.5):
        energy = cases[cases.nominal_wind_speed_m_s == wind].set_index("entry").energy_J
        still, pulsed = (
            power(running(skerry, mix_of(skerry).moved("pulse_deg", by), 0.4), np.array([wind * facing]))[0]
            for by in (0.0, 2.0)
        )
        assert 1.0 - pulsed / still == pytest.approx(1.0 - energy["pulsed"] / energy["plain"], rel=0.25)


def test_behind_the_tower_a_fall_of_the_strongest_wind_governs(skerry: Turbine, given: Given) -> None:
    """Thrust bends a blade behind the tower away from it: its lack is what brings it near (PHYSICS)."""
    down = replace(skerry, rotor=replace(skerry.rotor, side=1.0))
    there = worth_of(down, mix_of(down), given)
    assert there.governing_wind_m_s == pytest.approx(down.machine.cut_out)
    assert 0.0 < there.governing_m < there.unloaded_m
    finer = moved(down, given, "pulse_deg", 1.0)
    assert finer.governing_m > there.governing_m + 0.2  # less pitch, more thrust, more room
    assert moved(down, given, "thrust_cut", 0.1).governing_m == pytest.approx(there.governing_m, abs=0.01)
    harder = worth_of(down, mix_of(down), replace(given, gust=6.0))
    assert harder.governing_m < there.governing_m


def test_cheapest_place_is_that_of_a_brute_force_grid() -> None:
    """A convex cost under a bent requirement, two variables, one bound that binds; 401 points a side."""

    def cost(at: np.ndarray) -> float:
        return 3.0 * at[0] + at[0] ** 2 + 2.0 * at[1] + 0.5 * at[1] ** 2 + 0.3 * at[0] * at[1]

    def room(at: np.ndarray) -> float:
        return 1.2 * at[0] + 0.8 * at[1] - 0.05 * at[0] * at[1]

    bounds = [(0.0, 4.0), (0.0, 1.0)]
    found = cheapest(cost, room, 3.0, bounds, np.array([1.0, 0.5]))
    assert found is not None
    first, second = np.meshgrid(np.linspace(0.0, 4.0, 401), np.linspace(0.0, 1.0, 401))
    grid = np.stack([first, second])
    feasible = room(grid) >= 3.0
    best = np.min(np.where(feasible, cost(grid), np.inf))
    assert found.cost == pytest.approx(best, rel=0.01)
    assert found.cost <= best + 1e-3
    assert found.bound_price[1] < 0.0  # more of the upper bound of the second would be cheaper
    more = cheapest(cost, room, 3.05, bounds, np.array([1.0, 0.5]))
    assert more is not None
    assert found.shadow == pytest.approx((more.cost - found.cost) / 0.05, rel=0.05)


def test_need_beyond_all_bounds_names_the_nearest_and_what_binds(tmp_path, capsys) -> None:
    costs = tmp_path / "costs.toml"
    costs.write_text(
        "[bounds]\noverhang_m = [4.0, 4.2]\ntilt_deg = [5.0, 5.0]\ncone_deg = [2.5, 2.5]\n"
        "prebend_m = [2.0, 2.0]\nstiffness_factor = [1.0, 1.0]\ntower_thinner_m = [0.0, 0.0]\n"
        "thrust_cut = [0.0, 0.0]\npulse_deg = [0.0, 0.0]\n"
    )
    told = ["levers", "skerry", "--need", "9", "--weights", str(costs), "--out", str(tmp_path)]
    assert main(told) == 2
    error = capsys.readouterr().err
    assert "the nearest leaves 5.49 m" in error and "overhang_m at its upper bound 4.2" in error


def test_a_mix_whose_blade_meets_a_multiple_of_rotor_speed_is_warned_of(
    skerry: Turbine, given: Given, tmp_path
) -> None:
    """A blade of 0.45 of the stiffness swings at about 0.5 Hz, near three times 11 rpm: 0.55 Hz."""
    costs = tmp_path / "costs.toml"
    costs.write_text(
        "[bounds]\noverhang_m = [8.0, 8.0]\ntilt_deg = [5.0, 5.0]\ncone_deg = [2.5, 2.5]\n"
        "prebend_m = [2.0, 2.0]\nstiffness_factor = [0.45, 0.45]\ntower_thinner_m = [0.0, 0.0]\n"
        "thrust_cut = [0.0, 0.0]\npulse_deg = [0.0, 0.0]\n"
    )
    found = mix_data(skerry, given, 1.0, costs)
    assert any("flap mode 1" in line and "3P" in line for line in found["warnings"])
    assert "3P" in warning_words(found)
    assert "no frequency meets" in warning_words({"warnings": []})


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[bounds]\ntilt_deg = [6.0, 4.0]\n", "costs.toml:2: bounds.tilt_deg"),
        ("[bounds]\ntlit_deg = [4.0, 6.0]\n", "tilt_deg"),
        ("[weights]\nenergy_per_MWh = -1.0\n", "costs.toml:2: weights.energy_per_MWh"),
    ],
)
def test_bounds_and_weights_that_are_wrong_are_told_with_their_line(tmp_path, capsys, text, told) -> None:
    costs = tmp_path / "costs.toml"
    costs.write_text(text)
    asked = ["levers", "skerry", "--need", "5", "--weights", str(costs), "--out", str(tmp_path)]
    assert main(asked) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--need", "--gust", "--spar-share", "--bearing-share"])
def test_a_number_that_is_none_is_refused(tmp_path, capsys, option: str) -> None:
    assert main(["levers", "skerry", option, "nan", "--out", str(tmp_path)]) == 2
    assert option in capsys.readouterr().err


def test_a_lever_that_never_gains_a_metre_is_out_of_reach(skerry: Turbine, given: Given, base: Worth) -> None:
    """A tower a metre thinner gives half a metre; a lever of one way is not moved the other."""
    mix, by = mix_of(skerry), {lever.name: lever for lever in LEVERS}
    for name, slope in (("tower_thinner_m", 0.5), ("pulse_deg", -0.5), ("pulse_deg", 0.0)):
        assert math.isnan(one_metre(skerry, mix, given, by[name], base.governing_m, (slope, 0.0))), name


def test_table_of_levers_goes_to_json_and_to_a_page(
    skerry: Turbine, given: Given, base: Worth, tmp_path, capsys
) -> None:
    assert main(["levers", "skerry", "--json", "--out", str(tmp_path)]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [row["lever"] for row in data["levers"]] == list(Mix(1.0, 1.0, 1.0, 1.0).told())
    cut = next(row for row in data["levers"] if row["lever"] == "thrust_cut")
    whole = moved(skerry, given, "thrust_cut", 0.1)  # energy lost grows faster than the cut
    assert cut["prices"]["energy_GWh"] == pytest.approx(whole.energy_GWh - base.energy_GWh, rel=1e-9)
    for row in data["levers"]:
        lever = next(each for each in LEVERS if each.name == row["lever"])
        if lever.name == "tower_thinner_m":
            assert row["units_for_one_metre"] is None
            continue
        there = moved(skerry, given, row["lever"], row["units_for_one_metre"] * size_of(lever))
        assert there.governing_m - base.governing_m == pytest.approx(1.0, abs=0.005), row["lever"]
        for name, price in row["price_of_one_metre"].items():
            assert price == pytest.approx(getattr(there, name) - getattr(base, name), abs=1e-9), name
    page = (tmp_path / "levers-skerry.html").read_text(encoding="utf-8")
    assert "The price of one metre" in page and "<svg" in page


@pytest.mark.slow
def test_cheapest_mix_of_two_levers_is_that_of_a_brute_force_grid(
    skerry: Turbine, given: Given, tmp_path
) -> None:
    """Overhang and tilt alone are free; 15 places of each, the rest as it is."""
    costs = tmp_path / "costs.toml"
    costs.write_text(
        "[bounds]\noverhang_m = [3.0, 5.0]\ntilt_deg = [3.0, 7.0]\ncone_deg = [2.5, 2.5]\n"
        "prebend_m = [2.0, 2.0]\nstiffness_factor = [1.0, 1.0]\ntower_thinner_m = [0.0, 0.0]\n"
        "thrust_cut = [0.0, 0.0]\n"
        "pulse_deg = [0.0, 0.0]\n"
    )
    found = mix_data(skerry, given, 5.6, costs)
    base = worth_of(skerry, mix_of(skerry), given)
    best = math.inf
    for overhang in np.linspace(3.0, 5.0, 15):
        for tilt in np.linspace(3.0, 7.0, 15):
            there = worth_of(skerry, replace(mix_of(skerry), overhang_m=overhang, tilt_deg=tilt), given)
            if there.governing_m >= 5.6:
                best = min(best, cost_of(there, base, WeightKeys()))
    assert found["cost"] <= best + 1e-2
    assert found["governing_m"] == pytest.approx(5.6, abs=0.01)
