"""How much later, noisier, more biased, more lost or slower may things be until the first pass is missed?

The same winds and the same noise serve every setting (common random numbers), so that what differs is the
setting alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite
from typing import Any

import numpy as np

from scenarios.answer import Options, table
from scenarios.asked import Asked
from scenarios.bench_run import bench_case, simulate
from scenarios.campaign import Engine
from scenarios.case import Case, SensorSpec
from scenarios.scenario import Scenario
from scenarios.store import CaseResult, Store
from scenarios.studies.gather import is_whole, why_lost
from scenarios.studies.matrix import required_of
from scenarios.warming import WARM
from sim.faults import FaultSpec

WITNESS = "last_pass_clearance"
UNTOLD = "No room can be told: runs of the scenario as it is failed or ended before their time."


@dataclass(frozen=True)
class RoomEffort:
    """How finely the room is searched."""

    settle_s: float
    judged_s: float
    seeds: int
    speeds: int
    steps: int  #: halvings of each interval


QUICK = RoomEffort(40.0, 120.0, 6, 1, 4)
THOROUGH = RoomEffort(60.0, 600.0, 6, 2, 7)


@dataclass(frozen=True)
class Knob:
    """One thing that may get worse.

    Parameters
    ----------
    name, unit : str
    most : float [unit]
        The worst that is tried; 0 is the scenario as it is.
    turn : case, amount -> case
    step : float [unit]
        Amounts are whole multiples of this.
    """

    name: str
    unit: str
    most: float
    turn: Callable[[Case, float], Case]
    step: float = 0.0


@dataclass
class Search:
    """The bisection of one knob: what it bears, what it does not, and what was tried."""

    knob: Knob
    bears: float
    fails: float
    tried: list[tuple[float, float]]  #: amount, broken passes; infinite where a run failed

    def middle(self) -> float:
        """Return the next amount to try."""
        step = self.knob.step
        half = 0.5 * (self.bears + self.fails)
        return round(half / step) * step if step else half

    @property
    def is_done(self) -> bool:
        """Whether no amount is left between what is borne and what is not."""
        return self.middle() in (self.bears, self.fails)


def run_room(scenario: Scenario, store: Store, options: Options, effort: RoomEffort) -> dict[str, Any]:
    """Search for each knob the amount from which more passes break than in the scenario as it is.

    Notes
    -----
    In the turbulent winds in which most passes break without the logic, so that it has work to do.
    """
    required, failed = required_of(scenario), []
    asked = Asked(scenario, store, options, f"room, {effort.steps} steps")

    def march(wanted: Sequence[Sequence[Case]]) -> list[float]:
        found, lost = _march(wanted, required, asked)
        failed.extend(lost)
        return found

    base = _hardest(scenario, effort, march)

    def count(settings: Sequence[tuple[Knob, float]]) -> list[float]:
        return march([[knob.turn(case, amount) for case in base] for knob, amount in settings])

    knobs = _knobs(scenario)
    still = Knob("nothing", "", 0.0, lambda case, amount: case)
    nominal, *worst = count([(still, 0.0), *((knob, knob.most) for knob in knobs)])
    searches = [
        Search(knob, 0.0 if broken > nominal else knob.most, knob.most, [(0.0, nominal), (knob.most, broken)])
        for knob, broken in zip(knobs, worst, strict=True)
        if np.isfinite(nominal)
    ]
    for _ in range(effort.steps):
        open_ = [search for search in searches if not search.is_done]
        if not open_:
            break
        amounts = [search.middle() for search in open_]
        found = count([(search.knob, amount) for search, amount in zip(open_, amounts, strict=True)])
        for search, amount, broken in zip(open_, amounts, found, strict=True):
            search.tried.append((amount, broken))
            search.bears, search.fails = (
                (search.bears, amount) if broken > nominal else (amount, search.fails)
            )
    return {
        "broken_as_it_is": nominal,
        "runs": len(base),
        "winds": list(dict.fromkeys(f"{case.load_case}, {case.wind.speed:g} m/s" for case in base)),
        "judged_s": effort.judged_s * len(base),
        "rows": [_data(search) for search in searches],
        "failed_cases": failed,
    }


def _broken(result: CaseResult | None, required: float) -> float:
    """Count the passes of a run that break; a run that failed or ended early bears nothing."""
    if result is None or not is_whole(result):
        return inf
    return int(np.count_nonzero(result["passes.clearance_m"] < required))


def _march(
    wanted: Sequence[Sequence[Case]], required: float, asked: Asked
) -> tuple[list[float], list[dict[str, str]]]:
    """March groups of cases; return the broken passes of each group, and what failed."""
    groups = [[bench_case(case) for case in group] for group in wanted]
    cases = [case for group in groups for case in group]
    campaign = asked.run(cases, Engine(simulate, WARM))
    results = campaign.results
    failed = [
        {"case": case.title, "entry": case.entry, "why": why}
        for case in cases
        if (why := why_lost(results.get(case.key), campaign.tally.failed.get(case.key, "no result")))
    ]
    return [sum(_broken(results.get(case.key), required) for case in group) for group in groups], failed


def _hardest(
    scenario: Scenario, effort: RoomEffort, march: Callable[[Sequence[Sequence[Case]]], list[float]]
) -> list[Case]:
    """Return the candidate's cases in those turbulent winds in which most passes break without its logic."""
    plain = tuple(layer for layer in scenario.candidate.stack if not layer.load().tower_pass)
    groups: dict[tuple[str, float], list[Case]] = {}
    for case in scenario.cases_of(scenario.candidate):
        if case.is_sound_turbulence and case.number <= effort.seeds:
            run = replace(case.run, settle=effort.settle_s, duration=effort.judged_s)
            groups.setdefault((case.load_case, case.wind.speed), []).append(replace(case, run=run))
    winds = list(groups)
    broken = march([[replace(case, stack=plain) for case in groups[wind]] for wind in winds])
    order = sorted(range(len(winds)), key=lambda n: (-broken[n] if isfinite(broken[n]) else 1.0, n))
    return [case for n in order[: effort.speeds] for case in groups[winds[n]]]


