"""Cases and scenario files: what is asked, under which name, and every way of asking wrongly."""

from __future__ import annotations

import math
import textwrap
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.case import RunSpec, TurbineSpec, canonical, seed_of
from scenarios.load import Scenario, load_scenario, scenario_key_table
from scenarios.stack_order import order_problems
from sim.errors import InputError
from sim.faults import FaultSpec
from tests.campaign_fakes import make_case

LAYER = """
from dataclasses import dataclass

@dataclass(frozen=True)
class Nudge:
    size_deg: float = 1.0
    needs = ("azimuth",)
    tower_pass = True

    def init(self, known, seen):
        return {}

    def step(self, state, seen, below, reference):
        return state, below
"""

SCENARIO = """
name = "small"
turbine = "skerry"
seed = 3
duration_s = 60
settle_s = 20

[site]
wind_class = "II"
turbulence_category = "A"
shear_exponent = 0.2
upflow_deg = 0.0
yaw_error_deg = 0.0

[requirement]
rule = "share_of_unloaded"
share = 0.3

[sensors]
delay_s = 0.12
pitch_delay_s = 0.04
azimuth_noise_deg = 0.2
rotor_speed_noise_rpm = 0.02
pitch_noise_deg = 0.05
root_flap_moment_noise_kNm = 100.0
root_edge_moment_noise_kNm = 50.0
tower_acceleration_noise_m_s2 = 0.02
wind_speed_noise_m_s = 0.5
power_noise_kW = 20.0

[[winds]]
label = "extreme"
kind = "extreme_turbulence"
speeds_m_s = [11, 13]
seeds = 2

[[winds]]
label = "gust"
kind = "operating_gust"
speeds_m_s = [11]
phases = 4

[[entries]]
name = "stiff"
stack = ["power"]

[[entries]]
name = "soft"
stack = ["power", "nudge.py:Nudge"]
parameters = { Nudge = { size_deg = 2.0 } }
set = { "blade.flap_stiffness_factor" = 0.8 }
"""


def write(folder: Path, scenario: str = SCENARIO, layer: str = LAYER) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "nudge.py").write_text(textwrap.dedent(layer))
    path = folder / "small.toml"
    path.write_text(scenario)
    return path


def load(folder: Path, *edits: tuple[str, str], **options) -> Scenario:
    text = SCENARIO
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return load_scenario(write(folder, text), **options)


def keys(scenario: Scenario) -> dict[tuple, str]:
    return {(c.entry, c.load_case, c.wind.speed, c.number): c.key for c in scenario.cases}


whole = st.integers(-(2**53) + 1, 2**53 - 1)
numbers = st.one_of(whole, st.floats(-(2.0**52), 2.0**52))
pairs = st.one_of(st.tuples(numbers, numbers), whole.map(lambda n: (n, float(n))))


@settings(deadline=None, derandomize=True, max_examples=300)
@given(pairs)
def test_two_numbers_share_a_canonical_text_exactly_when_they_are_equal(pair) -> None:
    left, right = pair
    assert (canonical(left) == canonical(right)) == (left == right)


def test_eight_and_eight_point_zero_are_one_case() -> None:
    case = make_case(1)
    assert canonical([8, -0.0, np.float64(2.5)]) == canonical((8.0, 0, 2.5)) == "[8,0,2.5]"
    assert replace(case, run=RunSpec(0.04, 60, 600)).key == replace(case, run=RunSpec(0.04, 60.0, 600.0)).key


def test_the_order_of_keys_does_not_count() -> None:
    assert canonical({"b": 1, "a": 2}) == canonical({"a": 2, "b": 1})


