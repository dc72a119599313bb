"""The shelf's table and its robustness lines, from a small scenario and from cases changed one by one."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ttest_rel

from scenarios.cli import main
from scenarios.load import load_scenario
from scenarios.pruning import unasked
from scenarios.store import Store
from scenarios.studies.robustness import WORDS, change, clearance_change
from sim.plant.geometry import unloaded_clearance
from sim.plant.trim import steady_table

SMALL = [
    ("duration_s", "15"),
    ("settle_s", "5"),
    ("winds", '[{label = "gusty", kind = "extreme_turbulence", speeds_m_s = [11], seeds = 2}]'),
]


@pytest.fixture(scope="module")
def shelf():
    return load_scenario("shelf")


def test_every_shipped_layer_stands_on_the_shelf_and_every_speed_has_the_six_seeds_of_the_rule(shelf):
    from controllers.registry import OURS

    assert {layer.name for entry in shelf.entries for layer in entry.stack} == set(OURS)
    assert len({entry.turbine.content for entry in shelf.entries}) == 1
    for entry in shelf.entries:
        speeds = [(case.load_case, case.wind.speed) for case in shelf.cases_of(entry)]
        assert all(speeds.count(speed) >= 6 for speed in speeds)


def test_each_change_changes_what_it_names_and_nothing_else(shelf):
    entry = shelf.entries[5]
    case, design = shelf.cases_of(entry)[0], entry.design
    later = change(case, design, "more_delay")
    for (_, old), (_, new) in zip(case.sensors.delays, later.sensors.delays, strict=True):
        # 0.3 s in whole periods of 0.04 s, rounded up.
        assert new - old == pytest.approx(0.32)
    details = change(case, design, "sensor_bias").sensors.details
    biased = {sensor: dict(detail)["bias"] for sensor, detail in details if "bias" in dict(detail)}
    assert biased["last_pass_clearance"] == pytest.approx(0.05 * unloaded_clearance(design))
    assert biased["root_flap_moment"] == pytest.approx(-0.05 * np.max(steady_table(design).root_flap_moment))
    softer = change(case, design, "softer_blades").turbine.load().blade
    assert softer.stiffness_factor == pytest.approx(0.9 * design.blade.stiffness_factor)
    assert softer.flap_stiffness == pytest.approx(design.blade.flap_stiffness)
    turned = change(case, design, "pitch_offset").turbine.load().blade
    assert np.degrees(turned.pitch_offset - design.blade.pitch_offset) == pytest.approx([-0.3, 0.0, 0.0])
    keys = {case.key, *(change(case, design, name).key for name in WORDS)}
    assert len(keys) == 1 + len(WORDS)
    assert {change(case, design, name).wind_key for name in WORDS} == {case.wind_key}


def test_a_change_over_seeds_has_the_interval_of_students_paired_comparison():
    """Expanded percentiles of a mean follow Student's interval (scipy) within some percent."""
    draw = np.random.default_rng(3)
    before = draw.normal(5.0, 1.0, 40)
    after = before - 0.3 + draw.normal(0.0, 0.1, 40)
    found = clearance_change("turbulence", before, after)
    law = ttest_rel(after, before)
    ends = law.confidence_interval(0.95)
    assert found.value == pytest.approx(np.mean(after) - np.mean(before))
    assert (found.low, found.high) == pytest.approx((ends.low, ends.high), abs=0.1 * (ends.high - ends.low))
    assert found.high - found.low < 0.1, "scatter between seeds, the same before and after, is taken out"


@pytest.mark.parametrize(("kind", "value"), [("event", -1.0), ("fault", -1.5), ("steady", -1.0)])
def test_a_change_in_other_winds_keeps_their_rule_and_has_no_interval(kind, value):
    """The worst phase falls from 3 to 2; the mean of the worse half of four from (3 + 5)/2 to (2 + 3)/2."""
    found = clearance_change(kind, np.array([3.0, 5.0, 6.0, 7.0]), np.array([9.0, 2.0, 3.0, 8.0]))
    assert found.value == value
    assert np.isnan(found.low) and kind in found.method


def test_a_change_of_which_a_case_failed_is_not_told():
    found = clearance_change("turbulence", np.array([3.0, 5.0]), np.array([np.nan, 5.0]))
    assert np.isnan(found.value) and found.method == "undefined: a case failed"


@pytest.mark.slow
def test_the_study_tells_the_shelf_and_its_robustness_in_text_json_and_page(tmp_path: Path, capsys):
    entries = '[{name = "p", stack = ["power"]}, {name = "s", stack = ["power", "scheduled"]}]'
    asked = [*SMALL, ("entries", entries), ("questions", '["passes", "shelf", "robustness"]')]
    sets = [part for key, value in asked for part in ("--set", f"{key}={value}")]
    where = ["--store", str(tmp_path / "store"), "--out", str(tmp_path), "--jobs", "0", "--quiet"]
    assert main(["study", "shelf", "--json", *sets, *where]) in (0, 1)
    told = json.loads(capsys.readouterr().out)
    assert not unasked(Store(tmp_path / "store"))
    power, pulsed = told["shelf"]
    assert pulsed["characteristic_clearance_m"] > power["characteristic_clearance_m"]
    assert pulsed["needless"] > 0.0 and power["needless"] == 0.0
    assert power["call_yardsticks"] > 0.0
    for row in told["robustness"]:
        # Softer blades, and one that is set finer, come nearer; a permanent pulse reads no clearance.
        assert row["softer_blades_m"] < -0.1
        assert row["pitch_offset_m"] < 0.05
        softer = row["softer_blades_interval_m"]
        assert softer["low"] <= row["softer_blades_m"] <= softer["high"] or softer["seeds"] == 1
    assert told["robustness"][0]["sensor_bias_m"] == 0.0
    page = Path(told["page"]).read_text(encoding="utf-8")
    assert "The shelf compared" in page and "How robust each stack is" in page
    assert main(["study", "shelf", *sets, *where]) in (0, 1)
    text = capsys.readouterr().out
    assert "blades 10 % softer" in text and "largest tower MNm" in text
