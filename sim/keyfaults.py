"""How is each fault that pydantic finds told to a user?"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from sim.errors import MANY, closest, likeness
from sim.keyplace import FROM_OPTION, join, literal, place, problem
from sim.keytable import allowed_text, key_rows, submodels

CLEARLY = 0.75
"""Likeness from which an unknown key is taken for a missing one beside it."""
WHERE_KEYS = "`wideberth list --keys` and `wideberth card --keys` list those of scenarios and turbines"


def fault_message(
    model: type[BaseModel],
    data: Mapping[str, Any],
    lines: Mapping[str, int],
    path: Path | str,
    key: str,
    fault: dict[str, Any],
) -> str:
    """Return one line for one fault.

    Parameters
    ----------
    model, data, lines, path : as in `sim.keyfile.validate`
    key : dotted key of the fault, from `data_key`
    fault : one entry of ``ValidationError.errors()``
    """
    kind, loc = fault["type"], fault["loc"]
    where = place(path, lines, key)
    if kind == "missing":
        field = _field(model, loc)
        return f"{where}: {key} is missing; must be {allowed_text(field) if field else 'given'}"
    if kind == "extra_forbidden":
        return f"{where}: {_unknown(model, lines, key, loc, fault['input'])}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return f"{where}: {_wrong_kind(key, fault)}"
    if kind == "value_error":
        return problem(path, lines, key, fault["input"], str(fault["ctx"]["error"]))
    field = _field(model, loc)
    allowed = f"must be {allowed_text(field)}" if field else fault["msg"]
    if kind == "finite_number":
        allowed += ", and neither infinite nor nan"
    if kind == "literal_error" and isinstance(fault["input"], str) and field:
        near = closest(fault["input"], _words(allowed))
        allowed += near if near.startswith("; did") else ""  # all of them are told already
    return problem(path, lines, key, fault["input"], allowed)


def _words(text: str) -> list[str]:
    return re.findall(r'"([^"]*)"', text)


def _unknown(
    model: type[BaseModel], lines: Mapping[str, int], key: str, loc: Sequence[str | int], value: Any
) -> str:
    """An unknown key: from the file, its neighbours are suggested; from ``--set``, any dotted key."""
    if lines.get(key) == FROM_OPTION:
        while isinstance(value, Mapping) and len(value) == 1:
            ((part, value),) = value.items()
            key = join(key, part)
        known = [row.key for row in key_rows(model)]
        return f"{key} = {literal(value)}; unknown key{nearest_key(key, known)}"
    parents = [model] if len(loc) == 1 else [table for table, _ in _tables(model, loc[:-1])]
    known = [name for parent in parents for name in parent.model_fields]
    return f"{key} = {literal(value)}; unknown key{nearest_key(str(loc[-1]), known)}"


def nearest_key(word: str, known: Collection[str]) -> str:
    """Return what to try instead of an unknown key; where nothing is like it, where all keys are listed."""
    told = closest(word, known)
    return told if "?" in told or len(known) <= MANY else f"{told}; {WHERE_KEYS}"


def without_misspelt(faults: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the faults less those keys that are missing because they stand there misspelt, told once."""
    strange = [fault["loc"] for fault in faults if fault["type"] == "extra_forbidden"]
    return [
        fault
        for fault in faults
        if fault["type"] != "missing" or not any(_is_misspelt(fault["loc"], other) for other in strange)
    ]


def _is_misspelt(missing: Sequence[str | int], strange: Sequence[str | int]) -> bool:
    return missing[:-1] == strange[:-1] and likeness(str(strange[-1]), str(missing[-1])) >= CLEARLY


def _wrong_kind(key: str, fault: dict[str, Any]) -> str:
    context = fault["ctx"]
    discriminator = context["discriminator"].strip("'")
    if fault["type"] == "union_tag_not_found":
        return f"{key}.{discriminator} is missing"
    allowed = context["expected_tags"].replace("'", '"')
    return f"{key}.{discriminator} = {literal(context['tag'])}; must be one of {allowed}"


def data_key(data: Any, fault: Any) -> str:
    """The dotted key of a fault; names of alternatives that pydantic puts into the place are left out."""
    key, at, loc = "", data, fault["loc"]
    for position, part in enumerate(loc):
        is_missing_key = fault["type"] == "missing" and position == len(loc) - 1
        try:
            at = at[part]
        except (KeyError, IndexError, TypeError):
            if not is_missing_key:
                continue
        key = join(key, part)
    return key


def _tables(model: type[BaseModel], loc: Sequence[str | int]) -> list[tuple[type[BaseModel], bool]]:
    """The tables that may stand at a place; an alternative's tag narrows them to one."""
    tables = [(model, False)]
    for part in loc:
        if isinstance(part, int):
            continue
        fields = [table.model_fields[part] for table, _ in tables if part in table.model_fields]
        if fields:
            tables = [found for field in fields for found in submodels(field.annotation)]
        else:
            tables = [item for item in tables if _has_tag(item[0], part)] or tables
    return tables


def _has_tag(table: type[BaseModel], tag: str) -> bool:
    return any(f'"{tag}"' in allowed_text(field) for field in table.model_fields.values())


def _field(model: type[BaseModel], loc: Sequence[str | int]) -> FieldInfo | None:
    names = [position for position, part in enumerate(loc) if isinstance(part, str)]
    if not names:
        return None
    last = names[-1]
    for table, _ in _tables(model, loc[:last]):
        if loc[last] in table.model_fields:
            return table.model_fields[str(loc[last])]
    return None
