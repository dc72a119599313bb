"""How is a rotor at rest asked for in a scenario, by what is it judged, and what does it not count for?"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scenarios.answer import ExitCode, Options
from scenarios.dataset import make_dataset
from scenarios.load import load_scenario
from scenarios.store import Store
from scenarios.studies import study
from scenarios.studies.passes import passes_data
from scenarios.studies.softer_runs import Try, with_entries
from sim.errors import InputError
from sim.plant.geometry import feathered_clearance, unloaded_clearance
from tests.brisk import FILE

HEAD, REST = FILE.read_text(encoding="utf-8").split("[[winds]]", 1)
ENTRIES = """
[[entries]]
name = "plain"
stack = ["power"]

[[entries]]
name = "guarded"
stack = ["power", "guard"]
"""
GUST = """
[[winds]]
label = "gust"
kind = "operating_gust"
speeds_m_s = [10]
phases = 2
"""
STORM = """
[[winds]]
label = "6.1"
kind = "extreme_steady"
rotor = "at_rest"
return_period_years = 50
yaw_error_deg = 8.0
phases = 12
"""
FACTORED = ("requirement", {"rule": "factored_deflection", "material_factor": 1.1, "consequence_factor": 1.0})
SHARE = ("requirement.share_at_rest", 0.05)


def written(folder: Path, winds: str) -> Path:
    path = folder / "resting.toml"
    head = HEAD.replace("settle_s = 20.0", "settle_s = 4.0").replace(
        "gust_duration_s = 20.0", "gust_duration_s = 12.0"
    )
    path.write_text(head.replace("brisk-study", "resting") + winds + ENTRIES, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("resting")


@pytest.fixture(scope="module")
def options(folder) -> Options:
    return Options(out=folder / "out", store=folder / "store", jobs=0, is_quiet=True)


@pytest.fixture(scope="module")
def judged(folder, options) -> study.Study:
    scenario = load_scenario(written(folder, STORM + GUST), [SHARE])
    return study.judge_scenario(scenario, Store(options.store), options)


def test_the_rotor_stands_at_places_spread_over_those_before_the_tower(folder) -> None:
    scenario = load_scenario(written(folder, STORM), [SHARE])
    cases = scenario.cases_of(scenario.reference)
    places = np.degrees([case.run.azimuth for case in cases]) - 180.0
    # Within 0.35 rad of straight down, the middles of twelve equal parts.
    assert places == pytest.approx(math.degrees(0.35) * (np.arange(12) + 0.5 - 6.0) / 6.0)
    # Ve50 = 1.4 Vref at the hub, exponent 0.11: IEC 61400-1, from memory.
    assert [case.wind.speed for case in cases] == pytest.approx([1.4 * 42.5] * 12)
    assert {case.wind.shear_exponent for case in cases} == {0.11}


def test_blades_that_differ_stand_before_the_tower_in_turn(folder) -> None:
    more = ("blade.offsets.pitch_deg", [0.3, 0.0, 0.0])
    scenario = load_scenario(written(folder, STORM), [SHARE, more])
    azimuth = np.degrees([case.run.azimuth for case in scenario.cases_of(scenario.reference)])
    blades = np.repeat([180.0, 60.0, -60.0], 4)
    assert np.all(np.abs(azimuth - blades) < math.degrees(0.35))


def test_the_blade_that_a_turbulent_wind_names_hangs_straight_down(folder) -> None:
    wind = STORM.replace("extreme_steady", "extreme_turbulent").replace(
        "phases = 12", "seeds = 6\nmeets_blade = 3"
    )
    scenario = load_scenario(written(folder, wind), [SHARE])
    case = scenario.cases[0]
    assert math.degrees(case.run.azimuth) + 240.0 == pytest.approx(180.0)
    assert not case.is_event
    assert case.run.meets_blade == 0
    assert case.wind.sigma == pytest.approx(0.11 * 42.5)


def test_no_logic_is_asked_so_entries_of_one_turbine_share_their_cases(judged) -> None:
    cases = [judged.scenario.cases_of(entry) for entry in judged.scenario.entries]
    resting = [[case.key for case in some if case.run.at_rest] for some in cases]
    assert resting[0] == resting[1]
    assert all(case.stack == () for case in cases[0] if case.run.at_rest)
    assert judged.scenario.candidate_case.run.at_rest is False
    assert judged.campaign.tally.counts()["total"] == 12 + 2 * 2


def test_other_stacks_of_a_softer_blade_are_not_asked_at_rest_either(judged) -> None:
    scenario = judged.scenario
    tried = Try("softer", scenario.candidate.stack, 0.9)
    made = with_entries(scenario, [tried], scenario.cases_of(scenario.candidate))
    assert {case.stack == () for case in made.cases if case.run.at_rest} == {True}
    assert {case.stack == () for case in made.cases if not case.run.at_rest} == {False}


def test_five_per_cent_of_the_feathered_clearance_must_remain_at_rest(judged) -> None:
    gathered = judged.entries[-1].gathered
    free = feathered_clearance(judged.scenario.candidate.design)
    assert gathered.must[gathered.at_rest] == pytest.approx(0.05 * free)
    assert gathered.must[~gathered.at_rest] == pytest.approx(0.3 * gathered.unloaded)
    assert free < gathered.unloaded - 1.5
    table = study.governing_data(judged.entries[-1])
    row = table["6.1"]
    assert (row["at_rest"], row["required_share"]) == (True, pytest.approx(0.05))
    assert row["unloaded_clearance_m"] == pytest.approx(free)
    smallest = gathered.column("smallest_clearance_m")[gathered.at_rest]
    assert row["characteristic_clearance_m"] == smallest.min()
    assert table["gust"]["unloaded_clearance_m"] == pytest.approx(gathered.unloaded)


def test_cases_at_rest_count_neither_as_passes_nor_in_rates_nor_among_largest_moments(judged) -> None:
    for entry in judged.entries:
        gathered = entry.gathered
        assert not np.isin(np.flatnonzero(gathered.at_rest), gathered.passes["case"]).any()
        assert [rates.stratum for rates in entry.rates] == ["gusts"]
        assert sum(entry.rates[0].counts.values()) == gathered.passes["case"].size
        base = gathered.column("tower_base_fore_aft_max_Nm")
        assert entry.largest["tower_base_fore_aft_kNm"] == pytest.approx(base[~gathered.at_rest].max() / 1e3)
        assert not gathered.normal.any()
        aside = gathered.column("tower_base_side_side_max_Nm")
        assert (
            gathered.turning("tower_base_side_side_max_Nm").max()
            < aside.max()
            == aside[gathered.at_rest].max()
        )


def test_a_verdict_that_hangs_on_the_rotor_at_rest_says_so(folder, options) -> None:
    """Nine tenths of the feathered clearance do not remain where the outer stations alone have less."""
    path = written(folder, STORM + GUST)
    answer = study.run(
        load_scenario(path, [("requirement.share_at_rest", 0.9), ("questions", ["passes"])]), options
    )
    assert answer.code == ExitCode.DOES_NOT_HOLD
    assert (
        "characteristic clearance with the rotor at rest remain where 9.78 m must" in answer.data["verdict"]
    )
    assert (
        "(90 % of the unloaded 10.87 m with the blades at feather, load factor 1)" in answer.data["verdict"]
    )
    assert answer.data["requirement"]["at_rest"] is True
    assert "90% of 10.87 at rest" in answer.text
    page = Path(answer.data["page"]).read_text(encoding="utf-8")
    assert "extreme steady, rotor at rest" in page
    assert "12 rotor positions" in page
    assert "90% of 10.87 at rest" in page


def test_a_scenario_of_nothing_but_rest_is_judged_and_tells_of_no_pass(folder, options) -> None:
    answer = study.run(load_scenario(written(folder, STORM), [SHARE]), options)
    assert answer.code == ExitCode.HOLDS
    assert "no blade passed the tower" in answer.data["verdict"]
    told = passes_data(
        study.judge_scenario(load_scenario(written(folder, STORM), [SHARE]), Store(options.store), options)
    )
    assert told["entries"][0]["passes"] == 0


def test_the_other_rules_reckon_from_the_feathered_clearance_too(folder) -> None:
    scenario = load_scenario(written(folder, STORM + GUST), [FACTORED])
    design = scenario.reference.design
    by_rest = {case.run.at_rest: case.required_share for case in scenario.cases}
    # CHECKS 2, from memory: 1.35 x 1.1 in normal load cases.
    assert by_rest == {True: pytest.approx(1.0 - 1.0 / 1.485), False: pytest.approx(1.0 - 1.0 / 1.485)}
    own = load_scenario(
        written(folder, STORM + GUST), [("requirement", {"rule": "distance", "distance_m": 2.0})]
    )
    free = {True: feathered_clearance(design), False: unloaded_clearance(design)}
    assert {round(case.required_share * free[case.run.at_rest], 9) for case in own.cases} == {2.0}
    with pytest.raises(InputError, match=r"distance_m = 12; must be below the unloaded 10.87 m"):
        load_scenario(written(folder, STORM), [("requirement", {"rule": "distance", "distance_m": 12.0})])


def test_the_file_for_other_tools_tells_which_cases_rest_and_what_must_remain(judged) -> None:
    dataset = make_dataset(judged.scenario, judged.campaign.results, {})
    rests = dataset["at_rest"].values.astype(bool)
    assert rests.sum() == 24
    assert dataset["required_clearance_m"].values[rests] == pytest.approx(
        0.05 * dataset["unloaded_clearance_m"].values[rests]
    )
    assert np.isfinite(dataset["smallest_clearance_m"].values[rests]).all()


WRONG = {
    "share": (STORM, [], r"requirement.share_at_rest is missing; .* needs it for the rotor at rest of '6.1'"),
    "kind": (
        GUST + 'rotor = "at_rest"\n',
        [SHARE],
        r'rotor = "at_rest"; a rotor at rest is for kinds extreme_steady',
    ),
    "word": (GUST + 'rotor = "parked"\n', [SHARE], r'rotor = "parked"; must be one of "turning", "at_rest"'),
    "place": (
        STORM.replace("phases = 12", ""),
        [SHARE],
        r"phases is missing; a rotor at rest needs it, or meets_blade",
    ),
    "both": (STORM + "meets_blade = 1\n", [SHARE], r"meets_blade = 1; give either phases or meets_blade"),
    "blade": (
        STORM.replace("phases = 12", "meets_blade = 3"),
        [SHARE, ("rotor.blade_count", 2)],
        r"the rotor has 2 blades",
    ),
    "hangs": (
        STORM.replace("extreme_steady", "extreme_turbulent").replace("phases = 12", "seeds = 6"),
        [SHARE],
        r"meets_blade is missing; a rotor at rest in turbulence needs it: which blade hangs down",
    ),
    "phases": (
        STORM.replace("extreme_steady", "extreme_turbulent"),
        [SHARE],
        r"phases = 12; .* has seeds instead",
    ),
    "fatigue": (
        STORM + "per_year = 1.0\n",
        [SHARE],
        r"per_year = 1.0; a rotor at rest is not in the fatigue",
    ),
    "fault": (
        STORM
        + 'faults = ["stuck"]\n[[faults]]\nname = "stuck"\nkind = "servo_stuck"\nstart_s = 1.0\nblade = 1\n',
        [SHARE],
        r'faults = \["stuck"\]; a rotor at rest is held, its blades at feather, and no logic is asked',
    ),
    "rule": (STORM, [FACTORED, SHARE], r"share_at_rest = 0.05; is not of the rule factored_deflection"),
    "range": (
        STORM,
        [("requirement.share_at_rest", 1.2)],
        r"share_at_rest = 1.2; must be a number >= 0 and < 1",
    ),
}


@pytest.mark.parametrize("which", WRONG)
def test_what_does_not_fit_a_rotor_at_rest_is_refused_with_key_and_reason(folder, which) -> None:
    winds, changes, message = WRONG[which]
    with pytest.raises(InputError, match=message):
        load_scenario(written(folder, winds), changes)


def test_a_storm_at_rest_is_not_told_to_turn(folder, caplog) -> None:
    load_scenario(written(folder, STORM), [SHARE])
    assert not caplog.records
    load_scenario(written(folder, STORM.replace('rotor = "at_rest"\n', "").replace("phases = 12", "")))
    assert 'rotor = "at_rest" holds it' in caplog.text


def test_a_case_at_rest_has_a_key_of_its_own(judged) -> None:
    case = next(case for case in judged.scenario.cases if case.run.at_rest)
    assert replace(case, run=replace(case.run, at_rest=False)).key != case.key
