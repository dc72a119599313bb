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
    "degree, up and back. A setting misses few enough where its estimate does; what seeds can show is its "
    "interval."
)
SHOWN_BY = ("demands", "missed_share", "missed_interval", "broken_passes")
"""What stands behind a verdict: kept from the setting that it names."""
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
    best: dict[str, Mapping[str, Any]] = {}
    for row in rows:
        now = best.get(row["layer"])
        if row["missed_share"] <= GOOD_ENOUGH and (now is None or _extra(row) < _extra(now)):
            best[row["layer"]] = row
    pulse = _extra(best.get("scheduled", {}))
    return [
        {
            "layer": layer,
            "setting": f"{best[layer]['parameter']} {best[layer]['value']:g}" if layer in best else None,
            **{name: best[layer][name] for name in SHOWN_BY if layer in best},
            "extra_travel_deg_per_hour": _extra(best.get(layer, {})),
            "over_permanent_pulse": _extra(best.get(layer, {})) / pulse,
            "over_oracle": _extra(best.get(layer, {})) / oracle if oracle > 0.0 else math.nan,
        }
        for layer in dict.fromkeys(row["layer"] for row in rows)
    ]


def _extra(row: Mapping[str, Any]) -> float:
    return float(row.get("extra_travel_deg_per_hour", math.nan))


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
    """Say for each layer what few enough misses cost it, and how many demands that rests on."""
    lines, few = [], f"{100 * GOOD_ENOUGH:g} %"
    for row in data["verdict"]:
        if row["setting"] is None:
            lines.append(f"{row['layer']}: misses more than {few}, or met no demand, at every setting.")
            continue
        upper = row["missed_interval"]["high"]
        travel, over = row["extra_travel_deg_per_hour"], number(row["over_permanent_pulse"], ".2f")
        lines.append(
            f"{row['layer']}, {row['setting']}: {100.0 * row['missed_share']:.1f} % of about "
            f"{row['demands']:.0f} demands missed (95 % interval up to {number(100.0 * upper, '.0f')} %), "
            f"passes broken: {row['broken_passes']}; {travel:.0f} deg/h more, {over} of the permanent "
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
