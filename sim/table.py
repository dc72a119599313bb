"""What does a CSV table of numbers say, column by column, and in which line is it wrong?

The first line that is neither empty nor a comment (``#``) names the columns, each with its unit in the name.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError, closest
from sim.keyfile import read_text
from sim.keyplace import literal, shown

Row = tuple[int, list[str]]
"""Line number and cells."""


@dataclass(frozen=True)
class Column:
    """One column that a table must or may have."""

    name: str
    meaning: str
    low: float = -math.inf
    high: float = math.inf
    low_is_open: bool = False  #: the value must be above ``low``, not at it
    required: bool = True
    may_lack: bool = False  #: a cell may be empty or nan

    @property
    def allowed(self) -> str:
        """The range in words."""
        bounds = []
        if self.low > -math.inf:
            bounds.append(f"{'>' if self.low_is_open else '>='} {self.low:g}")
        if self.high < math.inf:
            bounds.append(f"<= {self.high:g}")
        return "a number" + (" " + " and ".join(bounds) if bounds else "")

    def holds(self, value: float) -> bool:
        """Whether the value is finite and in range, or may be lacking."""
        if self.may_lack and math.isnan(value):
            return True
        above = value > self.low if self.low_is_open else value >= self.low
        return math.isfinite(value) and above and value <= self.high


@dataclass(frozen=True)
class Table:
    """Numbers by column, and the file's line of each row."""

    path: Path
    columns: dict[str, NDArray[np.float64]]
    lines: tuple[int, ...]
    header_line: int

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        return self.columns[name]

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def problem(self, row: int, name: str, allowed: str) -> str:
        """Return the line that tells of a wrong cell."""
        return f"{shown(self.path)}:{self.lines[row]}: {name} = {self.columns[name][row]:g}; {allowed}"


def read_table(path: Path, columns: Sequence[Column], rising: str, least_rows: int) -> Table:
    """Read a table and check every cell.

    Parameters
    ----------
    path : the CSV file
    columns : the known columns, in any order in the file
    rising : name of the column that must grow from row to row
    least_rows : fewest rows that make sense

    Raises
    ------
    InputError
        With one line for each problem: unreadable file, unknown, double or missing column, a row of another
        length, a cell that is no number or out of range, rows out of order, too few rows.
    """
    where = shown(path)
    rows = [
        (number, [cell.strip() for cell in line.split(",")])
        for number, line in enumerate(read_text(path).split("\n"), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise InputError(f"{where}:1: empty; the first line must name the columns")
    (header_line, names), *body = rows
    problems = _header_problems(f"{where}:{header_line}", names, columns)
    if problems:
        raise InputError(problems)
    problems = _body_problems(where, names, body, columns)
    if len(body) < least_rows:
        problems.append(f"{where}:{header_line}: {len(body)} rows; must be at least {least_rows}")
    if problems:
        raise InputError(problems)
    values = [[_number(cell) for cell in cells] for _, cells in body]
    array = np.array(values, dtype=np.float64)
    table = Table(
        path, {name: array[:, i] for i, name in enumerate(names)}, tuple(n for n, _ in body), header_line
    )
    for row in np.flatnonzero(np.diff(table[rising]) <= 0.0) + 1:
        above = table[rising][row - 1]
        problems.append(table.problem(int(row), rising, f"must be above {above:g}, the row before"))
    if problems:
        raise InputError(problems)
    return table


def _header_problems(where: str, names: list[str], columns: Sequence[Column]) -> list[str]:
    known = [column.name for column in columns]
    problems = [
        f"{where}: unknown column '{name}'{closest(name, known)}" for name in names if name not in known
    ]
    problems += [
        f"{where}: column '{name}' stands twice" for name in dict.fromkeys(names) if names.count(name) > 1
    ]
    problems += [
        f"{where}: column '{column.name}' ({column.meaning}) is missing"
        for column in columns
        if column.required and column.name not in names
    ]
    return problems


def _body_problems(where: str, names: list[str], body: Sequence[Row], columns: Sequence[Column]) -> list[str]:
    known = {column.name: column for column in columns}
    problems = []
    for number, cells in body:
        if len(cells) != len(names):
            problems.append(f"{where}:{number}: {len(cells)} cells; the header names {len(names)} columns")
            continue
        for name, cell in zip(names, cells, strict=True):
            value = _number(cell)
            is_word = math.isnan(value) and cell.lower() not in ("", "nan")
            if is_word or not known[name].holds(value):
                told = cell if math.isfinite(value) else literal(cell)
                problems.append(f"{where}:{number}: {name} = {told}; must be {known[name].allowed}")
    return problems


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan
