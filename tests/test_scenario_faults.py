"""Faults and sensors in scenario files: what they amount to, and every way of asking wrongly."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from scenarios.campaign import run_cases
from scenarios.fault_keys import FaultKeys
from scenarios.load import load_scenario
from scenarios.sensor_keys import USUAL
from scenarios.simulate import sensor_suite, simulate
from scenarios.store import Store
from scenarios.studies.assess import Assessment
from scenarios.studies.fault_rows import fault_cells, fault_rows
from sim.errors import InputError
from sim.faults import KINDS
from sim.interface import SENSED
from tests.test_cases import SCENARIO, write

FAULTS = """
[[faults]]
name = "liar"
kind = "sensor_biased"
sensor = "root_flap_moment"
blade = 2
start_s = 5
duration_s = 10
by_kNm = -500.0

[[faults]]
name = "black"
kind = "grid_lost"
start_s = 3

[[faults]]
name = "black"
kind = "servo_stuck"
blade = 1
start_s = 3
"""
WITH = SCENARIO.replace("[[winds]]", FAULTS + "\n[[winds]]", 1).replace(
    "seeds = 2", 'seeds = 2\nfaults = ["liar", "black"]'
)


def load(folder: Path, *edits: tuple[str, str]):
    text = WITH
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    return load_scenario(write(folder, text))


def test_each_fault_name_gives_the_winds_cases_once_more_in_the_same_winds(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    mine = [case for case in scenario.cases_of(scenario.candidate) if case.load_case.startswith("extreme")]
    assert [case.load_case for case in mine[:4]] == ["extreme: liar", "extreme: black"] * 2
    assert mine[0].wind_key == mine[1].wind_key
    assert mine[0].seed == mine[1].seed and mine[0].key != mine[1].key
    (bias,) = mine[0].faults
    assert (bias.blade, bias.size, bias.start, bias.duration) == (1, -5e5, 5.0, 10.0)
    assert [fault.kind for fault in mine[1].faults] == ["grid_lost", "servo_stuck"]
    gusts = [case for case in scenario.cases if case.load_case == "gust"]
    assert gusts and not any(case.faults for case in gusts)


def test_every_number_of_a_fault_counts_in_the_identity(tmp_path: Path) -> None:
    case = load(tmp_path).cases[0]
    (fault,) = case.faults
    others = {"kind": "sensor_noisy", "start": 6.0, "duration": 11.0, "blade": 2, "size": 1.0}
    others["sensor"] = "root_edge_moment"
    keys = {replace(case, faults=(replace(fault, **{name: value}),)).key for name, value in others.items()}
    assert len(keys | {case.key, replace(case, faults=()).key}) == len(others) + 2


BAD: dict[str, tuple[tuple[str, str], str]] = {
    "unknown kind": (
        ('kind = "grid_lost"', 'kind = "grid_loss"'),
        r"kind = \"grid_loss\"; unknown; did you mean 'grid_lost'",
    ),
    "blade that is not there": (("blade = 2", "blade = 4"), r"blade = 4; there are blades 1 to 3"),
    "blade of a machine": (
        ("start_s = 3\n\n[[faults]]", "start_s = 3\nblade = 1\n\n[[faults]]"),
        r"blade = 1; a grid_lost is not about a blade",
    ),
    "sensor that is not there": (
        ('sensor = "root_flap_moment"', 'sensor = "root_flap"'),
        r"sensor = \"root_flap\"; .*did you mean 'root_flap_moment'",
    ),
    "sensor that is not fitted": (
        ('sensor = "root_flap_moment"\nblade = 2', 'sensor = "wind_preview"'),
        r"sensor = \"wind_preview\"; the scenario fits no such sensor",
    ),
    "no sensor": (
        ('sensor = "root_flap_moment"\n', ""),
        r"faults\[0\]\.sensor is missing: a sensor_biased needs one of its sensors",
    ),
    "size of another unit": (
        ("by_kNm = -500.0", "by_m = -500.0"),
        r"faults\[0\]\.by_kNm is missing; a sensor_biased needs it",
    ),
    "size of what has none": (
        ('kind = "servo_stuck"', 'kind = "servo_stuck"\nshare = 0.5'),
        r"share = 0\.5; a servo_stuck has no size",
    ),
    "share above 1": (
        ('kind = "servo_stuck"', 'kind = "servo_slow"\nshare = 1.5'),
        r"share = 1\.5; must be a number > 0 and <= 1",
    ),
    "negative start": (("start_s = 5", "start_s = -5"), r"start_s = -5; must be a number >= 0"),
    "misspelt key": (
        ("by_kNm = -500.0", "by_kN = -500.0"),
        r"by_kN = -500\.0; unknown key; did you mean 'by_kNm'",
    ),
    "fault that nobody asks for": (('"liar", "black"', '"black"'), r"name = \"liar\"; no wind asks for it"),
    "fault that is not there": (
        ('"liar", "black"', '"liar", "black", "blak"'),
        r"faults\[2\] = \"blak\"; no fault has that name; did you mean 'black'",
    ),
}


@pytest.mark.parametrize("name", list(BAD))
def test_a_bad_fault_is_told_with_its_line(tmp_path: Path, name: str) -> None:
    edit, words = BAD[name]
    with pytest.raises(InputError, match=rf"small\.toml:\d+: .*{words}"):
        load(tmp_path, edit)


def test_a_drift_needs_a_duration(tmp_path: Path) -> None:
    edits = (('kind = "sensor_biased"', 'kind = "sensor_drifting"'), ("duration_s = 10\n", ""))
    with pytest.raises(InputError, match=r"duration_s is missing: a sensor_drifting needs one"):
        load(tmp_path, *edits)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (
            "[sensors.azimuth]\nsampling_s = 0.05\n",
            r"sampling_s = 0\.05; must be whole periods",
        ),
        (
            "[sensors.azimuth]\nstep_rad = 0.1\n",
            r"azimuth\.step_rad = 0\.1; unknown key; did you mean",
        ),
        ("[sensors.azimuth]\nloss_share = 1.5\n", r"loss_share = 1\.5; must be a number >= 0 and <= 0\.9"),
        ("[sensors.tip_distance]\nview_deg = 40.0\n", r"view_deg = 40\.0; must be a number > 0 and <= 20"),
    ],
)
def test_a_bad_sensor_is_told_with_what_is_allowed(tmp_path: Path, more: str, words: str) -> None:
    with pytest.raises(InputError, match=rf"small\.toml:\d+: .*{words}"):
        load(tmp_path, ("[[faults]]", more + "\n[[faults]]"))


def test_a_delay_that_is_no_whole_number_of_periods_is_told_with_what_to_do(tmp_path: Path) -> None:
    words = r"small\.toml:\d+: sensors\.pitch_delay_s = 0\.05; must be whole periods of 0\.04 s, like 0\.04"
    with pytest.raises(InputError, match=words):
        load(tmp_path, ("pitch_delay_s = 0.04", "pitch_delay_s = 0.05"))


def test_every_sensor_of_the_readings_has_keys_and_defaults_that_are_marked(tmp_path: Path) -> None:
    assert set(USUAL) == set(SENSED)
    marked = re.compile("invented|no source")
    assert all(marked.search(usual.why) for usual in USUAL.values())
    assert set(FaultKeys.model_fields) >= {f"by_{usual.unit}" for usual in USUAL.values()}


def test_details_of_a_sensor_come_in_si_units(tmp_path: Path) -> None:
    more = "[sensors.azimuth]\nbias_deg = 2.0\nsampling_s = 0.08\n[sensors.rotor_speed]\nloss_share = 0.1\n"
    spec = load(tmp_path, ("[[faults]]", more + "\n[[faults]]")).cases[0].sensors
    azimuth = sensor_suite(spec).fitted["azimuth"]
    assert azimuth.bias == pytest.approx(math.radians(2.0))
    assert azimuth.sampling == 0.08
    assert azimuth.quantum == pytest.approx(math.radians(0.088))
    assert sensor_suite(spec).fitted["rotor_speed"].loss_length == 0.2


NEVER = {
    "a delay that is no whole number of periods": (
        'kind = "sensor_delayed"\nsensor = "azimuth"\nby_s = 0.41\nstart_s = 1',
        r"by_s = 0\.41; must be whole periods of 0\.04 s, like 0\.4",
    ),
    "shorter than a period": (
        'kind = "torque_lost"\nduration_s = 0.01\nstart_s = 1.01',
        r"duration_s = 0\.01; must be at least a period of 0\.04 s",
    ),
    "noise below nothing": (
        'kind = "sensor_noisy"\nsensor = "rotor_speed"\nby_rpm = -1.0\nstart_s = 1',
        r"by_rpm = -1\.0; must be > 0",
    ),
    "a stop that ends": (
        'kind = "emergency_stop"\nduration_s = 5.0\nstart_s = 1',
        r"duration_s = 5\.0; an emergency_stop is for good; leave it out",
    ),
    "an encoder that slips without one": (
        'kind = "encoder_slip"\nsensor = "rotor_speed"\nby_rpm = 1.0\nstart_s = 1',
        r"sensor = \"rotor_speed\"; an encoder_slip needs one of its sensors; known: azimuth",
    ),
}


@pytest.mark.parametrize("what", NEVER)
def test_a_fault_that_would_not_be_what_it_says_is_refused_with_its_line(tmp_path: Path, what: str) -> None:
    body, words = NEVER[what]
    with pytest.raises(InputError, match=rf"small\.toml:\d+: faults\[0\]\.{words}"):
        load(tmp_path, ("[[faults]]", f'[[faults]]\nname = "black"\n{body}\n\n[[faults]]'))


def test_a_fault_that_starts_after_the_winds_end_is_told_of_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    load(tmp_path, ("start_s = 5\n", "start_s = 500\n"))
    told = [record.getMessage() for record in caplog.records if "never comes" in record.getMessage()]
    assert len(told) == 1
    assert told[0].startswith("fault 'liar': starts at 500 s and never comes: 'extreme")


def test_a_layer_that_needs_a_sensor_that_is_not_fitted_is_told_the_key_to_give(tmp_path: Path) -> None:
    words = r"it reads 'wind_preview', which no sensor gives; give sensors\.wind_preview_noise_m_s"
    (tmp_path / "ahead.py").write_text(
        "from tests.data.broken_logic import Honest\n\n\n"
        "class Ahead(Honest):\n    needs = ('wind_preview',)\n"
    )
    with pytest.raises(InputError, match=words):
        load(tmp_path, ('stack = ["power"]', 'stack = ["power", "ahead.py:Ahead"]'))


def test_bad_day_breaks_every_kind_of_thing_once() -> None:
    scenario = load_scenario("bad-day")
    kinds = [fault.kind for case in scenario.cases_of(scenario.candidate) for fault in case.faults]
    assert set(kinds) == set(KINDS)
    assert all(kinds.count(kind) == 1 for kind in KINDS if kind != "emergency_stop")


def test_bad_day_runs_to_its_end_whatever_breaks() -> None:
    scenario = load_scenario("bad-day", [("duration_s", 25.0), ("settle_s", 8.0)])
    cases = scenario.cases_of(scenario.candidate)
    for case, result in zip(cases, simulate(cases), strict=True):
        assert int(result["cases.status"]) in (0, 1, 7), case.title
        assert result["passes.clearance_m"].size > 3


def test_a_case_with_a_fault_does_not_depend_on_the_cases_beside_it() -> None:
    """Equal to the bit alone, in another order and in other company."""
    scenario = load_scenario("bad-day", [("duration_s", 14.0), ("settle_s", 8.0)])
    cases = scenario.cases_of(scenario.candidate)
    whole = {case.key: result for case, result in zip(cases, simulate(cases), strict=True)}
    for part in (cases[4:5], [cases[15], cases[2], cases[17]]):
        for case, result in zip(part, simulate(part), strict=True):
            for name, value in whole[case.key].items():
                assert value.tobytes() == result[name].tobytes(), (case.title, name)


@pytest.mark.slow
def test_faults_give_the_same_in_this_process_and_in_workers(tmp_path: Path) -> None:
    scenario = load_scenario("bad-day", [("duration_s", 14.0), ("settle_s", 8.0)])
    cases = scenario.cases_of(scenario.candidate)
    here = run_cases(cases, Store(tmp_path / "here"), jobs=0).results
    there = run_cases(cases, Store(tmp_path / "there"), jobs=2).results
    assert len(here) == len(cases)
    for key, result in here.items():
        for name, value in result.items():
            assert value.tobytes() == there[key][name].tobytes(), name


def test_the_passes_under_each_fault_are_counted_apart_beside_those_of_the_sound_wind() -> None:
    """Against a count of our own: case n leaves clearances of 1, 2, ... n + 1 m; the fourth case failed."""
    scenario = load_scenario("bad-day", [("duration_s", 14.0), ("settle_s", 8.0)])
    cases = scenario.cases_of(scenario.candidate)
    counts = [0 if n == 3 else n + 1 for n in range(len(cases))]
    clearance = np.concatenate([np.arange(1.0, count + 1.0) for count in counts])
    gathered = SimpleNamespace(
        cases=cases,
        results=[None if n == 3 else {} for n in range(len(cases))],
        must=np.full(len(cases), 3.5),
        passes={
            "case": np.repeat(np.arange(len(cases)), counts),
            "clearance_m": clearance,
            "acted": clearance == 2.0,
        },
    )
    rows = fault_rows(cast(Assessment, SimpleNamespace(gathered=gathered)))
    assert [row["fault"] for row in rows] == [None, *(case.fault for case in cases[1:])]
    assert {row["wind"] for row in rows} == {"turbulence"}
    assert [row["passes"] for row in rows] == counts
    assert [row["broken_passes"] for row in rows] == [min(count, 3) for count in counts]
    assert [row["acted"] for row in rows] == [int(count > 1) for count in counts]
    assert [row["cases_failed"] for row in rows] == [int(n == 3) for n in range(len(cases))]
    assert fault_cells(rows[3])[2:] == ["1 (1 failed)", "0", "0", "0", "0", "-"]


def test_a_scenario_in_which_nothing_breaks_has_no_table_of_faults() -> None:
    cases = load_scenario("hollin-fell").cases[:3]
    gathered = SimpleNamespace(cases=cases, passes={"case": np.array([], int)})
    assert fault_rows(cast(Assessment, SimpleNamespace(gathered=gathered))) == []
