"""Which scenario file marches one pass again?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from scenarios.case import Case
from scenarios.scenario import Entry, Scenario


def write_replays(scenario: Scenario, rows: Sequence[dict[str, Any]], out: Path) -> None:
    """Write a scenario file for each pass that a ledger lists, and name it there.

    Parameters
    ----------
    scenario : Scenario
    rows : the ledgers, changed: each listed pass gets ``replay``, the file
    out : folder of the page

    Raises
    ------
    InputError
        A file cannot be written.
    """
    from scenarios.report.page import write

    for entry, row in zip(scenario.entries, rows, strict=True):
        cases = scenario.cases_of(entry)
        for kind, listed in row["worst"].items():
            for number, item in enumerate(listed, start=1):
                path = out / f"{scenario.name}-replay" / f"{entry.name}-{kind}-{number}.toml"
                write(path, replay_file(scenario, entry, cases[item["case_index"]], item))
                item["replay"] = str(path)


def replay_file(scenario: Scenario, entry: Entry, case: Case, told: Mapping[str, Any]) -> str:
    """Return a scenario file with one entry and one wind, in which the case is the last of its kind.

    Notes
    -----
    Seeds and phases are counted from 1, so those before the case's own come along; phases all, since their
    number decides where each stands.
    """
    keys = {
        name: value for name, value in scenario.keys.items() if name not in ("winds", "entries", "faults")
    }
    wind = next(item for item in scenario.keys["winds"] if _is_wind_of(item, case))
    wind = dict(wind)
    if "speeds_m_s" in wind:
        wind["speeds_m_s"] = [case.wind.speed]
    if "seeds" in wind:
        wind["seeds"] = case.number
    broken = wind.get("faults") or []
    wind["faults"] = [name for name in broken if case.load_case == f"{wind['label']}: {name}"]
    keys["turbine"] = entry.turbine.source
    faults = [fault for fault in scenario.keys["faults"] if fault["name"] in wind["faults"]]
    told_entry = {
        "name": entry.name,
        "stack": [layer.spec or layer.name for layer in entry.stack],
        "parameters": {layer.spec or layer.name: dict(layer.parameters) for layer in entry.stack},
        "set": dict(entry.turbine.overrides),
    }
    where = f"blade {told['blade']}, {told['time_s']:.2f} s judged, {told['clearance_m']:.3f} m left"
    return f"# {case.title}: {where}.\n" + toml_text(
        keys | {"name": f"{scenario.name}-replay", "faults": faults, "winds": [wind], "entries": [told_entry]}
    )


def _is_wind_of(wind: Mapping[str, Any], case: Case) -> bool:
    label, broken = wind["label"], wind.get("faults") or []
    own = {f"{label}: {name}" for name in broken} if broken else {label}
    speeds = wind.get("speeds_m_s")
    return (
        case.load_case in own and wind["kind"] == case.wind.kind and (not speeds or case.wind.speed in speeds)
    )


def toml_text(table: Mapping[str, Any]) -> str:
    """Write keys as TOML: plain values first, then tables, then lists of tables."""
    plain = {key: value for key, value in table.items() if not _is_nested(value)}
    lines = [f"{_key(key)} = {_value(value)}" for key, value in plain.items()]
    for key, value in table.items():
        if isinstance(value, Mapping):
            lines += ["", f"[{_key(key)}]", *_inner(value, key)]
        elif _is_nested(value):
            for item in value:
                lines += [
                    "",
                    f"[[{_key(key)}]]",
                    *(f"{_key(name)} = {_value(v)}" for name, v in item.items()),
                ]
    return "\n".join(lines) + "\n"


def _inner(table: Mapping[str, Any], name: str) -> list[str]:
    return [f"{_key(key)} = {_value(value)}" for key, value in table.items()]


def _is_nested(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)
    )


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else json.dumps(key)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)
