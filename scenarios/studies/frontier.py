"""How many demands does each tower-pass logic miss, for how much extra travel, as its margin is swept?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from scenarios.answer import Options, table
from scenarios.asked import Asked
from scenarios.case import Case, LayerSpec
from scenarios.scenario import Entry, Scenario
from scenarios.store import Store
from scenarios.studies.assess import Assessment, assess
from scenarios.studies.telling import interval_data, number
from sim.errors import InputError
from sim.plant.trim import steady_table

DEMANDS = 0.03
"""Share of the reference's passes that are made demands, so that misses can be counted [-]."""
GOOD_ENOUGH = 0.01
"""Share of demands that may be missed [-]."""
MARGINS = (-0.6, 0.0, 0.7, 1.8)
"""Swept, beside a layer's own margin [m]."""
AMPLITUDES = (1.0, 1.5, 2.0, 3.0)
"""Swept, of the permanent pulse [deg]."""
NOTE = (
    "Extreme turbulence. The required clearance is set to where {percent:g} % of the passes without logic "
    "break it ({required:.2f} m), so that misses can be counted. Extra travel is that over the stack without "
    "tower-pass logic, per blade. Demands are estimated from forks drawn at random; broken passes are "
    "counted, and told as share of those without logic in the same winds. The oracle is no logic: each pass "
    "of the run without logic is given just the relief that it turned out to lack, at the settled relief per "
    "degree, up and back."
)
HEAD = [
    "logic", "swept", "value", "demands", "missed %", "95 % from", "to", "broken", "of reference's %",
    "extra travel deg/h",
]  # fmt: skip


@dataclass(frozen=True)
class Point:
    """One setting of one layer."""

    layer: str
    parameter: str
    value: float
    entry: Entry
    cases: tuple[Case, ...]


def frontier(
    scenario: Scenario, entries: Sequence[Assessment], store: Store, options: Options
) -> dict[str, Any]:
    """Sweep every entry of power and one tower-pass layer, and the oracle.

    Parameters
    ----------
    scenario : Scenario
        With a reference of power alone, and cases of extreme turbulence.
    entries : sequence of Assessment
    store : Store
    options : Options

    Returns
    -------
    dict
        ``required_clearance_m``, ``points`` (one row for each setting), ``oracle`` and ``verdict``.

    Raises
    ------
    InputError
        The scenario has no extreme turbulence, or its first entry has tower-pass logic.
    RunError
        As `scenarios.campaign.run_cases`.
    """
    reference = entries[0]
    rows = np.array([case.wind.kind == "extreme_turbulence" for case in reference.gathered.cases])
    if reference.has_logic or not rows.any():
        raise InputError(
            f"{scenario.path}: questions = frontier; needs a first entry without tower-pass logic and a wind "
            "of kind extreme_turbulence"
        )
    passes = reference.gathered.passes
    inside = rows[passes["case"]]
    required = float(np.quantile(passes["clearance_m"][inside], DEMANDS))
    share = round(required / reference.gathered.unloaded, 4)
    points = [point for entry in scenario.entries for point in _points(scenario, entry, share)]
    everything = [case for point in points for case in point.cases]
    results = Asked(scenario, store, options, "frontier").run(everything).results
    swept = replace(scenario, entries=tuple(point.entry for point in points), cases=tuple(everything))
    broken = int(np.sum(passes["clearance_m"][inside] < share * reference.gathered.unloaded))
    base = (_travel(reference, rows), broken)
    judged = assess(swept, results)
    told = [_row(point, found, base) for point, found in zip(points, judged, strict=True)]
    oracle = _oracle(reference, inside, share * reference.gathered.unloaded, _hours(reference, rows))
    return {
        "required_clearance_m": share * reference.gathered.unloaded,
        "share_of_passes_made_demands": DEMANDS,
        "points": told,
        "oracle": {"missed_share": 0.0, "extra_travel_deg_per_hour": oracle},
        "verdict": _verdict(told, oracle),
    }


def _points(scenario: Scenario, entry: Entry, share: float) -> list[Point]:
    """Return the settings of an entry whose stack is one tower-pass layer on top of what makes power."""
    passing = [n for n, layer in enumerate(entry.stack) if layer.load().tower_pass]
    if len(passing) != 1:
        return []
    layer = entry.stack[passing[0]]
    given = dict(layer.parameters)
    if "margin_m" in given:
        name, values = "margin_m", sorted({*MARGINS, round(given["margin_m"], 3)})
    elif "amplitude_deg" in given:
        name, values = "amplitude_deg", sorted({*AMPLITUDES})
    else:
        return []
    cases = [case for case in scenario.cases_of(entry) if case.wind.kind == "extreme_turbulence"]
    return [_point(entry, passing[0], (name, value), cases, share) for value in values]


def _point(
    entry: Entry, place: int, setting: tuple[str, float], cases: Sequence[Case], share: float
) -> Point:
    layer = entry.stack[place]
    parameters = tuple(sorted((dict(layer.parameters) | dict([setting])).items()))
    stack: tuple[LayerSpec, ...] = tuple(
        replace(other, parameters=parameters) if n == place else other for n, other in enumerate(entry.stack)
    )
    title = f"{entry.name}, {setting[0]} {setting[1]:g}"
    return Point(
        layer.name,
        *setting,
        replace(entry, name=title, stack=stack),
        tuple(replace(case, entry=title, stack=stack, required_share=share) for case in cases),
    )


