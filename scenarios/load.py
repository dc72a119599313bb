"""What does a scenario file say, and where exactly is it wrong?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from controllers.registry import names as layer_names
from scenarios.expand import Builder
from scenarios.life_keys import life_problems
from scenarios.requirement import FACTORED, Requirement
from scenarios.requirement_keys import requirement_problems
from scenarios.scenario import Entry, Scenario
from scenarios.scenario_file import ScenarioKeys
from scenarios.sensing import noise_of
from scenarios.sensor_keys import SensorKeys
from scenarios.wind_keys import wind_problems
from sim.errors import InputError, closest
from sim.keyfaults import nearest_key
from sim.keyfile import Lines, apply_overrides, problem, read_toml, validate
from sim.keytable import KeyRow, key_rows
from sim.turbine_file import TurbineKeys
from sim.units import unit_of

__all__ = [
    "Entry",
    "Requirement",
    "Scenario",
    "library_scenarios",
    "load_scenario",
    "scenario_key_table",
    "scenario_path",
]

_LIBRARY = Path(__file__).resolve().parent / "library"

Overrides = Sequence[tuple[str, Any]]


def load_scenario(source: str | Path, overrides: Overrides = (), seed: int | None = None) -> Scenario:
    """Return the scenario that a file describes.

    Parameters
    ----------
    source : name of a shipped scenario (``hollin-fell``) or path of a TOML file
    overrides : pairs of key and value, of the scenario or of the turbine (then for that of every entry)
    seed : instead of the file's

    Raises
    ------
    InputError
        With one line for each problem: file, line, key, value, and what is allowed.
    """
    path = scenario_path(source)
    ours, turbines = _divide(overrides)
    if seed is not None:
        ours = [*ours, ("seed", seed)]
    data, lines = read_toml(path)
    data, lines = apply_overrides(data, lines, [(_indexed(key, data), value) for key, value in ours])
    keys = validate(ScenarioKeys, data, lines, path)
    problems = list(_faults(keys, path, lines))
    if problems:
        raise InputError(problems)
    asked = tuple(overrides) + ((("seed", seed),) if seed is not None else ())
    return replace(Builder(path, lines, keys, turbines).build(), asked=asked)


def library_scenarios() -> dict[str, Path]:
    """Return the shipped scenarios by name; a scenario is a TOML file with ``[[entries]]``."""
    files = sorted(_LIBRARY.glob("*.toml"))
    return {path.stem: path for path in files if "\n[[entries]]" in path.read_text(encoding="utf-8")}


def scenario_key_table() -> list[tuple[KeyRow, str]]:
    """Return every key of a scenario file with its unit, made from the model that checks the file."""
    return [(row, unit_of(row.key)[0]) for row in key_rows(ScenarioKeys)]


def scenario_path(source: str | Path) -> Path:
    """Return the file of a scenario that is shipped by name, or the path itself.

    Raises
    ------
    InputError
        It is neither a path nor the name of a shipped scenario.
    """
    path = Path(source)
    if path.suffix or path.exists() or len(path.parts) > 1:
        return path
    shipped = library_scenarios()
    if str(source) not in shipped:
        raise InputError(f"scenario '{source}' is neither a file nor shipped{closest(str(source), shipped)}")
    return shipped[str(source)]


def _divide(overrides: Overrides) -> tuple[list[tuple[str, Any]], list[tuple[str, Any]]]:
    """Part what is set into keys of the scenario and keys of the turbine."""
    ours, turbines, problems = [], [], []
    for key, value in overrides:
        first = key.split(".")[0].split("[")[0]
        if first in ScenarioKeys.model_fields:
            ours.append((key, value))
        elif first in TurbineKeys.model_fields:
            turbines.append((key, value))
        else:
            known = {*ScenarioKeys.model_fields, *TurbineKeys.model_fields}
            hint = _layer_hint(first, key) or nearest_key(first, known)
            problems.append(f"--set: {key} = {value}; unknown key{hint}")
    if problems:
        raise InputError(problems)
    return ours, turbines


def _layer_hint(first: str, key: str) -> str:
    """Say how a layer's parameter is set, where a key begins with a layer's name."""
    if first not in layer_names():
        return ""
    return f"; '{first}' is a layer, set for each entry by its name: entries.NAME.parameters.{key}"


def _indexed(key: str, data: Mapping[str, Any]) -> str:
    """Let an entry be told by its name: ``entries.guarded.set`` means ``entries[4].set``."""
    parts = key.split(".")
    entries = data.get("entries")
    if len(parts) > 1 and parts[0] == "entries" and isinstance(entries, list):
        for index, entry in enumerate(entries):
            if isinstance(entry, dict) and entry.get("name") == parts[1]:
                return ".".join([f"entries[{index}]", *parts[2:]])
    return key


def _faults(keys: ScenarioKeys, path: Path, lines: Lines) -> Iterator[str]:
    """Yield what is wrong between keys."""
    names = [entry.name for entry in keys.entries]
    for index, name in enumerate(names):
        if name in names[:index]:
            yield problem(path, lines, f"entries[{index}].name", name, "must differ from every other entry's")
    resting = [wind.label for wind in keys.winds if wind.at_rest]
    yield from requirement_problems(keys.requirement, path, lines, resting)
    if keys.life is not None:
        yield from life_problems(keys.life, path, lines)
    for index, wind in enumerate(keys.winds):
        yield from wind_problems(wind, f"winds[{index}]", path, lines)
        if wind.load_factor is not None and keys.requirement.rule != FACTORED:
            sentence = f"is not of the rule {keys.requirement.rule}"
            yield problem(path, lines, f"winds[{index}].load_factor", wind.load_factor, sentence)
    for name in SensorKeys.model_fields:
        delay = getattr(keys.sensors, name)
        sensor = name.removesuffix("_delay_s")
        if name.endswith("_delay_s") and delay is not None and not noise_of(keys.sensors, sensor):
            yield problem(
                path,
                lines,
                f"sensors.{name}",
                delay,
                f"but no such sensor is fitted; give its noise ({sensor}_noise_m)",
            )
