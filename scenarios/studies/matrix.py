"""What becomes of the clearance when something breaks, by wind, rotor position and stack?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from scenarios.answer import Options, table
from scenarios.asked import Asked
from scenarios.bench_run import BenchCase, bench_case, simulate
from scenarios.campaign import Engine
from scenarios.case import Case, LayerSpec
from scenarios.scenario import Scenario
from scenarios.store import CaseResult, Store
from scenarios.studies.bench import Breakage, bench_of, pairs_of
from scenarios.studies.gather import has_ended, is_whole, why_lost
from scenarios.warming import WARM
from sim.measures.statistics import clopper_pearson

OUTCOMES = ("held", "thinner", "broken", "struck")
"""Of the clearance after the fault: as without it; less, but enough; below what is required; none left."""
THINNER = 0.2
"""Clearance lost against the same wind without the fault that counts as thinner [m]."""
SUPERVISOR = "supervisor"
MODES = ("nothing", "reference", "derated", "stopped")
"""What a layer's mode stands for."""


@dataclass(frozen=True)
class MatrixEffort:
    """How large the matrix is."""

    settle_s: float
    before_s: float  #: judged before the fault begins
    after_s: float
    seeds: int  #: of each turbulent wind
    phases: int  #: rotor positions in which a fault begins
    speeds: int  #: of each wind, the most telling first
    pairs: bool


QUICK = MatrixEffort(30.0, 5.0, 35.0, 1, 3, 1, False)
THOROUGH = MatrixEffort(40.0, 10.0, 80.0, 2, 3, 2, True)


def run_matrix(scenario: Scenario, store: Store, options: Options, effort: MatrixEffort) -> dict[str, Any]:
    """March every fault in every wind, rotor position and stack, and compare with the same without fault."""
    stacks, winds = matrix_stacks(scenario), matrix_winds(scenario, effort)
    faults = bench_of(scenario) + (pairs_of(scenario) if effort.pairs else [])
    sound = {
        (s, w, phase): _turned(_case(layers, winds[w], effort), phase, effort)
        for s, layers in stacks.items()
        for w in winds
        for phase in range(effort.phases)
    }
    broken = {
        (fault.name, *place): _broken(case, fault, effort)
        for fault in faults
        for place, case in sound.items()
    }
    cases = [*sound.values(), *broken.values()]
    part = f"faults, {effort.phases} phases"
    campaign = Asked(scenario, store, options, part).run(cases, Engine(simulate, WARM))
    results = campaign.results
    failed = [
        {"case": case.title, "entry": case.entry, "why": why}
        for case in cases
        if (why := why_lost(results.get(case.key), campaign.tally.failed.get(case.key, "no result")))
    ]
    required = required_of(scenario)
    rows = [
        _row(fault, place, results[case.key], results[sound[place[1:]].key], required, effort)
        for fault in faults
        for place, case in broken.items()
        if place[0] == fault.name and case.key in results and is_whole(results.get(sound[place[1:]].key))
    ]
    rows = [row for row in rows if not row["ended_early"] or row["outcome"] in ("broken", "struck")]
    healthy = [
        _healthy(place, results[case.key], effort)
        for place, case in sound.items()
        if is_whole(results.get(case.key))
    ]
    return {
        "required_clearance_m": required,
        "outcomes": list(OUTCOMES),
        "stacks": list(stacks),
        "winds": list(winds),
        "phases": effort.phases,
        "rows": rows,
        "summary": summary(rows),
        "healthy": healthy,
        "false_alarms": false_alarms(healthy),
        "failed_cases": failed,
    }


def matrix_stacks(scenario: Scenario) -> dict[str, tuple[LayerSpec, ...]]:
    """Return the candidate's layers without tower-pass logic, as they are, and with a supervisor on top."""
    from controllers.registry import names

    layers = scenario.candidate.stack
    plain = tuple(layer for layer in layers if not layer.load().tower_pass)
    stacks = {
        "+".join(layer.name for layer in plain): plain,
        "+".join(layer.name for layer in layers): layers,
    }
    if plain != layers and SUPERVISOR in names() and all(layer.name != SUPERVISOR for layer in layers):
        more = (*layers, _supervisor())
        stacks["+".join(layer.name for layer in more)] = more
    return stacks


