"""How many times as fast as the general-purpose package `rainflow` are cycles counted, on equal cycles?

Start with ``python -m tests.bench.rainflow``. Ratios of one run count; times drift with the machine.
"""

from __future__ import annotations

from time import perf_counter

import numpy as np

SAMPLES = 30_000


def histories() -> dict[str, np.ndarray]:
    """Return two invented load histories: one like a blade's at 25 Hz, and white noise, the worst case."""
    rng = np.random.Generator(np.random.Philox(key=[41, 0]))
    white = rng.normal(size=SAMPLES)
    time = np.arange(SAMPLES) * 0.04
    width = np.hanning(27)
    slow = np.convolve(rng.normal(size=SAMPLES), width / np.sum(width), mode="same")
    return {"like a blade root": slow + np.sin(2.0 * np.pi * 0.18 * time), "white noise": white}


def best_time(call, repeats: int) -> float:
    """Return the smallest time [s] of several calls."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        call()
        times.append(perf_counter() - start)
    return min(times)


def measure() -> list[dict[str, float | str | bool]]:
    """Return one row per history: cycles, both times, their ratio, and whether the cycles are equal."""
    import rainflow as package

    from sim.measures.fatigue import rainflow

    rows = []
    for name, series in histories().items():
        found = sorted(zip(*rainflow(series), strict=True))
        equal = found == sorted(cycle[:3] for cycle in package.extract_cycles(series))
        ours = best_time(lambda series=series: rainflow(series), 300)
        theirs = best_time(lambda series=series: list(package.extract_cycles(series)), 10)
        rows.append(
            {
                "history": name,
                "cycles": len(found),
                "equal": equal,
                "ours_ms": 1e3 * ours,
                "package_ms": 1e3 * theirs,
                "ratio": theirs / ours,
            }
        )
    return rows


def main() -> None:
    """Print the rows."""
    print(f"rainflow, {SAMPLES} samples, best of several; wanted: ratio of at least 150, equal cycles")
    for row in measure():
        print(
            f"  {row['history']:<18} {row['cycles']:>6} cycles, equal: {row['equal']!s:<5} "
            f"{row['ours_ms']:8.3f} ms against {row['package_ms']:7.2f} ms: {row['ratio']:6.0f} times"
        )


if __name__ == "__main__":
    main()
