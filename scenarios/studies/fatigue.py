"""Who pays for the passes that are saved: loads over the life, pitch bearings, energy, action by action?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import Answer, Options, table, to_json
from scenarios.life import CHANNELS, Life
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment
from scenarios.studies.attribution import EACH_HEAD, attribute, attribute_each, each_cells, thousand_words
from scenarios.studies.bearing import bearing_data
from scenarios.studies.gather import life_wind, yearly_hours
from scenarios.studies.life_loads import LifeLoads, channel_data, count_loads, ultimates_reached
from scenarios.studies.study import judge_scenario, study_data
from scenarios.studies.telling import held, interval_data
from sim.errors import InputError
from sim.measures.energy import energy_ratio

SEEDS = 6
"""Ten-minute seeds at each wind speed, IEC 61400-1 (from memory)."""
Floats = NDArray[np.float64]


def run(scenario: Scenario, options: Options) -> Answer:
    """Run a scenario's cases, reckon the fatigue bill over its life, and write the page.

    Raises
    ------
    InputError
        The scenario has no life, no normal turbulence, or a single entry; an ultimate moment that the loads
        reach; or as `run_cases`.
    RunError
        As `scenarios.campaign.run_cases`.
    """
    from scenarios.report.fatigue_page import fatigue_page
    from scenarios.report.page import prepare, render, write

    life = asked_life(scenario)
    prepare(options.out)
    store = Store(options.store)
    study = judge_scenario(scenario, store, options)
    page = options.out / f"{scenario.name}-fatigue.html"
    hours = yearly_hours(scenario, study.entries[0].gathered)
    loads = [count_loads(entry, life, hours) for entry in study.entries]
    if reached := [f"{scenario.path}: {line}" for item in loads for line in ultimates_reached(item)[:1]]:
        raise InputError(reached)
    data = study_data(study, page) | bill_data(loads, hours)
    data["life"] |= {"weibull_shape": life.shape, "mean_wind_speed_m_s": life_wind(scenario)}
    data["per_thousand_actions"] = attribute(loads, store)
    data["per_thousand_actions_by_entry"] = attribute_each(loads)
    write(page, render(fatigue_page(scenario, loads, data)))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    return Answer(data, fatigue_text(data), study.code)


def asked_life(scenario: Scenario) -> Life:
    """Return the life over which the bill is reckoned.

    Raises
    ------
    InputError
        The scenario has no life, no normal turbulence, or a single entry.
    """
    problems = []
    if scenario.life is None:
        problems.append(
            f"{scenario.path}: life is missing; a bill over a life needs years and a wind distribution: "
            "[life] "
            'years = 20, distribution = "rayleigh"'
        )
    if all(case.wind.kind != "normal_turbulence" or case.faults for case in scenario.cases):
        problems.append(f"{scenario.path}: winds: none is normal_turbulence, from which alone rates may come")
    if len(scenario.entries) < 2:
        problems.append(f"{scenario.path}: entries: {len(scenario.entries)}; a bill needs a baseline too")
    if problems or scenario.life is None:
        raise InputError(problems)
    return scenario.life


def baselines_of(loads: Sequence[LifeLoads], mine: LifeLoads) -> list[LifeLoads]:
    """Return what an entry is billed against: the first entry, and every other that holds the requirement."""
    return [
        other
        for index, other in enumerate(loads)
        if other is not mine and (index == 0 or other.entry.verdict.holds)
    ]


def bill_data(loads: Sequence[LifeLoads], hours: Floats) -> dict[str, Any]:
    """Return the bill of every entry against every baseline; at the top that of the candidate."""
    against = [_against(mine, other, hours) for mine in loads for other in baselines_of(loads, mine)]
    mine = [item for item in against if item["entry"] == loads[-1].entry.name]
    fair = next((item for item in mine if not item["straw_man"]), mine[0])
    return {
        "life": {
            "years": loads[0].life.years,
            "production_hours_per_year": float(np.sum(loads[0].production)) / 3600.0,
        },
        "entry": fair["entry"],
        "baseline": fair["baseline"],
        "channels": fair["channels"],
        "energy": fair["energy"],
        "bearing": {item.entry.name: bearing_data(item.entry, hours) for item in loads},
        "against": against,
        "range_mean": _range_mean(loads[-1]),
        "problems": _problems(loads[0].entry, hours),
    }


def _against(mine: LifeLoads, other: LifeLoads, hours: Floats) -> dict[str, Any]:
    holds = other.entry.verdict.holds
    return {
        "entry": mine.entry.name,
        "baseline": other.entry.name,
        "baseline_holds": holds,
        "baseline_held": held(other.entry.verdict),
        "straw_man": not holds,
        "channels": {name: channel_data(mine, other, name) for name in CHANNELS},
        "energy": _energy(mine, other, hours),
    }


def _energy(mine: LifeLoads, other: LifeLoads, hours: Floats) -> dict[str, Any]:
    one, two = mine.entry.gathered, other.entry.gathered
    found = energy_ratio(
        (one.column("energy_J"), two.column("energy_J")),
        (one.column("judged_s"), two.column("judged_s")),
        one.labels,
        hours,
    )
    yearly = float(np.sum(mine.production)) / 3600.0 / 1e9
    return {
        "ratio": found.ratio.value,
        "interval": interval_data(found.ratio),
        "mean_power_kW": found.value / 1e3,
        "baseline_mean_power_kW": found.reference / 1e3,
        "per_year_GWh": found.value * yearly,
        "baseline_per_year_GWh": found.reference * yearly,
    }


def _range_mean(mine: LifeLoads) -> dict[str, Any]:
    found = {}
    for name, channel in CHANNELS.items():
        scale, unit = (180.0 / np.pi, "deg") if channel.record == "pitch" else (1e-3, "kNm")
        rows = mine.range_mean(name)
        found[name] = {
            f"range_{unit}": scale * rows[:, 0],
            f"mean_{unit}": scale * rows[:, 1],
            f"mean_deviation_{unit}": scale * rows[:, 2],
            "cycles_per_year": rows[:, 3],
        }
    return found


def _problems(entry: Assessment, hours: Floats) -> list[str]:
    labels, found = entry.gathered.labels, []
    group, names = labels.bins()
    for index, (_, condition, speed) in enumerate(names):
        count = int(np.count_nonzero((group == index) & (hours > 0.0)))
        if 0 < count < SEEDS:
            seeds = f"{count} seed{'' if count == 1 else 's'}"
            found.append(f"{condition} at {speed:g} m/s: {seeds}; a rate over a life needs {SEEDS}")
    return found


def fatigue_text(data: dict[str, Any]) -> str:
    """Return the bill for people."""
    told = [data["verdict"], _life_words(data)]
    for item in data["against"]:
        if item["entry"] == data["entry"]:
            told.append(_against_text(item))
    told += [_bearing_text(data), _actions_text(data["per_thousand_actions"])]
    if len(each := data["per_thousand_actions_by_entry"]) > 1:
        rows = [each_cells(name, found) for name, found in each.items()]
        told.append(f"A thousand actions of each entry with logic:\n{table(EACH_HEAD, rows, left=2)}")
    if data["problems"]:
        told.append("\n".join(["Too few seeds:", *(f"  {line}" for line in data["problems"])]))
    told.append(f"page: {data['page']}")
    return "\n\n".join(told)


def _life_words(data: dict[str, Any]) -> str:
    life = data["life"]
    return (
        f"A life of {life['years']:g} years in winds of {life['mean_wind_speed_m_s']:.2f} m/s annual mean "
        f"(Weibull shape {life['weibull_shape']:g}), {life['production_hours_per_year']:.0f} h a year in "
        "normal turbulence, from which alone rates come; the same winds for all, 95 % intervals over seeds. "
        "A damage ratio is the ratio of ranges to the power of the exponent. Loads are moments: where the "
        "sections of two entries differ, so do their stresses under one moment."
    )


def _against_text(item: dict[str, Any]) -> str:
    rows = [
        [
            row["title"],
            f"{row['exponent']:g}",
            number(row["ratio"], ".3f"),
            f"{number(row['interval']['low'], '.3f')}..{number(row['interval']['high'], '.3f')}",
            number(row["damage_ratio"], ".3f"),
            f"{number(row['value'], '.4g')} {row['unit']}",
            number(row["largest_kNm"], ".0f"),
            number(row["baseline_largest_kNm"], ".0f"),
        ]
        for row in item["channels"].values()
    ]
    head = ["channel", "exponent", "ratio", "interval", "damage", "range", "largest kNm", "baseline's"]
    energy = item["energy"]
    told = (
        f"{item['entry']} against {item['baseline']}.{straw_words(item)} "
        f"Energy {number(energy['ratio'], '.4f')} "
        f"({number(energy['interval']['low'], '.4f')}..{number(energy['interval']['high'], '.4f')}), "
        f"{energy['per_year_GWh']:.2f} GWh a year.\n{table(head, rows)}"
    )
    return "\n".join([told, *(f"  {line}" for line in channel_remarks(item))])


def straw_words(item: dict[str, Any]) -> str:
    """Say so where the baseline breaks the requirement, or is not shown to hold it."""
    if not item["straw_man"]:
        return ""
    how = "is not shown to hold" if item["baseline_held"] == "not shown" else "does not hold"
    return f" The baseline {how} the requirement itself: a straw man."


def channel_remarks(item: dict[str, Any]) -> list[str]:
    """Return what a bill's table does not hold: undefined ratios, and damage by the user's curves."""
    told = []
    for row in item["channels"].values():
        if "problem" in row:
            told.append(f"{row['title']}: {row['problem']}")
        if row["goodman_ultimate_kNm"] is not None:
            told.append(
                f"{row['title']}: means corrected after Goodman with an ultimate moment of "
                f"{row['goodman_ultimate_kNm']:g} kNm"
            )
        if not np.isnan(row["damage_of_life"]):
            told.append(
                f"{row['title']}: damage of the life by the curve given "
                f"{number(row['damage_of_life'], '.3g')} "
                f"(1 is the end), of {item['baseline']} {number(row['baseline_damage_of_life'], '.3g')}"
            )
    return told


BEARING_HEAD = [
    "entry",
    "travel deg/h",
    "reversals/h",
    "starts/h",
    "actions/h",
    "moving %",
    "loaded kNm deg/h",
]
BEARING_HEAD += ["peak power kW", "peak torque kNm", "overspeed"]


def bearing_cells(name: str, row: dict[str, Any]) -> list[str]:
    """Return one entry's pitch system as the cells of a table, in the order of BEARING_HEAD."""
    keys = ("travel_deg_per_hour", "reversals_per_hour", "starts_per_hour", "actions_per_hour")
    return [
        name,
        *(number(row[key]["value"], ".0f") for key in keys),
        number(100.0 * row["servo_moving_share"]["value"], ".1f"),
        number(row["loaded_travel_kNm_deg_per_hour"]["value"], ".3g"),
        number(row["servo_power_peak_kW"], ".1f"),
        number(row["servo_torque_peak_kNm"], ".0f"),
        number(row["rotor_speed_peak_over_rated"], ".3f"),
    ]


def _bearing_text(data: dict[str, Any]) -> str:
    rows = [bearing_cells(name, row) for name, row in data["bearing"].items()]
    note = "Pitch bearings and servos, mean of the blades; peaks of all cases, rotor turning:"
    return f"{note}\n{table(BEARING_HEAD, rows)}"


def _actions_text(found: dict[str, Any]) -> str:
    if "why_not" in found:
        return f"Per thousand actions: {found['why_not']}."
    told = [f"{thousand_words(found)}."]
    return "\n".join(told + [f"  {line}" for line in found["words"]])