def test_true_is_not_one_and_large_seeds_are_told_apart() -> None:
    assert canonical(True) != canonical(1)
    assert canonical(2**53) != canonical(2**53 + 1)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_description_holds_finite_numbers_only(bad: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical([bad])


def test_a_path_has_no_place_in_a_description() -> None:
    with pytest.raises(TypeError, match="no place in a case's description"):
        canonical({"file": Path("x")})


def test_every_field_that_decides_a_result_changes_the_key() -> None:
    case = make_case(1)
    others = {
        "turbine": TurbineSpec("nowhere.toml", (), "other content"),
        "stack": (replace(case.stack[0], parameters=(("gain", 2.0),)),),
        "wind": replace(case.wind, speed=12.0),
        "sensors": replace(case.sensors, delays=(("pitch", 0.1),)),
        "faults": (FaultSpec("servo_stuck", 3.0, blade=1),),
        "run": replace(case.run, azimuth=0.1),
        "blade_count": 2,
        "required_share": 0.35,
        "seed": 99,
    }
    assert set(others) == {f.name for f in fields(case) if f.compare}
    changed = {replace(case, **{name: value}).key for name, value in others.items()}
    assert len(changed | {case.key}) == len(others) + 1


def test_where_files_lie_and_what_cases_are_called_do_not_change_the_key() -> None:
    case = make_case(1)
    elsewhere = replace(case.turbine, source="/somewhere/else.toml", overrides=(("blade.mass_factor", 1.0),))
    assert replace(case, turbine=elsewhere, entry="x", load_case="y", number=7, is_event=True).key == case.key


def test_a_seed_comes_from_what_a_wind_is() -> None:
    assert seed_of(1, "a", 8, 2) == seed_of(1, "a", 8.0, 2)
    others = {seed_of(2, "a", 8, 2), seed_of(1, "b", 8, 2), seed_of(1, "a", 9, 2), seed_of(1, "a", 8, 3)}
    assert len(others | {seed_of(1, "a", 8, 2)}) == 5
    assert all(0 <= seed < 2**63 for seed in others)


def test_a_scenario_gives_each_entry_every_wind_seed_and_phase(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    assert (scenario.reference.name, scenario.candidate.name) == ("stiff", "soft")
    for entry in scenario.entries:
        cases = scenario.cases_of(entry)
        assert [c.load_case for c in cases] == ["extreme"] * 4 + ["gust"] * 4
        assert [c.simulated_s for c in cases] == [80.0] * 4 + [50.0] * 4
    assert len({case.key for case in scenario.cases}) == 16


def test_competing_entries_meet_the_same_winds(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    stiff, soft = (scenario.cases_of(entry) for entry in scenario.entries)
    assert [case.wind for case in stiff] == [case.wind for case in soft]
    assert len({case.wind_key for case in scenario.cases}) == 5


def test_order_in_the_file_changes_no_case(tmp_path: Path) -> None:
    before = keys(load(tmp_path / "a"))
    assert keys(
        load(tmp_path / "b", ("[11, 13]", "[13, 12, 11.0]"), ("seeds = 2", "seeds = 3"))
    ) | before == keys(load(tmp_path / "c", ("[11, 13]", "[11, 12, 13]"), ("seeds = 2", "seeds = 3")))
    first, second = SCENARIO.split("[[winds]]")[1:], SCENARIO.split("[[winds]]")[0]
    swapped = second + "[[winds]]" + first[1].split("[[entries]]")[0] + "[[winds]]" + first[0]
    swapped += "[[entries]]" + SCENARIO.split("[[entries]]", 1)[1]
    assert keys(load_scenario(write(tmp_path / "d", swapped))) == before


def test_another_place_on_disk_changes_no_case(tmp_path: Path) -> None:
    assert keys(load(tmp_path / "a")) == keys(load(tmp_path / "b"))


def test_an_edited_layer_file_changes_the_cases_of_its_stack_alone(tmp_path: Path) -> None:
    before = keys(load(tmp_path))
    after = keys(load_scenario(write(tmp_path, layer=LAYER + "\n# another thought\n")))
    changed = {place for place in before if before[place] != after[place]}
    assert changed == {place for place in before if place[0] == "soft"}


def test_naming_a_default_changes_no_case(tmp_path: Path) -> None:
    edit = ("parameters = { Nudge = { size_deg = 2.0 } }", "")
    said = ("size_deg = 2.0", "size_deg = 1.0")
    assert keys(load(tmp_path / "a", edit)) == keys(load(tmp_path / "b", said))


def test_another_seed_changes_every_turbulent_field(tmp_path: Path) -> None:
    before, after = load(tmp_path), load(tmp_path, seed=4)
    assert not {c.wind_key for c in before.cases if not c.is_event} & {c.wind_key for c in after.cases}
    assert not {case.key for case in before.cases} & {case.key for case in after.cases}


def test_sensors_come_in_si_units_with_their_own_or_the_common_delay(tmp_path: Path) -> None:
    sensors = load(tmp_path).cases[0].sensors
    assert dict(sensors.delays)["pitch"] == 0.04
    assert dict(sensors.delays)["azimuth"] == 0.12
    assert dict(sensors.noises)["root_flap_moment"] == 100e3
    assert dict(sensors.noises)["rotor_speed"] == pytest.approx(0.02 * 2 * math.pi / 60)
    assert "last_pass_clearance" not in dict(sensors.noises)


def test_phases_of_alike_blades_are_spread_between_two_blades(tmp_path: Path) -> None:
    azimuths = [case.run.azimuth for case in load(tmp_path).cases if case.is_event][:4]
    assert azimuths == pytest.approx([0.0, math.pi / 6, math.pi / 3, math.pi / 2])
    uneven = load(tmp_path, overrides=[("blade.offsets.pitch_deg", "[0.3, 0, 0]")])
    azimuths = [case.run.azimuth for case in uneven.cases if case.is_event][:4]
    assert azimuths == pytest.approx([0.0, math.pi / 2, math.pi, 3 * math.pi / 2])


def test_setting_a_turbine_key_reaches_every_entry_and_beats_the_file(tmp_path: Path) -> None:
    scenario = load(tmp_path, overrides=[("rotor.tilt_deg", "6"), ("blade.flap_stiffness_factor", "0.9")])
    assert [entry.design.rotor.tilt for entry in scenario.entries] == [math.radians(6.0)] * 2
    stiff, soft = (entry.design.blade.flap_stiffness for entry in scenario.entries)
    assert np.array_equal(stiff, soft)


def test_an_entry_is_softened_alone(tmp_path: Path) -> None:
    stiff, soft = load(tmp_path).entries
    assert soft.design.blade.flap_stiffness == pytest.approx(0.8 * stiff.design.blade.flap_stiffness)


def test_an_entry_can_be_set_by_its_name(tmp_path: Path) -> None:
    scenario = load(tmp_path, overrides=[("entries.soft.parameters.Nudge.size_deg", "3.5")])
    assert dict(scenario.candidate.stack[1].parameters) == {"size_deg": 3.5}


def test_files_set_from_the_command_line_are_found_from_the_working_directory(
    tmp_path: Path, monkeypatch
) -> None:
    write(tmp_path)
    monkeypatch.chdir(tmp_path)
    stack = ("entries.guarded.stack", '["power", "nudge.py:Nudge"]')
    unguarded = ("entries.guarded.parameters", "{}")
    scenario = load_scenario("hollin-fell", [stack, unguarded])
    assert [layer.name for layer in scenario.candidate.stack] == ["power", "Nudge"]


def test_a_users_layer_is_made_again_and_refused_once_it_changed(tmp_path: Path) -> None:
    layer = load(tmp_path).candidate.stack[1]
    assert layer.load().size_deg == 2.0
    (tmp_path / "nudge.py").write_text(LAYER + "\n")
    with pytest.raises(InputError, match=r"nudge\.py: changed while the campaign was running"):
        layer.load()


def test_a_turbine_that_changed_meanwhile_is_refused() -> None:
    with pytest.raises(InputError, match="changed while the campaign was running"):
        TurbineSpec("skerry", (), "content of before").load()


FAULTS = {
    "unknown key": (
        ("share = 0.3", "share = 0.3\nshar = 0.3"),
        r"small\.toml:18: .*shar = 0\.3; unknown key.*'share'",
    ),
    "missing key": (("delay_s = 0.12\n", ""), r"small\.toml:19: sensors\.delay_s is missing"),
    "wrong type": (
        ("seeds = 2", 'seeds = "two"'),
        r'small\.toml:35: winds\[0\]\.seeds = "two"; must be a whole',
    ),
    "out of range": (
        ("duration_s = 60", "duration_s = -60"),
        r"small\.toml:5: duration_s = -60; must be a number >= 5",
    ),
    "unknown word": (("extreme_turbulence", "extrem_turbulence"), r"small\.toml:33: .*'extreme_turbulence'"),
    "unknown layer": (
        ('["power"]', '["pover"]'),
        r"small\.toml:45: entries\[0\]\.stack\[0\]: unknown layer 'pover'; did you mean 'power'",
    ),
    "no such file": (("nudge.py:Nudge", "nodge.py:Nudge"), r"small\.toml:49: .*nodge\.py: no such file"),
    "no such class": (
        ("nudge.py:Nudge", "nudge.py:Nodge"),
        r"small\.toml:49: .*no class 'Nodge'; did you mean 'Nudge'",
    ),
    "unknown parameter": (
        ("size_deg = 2.0", "sice_deg = 2.0"),
        r"small\.toml:50: .*unknown parameter 'sice_deg'; did you mean 'size_deg'",
    ),
    "parameters of no layer": (
        ("{ Nudge", "{ Nodge"),
        r"small\.toml:50: .*no such layer in the stack; did you mean 'Nudge'",
    ),
    "unknown turbine key": (
        ("flap_stiffness_factor", "flap_stiffnes"),
        r"small\.toml:51: entries\[1\]\.set: .*unknown key; did you mean 'blade\.flap_stiffness_factor'",
    ),
    "unknown turbine": (('"skerry"', '"skery"'), r"small\.toml:3: turbine 'skery' .*did you mean 'skerry'"),
    "no power": (('["power", "nudge', '["nudge'), r"small\.toml:49: .*the lowest layer must make power"),
    "layer twice": (
        ('"nudge.py:Nudge"]', '"nudge.py:Nudge", "nudge.py:Nudge"]'),
        r'small\.toml:49: entries\[1\]\.stack\[2\] = "nudge\.py:Nudge"; is in the stack twice; remove one.*'
        r"\(entry 'soft': power \+ nudge\.py:Nudge \+ nudge\.py:Nudge\)",
    ),
    "power on top": (
        ('["power", "nudge.py:Nudge"]', '["nudge.py:Nudge", "power"]'),
        r"small\.toml:49: entries\[1\]\.stack\[0\] .*must make power: tower-pass logic .*put 'power'(.|\n)*"
        r"small\.toml:49: entries\[1\]\.stack\[1\] = \"power\"; .*overrules .*move it to the bottom",
    ),
    "speed beyond cut-out": (
        ("[11, 13]", "[11, 33]"),
        r"small\.toml:34: winds\[0\]\.speeds_m_s\[1\] = 33\.0; must be from cut-in",
    ),
    "speed twice": (("[11, 13]", "[11, 11.0]"), r"speeds_m_s\[1\] = 11\.0; is there twice"),
    "seeds of a gust": (("phases = 4", "seeds = 4"), r"winds\[1\]\.phases is missing"),
    "name twice": (('"soft"', '"stiff"'), r'small\.toml:48: entries\[1\]\.name = "stiff"; must differ'),
    "delay of no sensor": (("pitch_delay_s", "tip_distance_delay_s"), r"no such sensor is fitted"),
    "not TOML": (("[site]", "[site"), r"small\.toml:8: not TOML"),
}


class Maker:
    power, tower_pass = True, False


class OtherMaker(Maker):
    pass


class Passer:
    tower_pass = True


class Adjuster:
    tower_pass = False


class Watcher(Passer):
    watches = True


@pytest.mark.parametrize(
    ("layers", "told"),
    [
        ([Maker()], {}),
        ([Maker(), Passer()], {}),
        ([Maker(), OtherMaker()], {1: "keep one of the two"}),
        ([Maker(), Passer(), OtherMaker()], {2: "keep one of the two"}),
        ([Maker(), Maker()], {1: "is in the stack twice"}),
        ([Maker(), Passer(), Passer()], {2: "is in the stack twice"}),
        ([Maker(), Adjuster(), Passer(), Watcher()], {}),
        ([Maker(), Passer(), Adjuster()], {2: "must stand below tower-pass logic ('Passer')"}),
        ([Maker(), Watcher(), Passer()], {1: "not 'Passer'; move it to the top"}),
        ([Passer(), Maker()], {0: "must make power", 1: "move it to the bottom"}),
        ([Passer()], {0: "must make power"}),
    ],
)
def test_a_stack_is_refused_where_a_layer_would_undo_another(layers: list, told: dict[int, str]) -> None:
    names = [type(layer).__name__ for layer in layers]
    found = dict(order_problems(names, layers))
    assert found.keys() == told.keys()
    assert all(words in found[place] for place, words in told.items())


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_with_file_line_key_value_and_what_is_allowed(tmp_path: Path, fault: str) -> None:
    edit, message = FAULTS[fault]
    with pytest.raises(InputError, match=message):
        load(tmp_path, edit)


def test_a_layer_file_that_does_not_import_is_told_with_its_line(tmp_path: Path) -> None:
    path = write(tmp_path, layer="x = 1\nimport nowhere_to_be_found\n")
    with pytest.raises(InputError, match=r"nudge\.py:2: does not import: ModuleNotFoundError"):
        load_scenario(path)


def test_a_layer_that_reads_a_sensor_that_is_not_fitted_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, layer=LAYER.replace('("azimuth",)', '("tip_distance",)'))
    with pytest.raises(
        InputError, match=r"it reads 'tip_distance', which no sensor gives; give sensors\.tip"
    ):
        load_scenario(path)


@pytest.mark.parametrize(
    ("key", "message"),
    [
        ("blad.mass_factor", r"--set: blad\.mass_factor = 1; unknown key; did you mean 'blade'"),
        ("guard.margin_m", r"'guard' is a layer, .*: entries\.NAME\.parameters\.guard\.margin_m"),
        ("rotor.tild_deg", r"--set: rotor\.tild_deg = 1; unknown key; did you mean 'rotor\.tilt_deg'"),
        ("winds[7].seeds", r"--set: winds\[7\]\.seeds = 1; \[7\] is not there"),
        ("site.upflow", r"--set: .*site\.upflow = 1; unknown key; did you mean .*upflow_deg"),
    ],
)
def test_a_wrong_option_is_told_as_such(tmp_path: Path, key: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        load(tmp_path, overrides=[(key, "1")])


def test_an_unknown_scenario_is_told_with_the_nearest_names() -> None:
    with pytest.raises(InputError, match=r"scenario 'hollin-fel' .*did you mean 'hollin-fell'"):
        load_scenario("hollin-fel")


def test_the_demo_asks_for_five_entries_with_the_candidate_last() -> None:
    scenario = load_scenario("hollin-fell")
    assert len(scenario.entries) == 5
    assert [layer.name for layer in scenario.candidate.stack] == ["power", "guard"]
    gusts = [case for case in scenario.cases_of(scenario.candidate) if case.load_case == "operating gust"]
    assert {case.number for case in gusts} >= set(range(1, 13))
    assert len({case.key for case in scenario.cases}) == len(scenario.cases)


def test_every_key_of_a_scenario_is_documented() -> None:
    for row, _ in scenario_key_table():
        assert row.meaning, row.key


def test_a_period_too_long_for_the_stiffest_mode_is_refused_with_the_mode_and_the_limit():
    with pytest.raises(InputError, match=r"period_s = 0\.5; must be at most 0\.1\d+ s.*flap_2"):
        load_scenario("hollin-fell", [("period_s", "0.5")])


@pytest.mark.parametrize("name", ["../../evil", "a/b", ".hidden", "a\\b"])
def test_a_name_that_would_leave_the_output_folder_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="name = "):
        load_scenario("hollin-fell", [("name", name)])
