"""Does the fatigue bill agree with sums by hand over the raw results of a short study?"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from scenarios.answer import ExitCode, to_json
from scenarios.life import CHANNELS
from scenarios.load import load_scenario
from scenarios.studies import fatigue
from scenarios.studies.bearing import AMPLITUDES_DEG
from sim.errors import InputError
from sim.measures.curve import StressCurve
from sim.measures.spectrum import Spectrum
from sim.measures.statistics import percentiles
from tests.brisk import FILE, Brisk, brisk

CURVE = {"channel": "blade_root_flap", "exponent": 9.0, "knee_range_kNm": 9000.0, "knee_cycles": 1e6}
TOWER = {"channel": "tower_base_fore_aft", "exponent": 4.0, "ultimate_kNm": 2e5}
LIFE = {"years": 20.0, "distribution": "rayleigh", "curves": [CURVE, TOWER]}
SETTINGS = [("life", LIFE), ("winds[1].per_year", 300.0)]


@pytest.fixture(scope="module")
def small() -> Brisk:
    return brisk()


@pytest.fixture(scope="module")
def bill(small: Brisk) -> dict:
    scenario = load_scenario(FILE, SETTINGS)
    answer = fatigue.run(scenario, replace(small.options, out=small.options.out / "bill"))
    assert answer.code == ExitCode.HOLDS
    assert "closure error" in answer.text
    assert "A life of 20 years in winds of 8.50 m/s annual mean (Weibull shape 2)" in answer.text
    page = (small.options.out / "bill" / f"{scenario.name}-fatigue.html").read_text(encoding="utf-8")
    assert "blade root flap: damage of the life by the curve given " in page
    return json.loads(to_json(answer.data))


def yearly_seconds(case) -> float:
    """Seconds a year that a case stands for, by hand: Rayleigh of 8.5 m/s, six seeds, 3..12..25 m/s."""
    if case.wind.kind != "normal_turbulence":
        return 0.0
    low, high = (3.0, 12.0) if case.wind.speed == 10.0 else (12.0, 25.0)
    share = [math.exp(-math.pi / 4.0 * (edge / 8.5) ** 2) for edge in (low, high)]
    return 8766.0 * 3600.0 * (share[0] - share[1]) / 6.0


def by_hand(small: Brisk, entry: str, amount, events_per_year: float = 0.0) -> float:
    """Sum an amount of each case's history over a year, events shared out over their twelve phases."""
    total = 0.0
    for case, result in small.results(entry):
        often = yearly_seconds(case) / float(result["cases.judged_s"])
        often += events_per_year / 12.0 if case.is_event else 0.0
        total += often * amount(result)
    return total


def power_sum(part: str, exponent: float):
    def amount(result) -> float:
        return Spectrum(result[f"cycles.{part}"], result[f"turning.{part}"]).power_sum(exponent)

    return amount


def test_the_answer_has_what_a_reader_of_the_bill_looks_for(bill: dict) -> None:
    assert set(bill["channels"]) == set(CHANNELS)
    for channel in bill["channels"].values():
        assert {"ratio", "interval", "exponent", "damage_ratio", "largest_kNm"} <= set(channel)
        assert channel["damage_ratio"] == pytest.approx(channel["ratio"] ** channel["exponent"])
        assert channel["interval"]["low"] <= channel["interval"]["high"]
    assert {"bearing", "energy", "per_thousand_actions"} <= set(bill)
    assert (bill["entry"], bill["baseline"]) == ("guarded", "stiff")


@pytest.mark.parametrize(
    ("channel", "parts", "exponent"),
    [
        ("blade_root_flap", [f"root_flap_moment_{b}" for b in (1, 2, 3)], 9.0),
        ("main_shaft_bending", ["shaft_bending_1", "shaft_bending_2"], 4.0),
        ("tower_top_side_side", ["tower_top_side_side"], 4.0),
    ],
)
def test_ranges_of_production_and_of_events_are_those_summed_by_hand(
    small: Brisk, bill: dict, channel: str, parts: list[str], exponent: float
) -> None:
    def worst(entry: str, events: float) -> float:
        return max(by_hand(small, entry, power_sum(part, exponent), events) for part in parts)

    told = bill["channels"][channel]
    ratio = (worst("guarded", 0.0) / worst("stiff", 0.0)) ** (1.0 / exponent)
    both = (worst("guarded", 300.0) / worst("stiff", 300.0)) ** (1.0 / exponent)
    assert told["ratio"] == pytest.approx(ratio, rel=1e-9)
    assert told["ratio_with_events"] == pytest.approx(both, rel=1e-9)
    assert 0.0 < told["share_of_events"] < 1.0
    seconds = sum(yearly_seconds(case) for case, _ in small.results("stiff"))
    assert told["value"] == pytest.approx(
        (worst("guarded", 0.0) / seconds) ** (1.0 / exponent) / 1e3, rel=1e-9
    )
    assert told["reference_count"] == pytest.approx(20.0 * seconds, rel=1e-9)


