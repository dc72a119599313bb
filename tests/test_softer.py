"""The softest blade: search against known roots, crossings in closed form, a short scenario throughout."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.cli import main
from scenarios.load import load_scenario
from scenarios.studies.campbell import campbell, crossing
from scenarios.studies.softer import mass_told
from scenarios.studies.softer_runs import (
    Margin,
    Try,
    entry_of,
    factors_of,
    hard_cases,
    near_cases,
    with_entries,
    without_logic,
)
from scenarios.studies.softer_search import CLOSE, HIGHEST, LOWEST, NEAR, Search
from scenarios.studies.softer_text import headline
from sim.measures.clearance import judge
from sim.measures.labels import Labels
from sim.plant.beam import Array
from sim.turbine import load_turbine

DATA = Path(__file__).parent / "data"


def solved(margin) -> Search:
    search = Search()
    while asked := search.ask():
        for factor in asked:
            search.tell(factor, margin(factor))
    return search


@settings(deadline=None, derandomize=True)
@given(st.floats(0.45, 1.5), st.floats(2.0, 20.0), st.floats(-0.5, 0.5))
def test_search_ends_just_above_the_root_of_any_rising_margin(root: float, rise: float, bend: float) -> None:
    def margin(factor: float) -> float:
        apart = factor - root
        return rise * apart * (1.0 + bend * apart)

    search = solved(margin)
    assert margin(search.holds) >= 0.0
    assert search.holds - root <= max(CLOSE, 1.2 * NEAR / (rise * 0.4)) + 1e-9
    assert len(search.margins) <= 9
    assert search.slope > 0.0


def test_search_says_when_nothing_holds_and_when_everything_does() -> None:
    assert math.isnan(solved(lambda factor: -1.0).holds)
    assert solved(lambda factor: -1.0).breaks == HIGHEST
    assert solved(lambda factor: 1.0).holds == LOWEST
    assert math.isnan(solved(lambda factor: math.nan).holds)


def test_a_factor_that_breaks_above_one_that_holds_is_not_passed_over() -> None:
    search = Search()
    for factor, margin in ((0.7, 0.5), (0.8, -0.2), (0.9, 0.3)):
        search.tell(factor, margin)
    assert search.holds == 0.9 and search.breaks == 0.8


def test_crossing_of_a_stiffening_frequency_is_where_southwells_formula_meets_the_multiple() -> None:
    """f^2 = f0^2 + a n^2 (Southwell) meets k n at n = f0 / sqrt(k^2 - a)."""
    rest, gain = 0.66, 1.2
    speeds = np.linspace(0.0, 15.0, 3001)
    frequency: Array = np.sqrt(rest**2 + gain * (speeds / 60.0) ** 2)
    for multiple in (2, 3, 6):
        closed = 60.0 * rest / math.sqrt(multiple**2 - gain)
        found = crossing(speeds.tolist(), frequency.tolist(), multiple)
        assert (found == pytest.approx(closed, abs=1e-5)) if closed < 15.0 else math.isnan(found)


def test_a_blade_softened_until_its_frequency_meets_a_multiple_is_warned_of_with_the_speed() -> None:
    soft = load_turbine("skerry", [("blade.flap_stiffness_factor", 0.35)])
    found = campbell(soft)
    assert any("flap mode 1 meets 3P at" in line for line in found["warnings"])
    stiff = campbell(load_turbine("skerry", [("blade.flap_stiffness_factor", 1.0)]))
    assert len(stiff["warnings"]) < len(found["warnings"]) or stiff["warnings"] != found["warnings"]


def test_every_try_meets_the_same_winds_with_a_lighter_blade() -> None:
    scenario = load_scenario(DATA / "brisk-study.toml")
    cases = hard_cases(scenario)
    assert {case.wind.kind for case in cases} == {"operating_gust"}
    stack = scenario.candidate.stack
    made = with_entries(scenario, [Try("a", stack, 1.0), Try("a", stack, 0.8)], cases)
    first, second = (made.cases_of(entry) for entry in made.entries)
    assert [case.wind_key for case in first] == [case.wind_key for case in second]
    assert first[0].key != second[0].key and len(first) == len(second) == len(cases)
    full, soft = (entry.design.blade for entry in made.entries)
    np.testing.assert_allclose(soft.flap_stiffness, 0.8 * full.flap_stiffness)
    np.testing.assert_allclose(soft.mass, (1.0 - 0.4 * 0.2) * full.mass)
    assert [layer.name for layer in without_logic(stack)] == ["power"]
    file_blade = entry_of(scenario.candidate, Try("c", stack, 1.0)).design
    assert file_blade.content_hash() == scenario.reference.design.content_hash()


def test_a_blade_that_the_turbine_file_softens_is_the_one_that_is_judged_and_weighed(tmp_path) -> None:
    """A file that states stiffness x 0.9 and mass x 1.05 means the blade that weighs 1.05 at 0.9."""
    library = Path(load_turbine("skerry").source).parent
    text = (library / "skerry.toml").read_text(encoding="utf-8")
    stated = "[blade]\nflap_stiffness_factor = 0.9\nmass_factor = 1.05"
    (tmp_path / "own.toml").write_text(text.replace("[blade]", stated), encoding="utf-8")
    table = (library / "skerry-blade.csv").read_text(encoding="utf-8")
    (tmp_path / "skerry-blade.csv").write_text(table, encoding="utf-8")
    own, plain = load_turbine(tmp_path / "own.toml").blade, load_turbine("skerry").blade
    scenario = load_scenario(DATA / "brisk-study.toml", [("turbine", str(tmp_path / "own.toml"))])
    assert factors_of(scenario.reference.turbine) == (0.9, 1.05)
    as_it_is = entry_of(scenario.candidate, Try("a", scenario.reference.stack, 0.9)).design.blade
    np.testing.assert_allclose(as_it_is.flap_stiffness, own.flap_stiffness, rtol=1e-12)
    np.testing.assert_allclose(as_it_is.mass, own.mass, rtol=1e-12)
    softer = entry_of(scenario.candidate, Try("a", scenario.reference.stack, 0.7)).design.blade
    caps = (1.0 - 0.4 * 0.3) / (1.0 - 0.4 * 0.1)  # as thick as their stiffness, at both factors of the file
    np.testing.assert_allclose(softer.mass, 1.05 * caps * plain.mass, rtol=1e-12)


def test_winds_far_from_the_worst_in_every_try_are_left_out_of_the_search() -> None:
    scenario = load_scenario(DATA / "brisk-study.toml")
    cases = scenario.cases_of(scenario.candidate)
    labels = Labels(
        kind=np.array(["turbulence"] * 2 + ["event"]),
        condition=np.array(["normal turbulence"] * 2 + ["operating gust"]),
        speed=np.array([10.0, 14.0, 10.0]),
        number=np.array([1, 1, 1]),
    )
    seen = [Margin(judge(labels, smallest, 4.0), 0.0, 0.0) for smallest in ([4.0, 5.2, 5.5], [4.1, 4.9, 5.4])]
    assert near_cases(cases, []) == cases
    kept = {(case.load_case, case.wind.speed) for case in near_cases(cases, seen)}
    assert kept == {("normal turbulence", 10.0), ("normal turbulence", 14.0)}


def test_headline_says_why_there_is_no_interval_and_leaves_out_what_was_not_marched() -> None:
    row = {
        "stack": "power",
        "softest_factor": 0.8,
        "mass_saved_share": 0.08,
        "mass_saved_kg": 1120.0,
        "mass_saved_interval_kg": {"low": math.nan, "high": math.nan},
        "travel_ratio": math.nan,
        "cases_with_a_strike": 0,
        "cases": 12,
        "strike_share_at_most": 0.26,
        "fails_silently": None,
    }
    told = headline({"stacks": [row], "required_m": 3.9})
    assert "1120 kg, no interval, for a gust decides and has no seeds" in told
    assert "travel" not in told and " - " not in told
    worse = headline(
        {"stacks": [row | {"mass_saved_share": -0.04, "mass_saved_kg": -560.0}], "required_m": 3.9}
    )
    assert "power needs a blade heavier by 4.0% of its mass (560 kg" in worse
    known = row | {"travel_ratio": 1.8, "mass_saved_interval_kg": {"low": 900.0, "high": 1300.0}}
    told = headline({"stacks": [known], "required_m": 3.9})
    assert "interval 900..1300" in told and "for 1.80 times the pitch travel;" in told


@pytest.mark.slow
def test_softer_tells_every_stack_and_what_a_silent_failure_does(tmp_path, capsys) -> None:
    source = (DATA / "brisk-study.toml").read_text(encoding="utf-8").replace("seeds = 6", "seeds = 2")
    source = source.replace('"normal_turb', '"extreme_turb')
    before, _, after = source.partition('[[winds]]\nlabel = "operating gust"')
    source = before + after[after.index("[[entries]]") :]
    source = source.replace("speeds_m_s = [10, 14]", "speeds_m_s = [11]")
    source = source.replace("duration_s = 60.0", "duration_s = 30.0", 1)
    file = tmp_path / "short.toml"
    file.write_text(source, encoding="utf-8")
    told = ["softer", str(file), "--json", "--jobs", "0", "--quiet"]
    code = main([*told, "--out", str(tmp_path), "--store", str(tmp_path / "store")])
    data = json.loads(capsys.readouterr().out)
    assert code == 0
    alone, guarded = data["stacks"]
    assert guarded["softest_factor"] < alone["softest_factor"]
    assert guarded["mass_saved_kg"] > alone["mass_saved_kg"]
    assert guarded["margin_m"] >= 0.0
    assert guarded["interval"]["low"] <= guarded["root_factor"] <= guarded["interval"]["high"]
    assert guarded["fails_silently"]["margin_m"] < guarded["margin_m"]
    assert alone["fails_silently"] is None
    page = (tmp_path / "brisk-study-softer.html").read_text(encoding="utf-8")
    assert "When the logic fails silently" in page and "6P" in page and "flap mode 2</text>" in page


def test_the_factors_interval_holds_the_factor_and_is_none_where_only_gusts_decide() -> None:
    """On the line 10 (factor - 0.77) m the root is known; a scatter of 0.2 m is 0.02 of the factor."""
    search = solved(lambda factor: 10.0 * (factor - 0.77))
    verdict = judge(
        Labels(np.array(["event"] * 12), np.array(["gust"] * 12), np.full(12, 10.0), np.arange(12)),
        np.full(12, 3.9 + search.margins[search.holds]),
        3.9,
    )
    still = mass_told(search, Margin(verdict, 0.01, 0.01), 1.0, 14000.0)
    assert math.isnan(still["interval"]["low"]) and math.isnan(still["mass_saved_interval_kg"]["high"])
    told = mass_told(search, Margin(verdict, -0.2, 0.2), 1.0, 14000.0)
    assert told["interval"]["low"] == pytest.approx(search.holds - 0.02, abs=1e-9)
    assert told["interval"]["high"] == pytest.approx(search.holds + 0.02, abs=1e-9)
    low, high = told["mass_saved_interval_kg"].values()
    assert low < told["mass_saved_kg"] < high
    beside = mass_told(search, Margin(verdict, 0.001, 0.1), 1.0, 14000.0)
    assert beside["interval"]["high"] == search.holds
