"""What does a time series that was measured, or made by another program, say?

A CSV table or a NetCDF file of named columns, each with its unit: ``azimuth_deg``, ``pitch_2_rad``. In
NetCDF the unit may stand in the variable's ``units`` instead of its name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError, closest
from sim.keyplace import shown
from sim.table import Column, Table, read_table
from sim.units import bare, si, unit_of

Floats = NDArray[np.float64]

ANGLES, MOMENTS = ("_deg", "_rad"), ("_Nm", "_kNm", "_MNm")
ALONE = {
    "azimuth": (ANGLES, "of blade 1; 0 up, 180 degrees where it passes the tower; grows as the rotor turns"),
    "wind_speed": (("_m_s",), "at the hub"),
    "tower_base_fore_aft": (MOMENTS, "moment at the tower's base, positive downwind"),
}
BY_BLADE = {
    "root_flap_moment": (MOMENTS, "at the root, positive downwind"),
    "root_edge_moment": (MOMENTS, "at the root, in the plane of rotation"),
    "pitch": (ANGLES, "pitch angle, growing towards feather"),
    "tip_distance": (("_m",), "from the tip to the tower; empty or nan where it is not seen"),
}
SPELLINGS = {
    "deg": "_deg", "degree": "_deg", "degrees": "_deg", "rad": "_rad", "radian": "_rad", "radians": "_rad",
    "N m": "_Nm", "Nm": "_Nm", "N.m": "_Nm", "kN m": "_kNm", "kNm": "_kNm", "kN.m": "_kNm", "MN m": "_MNm",
    "MNm": "_MNm", "MN.m": "_MNm", "m": "_m", "metre": "_m", "metres": "_m", "meter": "_m", "meters": "_m",
    "s": "_s", "m/s": "_m_s", "m s-1": "_m_s",
}  # fmt: skip
"""Spellings of a unit in a variable's ``units``, and the ending that says the same."""
SINCE = {
    "nanoseconds": 1e-9, "microseconds": 1e-6, "milliseconds": 1e-3, "seconds": 1.0, "minutes": 60.0,
    "hours": 3600.0, "days": 86400.0,
}  # fmt: skip
"""Words for time since a date, as a clock's time is stored in NetCDF, and their seconds."""
GAP = 1.5
COARSE = np.radians(60.0)
"""Between two samples the rotor may turn less than this, or a pass cannot be seen."""


def _columns() -> tuple[Column, ...]:
    found = [Column("time_s", "time")]
    for name, (units, meaning) in ALONE.items():
        found += [Column(name + unit, meaning, required=False) for unit in units]
    for name, (units, meaning) in BY_BLADE.items():
        found += [
            Column(f"{name}_{blade}{unit}", meaning, required=False, may_lack=name == "tip_distance")
            for blade in (1, 2, 3)
            for unit in units
        ]
    return tuple(found)


COLUMNS = _columns()


@dataclass(frozen=True)
class Recording:
    """A time series in SI units.

    Parameters
    ----------
    path : Path
    time : (n,) float64 [s]
        Rising.
    azimuth : (n,) float64 [rad]
        Of blade 1, unwrapped.
    channels : mapping of name to (n,) float64 [rad, N m, m, m/s]
        By the names of ALONE, and those of BY_BLADE with the number of the blade: ``pitch_2``.
    blade_count : int
    """

    path: Path
    time: Floats
    azimuth: Floats
    channels: Mapping[str, Floats]
    blade_count: int

    @property
    def step(self) -> float:
        """The usual time between samples [s]."""
        return float(np.median(np.diff(self.time)))

    @property
    def duration(self) -> float:
        """What the samples stand for: one usual step more than from the first to the last [s]."""
        return float(self.time[-1] - self.time[0]) + self.step

    def blades_of(self, name: str) -> list[int]:
        """Return the numbers of the blades that have a channel."""
        return [b for b in range(1, self.blade_count + 1) if f"{name}_{b}" in self.channels]

    def blocks(self, length: float) -> list[Recording]:
        """Return its whole blocks of a length [s]; the rest is left out, and a shorter one is one block."""
        if self.duration <= length:
            return [self]
        number = int((self.duration + 0.5 * self.step) / length)
        place = np.floor((self.time - self.time[0] + 1e-6 * self.step) / length).astype(np.int64)
        return [self._part(place == n) for n in range(number)]

    def _part(self, rows: NDArray[np.bool_]) -> Recording:
        channels = {name: values[rows] for name, values in self.channels.items()}
        return replace(self, time=self.time[rows], azimuth=self.azimuth[rows], channels=channels)


def read_recording(path: Path | str, blade_count: int) -> Recording:
    """Read a recording.

    Parameters
    ----------
    path : a CSV file, or a NetCDF one (ending .nc)
    blade_count : 2 or 3

    Raises
    ------
    InputError
        With file and line: unreadable, unknown or double column, no unit, no time, no azimuth or nothing
        besides, a cell that is no number, time that does not rise, a gap, a blade that there is not, too few
        samples a revolution.
    """
    file = Path(path)
    table = _read_netcdf(file) if file.suffix in (".nc", ".nc4") else read_table(file, COLUMNS, "time_s", 8)
    names = [name for name in table.columns if name != "time_s"]
    problems = list(_faults(table, names, blade_count))
    if problems:
        raise InputError(problems)
    values = {bare(name): _in_si(name, table[name]) for name in names}
    recording = Recording(file, table["time_s"], np.unwrap(values.pop("azimuth")), values, blade_count)
    problems = list(_uneven(table, recording))
    if problems:
        raise InputError(problems)
    return recording


