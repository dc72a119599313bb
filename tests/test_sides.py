"""Both sides of the tower: dipole, dam and slender tower in closed form, a short scenario throughout."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from scenarios.cli import main
from scenarios.studies.sides import BARE, GUST, STOP, sides_scenario, slender, stop_of
from scenarios.studies.thump import SPEED_OF_SOUND, missing, pulse, thump
from sim.design import Turbine
from sim.measures.clearance import judge
from sim.measures.labels import Labels
from sim.plant.geometry import tower_radius
from sim.turbine import load_turbine

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def both() -> dict[str, Turbine]:
    return {side: load_turbine("skerry", [("rotor.side", side)]) for side in ("upwind", "downwind")}


def test_pulse_of_a_swinging_force_is_the_dipoles_closed_form() -> None:
    """F = F0 cos(n psi): p = n Omega F0 / (4 pi c r) (Curle 1955, from memory)."""
    azimuth = np.linspace(0.0, 2.0 * math.pi, 3600, endpoint=False)
    for number in (1, 4):
        found = pulse(5e4 * np.cos(number * azimuth), 1.2, 250.0)
        closed = number * 1.2 * 5e4 / (4.0 * math.pi * SPEED_OF_SOUND * 250.0)
        assert float(np.max(found)) == pytest.approx(closed, rel=1e-4)
        assert float(np.mean(found)) == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(pulse(0.0 * azimuth + 3e5, 1.2, 250.0), 0.0)


def test_wind_missing_before_the_tower_is_the_cylinders_on_its_centre_line(both: dict[str, Turbine]) -> None:
    """Potential flow ahead of a cylinder, on its centre line: u = 1 - (a/x)^2 of the free wind."""
    turbine = both["upwind"]
    rotor, radius = turbine.rotor, np.array([30.0, 50.0, turbine.rotor_radius])
    lean = rotor.tilt + rotor.cone
    out = rotor.overhang * math.cos(rotor.tilt) + radius * math.sin(lean)
    wall = tower_radius(turbine, rotor.hub_height - radius * math.cos(lean))
    np.testing.assert_allclose(missing(turbine, math.pi, radius), (wall / out) ** 2, rtol=1e-9)
    assert np.all(missing(turbine, 0.0, radius) == 0.0)


def test_thump_is_far_stronger_behind_the_tower_and_alike_for_any_number_of_blades(
    both: dict[str, Turbine],
) -> None:
    """The same pulse is heard as a thump behind the tower (common practice, no source)."""
    up, down = (thump(both[side], 10.0) for side in ("upwind", "downwind"))
    assert down.pressure > 5.0 * up.pressure
    two = load_turbine("skerry", [("rotor.side", "downwind"), ("rotor.blade_count", 2)])
    assert thump(two, 10.0).per_second == pytest.approx(2.0 / 3.0 * down.per_second, rel=0.1)
    lowest = down.azimuth[int(np.argmin(down.force))]
    assert math.degrees(lowest) == pytest.approx(180.0, abs=3.0)
    assert thump(both["downwind"], 10.0, 600.0).pressure == pytest.approx(0.5 * down.pressure)


def test_slender_tower_bends_and_weighs_as_the_turbines_own(both: dict[str, Turbine]) -> None:
    """E pi/64 (D^4 - d^4) at both ends, and the mass of a metre at the base."""
    tower, keys = both["upwind"].tower, slender(both["upwind"])
    for end in ("base", "top"):
        outer, wall = keys[f"tower.{end}_diameter_m"], keys[f"tower.{end}_wall_mm"] / 1e3
        own, thick = getattr(tower, f"{end}_diameter"), getattr(tower, f"{end}_wall")
        stiff = keys["tower.youngs_modulus_GPa"] * 1e9 * (outer**4 - (outer - 2.0 * wall) ** 4)
        assert stiff == pytest.approx(tower.youngs_modulus * (own**4 - (own - 2.0 * thick) ** 4))
        assert outer < 0.5 * own
    outer, wall = keys["tower.base_diameter_m"], keys["tower.base_wall_mm"] / 1e3
    mass = keys["tower.density_kg_m3"] * wall * (outer - wall)
    assert mass == pytest.approx(tower.density * tower.base_wall * (tower.base_diameter - tower.base_wall))


def test_sides_are_the_same_rotor_in_the_same_winds_without_tower_pass_logic() -> None:
    scenario = sides_scenario(str(DATA / "brisk-study.toml"), [("winds[0].seeds", "1")])
    assert scenario.name == "brisk-study-sides"
    names = [entry.name for entry in scenario.entries]
    assert names[:2] == ["upwind, 3 blades", "downwind, 3 blades"]
    assert all([layer.name for layer in entry.stack] == ["power"] for entry in scenario.entries)
    winds = [{c.wind_key for c in scenario.cases_of(entry)} for entry in scenario.entries[:4]]
    assert all(each == winds[0] for each in winds)
    up, down = (entry.design for entry in scenario.entries[:2])
    assert up.rotor.side == -down.rotor.side
    np.testing.assert_array_equal(up.blade.flap_stiffness, down.blade.flap_stiffness)
    bare = next(entry for entry in scenario.entries if entry.name.endswith(BARE))
    assert {case.wind.kind for case in scenario.cases_of(bare)} == {"normal_turbulence"}
    assert any(case.faults for case in scenario.cases_of(scenario.entries[0]))


def test_a_stop_governs_where_it_decides_the_verdict_though_one_seed_came_nearer() -> None:
    """Turbulence is judged by the mean over its seeds: 5 m here, one of them 3 m; the stop leaves 4 m."""
    labels = Labels(
        kind=np.array(["turbulence"] * 3 + ["event"] * 2),
        condition=np.array(["extreme turbulence"] * 3 + ["gust", GUST]),
        speed=np.full(5, 10.0),
        number=np.arange(5),
    )
    smallest = np.array([3.0, 6.0, 6.0, 4.0, 7.0])
    cases = [
        SimpleNamespace(fault=STOP if condition == "gust" else "", load_case=condition)
        for condition in labels.condition
    ]
    gathered = SimpleNamespace(column=lambda name: smallest, cases=cases, required=3.5)
    entry: Any = SimpleNamespace(gathered=gathered, verdict=judge(labels, smallest, 3.5))
    found = stop_of(entry)
    assert found["governs"] and found["margin_m"] == pytest.approx(0.5)
    assert found["without_stop_m"] == 7.0
    smallest[1:3] = 4.0  # now turbulence leaves 3.67 m
    entry.verdict = judge(labels, smallest, 3.5)
    assert not stop_of(entry)["governs"]


def test_sides_and_stacks_at_once_are_refused(capsys) -> None:
    assert main(["duel", "hollin-fell", "--sides", "--stack", "power"]) == 2
    assert "one of the two" in capsys.readouterr().err


@pytest.mark.slow
def test_behind_the_tower_the_flap_cycle_and_the_stop_are_worse(tmp_path, capsys) -> None:
    """Behind the tower a flap cycle comes once a turn; after a stop the swing goes towards the tower."""
    source = (DATA / "brisk-study.toml").read_text(encoding="utf-8").replace("seeds = 6", "seeds = 2")
    source = source.replace("speeds_m_s = [10, 14]", "speeds_m_s = [10]")
    file = tmp_path / "short.toml"
    file.write_text(source.replace("\nduration_s = 60.0", "\nduration_s = 30.0"), encoding="utf-8")
    told = ["duel", str(file), "--sides", "--json", "--jobs", "0", "--quiet"]
    code = main([*told, "--out", str(tmp_path), "--store", str(tmp_path / "store")])
    data = json.loads(capsys.readouterr().out)
    assert code in (0, 1)
    up, down = data["sides"][:2]
    assert (up["side"], down["side"], up["blades"]) == ("upwind", "downwind", 3)
    assert down["flap_tower_share"] > up["flap_tower_share"]
    for row in (up, down):
        ends = row["flap_tower_share_interval"]
        assert ends["low"] <= row["flap_tower_share"] <= ends["high"]
        range_away = row["flap_range_kNm"] / (1.0 + row["flap_tower_share"])
        assert row["flap_range_tower_away_kNm"] == pytest.approx(range_away)
    angle = {side: data["shaft_to_wind_deg"][side] for side in ("upwind", "downwind")}
    assert angle["upwind"] - angle["downwind"] == pytest.approx(2.0 * min(5.0, 8.0))
    assert down["flap_range_kNm"] > up["flap_range_kNm"]
    assert up["stop"]["smallest_clearance_m"] > down["stop"]["smallest_clearance_m"]
    assert down["stop"]["smallest_clearance_m"] < down["stop"]["without_stop_m"]
    assert {row["blades"] for row in data["sides"]} == {2, 3}
    assert "thump" in (tmp_path / "brisk-study-sides.html").read_text(encoding="utf-8")
