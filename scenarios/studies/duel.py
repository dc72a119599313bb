"""Which of several stacks of logic keeps the blade off the tower best, in the same winds?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from scenarios.answer import Answer, Options
from scenarios.load import Overrides, load_scenario
from scenarios.scenario import Scenario
from scenarios.studies.study import answer
from sim.errors import InputError


def duel_scenario(
    source: str, stacks: Sequence[str], overrides: Overrides = (), seed: int | None = None
) -> Scenario:
    """Return a scenario with other entries: one for each stack, all on the candidate's turbine.

    Parameters
    ----------
    source : name or file of a scenario
    stacks : layers from the lowest up, joined by "+": "power+guard", "power+my_logic.py:EarlyNudge"
        The first is the reference, the last the candidate. Parameters are those that the scenario, or
        ``overrides``, give a layer of that name.
    overrides, seed : as of `load_scenario`

    Raises
    ------
    InputError
        There are fewer than two stacks, one is given twice or lacks a layer, or anything that
        `load_scenario` refuses.
    """
    if len(stacks) < 2:
        raise InputError("a duel needs two stacks or more: --stack power --stack power+guard")
    for index, stack in enumerate(stacks):
        if stack in stacks[:index]:
            raise InputError(f"--stack {stack}: is there twice")
        if not all(layer.strip() for layer in stack.split("+")):
            raise InputError(f"--stack {stack}: names no layer beside a '+'; write it like power+guard")
    base = load_scenario(source, overrides, seed)
    written = base.keys["entries"]  # with what --set changed in them
    given: dict[str, Any] = {}
    for entry in written:
        given |= entry.get("parameters", {})
    entries = [_entry(stack, written[-1].get("set", {}), given) for stack in stacks]
    own = [(key, value) for key, value in overrides if not key.startswith("entries")]
    try:
        made = load_scenario(source, [*own, ("entries", entries)], seed)
    except InputError as error:
        raise InputError([_retold(text, stacks) for text in error.problems]) from error
    return replace(made, name=f"{base.name}-duel")


def _retold(text: str, stacks: Sequence[str]) -> str:
    """Blame the option that a stack came from, not the entry that was made of it."""
    found = re.match(r"--set: entries\[(\d+)\]\.(?:stack|parameters)\S*(?: = \"([^\"]*)\")?[:;]? ?", text)
    if found is None:
        return text
    said = re.sub(r" \(entry '[^']*': [^)]*\)$", "", text[found.end() :])
    layer = f"'{found[2]}': " if found[2] else ""
    return f"--stack {stacks[int(found[1])]}: {layer}{said}"


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
    return answer(scenario, options, times_all=True)
