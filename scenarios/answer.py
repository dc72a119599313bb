"""What does a command hand back, and how is it printed?"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import Any

CAUTION = (
    "wideberth is for design studies and gives no certificate: "
    "local codes, the certification body and licensed engineers decide."
)


class ExitCode(IntEnum):
    """How the command line ends."""

    HOLDS = 0  #: done, and the candidate holds the requirement
    DOES_NOT_HOLD = 1  #: done, and it does not; nothing else ends with 1
    INPUT = 2  #: the input is wrong
    PARTLY_FAILED = 3  #: the run failed in part; beats 1
    FAULT = 70  #: a fault of ours
    INTERRUPTED = 130


@dataclass(frozen=True)
class Options:
    """What the command line lets a user choose for any study."""

    out: Path = Path("wideberth-out")
    store: Path | None = None  #: the per-user cache folder when None
    jobs: int | None = None  #: as many as processors when None; 0 runs in this process
    is_quiet: bool = False
    as_json: bool = False
    is_fresh: bool = False  #: forget what the store holds of these cases
    cluster: str | None = None  #: address of a scheduler; worker processes on this machine when None

    @property
    def hands(self) -> int | str | None:
        """Who runs a campaign, as `scenarios.campaign.run_cases` wants it."""
        return self.cluster or self.jobs


@dataclass(frozen=True)
class Answer:
    """A study's result: ``data`` for machines, ``text`` for people, and how the command ends."""

    data: Mapping[str, Any]
    text: str
    code: ExitCode = ExitCode.HOLDS


def to_json(data: Any) -> str:
    """Return one JSON object; nan and infinity as null, arrays as lists."""
    return json.dumps(_plain(data), allow_nan=False, indent=2, ensure_ascii=False)


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, bool) or value is None or isinstance(value, (int, str)):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(inner) for inner in value]
    if isinstance(value, Path):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def counted(count: int, noun: str) -> str:
    """Write how many there are: 1 case, 2 cases, 3 passes."""
    return f"{count} {noun}" + ("" if count == 1 else "es" if noun.endswith("s") else "s")


def table(head: list[str], rows: list[list[str]], left: int = 1) -> str:
    """Return an aligned text table; the first ``left`` columns to the left, the others to the right."""
    widths = [max(len(row[column]) for row in [head, *rows]) for column in range(len(head))]
    lines = []
    for row in [head, *rows]:
        cells = [
            cell.ljust(width) if column < left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)