def _in_si(name: str, values: Floats) -> Floats:
    return values * si(name, 1.0)


def _faults(table: Table, names: list[str], blade_count: int) -> Iterator[str]:
    where = f"{shown(table.path)}:{table.header_line}"
    seen: dict[str, str] = {}
    for name in names:
        if bare(name) in seen:
            yield f"{where}: columns '{seen[bare(name)]}' and '{name}' say the same in two units; keep one"
        seen[bare(name)] = name
        blade = bare(name).rpartition("_")[2]
        if blade.isdigit() and int(blade) > blade_count:
            yield f"{where}: column '{name}'; the rotor has {blade_count} blades (--blades)"
    if "azimuth" not in seen:
        yield f"{where}: column 'azimuth_deg' or 'azimuth_rad' ({ALONE['azimuth'][1]}) is missing"
    elif len(seen) == 1:
        yield f"{where}: nothing to judge; known columns: {', '.join(column.name for column in COLUMNS)}"


def _uneven(table: Table, recording: Recording) -> Iterator[str]:
    steps, usual = np.diff(recording.time), recording.step
    for row in np.flatnonzero(steps > GAP * usual)[:5]:
        told = (
            f"{steps[row]:g} s after the row before, where {usual:g} s is usual; fill this gap or cut it off"
        )
        yield table.problem(int(row) + 1, "time_s", told)
    turned = np.abs(np.diff(recording.azimuth))
    for row in np.flatnonzero(turned > COARSE)[:5]:
        name = next(name for name in table.columns if bare(name) == "azimuth")
        told = f"{np.degrees(turned[row]):.0f} degrees from the row before; a pass is not seen beyond 60"
        yield table.problem(int(row) + 1, name, told)
    turns = (recording.azimuth[-1] - recording.azimuth[0]) / (2.0 * np.pi)
    if turns < -0.5:
        yield (
            f"{shown(table.path)}: the azimuth falls by {-turns:.1f} turns; it must grow as the rotor turns, "
            "with enough samples a turn"
        )


def _read_netcdf(path: Path) -> Table:
    """Read a NetCDF file as a table; its rows count as lines from 1.

    Raises
    ------
    InputError
        As `read_recording`.
    """
    import xarray

    where = shown(path)
    if not path.is_file():
        raise InputError(f"{where}: no such file")
    try:
        dataset = xarray.load_dataset(path, engine="h5netcdf", decode_times=False)
    except (OSError, ValueError, KeyError) as error:
        raise InputError(f"{where}: cannot be read as NetCDF ({error})") from error
    known = {column.name: column for column in COLUMNS}
    columns: dict[str, Any] = {}
    problems: list[str] = []
    for given, variable in dataset.variables.items():
        name, fault = _named(str(given), str(variable.attrs.get("units", "")), known)
        if fault or name in columns:
            problems.append(f"{where}: variable '{given}': {fault or f'{name} stands twice'}")
        elif variable.ndim != 1 or variable.dtype.kind not in "fiu":
            problems.append(f"{where}: variable '{given}': must be numbers along time, one dimension")
        else:
            columns[name] = _from_the_start(variable.values, str(variable.attrs.get("units", "")))
    if "time_s" not in columns and not problems:
        problems.append(f"{where}: variable 'time_s' is missing")
    if problems:
        raise InputError(problems)
    return _checked(Table(path, columns, tuple(range(1, columns["time_s"].size + 1)), 0), known)


def _clock(units: str) -> float:
    """Return the seconds of one unit of a clock's time, as in "hours since 2026-01-01"; else nought."""
    word, since, _ = units.partition(" since ")
    return SINCE.get(word, 0.0) if since else 0.0


def _from_the_start(values: NDArray, units: str) -> Floats:
    """Return a variable's values; those of a clock in seconds since the first."""
    # The difference comes first: a nanosecond count of today has more digits than a float.
    return (values - values[:1]) * _clock(units) if _clock(units) else values.astype(np.float64)


def _named(given: str, units: str, known: Mapping[str, Column]) -> tuple[str, str]:
    """Return a variable's name with its unit, and what is wrong with it."""
    ending = SPELLINGS.get(units, "")
    if given == "time" and _clock(units):
        return "time_s", ""
    if units and not ending and given != "time":
        return given, f"units '{units}' are unknown{closest(units, SPELLINGS)}"
    if given in known:
        told = unit_of(given)[0]
        if ending and unit_of("x" + ending)[0] != told:
            return given, f"its name says {told}, its units say {units}"
        return given, ""
    if given + ending in known and ending:
        return given + ending, ""
    if any(bare(name) == given for name in known):
        return given, "has no unit; name it like 'azimuth_deg', or give it the attribute 'units'"
    return given, f"unknown{closest(given, known)}"


def _checked(table: Table, known: Mapping[str, Column]) -> Table:
    """Hold a NetCDF file to what a CSV table is held to."""
    rows = table["time_s"].size
    problems = []
    for name, values in table.columns.items():
        if values.size != rows:
            problems.append(f"{shown(table.path)}: variable '{name}' has {values.size} values, time {rows}")
        elif not known[name].may_lack:
            lacking = np.flatnonzero(~np.isfinite(values))[:5]
            problems += [table.problem(int(row), name, "must be a number") for row in lacking]
    falling = np.flatnonzero(~(np.diff(table["time_s"]) > 0.0))[:5] + 1
    problems += [table.problem(int(row), "time_s", "must be above the row before") for row in falling]
    if rows < 8:
        problems.append(f"{shown(table.path)}: {rows} samples; must be at least 8")
    if problems:
        raise InputError(problems)
    return table
