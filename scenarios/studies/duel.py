"""Which of several stacks of logic keeps the blade off the tower best, in the same winds?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from scenarios.answer import Answer, Options, to_json
from scenarios.load import Overrides, load_scenario, scenario_path
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies.cost import StackCost, cost_text, measure
from scenarios.studies.featured import find_features
from scenarios.studies.study import judge_scenario, study_data
from scenarios.studies.telling import text_of
from sim.errors import InputError
from sim.keyfile import read_toml


def duel_scenario(
    source: str, stacks: Sequence[str], overrides: Overrides = (), seed: int | None = None
) -> Scenario:
    """Return a scenario with other entries: one for each stack, all on the candidate's turbine.

    Parameters
    ----------
    source : name or file of a scenario
    stacks : layers from the lowest up, joined by "+": "power+guard", "power+my_logic.py:EarlyNudge"
        The first is the reference, the last the candidate. Parameters are those that the scenario gives a
        layer of that name.
    overrides, seed : as of `load_scenario`

    Raises
    ------
    InputError
        There are fewer than two stacks, one is given twice, or anything that `load_scenario` refuses.
    """
    if len(stacks) < 2:
        raise InputError("a duel needs two stacks or more: --stack power --stack power+guard")
    for index, stack in enumerate(stacks):
        if stack in stacks[:index]:
            raise InputError(f"--stack {stack}: is there twice")
    base = load_scenario(source, overrides, seed)
    data, _ = read_toml(scenario_path(source))
    given: dict[str, Any] = {}
    for entry in data["entries"]:
        given |= entry.get("parameters", {})
    entries = [_entry(stack, data["entries"][-1].get("set", {}), given) for stack in stacks]
    own = [(key, value) for key, value in overrides if not key.startswith("entries")]
    return replace(load_scenario(source, [*own, ("entries", entries)], seed), name=f"{base.name}-duel")


def _entry(stack: str, settings: dict[str, Any], parameters: dict[str, Any]) -> dict[str, Any]:
    layers = [_absolute(layer) for layer in stack.split("+")]
    names = {layer.rpartition(":")[2] for layer in layers}
    kept = {name: values for name, values in parameters.items() if name.rpartition(":")[2] in names}
    return {"name": stack, "stack": layers, "set": settings, "parameters": kept}


def _absolute(layer: str) -> str:
    """Return a layer's spec with the path of a user's file made absolute: it is told from here."""
    path, colon, name = layer.rpartition(":")
    return f"{Path(path).resolve()}:{name}" if colon and path.endswith(".py") else layer


def run(scenario: Scenario, options: Options) -> Answer:
    """March every stack in the same winds, judge them side by side, time their logic, and write the page.

    Raises
    ------
    InputError, RunError
        As `scenarios.campaign.run_cases`; the page cannot be written.
    """
    from scenarios.report.page import Row, Section, Table, Text, render, write
    from scenarios.report.sections import study_page

    store = Store(options.store)
    study = judge_scenario(scenario, store, options)
    page = options.out / f"{scenario.name}.html"
    costs = [measure(scenario.cases_of(entry)[0]) for entry in scenario.entries]
    data = study_data(study, page) | {"cost": _cost_data(scenario, costs)}
    composed = study_page(scenario, study.entries, find_features(study.entries, store), data)
    rows = [
        Row([name, *(f"{cost[key]:.3g}" for key in ("logic_us", "yardsticks", "share_of_wall_time"))])
        for name, cost in data["cost"].items()
    ]
    head = ["stack", "a call [us]", "over the numpy yardstick", "share of the wall time"]
    note = "Timed on this machine, 64 lanes side by side; the yardstick is a fixed piece of numpy work."
    section = Section("What the logic costs to compute", [Text(note), Table(head, rows)])
    write(page, render(replace(composed, sections=[*composed.sections, section])))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    names = [entry.name for entry in scenario.entries]
    return Answer(data, f"{text_of(study.entries, data)}\n\n{cost_text(names, costs)}", study.code)


def _cost_data(scenario: Scenario, costs: Sequence[StackCost]) -> dict[str, Any]:
    return {entry.name: cost.data() for entry, cost in zip(scenario.entries, costs, strict=True)}
