"""What does a user's TOML file say, and where exactly is it wrong?

Every problem becomes one line of one `InputError`: file, line, key, value, what is allowed, and the closest
known word. Turbine and scenario files both go through here.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar, cast

from pydantic import BaseModel, ConfigDict, ValidationError

from sim.errors import InputError
from sim.keyfaults import data_key, fault_message, without_misspelt
from sim.keylines import key_lines
from sim.keyplace import FROM_OPTION, Lines, join, literal, place, problem, shown

__all__ = ["FileModel", "Lines", "apply_overrides", "place", "problem", "read_text", "read_toml", "validate"]

_PART = re.compile(r"([^.\[\]]+)|\[(\d+)\]")
_TOML_PLACE = re.compile(r"\(at (?:line (\d+), column \d+|end of document)\)")


class FileModel(BaseModel):
    """Base of every table in a file: exact types, no unknown keys, no inf or nan."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


Model = TypeVar("Model", bound=BaseModel)


def read_text(path: Path | str) -> str:
    """Read a user's text file.

    Raises
    ------
    InputError
        If there is no such file, it cannot be read, or it is not UTF-8.
    """
    try:
        return Path(path).read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise InputError(f"{shown(path)}:{line}: not UTF-8 text; save the file as UTF-8") from error
    except OSError as error:
        raise InputError(f"{shown(path)}: cannot be read: {error.strerror}") from error


def read_toml(path: Path | str) -> tuple[dict[str, Any], Lines]:
    """Read a TOML file with the line of every key.

    Returns
    -------
    data : nested dicts and lists as `tomllib` gives them
    lines : from dotted key (``entries[2].stack``) to line number

    Raises
    ------
    InputError
        If the file cannot be read or is not TOML, with file, line and reason.
    """
    text = read_text(path)
    try:
        return tomllib.loads(text), key_lines(text)
    except tomllib.TOMLDecodeError as error:
        found = _TOML_PLACE.search(str(error))
        line = found.group(1) if found and found.group(1) else text.rstrip("\n").count("\n") + 1
        reason = _TOML_PLACE.sub("", str(error)).strip()
        raise InputError(f"{shown(path)}:{line}: not TOML: {reason}") from error


def apply_overrides(
    data: Mapping[str, Any], lines: Mapping[str, int], overrides: Iterable[tuple[str, Any]]
) -> tuple[dict[str, Any], Lines]:
    """Return data and lines with keys set from the command line; the arguments stay as they are.

    Parameters
    ----------
    data, lines : as from `read_toml`
    overrides : pairs of dotted key and value
        A string is read as a TOML literal where it is one (``"0.8"``, ``"[0.3, 0, 0]"``), else kept as text.

    Raises
    ------
    InputError
        If a key is malformed, leads into a value, or asks for an element that an array does not have.
    """
    changed, places, problems = copy.deepcopy(dict(data)), dict(lines), []
    for key, value in overrides:
        given = _parse_literal(value)
        reason = _set(changed, key, given)
        if reason:
            problems.append(f"--set: {key} = {literal(given)}; {reason}")
            continue
        path = ""
        for part in _split(key):
            path = join(path, part)
            places.setdefault(path, FROM_OPTION)
        for inner in [known for known in places if known.startswith((path + ".", path + "["))]:
            places[inner] = FROM_OPTION
        places[path] = FROM_OPTION
    if problems:
        raise InputError(problems)
    return changed, places


def validate(
    model: type[Model], data: Mapping[str, Any], lines: Mapping[str, int], path: Path | str
) -> Model:
    """Check data against a model.

    Raises
    ------
    InputError
        With one line for each problem, in the order of the file.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        told = []
        for fault in without_misspelt(error.errors(include_url=False)):
            key = data_key(data, fault)
            line = lines.get(key, FROM_OPTION)
            told.append((line, fault_message(model, data, lines, path, key, dict(fault))))
        raise InputError([message for _, message in sorted(told, key=lambda item: item[0])]) from error


def _split(key: str) -> list[str | int]:
    return [name or int(index) for name, index in _PART.findall(key)]


def _set(data: dict[str, Any], key: str, value: Any) -> str:
    """Set one dotted key in place; return what is wrong with it, or nothing."""
    parts = _split(key)
    rebuilt = ""
    for part in parts:
        rebuilt = join(rebuilt, part)
    if not parts or rebuilt != key:
        return "not a dotted key; write it as table.key or table[2].key"
    at = cast(Any, data)
    for position, part in enumerate(parts):
        reason = _why_not(at, part)
        if reason:
            return reason
        if position == len(parts) - 1:
            at[part] = value
            return ""
        if isinstance(part, str):
            at.setdefault(part, {})
        at = at[part]
    return ""


def _why_not(at: Any, part: str | int) -> str:
    if isinstance(part, str):
        return "" if isinstance(at, dict) else f"'{part}' asks for a key of what is not a table"
    if not isinstance(at, list):
        return f"[{part}] asks for an element of what is not a list"
    return "" if part < len(at) else f"[{part}] is not there; the list has {len(at)} elements, counted from 0"


def _parse_literal(value: Any) -> Any:
    if not isinstance(value, str):
        return value.tolist() if hasattr(value, "tolist") else value
    try:
        read = tomllib.loads(f"value = {value}")
    except tomllib.TOMLDecodeError:
        return value
    return read["value"] if len(read) == 1 else value