def test_the_ratio_with_events_has_the_interval_of_seeds_drawn_by_hand_while_events_are_held(
    small: Brisk, bill: dict
) -> None:
    parts, exponent = [f"root_flap_moment_{b}" for b in (1, 2, 3)], 9.0
    columns, events = [], []
    for entry in ("guarded", "stiff"):
        often = [(case, result, yearly_seconds(case)) for case, result in small.results(entry)]
        each = [[power_sum(part, exponent)(result) for part in parts] for _, result, _ in often]
        scale = [seconds / float(result["cases.judged_s"]) for _, result, seconds in often]
        columns.append(np.array(each) * np.array(scale)[:, None])
        events.append(
            sum(300.0 / 12.0 * np.array(e) for e, (c, _, _) in zip(each, often, strict=True) if c.is_event)
        )
    speed = np.array([case.wind.speed for case, _ in small.results("stiff")])
    normal = columns[0].sum(axis=1) > 0.0
    rng = np.random.Generator(np.random.Philox(key=[7, 9]))
    bins = [np.flatnonzero(normal & (speed == value)) for value in np.unique(speed[normal])]
    drawn = np.array([np.concatenate([rng.choice(rows, rows.size) for rows in bins]) for _ in range(4000)])
    worst = [
        np.max(column[drawn].sum(axis=1) + event, axis=1)
        for column, event in zip(columns, events, strict=True)
    ]
    ends = np.quantile((worst[0] / worst[1]) ** (1.0 / exponent), percentiles(speed[normal]))
    told = bill["channels"]["blade_root_flap"]["ratio_with_events_interval"]
    # 4000 draws each: an end scatters by about 2 % of the width; five of that, and both are drawn.
    assert [told["low"], told["high"]] == pytest.approx(ends, abs=0.15 * (ends[1] - ends[0]))
    assert ends[1] > ends[0]


def test_the_damage_of_the_life_follows_the_users_curve(small: Brisk, bill: dict) -> None:
    line = StressCurve(9e6, 1e6, 9.0)

    def damage(part: str):
        return lambda result: Spectrum(result[f"cycles.{part}"], result[f"turning.{part}"]).damage(line)

    expected = max(by_hand(small, "guarded", damage(f"root_flap_moment_{b}"), 300.0) for b in (1, 2, 3))
    assert bill["channels"]["blade_root_flap"]["damage_of_life"] == pytest.approx(20.0 * expected, rel=1e-9)
    assert bill["channels"]["blade_root_edge"]["damage_of_life"] is None


def test_travel_actions_and_starts_are_means_over_the_hours_of_the_winds(small: Brisk, bill: dict) -> None:
    hours = sum(yearly_seconds(case) for case, _ in small.results("guarded")) / 3600.0
    told = bill["bearing"]["guarded"]
    for key, amount in (
        ("travel_deg_per_hour", lambda r: math.degrees(np.mean(r["cases.pitch_travel_rad"]))),
        ("actions_per_hour", lambda r: np.count_nonzero(r["passes.acted"])),
        ("starts_per_hour", lambda r: np.mean(r["cases.pitch_starts"])),
    ):
        assert told[key]["value"] == pytest.approx(by_hand(small, "guarded", amount) / hours, rel=1e-9)
    assert bill["bearing"]["stiff"]["actions_per_hour"]["value"] == 0.0
    assert len(told["amplitude_cycles_per_hour"]) == len(AMPLITUDES_DEG) - 1
    # Up and down twice a cycle: the travel of the counted cycles is that of the march (4 A f, CHECKS).
    assert 0.0 < told["servo_moving_share"]["value"] < 1.0


def test_the_travel_of_the_counted_pitch_cycles_is_the_travel_of_the_march(small: Brisk) -> None:
    for _, result in small.results("guarded")[:12]:
        kept = Spectrum(result["cycles.pitch_1"], result["turning.pitch_1"])
        # Twice the range for each cycle; what a period's held rate leaves out of the path is small.
        assert 2.0 * kept.power_sum(1.0) == pytest.approx(result["cases.pitch_travel_rad"][0], rel=0.02)


