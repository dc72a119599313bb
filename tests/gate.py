"""Is the project fit to land? One command for every check: ``python -m tests.gate``.

With ``--all`` it also runs the slow tests, and the compiled code once with bounds checks, once not compiled.
Every step runs, whatever became of those before it; the last lines say how long each took and what failed.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHON = sys.executable
SIDE_BY_SIDE = ("-n", "2", "--dist", "loadfile")
PYTEST = (PYTHON, "-m", "pytest", "-q", "-p", "no:cacheprovider")
IMPORT = re.compile(r"^\s*(?:from|import) ([\w.]+)(?: import (\w+))?", re.MULTILINE)
COMPILED = (
    "numba",
    "sim.kernels",
    "sim.plant.annulus",
    "sim.march",
    "tests.plant_lanes",
    "tests.plant_flocks",
)
"""Tests that import one of these run compiled code."""
LONG_UNCOMPILED = (
    "sim.march",
    "sim.plant.pack",
    "sim.fork",
    "scenarios.",
    "tests.plant_lanes",
    "tests.plant_flocks",
)
"""Tests that import one of these take too long where nothing is compiled."""


@dataclass(frozen=True)
class Step:
    """One check: what it is called, how it is run, what is added to its environment."""

    name: str
    command: tuple[str, ...]
    environment: dict[str, str] = field(default_factory=dict)

    def run(self) -> tuple[bool, float]:
        """Run it; return whether it passed, and how long it took [s]."""
        print(f"\n== {self.name}", flush=True)
        start = time.monotonic()
        done = subprocess.run(self.command, cwd=ROOT, env=os.environ | self.environment, check=False)
        return done.returncode == 0, time.monotonic() - start


def tool(name: str) -> str:
    """A console script of the environment that runs the gate."""
    return str(Path(PYTHON).parent / name)


def files_that_import(words: tuple[str, ...], without: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Test files that import one of some modules and none of others."""
    chosen = []
    for path in sorted((ROOT / "tests").glob("test_*.py")):
        imports = IMPORT.findall(path.read_text(encoding="utf-8"))
        names = [f"{module}.{name}" for module, name in imports]
        if any(name.startswith(without) for name in names):
            continue
        if any(name.startswith(words) for name in names):
            chosen.append(str(path.relative_to(ROOT)))
    return tuple(chosen)


def quick_steps() -> list[Step]:
    """Format, lint, types, imports between the storeys, fast tests."""
    return [
        Step("format", (PYTHON, "-m", "ruff", "format", "--check", ".")),
        Step("lint", (PYTHON, "-m", "ruff", "check", ".")),
        Step("types", (PYTHON, "-m", "pyright", "--pythonpath", PYTHON)),
        Step("imports", (tool("lint-imports"),)),
        Step("fast tests", PYTEST),
    ]


def deep_steps() -> list[Step]:
    """Slow tests; compiled code with bounds checks; the same code not compiled."""
    compiled, uncompiled = files_that_import(COMPILED), files_that_import(COMPILED, LONG_UNCOMPILED)
    return [
        Step("slow tests", (*PYTEST, "-n", "0", "-m", "slow")),
        Step("bounds checked", (*PYTEST, *SIDE_BY_SIDE, *compiled), {"NUMBA_BOUNDSCHECK": "1"}),
        Step("not compiled", (*PYTEST, *SIDE_BY_SIDE, *uncompiled), {"NUMBA_DISABLE_JIT": "1"}),
    ]


def main(arguments: list[str]) -> int:
    """Run the gate; return 0 if every step passed."""
    if set(arguments) - {"--all"}:
        print(f"{__doc__}\nunknown: {' '.join(arguments)}; known: --all")
        return 2
    steps = quick_steps() + (deep_steps() if "--all" in arguments else [])
    results = [(step.name, *step.run()) for step in steps]
    print()
    for name, passed, seconds in results:
        print(f"{seconds:7.1f} s  {'passed' if passed else 'FAILED'}  {name}")
    return 0 if all(passed for _, passed, _ in results) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
