"""The same rotor before and behind its tower, of two and of three blades: what does each side cost?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from scenarios.answer import Answer, ExitCode, Options, to_json
from scenarios.asked import Asked
from scenarios.load import Overrides, load_scenario, scenario_path
from scenarios.provenance import origin
from scenarios.scenario import Scenario
from scenarios.store import CaseResult, Store
from scenarios.studies.assess import Assessment, assess
from scenarios.studies.lever_design import SPAR_SHARE, mix_of
from scenarios.studies.lever_running import running
from scenarios.studies.sides_text import sides_text
from scenarios.studies.softer_runs import march, margin_of, without_logic
from scenarios.studies.telling import governing_text, interval_data
from scenarios.studies.thump import DISTANCE, thump
from sim.design import Turbine
from sim.keyfile import apply_overrides, read_toml
from sim.measures.clearance import characteristic_value
from sim.measures.lifetime import PairedRatio
from sim.measures.statistics import Interval

SIDES, COUNTS = ("upwind", "downwind"), (3, 2)
STOP = "emergency stop"
GUST = "the same gust without a stop"
BARE = ", tower away"
FLAP = "blade_root_flap_kNm"
_STIFF_GPA, _WALL = 1000.0, 0.5  # the stiffest that a file may state, and the thickest wall [m]


def sides_scenario(source: str, overrides: Overrides = (), seed: int | None = None) -> Scenario:
    """Return a scenario of the same rotor on both sides, of three and of two blades, and with the tower away.

    Parameters
    ----------
    source : name or file of a scenario
    overrides, seed : as of `load_scenario`

    Raises
    ------
    InputError
        As `load_scenario`.

    Notes
    -----
    The candidate's turbine under the reference's stack without what acts for the tower passage: such logic
    pitches a blade away from an upwind rotor's tower, and towards a downwind one's. An emergency stop in an
    operating gust near rated wind is added. "Tower away" is a tower of the same stiffness and mass as slender
    as can be and without drag; it is marched in normal turbulence alone.
    """
    base = load_scenario(source, overrides, seed)
    data, lines = read_toml(scenario_path(source))
    data, _ = apply_overrides(data, lines, [pair for pair in overrides if _table(pair[0]) in data])
    bare = without_logic(base.reference.stack)
    stack = [layer.spec or layer.name for layer in bare]
    given = {layer.name: dict(layer.parameters) for layer in bare}
    settings = data["entries"][-1].get("set", {})
    thin = slender(base.candidate.design)
    entries = [
        {
            "name": f"{side}, {count} blades{word}",
            "stack": stack,
            "parameters": given,
            "set": settings | {"rotor.side": side, "rotor.blade_count": count} | more,
        }
        for word, more in (("", {}), (BARE, thin))
        for count in COUNTS
        for side in SIDES
    ]
    speed = round(rated_speed(base.candidate.design))
    stop = {"name": STOP, "kind": "emergency_stop", "start_s": 5.0}
    wind = {
        "label": GUST,
        "kind": "operating_gust",
        "speeds_m_s": [float(speed)],
        "phases": 12,
    }
    stopped = wind | {"label": "gust", "faults": [STOP]}
    used = {name for each in data["winds"] for name in each.get("faults", [])}
    faults = [fault for fault in data.get("faults", []) if fault["name"] in used]
    own = [pair for pair in overrides if _table(pair[0]) not in ("entries", "winds", "faults")]
    made = load_scenario(
        source,
        [*own, ("entries", entries), ("winds", [*data["winds"], wind, stopped]), ("faults", [*faults, stop])],
        seed,
    )
    cases = tuple(
        case
        for case in made.cases
        if not case.entry.endswith(BARE) or (case.wind.kind == "normal_turbulence" and not case.faults)
    )
    return replace(made, cases=cases, name=f"{base.name}-sides")


def _table(key: str) -> str:
    """Return the first part of a dotted key: ``winds`` of ``winds[0].seeds``."""
    return key.partition(".")[0].partition("[")[0]


def rated_speed(turbine: Turbine) -> float:
    """Return the wind speed at which rated power is reached [m/s]."""
    return running(turbine, mix_of(turbine), SPAR_SHARE).rated


def slender(turbine: Turbine) -> dict[str, float]:
    """Return keys of a tower that bends and weighs as the turbine's own, as slender as a file may state it.

    Notes
    -----
    Of the stiffest material, each end keeps E (D^4 - d^4) at the smallest share of its diameter whose wall is
    at most half a metre; mass per metre is kept at the base. Its dam, which goes with the square of the
    diameter, is still there by the square of that share; its wake is not.
    """
    tower = turbine.tower
    soft = tower.youngs_modulus / 1e9 / _STIFF_GPA
    for share in np.arange(0.2, 1.01, 0.02).tolist():
        ends = [
            (share * outer, (share * outer) ** 4 - soft * (outer**4 - (outer - 2.0 * wall) ** 4))
            for outer, wall in ((tower.base_diameter, tower.base_wall), (tower.top_diameter, tower.top_wall))
        ]
        if all(left > 0.0 and 0.5 * (outer - left**0.25) <= _WALL for outer, left in ends):
            break
    walls = [0.5 * (outer - left**0.25) for outer, left in ends]
    area = tower.base_wall * (tower.base_diameter - tower.base_wall) / (walls[0] * (ends[0][0] - walls[0]))
    return {
        "tower.base_diameter_m": ends[0][0],
        "tower.top_diameter_m": ends[1][0],
        "tower.base_wall_mm": 1e3 * walls[0],
        "tower.top_wall_mm": 1e3 * walls[1],
        "tower.youngs_modulus_GPa": _STIFF_GPA,
        "tower.density_kg_m3": tower.density * area,
        "tower.drag_coefficient": 0.0,
    }


def run(scenario: Scenario, options: Options) -> Answer:
    """March both sides in the same winds, and write the page.

    Parameters
    ----------
    scenario : of `sides_scenario`
    options : Options

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; a case failed; the page cannot be written.
    """
    from scenarios.report.page import prepare, render, write
    from scenarios.report.sides_page import sides_page

    prepare(options.out)
    store = Store(options.store)
    results = march(scenario, Asked(scenario, store, options, "both sides"))
    whole = [entry for entry in scenario.entries if not entry.name.endswith(BARE)]
    judged = assess(replace(scenario, entries=tuple(whole)), results)
    page = options.out / f"{scenario.name}.html"
    data = sides_data(scenario, judged, _towerless(scenario, results)) | {"page": str(page)}
    write(page, render(sides_page(data)))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    holds = all(entry.verdict.holds for entry in judged)
    return Answer(data, sides_text(data), ExitCode.HOLDS if holds else ExitCode.DOES_NOT_HOLD)


def _towerless(scenario: Scenario, results: Mapping[str, CaseResult]) -> dict[str, PairedRatio]:
    """Return each side's flap range over that with the tower away, in the same normal turbulence, by name."""
    normal = tuple(c for c in scenario.cases if c.wind.kind == "normal_turbulence" and not c.faults)
    by_name = {entry.name: entry for entry in scenario.entries}
    found = {}
    for name, entry in by_name.items():
        if normal and not name.endswith(BARE):
            pair = replace(scenario, cases=normal, entries=(by_name[name + BARE], entry))
            found[name] = assess(pair, results)[1].bill.equivalent[FLAP]
    return found


