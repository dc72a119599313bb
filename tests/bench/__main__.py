"""Start benchmarks: ``python -m tests.bench`` all of them, ``python -m tests.bench march`` one."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

from sim.compiled import prepare_cache


def names() -> list[str]:
    """List the benchmarks at hand."""
    here = Path(__file__).parent
    return sorted(path.stem for path in here.glob("*.py") if not path.stem.startswith("_"))


def main(chosen: list[str]) -> int:
    """Run the named benchmarks, all without a name."""
    unknown = set(chosen) - set(names())
    if unknown:
        print(f"unknown: {', '.join(sorted(unknown))}; known: {', '.join(names())}")
        return 2
    prepare_cache()
    for name in chosen or names():
        print(f"== {name}", flush=True)
        import_module(f"tests.bench.{name}").main()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