def _supervisor() -> LayerSpec:
    from dataclasses import fields

    from controllers.registry import find

    layer: Any = find(SUPERVISOR, {})
    told = {f.name: getattr(layer, f.name) for f in fields(layer) if f.init}
    return LayerSpec(name=SUPERVISOR, parameters=tuple(sorted(told.items())), spec=SUPERVISOR)


def matrix_winds(scenario: Scenario, effort: MatrixEffort) -> dict[str, Case]:
    """Return one sound turbulent case for each wind, speed and seed: the fastest turbulence first."""
    cases = [c for c in scenario.cases_of(scenario.candidate) if c.is_sound_turbulence]
    kinds = list(dict.fromkeys(case.load_case for case in cases))
    chosen = {}
    for kind in kinds:
        mine = [case for case in cases if case.load_case == kind]
        rated = 0.5 * (mine[0].wind.speed + mine[-1].wind.speed)
        speeds = sorted(
            {case.wind.speed for case in mine}, key=lambda speed: (abs(speed - min(rated, 12.0)), speed)
        )
        for case in mine:
            if case.wind.speed in speeds[: effort.speeds] and case.number <= effort.seeds:
                chosen[f"{kind} {case.wind.speed:g} m/s, seed {case.number}"] = case
    return chosen


def _case(layers: tuple[LayerSpec, ...], case: Case, effort: MatrixEffort) -> BenchCase:
    run = replace(case.run, settle=effort.settle_s, duration=effort.before_s + effort.after_s)
    name = "+".join(layer.name for layer in layers)
    return bench_case(replace(case, stack=layers, run=run, entry=name))


def _turned(case: BenchCase, phase: int, effort: MatrixEffort) -> BenchCase:
    """Return a case whose rotor stands a share of the blades' angle on: its passes come at other times."""
    turned = 2.0 * np.pi / case.blade_count * phase / effort.phases
    return replace(case, run=replace(case.run, azimuth=case.run.azimuth + turned))


def _broken(case: BenchCase, fault: Breakage, effort: MatrixEffort) -> BenchCase:
    """Return a case with a fault that begins when what is judged before it ends."""
    first = min(spec.start for spec in fault.specs)
    specs = tuple(replace(spec, start=effort.before_s + spec.start - first) for spec in fault.specs)
    return replace(case, faults=specs, load_case=f"{case.load_case}: {fault.name}")


def required_of(scenario: Scenario) -> float:
    """Return the clearance that must remain at the candidate [m]."""
    from sim.plant.geometry import unloaded_clearance

    return scenario.candidate_case.required_share * unloaded_clearance(scenario.candidate.design)


def _row(
    fault: Breakage,
    place: tuple[str, str, str, int],
    result: CaseResult,
    sound: CaseResult,
    required: float,
    effort: MatrixEffort,
) -> dict[str, Any]:
    left, before = (_least(item, effort.before_s) for item in (result, sound))
    noticed = float(result["bench.noticed_s"]) - effort.before_s
    mode = int(result["bench.mode"])
    return {
        "fault": fault.name,
        "part": " and ".join(fault.parts),
        "stack": place[1],
        "wind": place[2],
        "phase": place[3],
        "clearance_m": left,
        "clearance_without_fault_m": before,
        "outcome": outcome(left, before, required),
        "noticed_after_s": noticed if noticed >= 0.0 else float("nan"),
        "fell_back_to": MODES[mode] if 0 <= mode < len(MODES) else "no supervisor",
        "ended_early": has_ended(result),
    }


def outcome(left: float, before: float, required: float) -> str:
    """Return in which of `OUTCOMES` a clearance falls [m]."""
    if left <= 0.0:
        return "struck"
    if left < required:
        return "broken"
    return "thinner" if left < before - THINNER else "held"


