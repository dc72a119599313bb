"""The frontier: its oracle in closed form, its verdict on made-up settings, and the crude guard in it."""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from controllers.crude import CrudeGuard
from scenarios.answer import Options
from scenarios.cli import main
from scenarios.load import load_scenario
from scenarios.studies import frontier
from scenarios.studies.frontier import _oracle, _verdict, verdict_lines
from sim.errors import InputError
from sim.plant.trim import steady_table
from tests import small_machine as small


@pytest.fixture(scope="module")
def asked():
    return load_scenario("frontier")


def test_the_oracles_travel_is_twice_what_each_pass_lacked_over_the_relief_of_its_pitch(asked):
    # Two passes lack 0.4 and 1.0 m, one nothing, all at a point of the steady table: 2 sum lack / relief.
    design = asked.entries[0].design
    steady = steady_table(design)
    point = int(np.argmax(np.asarray(steady.pitch) > np.deg2rad(8.0)))
    passes = {"pitch_rad": np.full(4, steady.pitch[point]), "clearance_m": np.array([3.6, 3.0, 5.0, 1.0])}
    reference = SimpleNamespace(gathered=SimpleNamespace(passes=passes, entry=SimpleNamespace(design=design)))
    inside = np.array([True, True, True, False])
    relief = abs(float(steady.deflection_per_pitch[point])) * np.pi / 180.0
    exact = 2.0 * (0.4 + 1.0) / relief / 3 / 0.5
    assert _oracle(reference, inside, 4.0, 0.5) == pytest.approx(exact, rel=1e-9)


def test_the_verdict_takes_the_least_travel_that_misses_few_enough_and_says_so_where_none_does():
    rows = [
        {"layer": layer, "missed_share": missed, "extra_travel_deg_per_hour": travel, "broken_passes": 1}
        | {"parameter": "margin_m", "value": 0.7, "demands": 210.4, "missed_interval": {"high": 0.0349}}
        for layer, missed, travel in [
            ("scheduled", 0.5, 500.0),
            ("scheduled", 0.0, 2000.0),
            ("scheduled", 0.01, 1000.0),
            ("guard", 0.005, 150.0),
            ("guard", 0.0, 300.0),
            ("guard", 0.02, 90.0),
            ("learning", 0.2, 50.0),
            ("learning", math.nan, 60.0),
        ]
    ]
    found = {row["layer"]: row for row in _verdict(rows, 30.0)}
    assert found["guard"]["extra_travel_deg_per_hour"] == 150.0
    assert found["guard"]["over_permanent_pulse"] == pytest.approx(0.15)
    assert found["guard"]["over_oracle"] == pytest.approx(5.0)
    assert math.isnan(found["learning"]["extra_travel_deg_per_hour"])
    lines = verdict_lines({"verdict": list(found.values())})
    assert lines[1] == (
        "guard, margin_m 0.7: 0.5 % of about 210 demands missed (95 % interval up to 3 %), passes broken: 1; "
        "150 deg/h more, 0.15 of the permanent pulse's, 5.0 times the oracle's."
    )
    assert lines[2] == "learning: misses more than 1 %, or met no demand, at every setting."


def test_a_frontier_without_extreme_turbulence_is_refused(asked):
    gathered = SimpleNamespace(cases=[SimpleNamespace(wind=SimpleNamespace(kind="normal_turbulence"))])
    reference = SimpleNamespace(has_logic=False, gathered=gathered)
    with pytest.raises(
        InputError, match=r"questions = frontier; needs a first entry without tower-pass logic"
    ):
        frontier.frontier(asked, [reference], None, Options())


def test_the_crude_guard_pitches_a_degree_for_each_half_metre_that_three_weighed_passes_fall_short():
    layer, known = CrudeGuard(margin_m=2.0), small.known(1)
    state = layer.init(known, small.readings(1))
    below, rows = small.no_commands(1), []
    for step in range(round(2 * np.pi / small.RATED_SPEED / small.PERIOD)):
        witnesses = {"newest": 5.0, "second": 4.0, "third": 3.0}
        state = state | {name: np.full(1, value) for name, value in witnesses.items()}
        azimuth = (step * small.PERIOD * small.RATED_SPEED) % (2 * np.pi)
        state, command = layer.step(state, small.readings(1, azimuth=azimuth), below, below)
        rows.append((azimuth, command.pitch[0, 0]))
    rows = np.array(rows)
    short = small.REQUIRED + 2.0 - (0.6 * 5.0 + 0.25 * 4.0 + 0.15 * 3.0)
    assert np.rad2deg(rows[:, 1].max()) == pytest.approx(2.0 * short, rel=2e-3)
    assert np.rad2deg(rows[np.argmax(rows[:, 1]), 0]) == pytest.approx(150.0, abs=2.0)
    outside = np.abs(np.rad2deg(rows[:, 0]) - 150.0) > 57.0
    assert np.all(rows[outside, 1] == 0.0)


@pytest.mark.slow
def test_the_study_tells_the_frontier_in_text_json_and_page(tmp_path: Path, capsys):
    entries = '[{name = "p", stack = ["power"]}, {name = "s", stack = ["power", "scheduled"]}]'
    winds = '[{label = "gusty", kind = "extreme_turbulence", speeds_m_s = [11], seeds = 2}]'
    asked = {"entries": entries, "winds": winds, "duration_s": "20", "settle_s": "5"}
    sets = [part for key, value in asked.items() for part in ("--set", f"{key}={value}")]
    where = ["--store", str(tmp_path / "store"), "--out", str(tmp_path), "--jobs", "0", "--quiet"]
    assert main(["study", "frontier", "--json", *sets, *where]) in (0, 1)
    found = json.loads(capsys.readouterr().out)
    points = found["frontier"]["points"]
    assert [point["value"] for point in points] == [1.0, 1.5, 2.0, 3.0]
    travel = [point["extra_travel_deg_per_hour"] for point in points]
    assert np.all(np.diff(travel) > 0.0)
    # A pulse of amplitude A travels 2 A a turn, at about 11 turns a minute, less what the rate limit takes.
    assert travel[3] == pytest.approx(2 * 3.0 * 60 * 10.5, rel=0.15)
    assert "What a miss less costs in travel" in Path(found["page"]).read_text(encoding="utf-8")
