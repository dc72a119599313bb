"""How long does the fatigue bill of every shipped stack take: 12 wind speeds, 6 seeds, ten minutes each?

Start with ``python -m tests.bench bill`` on an idle machine; two workers, an empty store. Fewer SEEDS or
SECONDS in the environment make it quicker.
"""

from __future__ import annotations

import os
import resource
import tempfile
from pathlib import Path
from time import perf_counter

SPEEDS = (3.5, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0, 19.0, 21.0, 23.0, 24.5)
WANTED_S = 300.0


def main() -> None:
    """Print the table."""
    from scenarios.answer import Options
    from scenarios.load import load_scenario
    from scenarios.studies.fatigue import run

    seeds, seconds = int(os.environ.get("SEEDS", "6")), float(os.environ.get("SECONDS", "600"))
    wind = {"label": "wind", "kind": "normal_turbulence", "speeds_m_s": list(SPEEDS), "seeds": seeds}
    life = {"years": 20.0, "distribution": "rayleigh"}
    told = [
        ("winds", [wind]),
        ("life", life),
        ("duration_s", seconds),
        ("questions", ["passes", "ledger", "bill"]),
    ]
    scenario = load_scenario("shelf", told)
    with tempfile.TemporaryDirectory() as folder:
        start = perf_counter()
        answer = run(scenario, Options(Path(folder) / "out", Path(folder) / "store", 2))
        wall = perf_counter() - start
    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    channels = len(answer.data["channels"])
    print(
        f"{len(scenario.entries)} stacks, {len(scenario.cases)} cases of {seconds:.0f} s, {channels} channels"
    )
    print(f"{wall:.0f} s from nothing (wanted below {WANTED_S:.0f} s of the full size on two idle cores)")
    print(f"this process held at most {own:.2f} GiB, a worker {worker:.2f} GiB")


if __name__ == "__main__":
    main()