def _knobs(scenario: Scenario) -> list[Knob]:
    """Return what can get worse; only sensors that are fitted can."""
    period = scenario.candidate_case.run.period
    knobs = [
        Knob("more delay of all sensors", "s", 1.6, _later, period),
        Knob("more noise of all sensors", "times", 15.0, _noisier),
        Knob("samples lost, half a second at a time", "share", 0.8, _lossy),
        Knob("slower servos", "share", 0.95, _slower),
    ]
    if WITNESS in dict(scenario.candidate_case.sensors.delays):
        knobs.insert(2, Knob("more bias of the pass reading", "m", 6.0, _biased))
    return knobs


def _later(case: Case, amount: float) -> Case:
    delays = tuple((name, delay + amount) for name, delay in case.sensors.delays)
    return replace(case, sensors=replace(case.sensors, delays=delays))


def _noisier(case: Case, amount: float) -> Case:
    noises = tuple((name, noise * (1.0 + amount)) for name, noise in case.sensors.noises)
    return replace(case, sensors=replace(case.sensors, noises=noises))


def _biased(case: Case, amount: float) -> Case:
    return replace(case, sensors=_detailed(case.sensors, (WITNESS,), {"bias": amount}))


def _lossy(case: Case, amount: float) -> Case:
    names = [name for name, _ in case.sensors.delays]
    return replace(case, sensors=_detailed(case.sensors, names, {"loss_share": amount, "loss_length": 0.5}))


def _slower(case: Case, amount: float) -> Case:
    if amount == 0.0:
        return case
    return replace(case, faults=(*case.faults, FaultSpec("servo_slow", 0.0, size=1.0 - amount)))


def _detailed(sensors: SensorSpec, names: Sequence[str], more: Mapping[str, float]) -> SensorSpec:
    """Return sensors of which some do more; biases add to those that are there."""
    details = {name: dict(told) for name, told in sensors.details}
    for name in names:
        own = details.setdefault(name, {})
        own |= {key: value + (own.get("bias", 0.0) if key == "bias" else 0.0) for key, value in more.items()}
    told = tuple(sorted((name, tuple(sorted(values.items()))) for name, values in details.items()))
    return replace(sensors, details=told)


def _data(search: Search) -> dict[str, Any]:
    ordered = sorted(search.tried)
    return {
        "what": search.knob.name,
        "unit": search.knob.unit,
        "bears": search.bears,
        "breaks_at": search.fails if search.bears < search.fails else float("nan"),
        "most_tried": search.knob.most,
        "amounts": [amount for amount, _ in ordered],
        "broken_passes": [broken for _, broken in ordered],
    }


def room_text(data: Mapping[str, Any]) -> str:
    """Return the room to spare for people."""
    if not data["rows"]:
        return UNTOLD
    rows = [[row["what"], *room_cells(row)] for row in data["rows"]]
    note = (
        f"Until more passes break than the {data['broken_as_it_is']} of the scenario as it is, in the same "
        f"{data['runs']} runs ({'; '.join(data['winds'])}; {data['judged_s'] / 60.0:.0f} min):"
    )
    return f"{note}\n{table(['what gets worse', 'bears', 'breaks at'], rows)}"


def room_cells(row: Mapping[str, Any]) -> list[str]:
    """Return what a knob bears and where it breaks."""
    unit = row["unit"]
    if np.isnan(row["breaks_at"]):
        return [f"{row['most_tried']:.3g} {unit} and more", "-"]
    return [f"{row['bears']:.3g} {unit}", f"{row['breaks_at']:.3g} {unit}"]
