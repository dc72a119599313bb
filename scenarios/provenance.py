"""Which code and which environment made a result?"""

from __future__ import annotations

import hashlib
import platform
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scenarios.scenario import Scenario

_ROOT = Path(__file__).resolve().parent.parent
_DECIDING = ("sim", "controllers")
_DECIDING_FILES = ("scenarios/case.py", "scenarios/simulate.py")
_PACKAGES = ("numpy", "numba", "scipy")


@lru_cache(maxsize=1)
def code_version() -> str:
    """Return 16 hexadecimal digits that change with whatever may change a result's last digit.

    Notes
    -----
    Hashed are the sources of the two lower storeys and of the modules that turn a case into a run,
    the versions of numpy, numba and scipy, of Python, and the processor's features (numba compiles for them).
    Studies, report and command line are left out: they judge results and do not make them.
    """
    digest = hashlib.sha256()
    for path in _sources():
        digest.update(path.relative_to(_ROOT).as_posix().encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    for name, version in versions().items():
        if name != "wideberth":
            digest.update(f"{name}={version};".encode())
    digest.update(_processor().encode())
    return digest.hexdigest()[:16]


def versions() -> dict[str, str]:
    """Return the versions that are echoed into every result."""
    found = {"wideberth": _version("wideberth"), "python": platform.python_version()}
    return found | {name: _version(name) for name in _PACKAGES}


def origin(scenario: Scenario) -> dict[str, Any]:
    """Return what every answer about a scenario says of where it comes from."""
    return {
        "scenario": scenario.name,
        "seed": scenario.seed,
        "versions": versions() | {"code": code_version()},
        "configuration_hash": scenario.configuration_hash,
    }


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "not installed"


def _sources() -> list[Path]:
    found = [path for part in _DECIDING for path in (_ROOT / part).rglob("*.py")]
    found += [path for path in (_ROOT / name for name in _DECIDING_FILES) if path.exists()]
    return sorted(found)


def _processor() -> str:
    """Return the machine's architecture and, where the system tells them, its features."""
    told = ""
    cpu_info = Path("/proc/cpuinfo")
    if cpu_info.exists():
        lines = cpu_info.read_text(encoding="utf-8", errors="replace").splitlines()
        told = next((line for line in lines if line.lower().startswith(("flags", "features"))), "")
    return platform.machine() + " ".join(sorted(told.split())) + ("" if told else platform.processor())
