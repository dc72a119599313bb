"""The card: what a turbine file amounts to, held against a published rotor and closed forms."""

from __future__ import annotations

import json
import math

import pytest

from scenarios.cli import main
from scenarios.studies.card import card, card_text
from scenarios.studies.waterfall import Bend, bent_clearance, waterfall
from sim.plant.geometry import unloaded_clearance
from sim.plant.tower import tower_modes
from sim.turbine import load_turbine
from tests.reference_rotor import reference_turbine

REQUIRED = {
    "blade_mass_kg",
    "blade_first_moment_kg_m",
    "unloaded_clearance_m",
    "unloaded_clearance_axis_m",
    "frequencies_Hz",
    "steady",
}
STEADY = {
    "wind_speed_m_s",
    "rotor_speed_rpm",
    "pitch_deg",
    "power_kW",
    "thrust_kN",
    "tip_deflection_m",
    "power_coefficient",
    "thrust_coefficient",
}


@pytest.fixture(scope="module")
def reference() -> dict:
    return card(reference_turbine())


def ask(capsys, *arguments: str) -> dict:
    assert main(["card", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_published_rotor_has_its_mass_moment_and_clearance(reference: dict) -> None:
    """NREL/TP-500-38060 (2009), values from memory; the table integrates to 0.8 % of them (CHECKS.md 8)."""
    assert reference["blade_mass_kg"] == pytest.approx(17_740.0, rel=0.008)
    assert reference["blade_first_moment_kg_m"] == pytest.approx(363_231.0, rel=0.008)
    assert reference["unloaded_clearance_axis_m"] == pytest.approx(10.539, abs=0.05)


def test_the_published_rotor_has_its_frequencies_at_rest(reference: dict) -> None:
    """Isolated blade at 0 rpm, computed from its tables: 0.6777, 1.0864, 1.9543 Hz (CHECKS.md 8)."""
    at_rest = reference["frequencies_Hz"][0]
    assert at_rest["rotor_speed_rpm"] == 0.0
    assert [at_rest[name] for name in ("flap_1", "edge_1", "flap_2")] == pytest.approx(
        [0.6777, 1.0864, 1.9543], rel=0.02
    )


def test_frequencies_stand_beside_multiples_of_the_rotor_speed(reference: dict) -> None:
    for row in reference["frequencies_Hz"]:
        assert row["multiple_3"] == pytest.approx(3.0 * row["rotor_speed_rpm"] / 60.0)


def test_more_tilt_gives_the_clearance_of_the_closed_form(capsys) -> None:
    """L cos(tilt) + R sin(tilt + cone) + p cos(tilt + cone) less the tower's radius (PHYSICS.md)."""
    design = load_turbine("skerry")

    def closed(tilt: float) -> float:
        lean, radius, prebend = math.radians(tilt + 2.5), design.rotor_radius, design.blade.prebend[-1]
        height = 96.0 - radius * math.cos(lean) + prebend * math.sin(lean)
        tower = 0.5 * (4.3 - (4.3 - 3.3) * height / 93.9)
        reach = 4.0 * math.cos(math.radians(tilt)) + radius * math.sin(lean) + prebend * math.cos(lean)
        return reach - tower

    for tilt in (5.0, 6.0):
        told = ask(capsys, "skerry", "--set", f"rotor.tilt_deg={tilt}")
        assert told["unloaded_clearance_axis_m"] == pytest.approx(closed(tilt), abs=1e-9)


def test_the_card_holds_what_is_promised(capsys) -> None:
    told = ask(capsys, "skerry")
    assert told.keys() >= REQUIRED
    assert all(row.keys() >= STEADY for row in told["steady"])
    assert [told["steady"][at]["wind_speed_m_s"] for at in (0, -1)] == [3.0, 25.0]
    rated = [row for row in told["steady"] if row["wind_speed_m_s"] > told["rated_wind_speed_m_s"]]
    assert all(row["power_kW"] == pytest.approx(4400.0, rel=1e-4) for row in rated)


def test_thrust_and_power_follow_from_their_coefficients(capsys) -> None:
    told = ask(capsys, "skerry")
    area = math.pi * told["rotor_diameter_m"] ** 2 / 4.0
    for row in told["steady"]:
        pressure = 0.5 * 1.225 * row["wind_speed_m_s"] ** 2 * area
        assert row["thrust_kN"] * 1e3 == pytest.approx(row["thrust_coefficient"] * pressure, rel=1e-9)
        electrical = 0.94 * row["power_coefficient"] * pressure * row["wind_speed_m_s"]
        assert row["power_kW"] * 1e3 == pytest.approx(electrical, rel=1e-9)


def test_the_fall_begins_unloaded_and_its_steps_add_up() -> None:
    design = load_turbine("skerry")
    steps = waterfall(design)
    assert steps[0]["clearance_m"] == pytest.approx(unloaded_clearance(design), abs=1e-9)
    assert sum(step["change_m"] for step in steps) == pytest.approx(steps[-1]["clearance_m"], abs=1e-9)


def test_each_step_of_the_fall_has_the_sign_that_physics_gives_it() -> None:
    """PHYSICS.md: rotation on cone and prebend and weight take clearance, the bent tower gives a little."""
    unloaded, rotation, weight, air, tower = (step["change_m"] for step in waterfall(load_turbine("skerry")))
    assert unloaded > 0.0
    assert -1.5 < rotation < -0.3
    assert -0.4 < weight < -0.05
    assert air < -4.0
    assert 0.0 < tower < 0.6


def test_behind_the_tower_air_load_gives_clearance_and_the_bent_tower_takes_it() -> None:
    design = load_turbine("skerry", [("rotor.side", "downwind")])
    _, rotation, weight, air, tower = (step["change_m"] for step in waterfall(design))
    assert rotation < 0.0
    assert weight < 0.0
    assert air > 4.0
    assert tower < 0.0


def test_a_tip_bent_towards_the_tower_comes_nearer_by_its_horizontal_part() -> None:
    """One metre along the blade's normal is cos(tilt + cone) m, and the tip sinks by sin(tilt + cone) m,
    to where the tower is wider."""
    design = load_turbine("skerry")
    mode = tower_modes(design).fore_aft
    lean, taper = math.radians(7.5), (4.3 - 3.3) / 93.9 / 2.0
    taken = bent_clearance(design, 0.0, Bend(), 0.0, mode) - bent_clearance(design, 0.0, Bend(1.0), 0.0, mode)
    assert taken == pytest.approx(math.cos(lean) + taper * math.sin(lean), abs=2e-3)


def test_a_worse_blade_is_the_one_that_counts() -> None:
    design = load_turbine("skerry")
    uneven = load_turbine("skerry", [("blade.offsets.prebend_m", [0.0, -0.5, 0.2])])
    mode = tower_modes(design).fore_aft
    even, worst = (bent_clearance(turbine, 0.0, Bend(), 0.0, mode) for turbine in (design, uneven))
    assert even - worst == pytest.approx(0.5 * math.cos(math.radians(7.5)), abs=2e-3)


@pytest.mark.parametrize("side", ["upwind", "downwind"])
def test_the_card_tells_what_signs_mean_and_the_clearance_obeys_them_on_either_side(side: str) -> None:
    def told(**more: float) -> dict:
        keys = {"rotor.tilt_deg": 5.0, "rotor.cone_deg": 2.5} | {f"rotor.{k}": v for k, v in more.items()}
        return card(load_turbine("skerry", [("rotor.side", side), *keys.items()]))

    plain = told()
    assert plain["rotor_side"] == side
    assert plain["tilt_deg"] == pytest.approx(5.0)
    assert f"rotor {side} of the tower, tilt +5.00 deg, cone +2.50 deg (upwind or downwind" in card_text(
        plain
    )
    assert told(tilt_deg=6.0)["unloaded_clearance_m"] > plain["unloaded_clearance_m"] + 1.0
    assert told(cone_deg=3.5)["unloaded_clearance_m"] > plain["unloaded_clearance_m"] + 1.0
    assert told(tilt_deg=-3.0)["tilt_deg"] == pytest.approx(-3.0)
