"""How does a message name the place of a key?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

Lines = dict[str, int]
FROM_OPTION = 0
"""The line number that stands for the command line's ``--set``."""


def join(path: str, part: str | int) -> str:
    """Return ``path`` with one more part: ``a`` + ``b`` is ``a.b``, ``a`` + 2 is ``a[2]``."""
    if isinstance(part, int):
        return f"{path}[{part}]"
    return f"{path}.{part}" if path else part


def shown(path: Path | str) -> str:
    """Return a path as messages show it: relative to the working directory where it lies below it."""
    try:
        return str(Path(path).resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(path)


def place(path: Path | str, lines: Mapping[str, int], key: str) -> str:
    """Return ``file:line`` of a key, of the table it should stand in, or ``--set``."""
    while key and key not in lines:
        cut = max(key.rfind("."), key.rfind("["))
        key = key[:cut] if cut > 0 else ""
    line = lines.get(key, 1)
    return "--set" if line == FROM_OPTION else f"{shown(path)}:{line}"


def problem(path: Path | str, lines: Mapping[str, int], key: str, value: Any, allowed: str) -> str:
    """Return the one line that tells of a wrong value: ``a.toml:12: rotor.cone_deg = 95; must be ...``."""
    return f"{place(path, lines, key)}: {key} = {literal(value)}; {allowed}"


def literal(value: Any) -> str:
    """A value as the file would write it, cut where it is long."""
    text = json.dumps(value, default=str, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."
