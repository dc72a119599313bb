"""Which turbine does a file describe? Read it, check it, convert it to SI."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from sim.design import Blade, Machine, Nacelle, Pitch, Rotor, Section, Tower, Turbine
from sim.errors import InputError, closest
from sim.keyfile import Lines, apply_overrides, place, problem, read_toml, validate
from sim.keytable import KeyRow, key_rows
from sim.table import Table, read_table
from sim.turbine_checks import key_faults, space_faults, table_faults
from sim.turbine_file import BLADE_COLUMNS, POLAR_COLUMNS, TabledSection, TurbineKeys
from sim.turbine_si import to_si
from sim.units import unit_of

__all__ = [
    "BLADE_COLUMNS",
    "POLAR_COLUMNS",
    "Blade",
    "Machine",
    "Nacelle",
    "Pitch",
    "Rotor",
    "Section",
    "Tower",
    "Turbine",
    "key_table",
    "library_turbines",
    "load_turbine",
]

_LIBRARY = Path(__file__).resolve().parent.parent / "scenarios" / "library"


def load_turbine(source: str | Path, overrides: Sequence[tuple[str, Any]] = ()) -> Turbine:
    """Return the turbine that a file describes, in SI units.

    Parameters
    ----------
    source : name of a shipped turbine (``skerry``) or path of a TOML file
    overrides : pairs of dotted key and value, in the file's units: ``("rotor.tilt_deg", 6)``

    Raises
    ------
    InputError
        With one line for each problem: file, line, key, value, and what is allowed.
    """
    path = _find(source)
    data, lines = apply_overrides(*read_toml(path), overrides)
    keys = validate(TurbineKeys, data, lines, path)
    faults = list(key_faults(keys))
    if faults:
        raise InputError([_told(path, lines, data, fault) for fault in faults])
    table = _beside(path, lines, "blade.table", keys.blade.table, _read_blade)
    problems = list(table_faults(keys, table))
    if problems:
        raise InputError(problems)
    polars = {
        index: _beside(path, lines, f"sections[{index}].table", section.table, _read_polar)
        for index, section in enumerate(keys.sections)
        if isinstance(section, TabledSection)
    }
    turbine = to_si(path, keys, table, polars)
    faults = list(space_faults(turbine))
    if faults:
        raise InputError([_told(path, lines, data, fault) for fault in faults])
    return turbine


def key_table() -> list[tuple[KeyRow, str]]:
    """Return every key of a turbine file with its unit, made from the model that checks the file."""
    return [(row, unit_of(row.key)[0]) for row in key_rows(TurbineKeys)]


def library_turbines() -> dict[str, Path]:
    """Return the shipped turbines by name; a turbine is a TOML file with a ``[rotor]`` table."""
    found = {}
    for path in sorted(_LIBRARY.glob("*.toml")):
        if "\n[rotor]" in path.read_text(encoding="utf-8"):
            found[path.stem] = path
    return found


def _find(source: str | Path) -> Path:
    path = Path(source)
    if path.suffix or path.exists() or len(path.parts) > 1:
        return path
    shipped = library_turbines()
    if str(source) not in shipped:
        raise InputError(f"turbine '{source}' is neither a file nor shipped{closest(str(source), shipped)}")
    return shipped[str(source)]


def _told(path: Path, lines: Lines, data: dict[str, Any], fault: tuple[str, str]) -> str:
    key, sentence = fault
    value: Any = data
    for part in key.replace("[", ".").replace("]", "").split("."):
        value = value[int(part) if isinstance(value, list) else part]
    return problem(path, lines, key, value, sentence)


def _beside(path: Path, lines: Lines, key: str, name: str, read: Callable[[Path], Table]) -> Table:
    """Read a table that a key names, relative to the turbine file."""
    table = path.parent / name
    if not table.is_file():
        raise InputError(f'{place(path, lines, key)}: {key} = "{name}"; no such file beside {path.name}')
    return read(table)


def _read_blade(path: Path) -> Table:
    return read_table(path, BLADE_COLUMNS, rising="r_m", least_rows=5)


def _read_polar(path: Path) -> Table:
    table = read_table(path, POLAR_COLUMNS, rising="angle_deg", least_rows=10)
    first, last = float(table["angle_deg"][0]), float(table["angle_deg"][-1])
    for row, reach, sign in ((0, -first, "-"), (-1, last, "")):
        is_whole = first == -180.0 and last == 180.0
        if not is_whole and not 5.0 <= reach <= 90.0:
            allowed = f"must be {sign}180, or from {sign}5 to {sign}90 (the polar is then extended)"
            raise InputError(table.problem(row, "angle_deg", allowed))
    return table
