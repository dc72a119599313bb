"""What do a late, biased, softer or badly set machine do to the characteristic clearance of each stack?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from scenarios.answer import Options, table
from scenarios.asked import Asked
from scenarios.case import Case
from scenarios.scenario import Scenario
from scenarios.store import CaseResult, Store
from scenarios.studies.assess import Assessment
from scenarios.studies.gather import has_ended
from sim.design import Turbine
from sim.measures.clearance import characteristic_value
from sim.turbine import load_turbine

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
    "knows of age and softness, not of bias and offset."
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
        change of it [m]; not a number where a case failed.

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
    rows = []
    for entry in entries:
        governing = entry.verdict.governing
        rows.append(
            {
                "name": entry.name,
                "governing_case": f"{governing.condition}, {governing.speed:g} m/s",
                "characteristic_clearance_m": governing.characteristic,
            }
            | {
                f"{name}_m": _characteristic(entry, changed[entry.name, name], results)
                - governing.characteristic
                for name in WORDS
            }
        )
    return rows


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
    bin_ = entry.verdict.governing
    return [
        case
        for case in entry.gathered.cases
        if case.load_case == bin_.condition and case.wind.speed == bin_.speed
    ]


def _characteristic(entry: Assessment, cases: Sequence[Case], results: Mapping[str, CaseResult]) -> float:
    found = [results.get(case.key) for case in cases]
    if not found or any(result is None or has_ended(result) for result in found):
        return math.nan
    smallest = [float(result["cases.smallest_clearance_m"]) for result in found if result is not None]
    return characteristic_value("event" if cases[0].is_event else "turbulence", smallest)


def robustness_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one entry's line as the cells of a table, in the order of `robustness_head`."""
    return [
        row["name"],
        row["governing_case"],
        f"{row['characteristic_clearance_m']:.2f}",
        *(f"{row[f'{name}_m']:+.2f}" for name in WORDS),
    ]


def robustness_head() -> list[str]:
    """Return the head of the table."""
    return ["entry", "governing case", "left m", *WORDS.values()]


def robustness_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the lines for people."""
    return f"{NOTE}\n{table(robustness_head(), [robustness_cells(row) for row in rows], left=2)}"