def _least(result: CaseResult, since_s: float) -> float:
    after = result["passes.time_s"] >= since_s
    return float(np.min(result["passes.clearance_m"][after], initial=np.inf))


def _healthy(place: tuple[str, str, int], result: CaseResult, effort: MatrixEffort) -> dict[str, Any]:
    return {
        "stack": place[0],
        "wind": place[1],
        "phase": place[2],
        "false_alarm": bool(int(result["bench.mode"]) > 0),
        "hours": (effort.before_s + effort.after_s) / 3600.0,
        "clearance_m": _least(result, effort.before_s),
    }


def summary(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return for each fault and stack how often each outcome came, the worst, and how soon it was noticed."""
    found = []
    for fault, stack in dict.fromkeys((row["fault"], row["stack"]) for row in rows):
        mine = [row for row in rows if (row["fault"], row["stack"]) == (fault, stack)]
        noticed = [row["noticed_after_s"] for row in mine if np.isfinite(row["noticed_after_s"])]
        outcomes = [row["outcome"] for row in mine]
        found.append(
            {
                "fault": fault,
                "stack": stack,
                "runs": len(mine),
                **{word: outcomes.count(word) for word in OUTCOMES},
                "worst": max(outcomes, key=OUTCOMES.index),
                "least_clearance_m": min(row["clearance_m"] for row in mine),
                "noticed": len(noticed),
                "noticed_after_s": float(np.median(noticed)) if noticed else float("nan"),
                "fell_back_to": max((row["fell_back_to"] for row in mine), key=_severity),
            }
        )
    return found


def _severity(word: str) -> int:
    return MODES.index(word) if word in MODES else -1


def matrix_text(data: Mapping[str, Any]) -> str:
    """Return the matrix for people: the worst of each fault under each stack."""
    stacks = data["stacks"]
    cells = {(item["fault"], item["stack"]): item for item in data["summary"]}
    rows = []
    for fault in dict.fromkeys(item["fault"] for item in data["summary"]):
        mine = [cells.get((fault, stack)) for stack in stacks]
        rows.append([fault, *(_cell(item) for item in mine)])
    note = "\n".join(alarm_text(item) for item in data["false_alarms"])
    return f"{table(['fault: worst outcome, least clearance m', *stacks], rows)}\n{note}"


def false_alarms(healthy: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return how often each stack's layers fell back though nothing was broken; the wind is the unit."""
    found = []
    for stack in dict.fromkeys(item["stack"] for item in healthy):
        runs = [item for item in healthy if item["stack"] == stack]
        winds = {item["wind"] for item in runs}
        alarmed = len({item["wind"] for item in runs if item["false_alarm"]})
        low, high = clopper_pearson(alarmed, len(winds))
        found.append(
            {
                "stack": stack,
                "runs": len(runs),
                "runs_with_alarm": sum(item["false_alarm"] for item in runs),
                "winds": len(winds),
                "share_of_winds": {"value": alarmed / len(winds), "low": low, "high": high},
                "hours": sum(item["hours"] for item in runs),
            }
        )
    return found


def alarm_text(told: Mapping[str, Any]) -> str:
    """Return the false alarms of a stack for people, in a sentence."""
    share = told["share_of_winds"]
    return (
        f"False alarms of {told['stack']}: {told['runs_with_alarm']} of {told['runs']} healthy runs, "
        f"{told['hours']:.2f} h; in {100.0 * share['value']:.0f} % ({100.0 * share['low']:.0f}.."
        f"{100.0 * share['high']:.0f}) of {told['winds']} winds."
    )


def _cell(item: Mapping[str, Any] | None) -> str:
    if item is None:
        return "-"
    noticed = f", noticed {item['noticed_after_s']:.1f} s" if item["noticed"] else ""
    return f"{item['worst']} {item['least_clearance_m']:.2f}{noticed}"