def _row(point: Point, found: Assessment, base: tuple[float, int]) -> dict[str, Any]:
    """Return one setting's numbers; ``base`` is the travel and the broken passes without logic."""
    counts = found.ledger.total()
    demands = counts["saved"] + counts["missed"]
    rows = np.ones(len(found.gathered.cases), bool)
    return {
        "layer": point.layer,
        "parameter": point.parameter,
        "value": point.value,
        "demands": demands,
        "missed_share": counts["missed"] / demands if demands else math.nan,
        "missed_interval": interval_data(found.rates[0].miss),
        "broken_passes": found.broken,
        "broken_over_reference": found.broken / base[1] if base[1] else math.nan,
        "extra_travel_deg_per_hour": _travel(found, rows) - base[0],
    }


def _hours(found: Assessment, rows: np.ndarray) -> float:
    return float(np.nansum(found.gathered.column("judged_s")[rows])) / 3600.0


def _travel(found: Assessment, rows: np.ndarray) -> float:
    """Return the travel of the chosen cases, per blade [deg/h]."""
    travel = np.degrees(found.gathered.column("pitch_travel_rad")[rows])
    return float(np.nansum(travel)) / travel.shape[1] / _hours(found, rows)


def _oracle(reference: Assessment, inside: np.ndarray, required: float, hours: float) -> float:
    """Return the travel per blade of giving each pass just what it lacked [deg/h].

    Notes
    -----
    2 sum max(0, required - clearance) / (settled relief per degree at the pass's pitch) / blades / hours.
    """
    passes, design = reference.gathered.passes, reference.gathered.entry.design
    steady = steady_table(design)
    pitch = np.asarray(steady.pitch)
    rising = np.maximum.accumulate(pitch)
    per_rad = np.abs(np.interp(passes["pitch_rad"][inside], rising, np.asarray(steady.deflection_per_pitch)))
    lacked = np.maximum(required - passes["clearance_m"][inside], 0.0)
    blades = design.rotor.blade_count
    return float(2.0 * np.sum(np.degrees(lacked / np.maximum(per_rad, 1e-6)))) / blades / hours


def _verdict(rows: Sequence[Mapping[str, Any]], oracle: float) -> list[dict[str, Any]]:
    """Return, for each layer, the least travel at which it misses few enough, against pulse and oracle."""
    least: dict[str, float] = {}
    for row in rows:
        if row["missed_share"] <= GOOD_ENOUGH:
            now = least.get(row["layer"], math.inf)
            least[row["layer"]] = min(now, row["extra_travel_deg_per_hour"])
    pulse = least.get("scheduled", math.nan)
    return [
        {
            "layer": layer,
            "extra_travel_deg_per_hour": least.get(layer, math.nan),
            "over_permanent_pulse": least.get(layer, math.nan) / pulse,
            "over_oracle": least.get(layer, math.nan) / oracle if oracle > 0.0 else math.nan,
        }
        for layer in dict.fromkeys(row["layer"] for row in rows)
    ]


def frontier_note(data: Mapping[str, Any]) -> str:
    """Say what is shown."""
    return NOTE.format(percent=100.0 * DEMANDS, required=data["required_clearance_m"])


def frontier_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one setting as the cells of a table, in the order of HEAD."""
    interval = row["missed_interval"]
    return [
        row["layer"],
        row["parameter"],
        f"{row['value']:g}",
        f"{row['demands']:.0f}",
        *(number(100.0 * value, ".1f") for value in (row["missed_share"], interval["low"], interval["high"])),
        str(row["broken_passes"]),
        number(100.0 * row["broken_over_reference"], ".1f"),
        number(row["extra_travel_deg_per_hour"], ".0f"),
    ]


def verdict_lines(data: Mapping[str, Any]) -> list[str]:
    """Say for each layer what few enough misses cost it."""
    lines, few = [], f"{100 * GOOD_ENOUGH:g} %"
    for row in data["verdict"]:
        travel, over = row["extra_travel_deg_per_hour"], number(row["over_permanent_pulse"], ".2f")
        if math.isnan(travel):
            lines.append(f"{row['layer']}: misses more than {few} of the demands at every setting.")
            continue
        lines.append(
            f"{row['layer']}: at most {few} missed for {travel:.0f} deg/h more, {over} of the permanent "
            f"pulse's, {number(row['over_oracle'], '.1f')} times the oracle's."
        )
    return lines


def frontier_text(data: Mapping[str, Any]) -> str:
    """Return the frontier for people."""
    rows = [frontier_cells(row) for row in data["points"]]
    oracle = data["oracle"]["extra_travel_deg_per_hour"]
    told = [
        frontier_note(data),
        table(HEAD, rows, left=2),
        f"oracle: 0 % missed for {oracle:.0f} deg/h more.",
    ]
    return "\n".join([*told, *verdict_lines(data)])