def test_a_thousand_actions_are_the_difference_of_the_parallel_runs(small: Brisk, bill: dict) -> None:
    told = bill["per_thousand_actions"]
    assert (told["entry"], told["baseline"]) == ("guarded", "softened")
    actions = by_hand(small, "guarded", lambda r: np.count_nonzero(r["passes.acted"]))
    assert told["actions_per_year"] == pytest.approx(actions, rel=1e-9)

    def travel(result) -> float:
        return math.degrees(np.mean(result["cases.pitch_travel_rad"]))

    difference = by_hand(small, "guarded", travel) - by_hand(small, "softened", travel)
    assert told["travel_deg"] == pytest.approx(1000.0 * difference / actions, rel=1e-9)
    flap = [
        max(by_hand(small, entry, power_sum(f"root_flap_moment_{b}", 9.0)) for b in (1, 2, 3))
        for entry in ("guarded", "softened")
    ]
    share = 1000.0 * (flap[0] / flap[1] - 1.0) / actions
    assert told["damage_share"]["blade_root_flap"] == pytest.approx(share, rel=1e-9)
    for name in ("blade_root_flap", "blade_root_edge", "tower_base_fore_aft"):
        row = told["closure"][name]
        error = row["singles_over_baseline"] - row["whole_over_baseline"]
        assert row["closure_error"] == pytest.approx(error, abs=1e-12)


def test_a_closure_error_is_told_with_and_without_goodman_where_an_ultimate_is_given(bill: dict) -> None:
    closure, words = bill["per_thousand_actions"]["closure"], bill["per_thousand_actions"]["words"]
    told, plain = closure["tower_base_fore_aft"], closure["tower_base_fore_aft"]["without_goodman"]
    assert "without_goodman" not in closure["blade_root_flap"]
    # A mean of a fifth of the ultimate or so raises cycles alike: shares of the damage move by a little.
    assert told["whole_over_baseline"] != plain["whole_over_baseline"]
    assert told["whole_over_baseline"] == pytest.approx(plain["whole_over_baseline"], abs=0.02)
    assert "without Goodman's correction)" in next(w for w in words if w.startswith("  tower base fore-aft"))


def test_every_entry_with_logic_is_told_by_the_thousand(bill: dict) -> None:
    each, candidate = bill["per_thousand_actions_by_entry"], bill["per_thousand_actions"]
    assert set(each) == {"guarded"}
    same = {key: value for key, value in candidate.items() if key not in ("closure", "words")}
    assert {key: each["guarded"][key] for key in same} == same
    assert "closure" not in each["guarded"]


def test_what_a_thousand_actions_add_has_the_interval_of_seeds_drawn_by_hand(
    small: Brisk, bill: dict
) -> None:
    pairs = list(zip(small.results("guarded"), small.results("softened"), strict=True))
    pairs = [(case, one, two) for (case, one), (_, two) in pairs if yearly_seconds(case) > 0.0]
    often = np.array([yearly_seconds(case) / float(one["cases.judged_s"]) for case, one, _ in pairs])
    added = np.array([float(one["cases.energy_J"] - two["cases.energy_J"]) / 3.6e6 for _, one, two in pairs])
    acted = np.array([np.count_nonzero(one["passes.acted"]) for _, one, _ in pairs])
    speed = np.array([case.wind.speed for case, _, _ in pairs])
    rng = np.random.Generator(np.random.Philox(key=[7, 7]))
    bins = [np.flatnonzero(speed == value) for value in np.unique(speed)]
    drawn = np.array([np.concatenate([rng.choice(rows, rows.size) for rows in bins]) for _ in range(4000)])
    count = np.sum((often * acted)[drawn], axis=1)
    found = 1000.0 * (np.sum((often * added)[drawn], axis=1)[count > 0.0] / count[count > 0.0])
    for key, drawn_values in (("energy_interval_kWh", found), ("actions_per_year_interval", count)):
        told = bill["per_thousand_actions"][key]
        low, high = np.quantile(drawn_values, percentiles(speed))
        # 4000 draws each: an end scatters by about 2 % of the width; five of that, and both are drawn.
        assert [told["low"], told["high"]] == pytest.approx([low, high], abs=0.15 * (high - low))
    words = bill["per_thousand_actions"]["words"][0]
    assert words.startswith("blade root flap: ") and ".." in words


