"""The study: what comes of a campaign, recounted here from its raw results in another way."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rainflow
from scipy import stats

from scenarios.answer import ExitCode, to_json
from scenarios.load import load_scenario
from scenarios.report.page import render
from scenarios.report.passes import passes_page
from scenarios.requirement import Requirement
from scenarios.simulate import watch
from scenarios.store import CaseResult
from scenarios.studies import passes, study
from scenarios.studies.assess import assess
from scenarios.studies.featured import find_features, plain_twin
from scenarios.studies.gather import PASS_COLUMNS, has_ended, trouble_of, yearly_hours
from scenarios.studies.telling import verdict_sentence
from scenarios.studies.watched import watch_windows
from sim.counting import channels
from sim.interface import Status
from sim.kernels import layout as at
from sim.measures.spectrum import NOTHING, Spectrum
from sim.records import CASE_FIELDS
from tests.brisk import FILE, Brisk, brisk

RULE = Requirement("share_of_unloaded", share=0.3)
WORDS = ("quiet", "saved", "missed", "needless", "harmed")


@pytest.fixture(scope="module")
def small() -> Brisk:
    return brisk()


def entry_of(small: Brisk, name: str) -> dict:
    return next(entry for entry in small.answer.data["controllers"] if entry["name"] == name)


def test_the_object_has_every_key_that_programs_rely_on(small: Brisk) -> None:
    told = json.loads(to_json(small.answer.data))
    for key in ("scenario", "turbine", "seed", "versions", "configuration_hash", "page", "failed_cases"):
        assert key in told
    assert set(told["cases"]) == {"total", "computed", "from_store", "failed"}
    assert {"rule", "unloaded_clearance_m", "required_clearance_m"} <= set(told["requirement"])
    assert [entry["name"] for entry in told["controllers"]] == ["stiff", "softened", "guarded"]
    for entry in told["controllers"]:
        assert set(entry["ledger"]) == set(WORDS)
        assert {
            "stack", "holds", "characteristic_clearance_m", "governing_case", "smallest_clearance_m",
            "passes", "broken_passes", "strikes", "pitch_travel_deg_per_hour", "energy_ratio",
        } <= set(entry)  # fmt: skip
        assert set(entry["equivalent_range"]) == {
            "blade_root_flap_kNm",
            "blade_root_edge_kNm",
            "tower_base_fore_aft_kNm",
        }
        for value in entry["equivalent_range"].values():
            assert {"value", "exponent", "reference_frequency_Hz", "ratio"} <= set(value)


def test_required_is_the_share_of_the_unloaded_clearance(small: Brisk) -> None:
    # Share rule, load factor 1 (CHECKS 2; value from memory, clause not verified).
    asked = small.answer.data["requirement"]
    assert asked["required_clearance_m"] == pytest.approx(0.3 * asked["unloaded_clearance_m"], rel=1e-12)


@pytest.mark.parametrize("name", ["stiff", "softened", "guarded"])
def test_characteristic_is_the_mean_over_seeds_and_the_worst_over_phases(small: Brisk, name: str) -> None:
    # CHECKS 2 (value from memory): turbulence the mean of each seed's smallest, gusts the worst phase.
    seeds: dict[float, list[float]] = {}
    phases: dict[float, list[float]] = {}
    for case, result in small.results(name):
        kind = phases if case.wind.kind == "operating_gust" else seeds
        kind.setdefault(case.wind.speed, []).append(min(result["passes.clearance_m"].tolist()))
    expected = min([sum(v) / 6 for v in seeds.values()] + [min(v) for v in phases.values()])
    told = entry_of(small, name)
    assert [len(v) for v in (*seeds.values(), *phases.values())] == [6, 6, 12]
    assert told["characteristic_clearance_m"] == pytest.approx(expected, rel=1e-12)
    assert told["holds"] is (expected >= small.answer.data["requirement"]["required_clearance_m"])
    assert told["smallest_clearance_m"] == pytest.approx(
        min(v for group in (*seeds.values(), *phases.values()) for v in group), rel=1e-12
    )


@pytest.mark.parametrize("name", ["stiff", "softened", "guarded"])
def test_the_ledger_sums_to_the_passes_and_its_broken_ones_to_the_broken(small: Brisk, name: str) -> None:
    told = entry_of(small, name)
    raw = np.concatenate([result["passes.clearance_m"] for _, result in small.results(name)])
    required = small.answer.data["requirement"]["required_clearance_m"]
    assert sum(told["ledger"].values()) == told["passes"] == raw.size
    assert told["ledger"]["missed"] + told["ledger"]["harmed"] == told["broken_passes"]
    assert told["broken_passes"] == np.count_nonzero(raw < required)
    for word in WORDS:
        parts = [stratum["ledger"][word] for stratum in told["strata"]]
        assert sum(parts) == pytest.approx(told["ledger"][word], abs=1e-9)


def test_without_tower_pass_logic_nothing_is_saved_needless_or_harmed(small: Brisk) -> None:
    for name in ("stiff", "softened"):
        ledger = entry_of(small, name)["ledger"]
        assert ledger["saved"] == ledger["needless"] == ledger["harmed"] == 0.0


def test_kinds_of_wind_are_strata_of_their_own(small: Brisk) -> None:
    strata = [stratum["stratum"] for stratum in entry_of(small, "guarded")["strata"]]
    assert strata == ["normal turbulence", "gusts"]


def rayleigh_shares(small: Brisk) -> dict[float, float]:
    """Share of normal turbulence at each speed: F = 1 - exp(-pi/4 (V/Vave)^2), IEC 61400-1 (from memory).

    Class II: Vave = 0.2 x 42.5 = 8.5 m/s; bins 3..12 and 12..25 m/s around 10 and 14 m/s.
    """

    def beyond(speed: float) -> float:
        return math.exp(-math.pi / 4.0 * (speed / 8.5) ** 2)

    low, high = beyond(3.0) - beyond(12.0), beyond(12.0) - beyond(25.0)
    return {10.0: low / (low + high), 14.0: high / (low + high)}


def test_hours_follow_the_rayleigh_law_of_the_site(small: Brisk) -> None:
    gathered = small.judged.entries[0].gathered
    hours = yearly_hours(small.scenario, gathered)
    shares = rayleigh_shares(small)
    by_speed = {speed: hours[gathered.normal & (gathered.labels.speed == speed)][0] for speed in (10.0, 14.0)}
    assert by_speed[10.0] / (by_speed[10.0] + by_speed[14.0]) == pytest.approx(shares[10.0], rel=1e-12)
    assert np.all(hours[~gathered.normal] == 0.0)


def test_a_life_has_a_distribution_of_its_own(small: Brisk) -> None:
    keys = {"years": 20.0, "distribution": "weibull", "weibull_shape": 1.8, "mean_wind_speed_m_s": 7.0}
    scenario = load_scenario(FILE, [("life", keys | {"availability": 0.9})])
    gathered = small.judged.entries[0].gathered
    hours = yearly_hours(scenario, gathered)
    law = stats.weibull_min(1.8, scale=7.0 / math.gamma(1.0 + 1.0 / 1.8))  # scipy's, apart from ours
    found = hours[gathered.normal & (gathered.labels.speed == 14.0)]
    assert found == pytest.approx(np.full(6, 0.9 * 8766.0 * (law.cdf(25.0) - law.cdf(12.0))), rel=1e-12)


def mean_rate(small: Brisk, name: str, rate) -> float:
    """Mean of a rate over the year: by hand, case by case, normal turbulence alone."""
    shares = rayleigh_shares(small)
    normal = [(c, r) for c, r in small.results(name) if c.wind.kind == "normal_turbulence"]
    return sum(shares[case.wind.speed] / 6.0 * rate(result) for case, result in normal)


def watched_channels(case) -> tuple[dict[str, np.ndarray], CaseResult]:
    """March a case again and keep what the blades' roots and the tower's base carry, tick by tick [N m]."""
    rows, seen = [], []

    def keep(flock, *rest) -> None:
        rows.append(flock.lanes.out[0].copy())
        seen[:] = [flock]

    result = watch(case, keep)
    rows.append(seen[0].lanes.out[0].copy())  # the last period ends after the last decision
    out = np.array(rows)[1 + round(case.run.settle / case.run.period) :]
    flap, edge, pitch = (out[:, first] for first in (at.OUT_FLAP + 1, at.OUT_EDGE + 1, at.OUT_PITCH + 1))
    return {
        "root_flap_moment_2": flap,
        "root_edge_moment_2": edge,
        "root_resultant_2": np.hypot(flap, edge),
        # No pitch offset: flapwise is turned downwind by the pitch angle (PHYSICS, frames and signs).
        "root_out_of_plane_2": np.cos(pitch) * flap - np.sin(pitch) * edge,
        "root_in_plane_2": np.sin(pitch) * flap + np.cos(pitch) * edge,
        "tower_base_fore_aft": out[:, at.OUT_FA_BASE],
        "tower_base_side_side": out[:, at.OUT_SS_BASE],
    }, result


def test_the_cycles_counted_while_marching_are_those_that_the_package_rainflow_counts_afterwards(
    small: Brisk,
):
    case = next(case for case, _ in small.results("guarded") if case.wind.kind == "normal_turbulence")
    series, result = watched_channels(case)
    for name, history in series.items():
        cycles = np.array(rainflow.count_cycles(history))
        kept = Spectrum(result[f"cycles.{name}"], result[f"turning.{name}"])
        # What the sums in a cell leave open is below 2e-4 of an equivalent range (see Spectrum.sum_of).
        for exponent in (3.0, 10.0):
            expected = np.sum(cycles[:, 1] * cycles[:, 0] ** exponent) ** (1.0 / exponent)
            assert kept.power_sum(exponent) ** (1.0 / exponent) == pytest.approx(expected, rel=2e-4), name
        largest = result[f"cases.{name.removesuffix('_2')}_max_Nm"]
        assert (largest[1] if name.endswith("_2") else largest) == np.max(np.abs(history))


@pytest.mark.parametrize(
    ("channel", "parts", "exponent"),
    [
        ("blade_root_flap_kNm", [f"root_flap_moment_{blade}" for blade in (1, 2, 3)], 10.0),
        ("blade_root_edge_kNm", [f"root_edge_moment_{blade}" for blade in (1, 2, 3)], 10.0),
        ("tower_base_fore_aft_kNm", ["tower_base_fore_aft"], 4.0),
    ],
)
def test_equivalent_ranges_are_those_of_the_worst_blade_weighted_by_the_hours_of_the_winds(
    small: Brisk, channel: str, parts: list[str], exponent: float
) -> None:
    def level(name: str) -> float:
        def sums(result, part: str) -> float:
            kept = Spectrum(result[f"cycles.{part}"], result[f"turning.{part}"])
            return kept.power_sum(exponent) / 1e3**exponent / float(result["cases.judged_s"])

        each = [mean_rate(small, name, lambda result, part=part: sums(result, part)) for part in parts]
        return max(each) ** (1.0 / exponent)

    reference = level("stiff")
    for name in ("stiff", "softened", "guarded"):
        told = entry_of(small, name)["equivalent_range"][channel]
        assert told["exponent"] == exponent
        assert told["reference_frequency_Hz"] == 1.0
        assert told["value"] == pytest.approx(level(name), rel=1e-9)
        assert told["ratio"] == pytest.approx(level(name) / reference, rel=1e-9)


def test_energy_and_pitch_travel_are_means_over_the_years_normal_winds(small: Brisk) -> None:
    def power(result) -> float:
        return float(result["cases.energy_J"]) / float(result["cases.judged_s"])

    def travel(result) -> float:
        per_second = np.mean(result["cases.pitch_travel_rad"]) / float(result["cases.judged_s"])
        return math.degrees(3600.0 * per_second)

    reference = mean_rate(small, "stiff", power)
    for name in ("stiff", "softened", "guarded"):
        told = entry_of(small, name)
        assert told["energy_ratio"] == pytest.approx(mean_rate(small, name, power) / reference, rel=1e-9)
        assert told["pitch_travel_deg_per_hour"] == pytest.approx(mean_rate(small, name, travel), rel=1e-9)
    assert entry_of(small, "stiff")["energy_ratio"] == 1.0


def test_a_second_study_computes_nothing_and_writes_the_same_page(small: Brisk, tmp_path: Path) -> None:
    again = study.run(small.scenario, replace(small.options, out=tmp_path))
    assert again.data["cases"] == {"total": 72, "computed": 0, "from_store": 72, "failed": 0}
    assert Path(again.data["page"]).read_bytes() == small.page.encode()
    assert again.code == small.answer.code


def test_the_code_tells_whether_the_candidate_holds(small: Brisk, tmp_path: Path) -> None:
    assert small.answer.code == (ExitCode.HOLDS if small.answer.data["holds"] else ExitCode.DOES_NOT_HOLD)
    judged = small.judged
    fails = replace(judged.entries[-1], verdict=replace(judged.entries[-1].verdict, holds=False))
    stands = replace(judged.entries[-1], verdict=replace(judged.entries[-1].verdict, holds=True))
    lost = [{"case": "x", "entry": "guarded", "why": "y"}]
    assert replace(judged, entries=[judged.entries[0], fails]).code == ExitCode.DOES_NOT_HOLD
    assert replace(judged, entries=[fails, stands]).code == ExitCode.HOLDS
    assert replace(judged, entries=[fails], failed=lost).code == ExitCode.PARTLY_FAILED
    assert replace(judged, entries=[stands], failed=lost).code == ExitCode.PARTLY_FAILED


def test_a_logic_that_raises_fails_its_own_cases_and_the_others_are_judged(tmp_path: Path) -> None:
    logic = tmp_path / "logic.py"
    logic.write_text(
        "class Bad:\n"
        "    needs = ('rotor_speed',)\n"
        "    tower_pass = True\n"
        "    def init(self, known, seen):\n"
        "        return {'n': seen.tick * 0}\n"
        "    def step(self, state, seen, below, reference):\n"
        "        if (seen.tick > 100).any():\n"
        "            raise ValueError('planted')\n"
        "        return state, below\n"
    )
    text = FILE.read_text().replace('"power", "guard"', f'"power", "{logic}:Bad"')
    text = text.replace("duration_s = 60.0", "duration_s = 6.0").replace("settle_s = 20.0", "settle_s = 2.0")
    text = text.replace("seeds = 6", "seeds = 1").replace("phases = 12", "phases = 1")
    file = tmp_path / "planted.toml"
    file.write_text(text)
    options = study.Options(out=tmp_path / "out", store=tmp_path / "store", jobs=0, is_quiet=True)
    answer = study.run(load_scenario(file), options)
    assert answer.code == ExitCode.PARTLY_FAILED
    assert answer.data["cases"]["failed"] == 3
    assert {row["entry"] for row in answer.data["failed_cases"]} == {"guarded"}
    assert all("planted" in row["why"] for row in answer.data["failed_cases"])
    assert "guarded: normal turbulence, 10 m/s, seed 1" in answer.text
    assert answer.data["controllers"][0]["passes"] > 0
    page = Path(answer.data["page"]).read_text(encoding="utf-8")
    assert "planted" in page
    assert json.loads(to_json(answer.data))["controllers"][-1]["characteristic_clearance_m"] is None


def test_steady_winds_alone_give_no_verdict_and_the_sentence_says_so(tmp_path: Path) -> None:
    text = FILE.read_text()
    winds = '[[winds]]\nlabel = "calm"\nkind = "steady"\nspeeds_m_s = [9, 11]\n\n'
    file = tmp_path / "calm.toml"
    file.write_text(text[: text.index("[[winds]]")] + winds + text[text.index("[[entries]]") :])
    scenario = load_scenario(file)
    results = {case.key: calm_result(6.0 if case.wind.speed == 9.0 else 5.0) for case in scenario.cases}
    entries = assess(scenario, results)
    assert not entries[-1].verdict.holds
    assert [rates.stratum for rates in entries[-1].rates] == ["steady wind"]
    assert verdict_sentence(entries, RULE).startswith(
        "guarded is not shown to hold the requirement: only steady winds were marched; no characteristic "
        "clearance of turbulence or a gust stands behind it; 5.00 m of clearance in steady wind remain"
    )
    assert verdict_sentence(entries, RULE).endswith("; none of its 2 passes left less.")


def test_the_sentence_names_the_candidates_own_broken_passes(small: Brisk) -> None:
    soft = small.judged.entries[:2]
    told = verdict_sentence(soft, RULE)
    raw = np.concatenate([r["passes.clearance_m"] for _, r in small.results("softened")])
    broken = np.count_nonzero(raw < small.answer.data["requirement"]["required_clearance_m"])
    assert broken > 0
    assert told.endswith(f"; {broken} of its {raw.size} passes left less.")


def calm_result(clearance: float) -> dict:
    """Return what a case with one pass gives."""
    each = {name: np.zeros(3) for name in CASE_FIELDS if name.startswith(("pitch_", "servo_", "root_"))}
    cases = dict.fromkeys(CASE_FIELDS, 0.0) | each
    cases |= {"judged_s": 1.0, "energy_J": 1.0, "smallest_clearance_m": clearance}
    passes = dict.fromkeys(PASS_COLUMNS, 0.0) | {"clearance_m": clearance, "clearance_without_m": clearance}
    result = {f"cases.{name}": np.array(value) for name, value in cases.items()}
    result |= {f"passes.{name}": np.array([value]) for name, value in passes.items()}
    for name in channels(3):
        result |= {f"turning.{name}": NOTHING.points, f"cycles.{name}": NOTHING.cells}
    return result


def test_a_runaway_is_judged_and_told_while_an_ended_case_is_not_judged() -> None:
    def result(status: Status) -> dict:
        return {"cases.status": np.array(int(status)), "cases.status_time_s": np.array(3.0)}

    assert not has_ended(result(Status.OVERSPEED))
    assert "1.5 times its rated speed, 3.00 s into the judged time" in trouble_of(result(Status.OVERSPEED))
    early = result(Status.OVERSPEED) | {"cases.status_time_s": np.array(-2.0)}
    assert "2.00 s before the judged time; its wind is above cut-out" in trouble_of(early, is_storm=True)
    assert has_ended(result(Status.OUT_OF_RANGE))
    assert trouble_of(result(Status.STRUCK)) == ""


def test_the_twin_is_the_candidates_turbine_without_its_tower_pass_logic(small: Brisk) -> None:
    twin = plain_twin(small.judged.entries)
    assert twin is not None
    assert twin.name == "softened"
    assert plain_twin(small.judged.entries[::2]) is None


def test_the_pass_shown_is_the_smallest_of_the_governing_case_and_all_meet_its_wind(
    small: Brisk,
) -> None:
    features = find_features(small.judged.entries, small.store)
    worst = features.worst
    assert worst is not None
    governing = small.judged.entries[-1].verdict.governing
    assert (worst.case.load_case, worst.case.wind.speed) == (governing.condition, governing.speed)
    assert worst.clearance == governing.smallest
    assert features.twin is features.beside[1]
    for item in features.beside:
        assert item.case.wind == worst.case.wind
        assert item.blade == worst.blade
        assert abs(item.time_s - worst.time_s) < 1.0


def test_watching_a_pass_again_gives_the_march_that_was_judged(small: Brisk) -> None:
    features = find_features(small.judged.entries, small.store)
    worst = features.worst
    assert worst is not None
    again = watch(worst.case, lambda *seen: None)
    stored = small.judged.campaign.results[worst.case.key]
    for name in ("passes.clearance_m", "passes.pitch_rad", "cases.energy_J", "turning.root_flap_moment_1"):
        assert np.array_equal(again[name], stored[name])
    # The ticks of the watched march stand on the same curve: none is below the least distance between them,
    # and the nearest is within what a parabola through its neighbours allows.
    near = np.abs(worst.trace.time_s - worst.time_s) < 0.3
    gap = worst.trace.clearance(worst.blade)[near]
    assert np.nanmin(gap) >= worst.clearance
    assert np.nanmin(gap) - worst.clearance < 0.5
    beside = np.argmin(np.abs(worst.trace.time_s - worst.time_s))
    assert worst.trace.pitch(worst.blade)[beside] == pytest.approx(
        stored["passes.pitch_rad"][np.argmin(np.abs(stored["passes.time_s"] - worst.time_s))], abs=5e-3
    )


def test_what_was_watched_is_read_back_from_the_store(small: Brisk, monkeypatch) -> None:
    first = find_features(small.judged.entries, small.store).worst
    monkeypatch.setattr("scenarios.studies.watched._march_again", pytest.fail)
    second = find_features(small.judged.entries, small.store).worst
    assert first is not None
    assert second is not None
    assert np.array_equal(first.trace.state, second.trace.state)
    assert watch_windows([], small.store) == {}


def test_the_saved_pass_that_is_shown_is_the_one_that_would_have_come_nearest_in_a_gust(small: Brisk) -> None:
    """Found here from the raw results: broken without the logic by its fork, held with it."""
    required = small.answer.data["requirement"]["required_clearance_m"]
    nearest = min(
        (without, case.number, time_s)
        for case, result in small.results("guarded")
        if case.wind.kind == "operating_gust"
        for time_s, clearance, without, acted in zip(
            result["passes.time_s"].tolist(),
            result["passes.clearance_m"].tolist(),
            result["passes.clearance_without_m"].tolist(),
            result["passes.acted"].tolist(),
            strict=True,
        )
        if acted and without < required <= clearance
    )
    shown = find_features(small.judged.entries, small.store).saved
    assert shown is not None and shown.worst is not None and shown.twin is not None
    saved = shown.worst
    assert (saved.clearance_without, saved.case.number, saved.time_s) == nearest
    assert saved.entry.name == "guarded"
    assert [item.entry.name for item in shown.beside] == ["softened", "guarded"]
    assert "One pass that the logic saved" in small.page
    assert f"it leaves {saved.clearance_without:.2f} m, less than the {required:.2f} m" in small.page


def test_passes_lists_the_smallest_of_each_entry_and_writes_every_pass(small: Brisk, tmp_path: Path) -> None:
    answer = passes.run(small.scenario, replace(small.options, out=tmp_path))
    assert answer.code == ExitCode.HOLDS
    guarded = answer.data["entries"][-1]
    raw = np.sort(np.concatenate([r["passes.clearance_m"] for _, r in small.results("guarded")]))
    assert [row["clearance_m"] for row in guarded["worst"]] == pytest.approx(raw[: passes.WORST].tolist())
    rows = guarded["load_cases"]
    judged = {row["load_case"]: row for row in entry_of(small, "guarded")["load_cases"]}
    assert {row["load_case"] for row in rows} == set(judged)
    left = [row["characteristic_clearance_m"] for row in rows]
    assert left == sorted(left)
    assert left[0] == entry_of(small, "guarded")["characteristic_clearance_m"]
    assert re.search(rf"guarded +{rows[0]['load_case']}", answer.text)
    lines = Path(answer.data["listing"]).read_text().splitlines()
    assert len(lines) == 1 + sum(entry["passes"] for entry in answer.data["entries"])
    assert lines[0] == "entry," + ",".join(passes.COLUMNS)
    assert "nan" not in "".join(lines)


def test_passes_tell_of_cases_with_something_amiss_in_words_and_on_the_page(small: Brisk) -> None:
    flagged = [{"case": "plain: storm, 56 m/s, phase 1", "entry": "plain", "why": "the rotor ran away"}]
    study = replace(small.judged, flagged=flagged)
    data = passes.passes_data(study) | {"page": "", "listing": ""}
    assert data["flagged_cases"] == flagged
    assert "amiss:\n  plain: storm, 56 m/s, phase 1: the rotor ran away" in passes.passes_text(data)
    page = render(passes_page(small.scenario, study.entries, data))
    assert "the rotor ran away" in page
    assert "Appendix: one field of turbulence" in page
