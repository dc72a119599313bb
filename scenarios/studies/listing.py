"""What turbines, scenarios and layers are at hand, and which keys do their files have?"""

from __future__ import annotations

import tomllib
from inspect import getdoc
from pathlib import Path
from typing import Any

from controllers.parameters import describe, describe_texts
from controllers.registry import find_class, names
from scenarios.answer import Answer, table
from scenarios.load import library_scenarios, scenario_key_table
from sim.errors import InputError
from sim.keytable import KeyRow
from sim.turbine import key_table, library_turbines


def run() -> Answer:
    """Return the turbines, scenarios and layers at hand."""
    data = {
        "turbines": [_file(name, path, "name") for name, path in library_turbines().items()],
        "scenarios": [_file(name, path, "title") for name, path in library_scenarios().items()],
        "layers": [_layer(name) for name in names()],
    }
    parts = [
        table([title, ""], [[f"  {row['name']}", row["title"]] for row in rows], left=2)
        for title, rows in data.items()
    ]
    return Answer(data, "\n\n".join(parts))


def run_layer(name: str) -> Answer:
    """Return what a layer is for, where it stands, what it reads, its parameters and its sources.

    Raises
    ------
    InputError
        There is no such layer.
    """
    layer = find_class(name)
    rows, texts, told = describe(layer), describe_texts(layer), getdoc(layer) or ""
    data = {
        "layer": name,
        "title": _title(told),
        "place": _place(layer),
        "reads": list(getattr(layer, "needs", ())),
        "parameters": [
            {"name": r.name, "unit": r.unit, "default": r.default, "low": r.low, "high": r.high}
            | {"meaning": r.meaning}
            for r in rows
        ],
        "texts": [{"name": text, "default": default, "meaning": sense} for text, default, sense in texts],
        "sources": _sources(told),
    }
    cells = [[r.name, f"{r.default:g}", r.unit, f"{r.low:g} to {r.high:g}", r.meaning] for r in rows]
    cells += [[text, default, "-", "text", sense] for text, default, sense in texts]
    parts = [
        f"{name}: {data['title']}\nplace: {data['place']}\nreads: {', '.join(data['reads']) or 'nothing'}",
        table(["parameter", "default", "unit", "range", "meaning"], cells, left=5) if cells else "",
        f"sources: {data['sources']}" if data["sources"] else "",
    ]
    return Answer(data, "\n\n".join(part for part in parts if part))


def _place(layer: type) -> str:
    if getattr(layer, "power", False):
        return "at the bottom: makes power"
    if not getattr(layer, "tower_pass", False):
        return "below tower-pass logic: adjusts power production"
    if getattr(layer, "watches", False):
        return "at the top: watches all layers below"
    return "above power production: tower-pass logic, judged at each pass"


def _title(told: str) -> str:
    return told.strip().split("\n")[0]


def _sources(told: str) -> str:
    """Return what stands below the head of the references in a layer's docstring, as one line."""
    _, _, after = told.partition("\nReferences\n")
    return " ".join(after.split("\n\n")[0].split()).lstrip("- ")


def fault_kinds() -> Answer:
    """Return every kind of fault that a scenario may name."""
    from sim.faults import KINDS

    sizes = {"": "no size", "reading": "by_ and its sensor's unit", "s": "by_s", "-": "share"}
    rows = [[name, kind.part, sizes[kind.size], kind.meaning] for name, kind in KINDS.items()]
    data = {"faults": [dict(zip(("kind", "part", "size", "meaning"), row, strict=True)) for row in rows]}
    return Answer(data, table(["kind", "of", "size", "what happens"], rows, left=4))


def turbine_keys() -> Answer:
    """Return every key of a turbine file."""
    return _keys(key_table())


def scenario_keys() -> Answer:
    """Return every key of a scenario file."""
    return _keys(scenario_key_table())


def _keys(rows: list[tuple[KeyRow, str]]) -> Answer:
    data = {
        "keys": [
            {"key": row.key, "unit": unit, "allowed": row.allowed, "required": row.required}
            | {"default": row.default, "meaning": row.meaning}
            for row, unit in rows
        ]
    }
    told = [
        [row.key, unit, row.allowed, "required" if row.required else f"{row.default}", row.meaning]
        for row, unit in rows
    ]
    return Answer(data, table(["key", "unit", "allowed", "default", "meaning"], told, left=5))


def _file(name: str, path: Path, key: str) -> dict[str, Any]:
    return {"name": name, "title": tomllib.loads(path.read_text(encoding="utf-8")).get(key, "")}


def _layer(name: str) -> dict[str, Any]:
    try:
        told = find_class(name).__doc__ or ""
    except InputError as error:
        told = str(error)
    return {"name": name, "title": _title(told)}