def test_a_baseline_that_breaks_the_rule_is_called_a_straw_man(small: Brisk) -> None:
    scenario = load_scenario(FILE, [("life", LIFE)])
    hours = np.zeros(small.judged.entries[0].gathered.labels.size)
    loads = [
        fatigue.count_loads(entry, scenario.life, hours + 1.0)  # type: ignore[arg-type]
        for entry in small.judged.entries
    ]
    broken = replace(loads[0].entry, verdict=replace(loads[0].entry.verdict, holds=False))
    found = fatigue.bill_data([replace(loads[0], entry=broken), *loads[1:]], hours + 1.0)
    by_pair = {(item["entry"], item["baseline"]): item["straw_man"] for item in found["against"]}
    assert by_pair[("guarded", "stiff")] is True
    assert by_pair.get(("guarded", "softened"), False) is False
    straw = next(item for item in found["against"] if item["straw_man"])
    assert fatigue.straw_words(straw) == " The baseline does not hold the requirement itself: a straw man."
    few = fatigue.straw_words(straw | {"baseline_held": "not shown"})
    assert few == " The baseline is not shown to hold the requirement itself: a straw man."
    assert fatigue.straw_words(straw | {"straw_man": False}) == ""
    assert (found["baseline"] == "stiff") == (("guarded", "softened") not in by_pair)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ([], r"life is missing; a bill over a life needs years and a wind distribution"),
        (
            [("life", {"years": 20.0, "distribution": "rayleigh"}), ("winds[0].kind", "extreme_turbulence")],
            "none is normal_turbulence, from which alone rates may come",
        ),
    ],
)
def test_a_bill_without_a_life_or_without_normal_winds_is_refused(settings, message, small: Brisk) -> None:
    with pytest.raises(InputError, match=message):
        fatigue.run(load_scenario(FILE, settings), small.options)


@pytest.mark.parametrize(
    ("life", "message"),
    [
        ({"years": 20.0}, r"life.distribution is missing"),
        ({"years": 20.0, "distribution": "weibull"}, r"life.weibull_shape is missing; a Weibull"),
        (
            {"years": 20.0, "distribution": "rayleigh", "weibull_shape": 2.0},
            r"life.weibull_shape = 2.0; a Rayleigh distribution has none",
        ),
        (
            LIFE | {"curves": [CURVE | {"exponent": 0.8}]},
            r"life.curves\[0\].exponent = 0.8; must be a number >= 1",
        ),
        (
            LIFE | {"curves": [CURVE | {"channel": "blade_root_flip"}]},
            r"no such channel; did you mean 'blade_root_flap'",
        ),
        (
            LIFE | {"curves": [{"channel": "hub_yaw", "exponent": 8.0, "knee_cycles": 1e6}]},
            r"knee_range_kNm is missing; a knee has both",
        ),
        (
            LIFE | {"curves": [{"channel": "hub_yaw", "exponent": 8.0, "exponent_below": 9.0}]},
            r"life.curves\[0\].exponent_below = 9.0; needs a knee: knee_range_kNm and knee_cycles",
        ),
        (
            LIFE | {"curves": [{"channel": "pitch_angle", "exponent": 4.0, "ultimate_kNm": 5.0}]},
            r"life.curves\[0\].ultimate_kNm = 5.0; is a moment; the pitch angle has none",
        ),
    ],
)
def test_a_life_that_is_not_whole_is_refused_with_its_key(life, message) -> None:
    with pytest.raises(InputError, match=message):
        load_scenario(FILE, [("life", life)])


def test_turbulence_without_a_fault_has_no_number_a_year() -> None:
    with pytest.raises(InputError, match=r"winds\[0\].per_year = 5.0; turbulence without a fault"):
        load_scenario(FILE, [("winds[0].per_year", 5.0)])


def test_fewer_seeds_than_a_rate_needs_are_said_with_their_number(small: Brisk) -> None:
    entry = small.judged.entries[0]
    few = np.where(np.arange(entry.gathered.labels.size) % 6 < 2, 1.0, 0.0) * entry.gathered.normal
    told = fatigue._problems(entry, few)
    assert told[0] == "normal turbulence at 10 m/s: 2 seeds; a rate over a life needs 6"
    assert fatigue._problems(entry, 1.0 * entry.gathered.normal) == []


def test_a_baseline_without_cycles_in_a_channel_leaves_the_ratio_undefined_and_says_so(small: Brisk) -> None:
    scenario = load_scenario(FILE, [("life", LIFE)])
    assert scenario.life is not None
    mine = fatigue.count_loads(
        small.judged.entries[0], scenario.life, 1.0 * small.judged.entries[0].gathered.normal
    )
    still = replace(mine, rates={name: 0.0 * rates for name, rates in mine.rates.items()})
    told = fatigue.channel_data(mine, still, "hub_tilt")
    assert math.isnan(told["ratio"])
    assert told["problem"] == "ratio undefined: the baseline has none"
    remarks = fatigue.channel_remarks({"baseline": "still", "channels": {"hub_tilt": told}})
    assert remarks == ["hub tilt: ratio undefined: the baseline has none"]


def test_an_ultimate_moment_that_the_loads_reach_is_refused_with_its_case(small: Brisk) -> None:
    curve = {"channel": "blade_root_flap", "exponent": 10.0, "ultimate_kNm": 500.0}
    scenario = load_scenario(FILE, [("life", LIFE | {"curves": [curve]})])
    with pytest.raises(InputError, match=r"ultimate_kNm = 500 of blade_root_flap; must be above the mean of"):
        fatigue.run(scenario, replace(small.options, out=small.options.out / "weak"))
