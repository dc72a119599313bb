"""Where does the compiler keep its work, so that it is never stale and never somebody else's?

The compiler's own cache does not notice when a function that was inlined from another file changes, nor that
bounds checks were asked for. Its folder is therefore named by everything that decides the machine code.
"""

from __future__ import annotations

import hashlib
import os
import platform
import sys
from importlib import metadata
from pathlib import Path


def prepare_cache() -> None:
    """Point the compiler at a per-user folder named by sources, versions, processor and flags.

    Notes
    -----
    Must run before the compiler is imported; a folder that the user chose (NUMBA_CACHE_DIR) is left alone.
    """
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    digest = hashlib.sha256()
    for folder in ("kernels", "plant", "wind"):
        for source in sorted((Path(__file__).parent / folder).glob("*.py")):
            digest.update(source.read_bytes())
    flags = [
        os.environ.get(name, "") for name in ("NUMBA_BOUNDSCHECK", "NUMBA_DISABLE_JIT", "NUMBA_CPU_NAME")
    ]
    told = [metadata.version("numba"), metadata.version("numpy"), sys.version, platform.processor(), *flags]
    digest.update("\n".join(told).encode())
    digest.update(_processor().encode())
    os.environ["NUMBA_CACHE_DIR"] = str(cache_root() / "compiled" / digest.hexdigest()[:20])


def cache_root() -> Path:
    """Return the per-user folder for things that can be made again."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "wideberth"


def _processor() -> str:
    """Return the processor's model and features as the system tells them, empty where it does not."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.machine()
    return "\n".join(sorted({line for line in lines if line.startswith(("model name", "flags", "Features"))}))
