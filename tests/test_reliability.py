"""The reliability study, part by part: what it counts, finds, writes and refuses."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from scenarios.answer import to_json
from scenarios.asked import Asked
from scenarios.bench_run import bench_case, simulate
from scenarios.calibration_run import calibration_case, matched
from scenarios.calibration_run import simulate as calibrate
from scenarios.load import load_scenario
from scenarios.pruning import unasked
from scenarios.report.page import BREAKS, UNKNOWN
from scenarios.report.reliability import verdict
from scenarios.store import Store
from scenarios.studies import matrix, odds, room
from scenarios.studies.bench import bench_of, pairs_of
from scenarios.studies.calibration import calibrated, calibration_text
from scenarios.studies.integrity import integrity_data, integrity_text
from scenarios.studies.ledger import ledger_data, rebounds
from scenarios.studies.odds_telling import agreement, odds_data, odds_text, unseen_text, yearly_text
from scenarios.studies.reliability import run
from scenarios.studies.replay import replay_file
from scenarios.studies.worksheet import worksheet
from scenarios.window_job import Span
from sim.errors import InputError
from sim.measures.statistics import Interval
from tests.brisk import FILE, Brisk, brisk

SMALL = matrix.MatrixEffort(10.0, 3.0, 12.0, 1, 1, 1, False)


@pytest.fixture(scope="module")
def small() -> Brisk:
    return brisk()


def test_the_ledger_sums_to_the_passes_and_its_rates_to_its_counts(small: Brisk) -> None:
    rows = ledger_data(small.scenario, small.judged.entries)
    for row, entry in zip(rows, small.judged.entries, strict=True):
        assert sum(row["counts"].values()) == pytest.approx(entry.pass_count)
        normal = entry.gathered.normal
        judged_h = np.sum(entry.gathered.column("judged_s")[normal]) / 3600.0
        if not np.any(entry.ledger.counts[normal][:, 1:]):
            assert row["rates"]["broken"]["per_hour"]["high"] > 0.0
        # Both speeds have as many seeds: the rate lies between those of the two winds.
        told = row["rates"]["needless"]["per_hour"]["value"]
        each = entry.ledger.counts[normal, 3].reshape(2, -1).sum(axis=1) / (0.5 * judged_h)
        assert each.min() - 1e-9 <= told <= each.max() + 1e-9


def test_a_pass_that_breaks_in_the_swing_after_an_action_is_the_logics_harm(small: Brisk) -> None:
    entry = small.judged.entries[-1]
    passes = entry.gathered.passes
    quiet = np.flatnonzero(~passes["acted"].astype(bool))[:2]
    swung = {name: column.copy() for name, column in passes.items()}
    swung["clearance_m"][quiet] = entry.gathered.required - 0.1
    swung["clearance_without_m"][quiet] = entry.gathered.required + np.array([0.1, -0.05])
    entry.gathered.__dict__["passes"] = swung
    try:
        assert rebounds(entry.gathered).tolist() == [quiet[0]]
    finally:
        entry.gathered.__dict__["passes"] = passes


def test_a_listed_pass_is_marched_again_by_its_own_scenario_file(small: Brisk, tmp_path: Path) -> None:
    entry = small.judged.entries[-1]
    told = ledger_data(small.scenario, small.judged.entries)[-1]["worst"]["saved"][0]
    case = entry.gathered.cases[told["case_index"]]
    path = tmp_path / "again.toml"
    path.write_text(replay_file(small.scenario, small.scenario.entries[-1], case, told), encoding="utf-8")
    again = load_scenario(path)
    same = [other for other in again.cases if other.key == case.key]
    assert len(same) == 1 and len(again.entries) == 1


def test_the_bench_has_what_can_happen_to_the_scenario(small: Brisk) -> None:
    names = [fault.name for fault in bench_of(small.scenario)]
    assert "pass reading silent" in names and "servo stuck" in names
    assert all(spec.sensor != "tip_distance" for f in bench_of(small.scenario) for spec in f.specs)
    rates = {fault.name: fault.rate_per_year for fault in bench_of(small.scenario)}
    assert rates["servo stuck"] == 0.3 and rates["pass reading silent"] == 0.15
    one, two = matrix.bench_of(small.scenario)[0], pairs_of(small.scenario)[0]
    assert len(one.specs) == 1 and len(two.specs) == 2
    own = load_scenario("bad-day")
    assert len(bench_of(own)) == len({fault["name"] for fault in own.keys["faults"]})


def test_two_blades_have_every_fault_that_three_have(small: Brisk) -> None:
    pair = load_scenario(FILE, [("rotor.blade_count", 2)])
    three, two = bench_of(small.scenario), bench_of(pair)
    assert [fault.name for fault in two] == [fault.name for fault in three]
    assert max(spec.blade or 0 for fault in three for spec in fault.specs) == 2
    assert max(spec.blade or 0 for fault in two for spec in fault.specs) == 1


def test_a_forecast_of_known_error_is_told_its_error_and_slope() -> None:
    # Foreseen f, came 2 + 0.5 f + noise: slope 0.5, and errors f - came with their exact moments.
    rng = np.random.Generator(np.random.Philox(3))
    results = []
    for _ in range(40):
        foreseen = rng.normal(3.0, 1.0, 50)
        came = 2.0 + 0.5 * foreseen + rng.normal(0.0, 0.4, 50)
        results.append({"foreseen_m": foreseen, "without_m": came, "weight": np.ones(50), "actions": 50})
    data = calibrated(results, ["one wind"] * 40)
    # From 2000 pairs: four standard deviations of mean, deviation and slope are 0.06, 0.04 and 0.036.
    assert data["error_mean_m"]["value"] == pytest.approx(-0.5, abs=0.06)
    assert data["error_deviation_m"]["value"] == pytest.approx(np.hypot(0.5, 0.4), abs=0.04)
    assert data["slope"]["value"] == pytest.approx(0.5, abs=0.036)
    assert data["slope"]["low"] < 0.5 < data["slope"]["high"]
    assert calibrated([], [])["problem"] == "no run"


@pytest.mark.filterwarnings("error")
def test_a_seed_without_actions_leaves_draws_out_in_silence_and_one_seed_gives_no_interval() -> None:
    one = {"foreseen_m": np.array([3.0, 4.0]), "without_m": np.array([2.0, 5.0]), "weight": np.ones(2)}
    none = {name: np.empty(0) for name in one}
    seeds = [{**kind, "actions": len(kind["weight"])} for kind in (one, none)]
    both = calibrated(seeds, ["one wind"] * 2)  # a quarter of the draws takes the second seed twice
    assert both["error_mean_m"] == {"value": 0.0, "low": 0.0, "high": 0.0}
    alone = calibrated(seeds[:1], ["one wind"])
    assert "too hopeful in 50 (no interval) %" in calibration_text("x", alone)


def test_forecasts_meet_the_next_pass_of_their_own_blade() -> None:
    passes = {
        "blade": np.array([0, 1, 0, 1]),
        "time_s": np.array([1.0, 2.0, 3.0, 4.0]),
        "acted": np.array([True, True, True, True]),
        "weight": np.array([1.0, 2.0, 0.0, 1.0]),
        "clearance_without_m": np.array([3.0, 4.0, 5.0, np.nan]),
    }
    told = matched(passes, [(1, 10, 3.5), (0, 20, 9.0), (1, 30, 9.0), (0, 99, 9.0)], 0.1, 0.0)
    # Blade 1 at 1 s meets its pass at 2 s; the others have no fork, no answer or no pass.
    assert told["foreseen_m"].tolist() == [3.5] and told["without_m"].tolist() == [4.0]
    assert told["weight"].tolist() == [2.0] and int(told["actions"]) == 4


def test_the_guards_forecasts_are_found_in_its_state(small: Brisk) -> None:
    cases = [c for c in small.scenario.cases_of(small.scenario.candidate) if not c.is_event and c.number == 4]
    results = calibrate([calibration_case(case, 60.0) for case in cases])
    foreseen = np.concatenate([result["foreseen_m"] for result in results])
    assert foreseen.size > 0 and np.all((foreseen > -5.0) & (foreseen < 12.0))


@pytest.mark.parametrize(
    ("left", "before", "word"),
    [
        (5.0, 5.1, "held"),
        (4.5, 5.1, "thinner"),
        (3.8, 5.0, "broken"),
        (0.0, 5.0, "struck"),
        (3.8, 3.8, "broken"),
    ],
)
def test_outcomes_part_at_contact_requirement_and_what_was_lost(
    left: float, before: float, word: str
) -> None:
    assert matrix.outcome(left, before, 3.9) == word


@pytest.fixture(scope="module")
def faulty(small: Brisk) -> dict[str, Any]:
    chosen = ("servo runs to fine", "emergency stop", "servo stuck")
    scenario = small.scenario
    keys = dict(scenario.keys)
    path = load_scenario("bad-day")
    keys["faults"] = [fault for fault in path.keys["faults"] if fault["name"] in chosen]
    scenario = replace(scenario, keys=keys)
    data = matrix.run_matrix(scenario, small.store, small.options, SMALL)
    return data | {"sheet": worksheet(scenario, data)}


def test_the_matrix_compares_each_fault_with_the_same_wind_without_it(faulty: dict[str, Any]) -> None:
    assert not faulty["failed_cases"]
    rows = {(row["fault"], row["stack"]): row for row in faulty["rows"]}
    for (fault, stack), row in rows.items():
        place = (stack, row["phase"])
        healthy = next(item for item in faulty["healthy"] if (item["stack"], item["phase"]) == place)
        assert row["clearance_without_fault_m"] == healthy["clearance_m"], fault
    # A blade that runs to fine pitch meets more load than its fellows: its clearance cannot grow.
    for stack in faulty["stacks"]:
        row = rows["servo runs to fine", stack]
        assert row["clearance_m"] <= row["clearance_without_fault_m"] + 0.05
        assert row["fell_back_to"] in (*matrix.MODES, "no supervisor")
    assert sum(item["runs"] for item in faulty["summary"]) == len(faulty["rows"])


def test_each_run_with_a_fault_starts_from_the_position_of_its_sound_twin(small: Brisk) -> None:
    marched: list[Any] = []

    def caught(self: Any, cases: Any, *rest: Any) -> Any:
        marched.extend(cases)
        return SimpleNamespace(results={}, tally=SimpleNamespace(failed={}))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Asked, "run", caught)
        matrix.run_matrix(small.scenario, small.store, small.options, replace(SMALL, phases=3))
    sound = {(case.entry, case.wind, case.run.azimuth) for case in marched if not case.faults}
    broken = {(case.entry, case.wind, case.run.azimuth) for case in marched if case.faults}
    assert len({azimuth for *_, azimuth in sound}) == 3
    assert broken == sound


def test_false_alarms_are_told_with_the_exact_interval_over_winds() -> None:
    runs = [
        {"stack": "a", "wind": f"{n}", "phase": phase, "false_alarm": n == 0 and phase == 1, "hours": 0.01}
        for n in range(4)
        for phase in range(3)
    ]
    (told,) = matrix.false_alarms(runs)
    exact = stats.binomtest(1, 4).proportion_ci(0.95, method="exact")
    assert (told["runs"], told["runs_with_alarm"], told["winds"]) == (12, 1, 4)
    assert told["share_of_winds"] == pytest.approx({"value": 0.25, "low": exact.low, "high": exact.high})
    assert "1 of 12 healthy runs, 0.12 h; in 25 % (1..81) of 4 winds" in matrix.alarm_text(told)


def test_the_worksheet_has_a_row_for_each_run_and_the_trades_columns(faulty: dict[str, Any]) -> None:
    table = list(csv.DictReader(io.StringIO(faulty["sheet"])))
    assert len(table) == len(faulty["rows"])
    for column in ("item", "function", "failure mode", "cause", "local effect", "end effect", "detection"):
        assert all(row[column] for row in table), column
    assert {row["severity"] for row in table} == {""}  # ratings are its users' own
    assert "failed" not in to_json({key: faulty[key] for key in ("summary",)})


def test_room_is_where_counts_by_hand_say_it_is(small: Brisk, monkeypatch: pytest.MonkeyPatch) -> None:
    # Broken passes from a stand-in for the march: each knob fails beyond a known amount.
    limits = {"delay": 0.42, "noise": 3.0}

    class Campaign:
        def __init__(self, cases: Any) -> None:
            self.results = {case.key: _counted(case) for case in cases}
            self.tally = SimpleNamespace(failed={})

    def _counted(case: Any) -> dict[str, Any]:
        delay = dict(case.sensors.delays)["azimuth"] - 0.12
        noise = dict(case.sensors.noises)["power"] / 20e3 - 1.0
        broken = 1 + (delay > limits["delay"] + 1e-9) + (noise > limits["noise"])
        return {"passes.clearance_m": np.array([3.0] * broken + [9.0]), "cases.status": np.array(0)}

    monkeypatch.setattr(Asked, "run", lambda self, cases, *rest: Campaign(cases))
    data = room.run_room(small.scenario, small.store, small.options, room.RoomEffort(1.0, 5.0, 1, 1, 9))
    told = {row["what"]: row for row in data["rows"]}
    delay = told["more delay of all sensors"]
    assert delay["bears"] == pytest.approx(0.40) and delay["breaks_at"] == pytest.approx(0.44)
    noise = told["more noise of all sensors"]
    assert noise["bears"] <= 3.0 < noise["breaks_at"] and noise["breaks_at"] - noise["bears"] < 0.05
    assert np.isnan(told["slower servos"]["breaks_at"])
    assert "0.4 s" in room.room_text(data) and "and more" in room.room_text(data)


def test_a_turned_knob_turns_what_it_names_and_nothing_else(small: Brisk) -> None:
    case = small.scenario.candidate_case
    for knob in room._knobs(small.scenario):
        turned = knob.turn(case, 0.08)
        assert turned.wind == case.wind and turned.seed == case.seed, knob.name
        assert turned.key != case.key
        assert knob.turn(case, 0.0).faults == case.faults
    lost = room._lossy(case, 0.3)
    assert dict(dict(lost.sensors.details)["azimuth"])["loss_share"] == 0.3


def test_a_bench_case_is_kept_apart_and_marches_the_same(small: Brisk) -> None:
    case = min(small.scenario.cases_of(small.scenario.candidate), key=lambda c: c.simulated_s)
    run = replace(case.run, settle=4.0, duration=6.0)
    short = bench_case(replace(case, run=run))
    assert short.key != replace(case, run=run).key
    (seen,) = simulate([short])
    assert int(seen["bench.mode"]) == -1 and np.isnan(seen["bench.noticed_s"])
    assert seen["passes.clearance_m"].size > 0


@pytest.fixture(scope="module")
def sampled(small: Brisk) -> odds.Odds:
    effort = odds.Effort(Span(6.0, 3.0, 5.0), 20, 20, 5e-2, 24, 0, None, True)
    return odds.run_odds(small.scenario, small.store, small.options, effort)


@pytest.mark.slow
def test_the_odds_add_up_over_the_hours_of_the_winds(sampled: odds.Odds) -> None:
    assert not sampled.failed
    for (stack, doubt, limit), rate in sampled.yearly.items():
        rows = [r for r in sampled.strata if (r["stack"], r["uncertainty"]) == (stack, doubt)]
        expected = sum(row[limit]["rate_per_hour"] * row["hours_per_year"] for row in rows)
        assert rate.value == pytest.approx(expected, rel=1e-12)
        assert rate.low <= rate.value <= rate.high
    told = odds_data(sampled, 5e-4)
    assert {row["uncertainty"] for row in told["yearly"]} == {odds.ALONE, odds.UNSURE}
    assert "strike" in odds_text(told) and "bound" in odds_text(told)
    json.loads(to_json(told))


@pytest.mark.slow
def test_a_bound_is_not_taken_for_safety(sampled: odds.Odds) -> None:
    bound = Interval(0.0, 0.0, 3.0, 2, "no event: bounds of the strata added")
    data = odds_data(replace(sampled, yearly={(odds.WITH, odds.UNSURE, "strike"): bound}), 5e-4)
    assert data["holds"] is False
    # Nor for danger: the page then says that nothing was shown.
    headline, words, mark = verdict({"odds": data})
    assert mark == UNKNOWN and headline == "Not shown to be within." and "their bound lies above" in words
    above = Interval(1.0, 0.1, 3.0, 2, "strata added")
    seen = odds_data(replace(sampled, yearly={(odds.WITH, odds.UNSURE, "strike"): above}), 5e-4)
    assert verdict({"odds": seen})[2] == BREAKS


@pytest.mark.slow
def test_a_bound_on_strikes_with_the_logic_is_not_told_as_so_many_strikes(
    small: Brisk, sampled: odds.Odds
) -> None:
    yearly = {
        (odds.WITHOUT, odds.UNSURE, "strike"): Interval(0.02, 0.002, 0.5, 2, ""),
        (odds.WITH, odds.UNSURE, "strike"): Interval(0.0, 0.0, 45.0, 2, ""),
    }
    data = integrity_data(small.scenario, replace(sampled, yearly=yearly))
    assert data["residual_is_bound"]
    # 4.8354e-4 tolerable over 0.02 demands: 0.0242 on demand, the band of SIL 1.
    assert data["at_the_estimate"]["allowed"] == pytest.approx(0.024177, rel=1e-4)
    assert data["at_the_estimate"]["integrity_level"] == "SIL 1"
    words = integrity_text(data)
    assert "the estimate takes none, the upper end its bound of 45 a year" in words
    assert "holds only if more samples bring that bound below what is tolerable" in words


def test_what_too_few_windows_can_hide_is_told_apart_from_what_was_seen() -> None:
    row = {"is_bound": False, "per_year": 1e-6, "per_year_low": 1e-7, "per_year_high_as_seen": 1e-5}
    assert yearly_text(row | {"per_year_high": 0.05}) == "1e-06 (1e-07..1e-05; unseen < 0.05)"
    assert yearly_text(row | {"per_year_high": 1.9e-5}) == "1e-06 (1e-07..2e-05)"  # never less than is judged
    assert "more samples lower it" in unseen_text({"yearly": [row | {"per_year_high": 0.05}]})
    assert not unseen_text({"yearly": [row | {"per_year_high": 1.5e-5}]})


def test_strikes_of_faults_are_added_apart_and_named() -> None:
    whole = Interval(1e-6, 1e-7, 1e-5, 2, "")
    faults = [
        {
            "stack": odds.WITH,
            "fault": name,
            "rate_per_year": 0.3,
            "each": whole,
            "yearly": Interval(value, value, high, 2, ""),
        }
        for name, value, high in (("runs away", 0.2, 0.3), ("sticks", 0.0, 1e-3), ("slips", 1e-4, 1e-4))
    ]
    rates = {(odds.WITH, odds.UNSURE, "strike"): whole}
    faults = [row | {"ended_early": 0, "ended_by_layer": 0} for row in faults]
    found = odds._with_faults(rates, faults)
    assert list(found) == [(odds.WITH, odds.FAULTY, "strike")]  # that of the whole machine stays as it is
    total = found[odds.WITH, odds.FAULTY, "strike"]
    assert total.value == pytest.approx(0.200101) and total.high == pytest.approx(0.301101, rel=1e-4)
    assert not odds._with_faults({}, faults)
    told = odds.Odds(odds.THOROUGH, rates | found, rates | found, {}, {}, [], [], faults, [])
    data = odds_data(told, 5e-4)
    assert not data["holds"]  # what is judged holds the faults
    assert odds_data(replace(told, yearly=rates), 5e-4)["holds"]
    assert "with logic: runs away 0.2 a year, slips 0.0001 a year." in odds_text(data)


def test_plain_sampling_is_compared_where_it_has_seen_enough() -> None:
    # ln p is linear in the level: at 2.5 m, where a twentieth came, it is half way between 1e-3 and 1e-1.
    mine = {"m": [2.0, 3.0], "probability": [1e-3, 1e-1], "low": [5e-4, 5e-2], "high": [2e-3, 2e-1]}
    plain = {
        "m": [1.0, 2.5, 4.0],
        "probability": [0.0, 0.05, 0.4],
        "low": [0.0, 0.03, 0.3],
        "high": [0.02, 0.09, 0.5],
    }
    row = {
        "stack": "s",
        "uncertainty": "u",
        "wind_speed_m_s": 11.0,
        "strike": {"crude_over_simulated_s": np.nan},
    }
    data = {"crude": [row | {"curve": plain}], "strata": [row | {"curve": mine}]}
    told = agreement(data)
    assert "below 2.5 m in a window: subset simulation 0.01 (0.005..0.02), plain sampling 0.05 (0.03" in told
    assert "THEY DISAGREE" in told
    plain["low"][1] = 0.015
    assert "they agree" in agreement(data)
    # Nothing below a level is no twentieth, though nothing is as near to it as a tenth.
    few = {"m": [1.0, 2.0], "probability": [0.0, 0.1], "low": [0.0, 0.05], "high": [0.02, 0.2]}
    assert "below 2.0 m in a window" in agreement(data | {"crude": [row | {"curve": few}]})
    # A level that no sample came below has no logarithm: the next that was seen stands, or nothing is said.
    mine |= {"probability": [0.0, 1e-1], "low": [0.0, 5e-2]}
    assert "subset simulation 0.1 (0.05..0.2)" in agreement(data)
    mine["probability"] = [0.0, 0.0]
    assert "too few samples to hold against" in agreement(data)


@pytest.mark.slow
def test_what_the_logic_leaves_where_a_blade_comes_nearest_without_it_is_told(sampled: odds.Odds) -> None:
    told = odds_data(sampled, 5e-4)
    assert {row["uncertainty"] for row in told["not_prevented"]} == {odds.ALONE, odds.UNSURE}
    for row in told["not_prevented"]:
        rows = [r for r in sampled.strata if r["uncertainty"] == row["uncertainty"] and "beside" in r]
        bound = sum(r["beside"]["missed"]["rate_per_hour_high"] * r["hours_per_year"] for r in rows)
        assert row["is_bound"] and row["per_year_high"] == pytest.approx(bound)
        assert len(row["winds"]) == len(rows) == 2
    assert "Strikes that it does not prevent: <" in odds_text(told)
    ended = [dict(row, ended_early=3, ended_first="the sky fell") for row in sampled.strata]
    count = sampled.strata[0]["evaluations"]
    assert f"3 of {count} windows ended early" in odds_text(odds_data(replace(sampled, strata=ended), 5e-4))
    jumped = [dict(row, sharpest_change=9.0) for row in sampled.strata]
    assert not any("jumps" in item for item in odds_data(replace(sampled, strata=[]), 5e-4)["warnings"])
    assert any("by a hair" in item for item in odds_data(replace(sampled, strata=jumped), 5e-4)["warnings"])


@pytest.mark.slow
def test_integrity_takes_the_odds_without_logic_for_demands(small: Brisk, sampled: odds.Odds) -> None:
    yearly = {
        (odds.WITHOUT, odds.UNSURE, "strike"): Interval(40.0, 10.0, 90.0, 2, ""),
        (odds.WITH, odds.UNSURE, "strike"): Interval(1e-4, 1e-5, 1e-3, 2, ""),
    }
    data = integrity_data(small.scenario, replace(sampled, yearly=yearly))
    assert data["at_the_estimate"]["regime"] == "high demand"
    assert data["at_the_estimate"]["allowed"] == pytest.approx((4.8354e-4 - 1e-4) / 8766.0, rel=1e-4)
    assert data["at_the_upper_ends"]["allowed"] < 0.0
    words = integrity_text(data)
    for said in ("not a rate of hardware failures", "no probability", "not a certificate", "SIL 3"):
        assert said in words
    assert "whatever the hardware" in words


@pytest.mark.parametrize(
    ("key", "value", "sentence"),
    [
        (
            "reliability.tolerable_strikes_per_year",
            0.0,
            r"tolerable_strikes_per_year = 0.0; must be a number > 0",
        ),
        ("reliability.servo_faults", 0.1, r"reliability.servo_faults = 0.1; unknown key; did you mean"),
        ("reliability.exposure_variation", -0.1, r"exposure_variation = -0.1; must be a number >= 0"),
    ],
)
def test_wrong_assumptions_are_refused(key: str, value: float, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence):
        load_scenario(FILE, [(key, value)])


@pytest.mark.parametrize("part", ["faults", "room"])
def test_what_is_told_in_turbulence_is_not_told_without_any(small: Brisk, part: str) -> None:
    gusts = [case for case in small.scenario.cases if case.is_event]
    scenario = replace(small.scenario, cases=tuple(gusts))
    with pytest.raises(InputError, match=f"no turbulence in which the rotor turns; `--only {part}` marches"):
        run(scenario, small.options, True, part)


@pytest.mark.parametrize(
    ("line", "overrides", "sentence"),
    [
        ("rate = 0.1", [], r"odd.toml:65: faults\[0\].rate = 0.1; unknown key; known: .*rate_per_year"),
        ("rate_per_year = -1.0", [], r"faults\[0\].rate_per_year = -1.0; must be a number >= 0"),
        ("blade = 3", [("rotor.blade_count", 2)], "blade = 3; there are blades 1 to 2"),
    ],
)
def test_a_fault_rate_without_unit_and_a_blade_that_is_not_there_are_refused(
    line: str, overrides: list[tuple[str, Any]], sentence: str, tmp_path: Path
) -> None:
    fault = '\n[[faults]]\nname = "stuck"\nkind = "servo_stuck"\nstart_s = 1.0\n'
    path = tmp_path / "odd.toml"
    path.write_text(FILE.read_text(encoding="utf-8") + fault + line, encoding="utf-8")
    with pytest.raises(InputError, match=sentence):
        load_scenario(path, overrides)


@pytest.mark.slow
def test_what_was_sampled_is_found_in_the_store_again(small: Brisk, sampled: odds.Odds) -> None:
    before = Store(small.options.store).keys()
    again = odds.run_odds(small.scenario, small.store, small.options, sampled.effort)
    assert Store(small.options.store).keys() == before
    assert not unasked(Store(small.options.store))
    assert to_json(again.strata) == to_json(sampled.strata)
