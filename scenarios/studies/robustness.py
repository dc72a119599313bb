"""What do a late, biased, softer or badly set machine do to the characteristic clearance of each stack?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import Options, table
from scenarios.asked import Asked
from scenarios.case import Case
from scenarios.scenario import Scenario
from scenarios.store import CaseResult, Store
from scenarios.studies.assess import Assessment
from scenarios.studies.gather import has_ended
from scenarios.studies.telling import governing_text, interval_data, number
from sim.design import Turbine
from sim.measures.clearance import characteristic_value
from sim.measures.statistics import Interval, cluster_bootstrap, ratio
from sim.turbine import load_turbine

Floats = NDArray[np.float64]

MORE_DELAY_S, BIAS, SOFTER, OFFSET_DEG = 0.3, 0.05, 0.1, 0.3
WORDS: Mapping[str, str] = {
    "more_delay": f"readings {MORE_DELAY_S:g} s older",
    "sensor_bias": f"sensors {100 * BIAS:g} % off",
    "softer_blades": f"blades {100 * SOFTER:g} % softer",
    "pitch_offset": f"one blade {OFFSET_DEG:g} deg off",
}
NOTE = (
    "Change of the characteristic clearance [m] in each stack's governing wind, in the same winds, where "
    f"readings are {MORE_DELAY_S:g} s older (whole periods); pass readings too large by {100 * BIAS:g} % of "
    f"the unloaded clearance and flap moments too small by {100 * BIAS:g} % of the largest steady one; all "
    f"blades {100 * SOFTER:g} % softer; one blade's pitch zero {OFFSET_DEG:g} deg towards fine. The logic "
    "knows of age and softness, not of bias and offset. In brackets, for turbulence: the 95 % interval over "
    "seeds, each compared with itself."
)


def robustness(
    scenario: Scenario, entries: Sequence[Assessment], store: Store, options: Options
) -> list[dict[str, Any]]:
    """Run each entry's governing wind once more with each change, and say what the clearance loses.

    Parameters
    ----------
    scenario : Scenario
    entries : sequence of Assessment
        As judged without any change.
    store : Store
    options : Options

    Returns
    -------
    list of dict
        One for each entry: its name, governing case, characteristic clearance [m], and for each of WORDS the
        change of it [m] with its interval; not a number where a case failed.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`.
    """
    changed = {
        (entry.name, name): [change(case, entry.gathered.entry.design, name) for case in _governing(entry)]
        for entry in entries
        for name in WORDS
    }
    everything = [case for cases in changed.values() for case in cases]
    results = Asked(scenario, store, options, "robustness").run(everything).results
    return [_row(entry, changed, results) for entry in entries]


def _row(
    entry: Assessment, changed: Mapping[tuple[str, str], Sequence[Case]], results: Mapping[str, CaseResult]
) -> dict[str, Any]:
    governing, smallest = entry.verdict.governing, entry.gathered.column("smallest_clearance_m")
    before = smallest[[_governs(entry, case) for case in entry.gathered.cases]]
    row: dict[str, Any] = {
        "name": entry.name,
        "governing_case": governing_text(governing),
        "characteristic_clearance_m": governing.characteristic,
    }
    for name in WORDS:
        after = [results.get(case.key) for case in changed[entry.name, name]]
        found = clearance_change(governing.kind, before, _smallest(after))
        row |= {f"{name}_m": found.value, f"{name}_interval_m": interval_data(found)}
    return row


def change(case: Case, design: Turbine, name: str) -> Case:
    """Return a case with one thing changed, named as in WORDS."""
    if name == "more_delay":
        more = math.ceil(MORE_DELAY_S / case.run.period - 1e-9) * case.run.period
        delays = tuple((sensor, round(delay + more, 9)) for sensor, delay in case.sensors.delays)
        return replace(case, sensors=replace(case.sensors, delays=delays))
    if name == "sensor_bias":
        return replace(case, sensors=replace(case.sensors, details=_biased(case, design)))
    if name == "softer_blades":
        factors = ((1.0 - SOFTER) * design.blade.stiffness_factor).tolist()
        return _rebuilt(case, "blade.offsets.stiffness_factor", factors)
    offsets = np.degrees(design.blade.pitch_offset)
    offsets[0] -= OFFSET_DEG
    return _rebuilt(case, "blade.offsets.pitch_deg", offsets.tolist())


def _biased(case: Case, design: Turbine) -> tuple[tuple[str, tuple[tuple[str, float], ...]], ...]:
    """Return the sensors' details with a bias that makes every pass look farther away than it is."""
    from sim.plant.geometry import unloaded_clearance
    from sim.plant.trim import steady_table

    largest = float(np.max(np.abs(steady_table(design).root_flap_moment)))
    bias = {
        "last_pass_clearance": BIAS * unloaded_clearance(design),
        "root_flap_moment": design.rotor.side * BIAS * largest,
    }
    fitted = {sensor for sensor, _ in case.sensors.delays}
    details = {sensor: dict(detail) for sensor, detail in case.sensors.details}
    for sensor, value in bias.items():
        if sensor in fitted:
            detail = details.setdefault(sensor, {})
            detail["bias"] = detail.get("bias", 0.0) + value
    return tuple(sorted((sensor, tuple(sorted(detail.items()))) for sensor, detail in details.items()))


def _rebuilt(case: Case, key: str, value: Any) -> Case:
    overrides = (*case.turbine.overrides, (key, value))
    content = load_turbine(case.turbine.source, overrides).content_hash()
    return replace(case, turbine=replace(case.turbine, overrides=overrides, content=content))


def _governing(entry: Assessment) -> list[Case]:
    return [case for case in entry.gathered.cases if _governs(entry, case)]


def _governs(entry: Assessment, case: Case) -> bool:
    bin_ = entry.verdict.governing
    return case.load_case == bin_.condition and case.wind.speed == bin_.speed


def _smallest(results: Sequence[CaseResult | None]) -> Floats:
    """Return the smallest clearance of each case [m]; not a number where it failed."""
    return np.array(
        [
            math.nan if result is None or has_ended(result) else float(result["cases.smallest_clearance_m"])
            for result in results
        ]
    )


def clearance_change(kind: str, before: Floats, after: Floats) -> Interval:
    """Return by how much the characteristic clearance changes over the same seeds or phases.

    Parameters
    ----------
    kind : as of `sim.measures.clearance.characteristic_value`
    before, after : (case,) float64 [m]
        Smallest clearance of each case, in the same order.

    Returns
    -------
    Interval [m]
        Over the seeds of turbulence, each with itself; other winds are no sample and have none.
    """
    if not np.isfinite([*before, *after]).all():
        return Interval(math.nan, math.nan, math.nan, len(before), "undefined: a case failed")
    if kind == "turbulence":
        sums = np.stack([after - before, np.ones(len(before))], axis=1)
        return cluster_bootstrap(ratio, sums, np.zeros(len(before), int))
    value = characteristic_value(kind, after) - characteristic_value(kind, before)
    return Interval(value, math.nan, math.nan, len(before), f"no interval: {kind} has no seeds to draw")


def robustness_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one entry's line as the cells of a table, in the order of `robustness_head`."""
    return [
        row["name"],
        row["governing_case"],
        number(row["characteristic_clearance_m"]),
        *(_told(row[f"{name}_m"], row[f"{name}_interval_m"]) for name in WORDS),
    ]


def _told(value: float, interval: Mapping[str, Any]) -> str:
    low, high = interval["low"], interval["high"]
    if math.isnan(low) or low == high == value:
        return number(value, "+.2f")
    return f"{value:+.2f} ({low:+.2f}..{high:+.2f})"


def robustness_head() -> list[str]:
    """Return the head of the table."""
    return ["entry", "governing case", "left m", *WORDS.values()]


def robustness_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the lines for people."""
    return f"{NOTE}\n{table(robustness_head(), [robustness_cells(row) for row in rows], left=2)}"