def sides_data(
    scenario: Scenario, judged: Sequence[Assessment], without: Mapping[str, PairedRatio]
) -> dict[str, Any]:
    """Return clearance, fatigue, energy, thump and emergency stop of every side, units in the names."""
    design, upflow = judged[0].gathered.entry.design, float(scenario.site["upflow_deg"])
    wind, tilt = float(round(rated_speed(design))), math.degrees(design.rotor.tilt)
    return origin(scenario) | {
        "stack": [layer.name for layer in scenario.reference.stack],
        "thump_wind_m_s": wind,
        "thump_distance_m": DISTANCE,
        "shaft_to_wind_deg": {"upwind": abs(upflow + tilt), "downwind": abs(upflow - tilt)},
        "sides": [_row(entry, without.get(entry.name), wind) for entry in judged],
    }


def _row(entry: Assessment, without: PairedRatio | None, wind: float) -> dict[str, Any]:
    design, bill = entry.gathered.entry.design, entry.bill
    heard = thump(design, wind)
    flap, tower = bill.equivalent[FLAP], bill.equivalent["tower_base_fore_aft_kNm"]
    share = Interval(math.nan, math.nan, math.nan, 0, "") if without is None else without.ratio
    spare = margin_of(entry.gathered)
    scatters = spare.high > spare.low
    return {
        "entry": entry.name,
        "side": "upwind" if design.rotor.side < 0.0 else "downwind",
        "blades": design.rotor.blade_count,
        "unloaded_m": entry.gathered.unloaded,
        "required_m": entry.gathered.required,
        "holds": entry.verdict.holds,
        "characteristic_m": entry.verdict.governing.characteristic,
        "characteristic_interval_m": {
            end: entry.gathered.required + value if scatters else math.nan
            for end, value in (("low", spare.low), ("high", spare.high))
        },
        "governing": governing_text(entry.verdict.governing),
        "smallest_m": entry.verdict.smallest_clearance,
        "strikes": entry.strikes,
        "stop": stop_of(entry),
        "flap_range_kNm": flap.value / 1e3,
        "flap_ratio": flap.ratio.value,
        "flap_ratio_interval": interval_data(flap.ratio),
        "flap_range_tower_away_kNm": flap.value / share.value / 1e3,
        "flap_tower_share": share.value - 1.0,
        "flap_tower_share_interval": interval_data(
            replace(share, low=share.low - 1.0, high=share.high - 1.0)
        ),
        "tower_base_range_kNm": tower.value / 1e3,
        "tower_base_ratio": tower.ratio.value,
        "tower_base_ratio_interval": interval_data(tower.ratio),
        "energy_ratio": bill.energy.ratio.value,
        "energy_ratio_interval": interval_data(bill.energy.ratio),
        "thump_Pa": heard.pressure,
        "thump_force_swing_kN": heard.swing / 1e3,
        "thump_per_second": heard.per_second,
        "thump_force_kN": (heard.force / 1e3).tolist(),
    }


def stop_of(entry: Assessment) -> dict[str, Any]:
    """Return what the emergency stop leaves, and what the same gust leaves without it."""
    gathered = entry.gathered
    smallest = gathered.column("smallest_clearance_m")
    ran = np.isfinite(smallest)
    has = ran & np.array([case.fault == STOP for case in gathered.cases])
    alike = ran & np.array([case.load_case == GUST for case in gathered.cases])
    stopped, turning = (
        characteristic_value("event", smallest[rows]) if rows.any() else math.nan for rows in (has, alike)
    )
    return {
        "smallest_clearance_m": stopped,
        "without_stop_m": turning,
        "governs": bool(stopped - gathered.required <= entry.verdict.governing.margin + 1e-9),
        "margin_m": stopped - entry.gathered.required,
    }
