"""How do two workers compare with one, what do store and hand-over cost, and how long do 2 000 cases take?

Start with ``python -m tests.bench campaign`` on an idle machine. Ratios of one run count, from the first
batch on: the start does not grow with the campaign. The number of cases and their judged time are those of
the environment's CASES and SECONDS (48 and 120 where none are given); with CASES=2000 SECONDS=600 it is the
large campaign itself: wanted within 10 minutes and 4 GiB on two cores.
"""

from __future__ import annotations

import os
import resource
import tempfile
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

from scenarios.campaign import run_cases
from scenarios.case import Case
from scenarios.store import CaseResult, Store
from scenarios.workers import Engine

SPEEDS = (8.0, 10.0, 12.0, 16.0)
NOTES = "WIDEBERTH_BENCH_NOTES"


def cases_of(number: int, seconds: float, model: str = "longitudinal") -> list[Case]:
    """Return cases of the shipped turbine under power and guard, each in wind of its own."""
    from scenarios.load import load_scenario

    seeds = -(-number // len(SPEEDS))
    wind = {"label": "wind", "kind": "normal_turbulence", "speeds_m_s": list(SPEEDS), "seeds": seeds}
    entry = {"name": "guarded", "stack": ["power", "guard"], "set": {"blade.flap_stiffness_factor": 0.8}}
    told = [
        ("winds", [wind]),
        ("entries", [entry]),
        ("duration_s", seconds),
        ("site.turbulence_model", model),
    ]
    return list(load_scenario("hollin-fell", told).cases)[:number]


def timed(cases: list[Case]) -> list[CaseResult]:
    """Simulate, and note how long it took: what is not in these notes is store, hand-over and idleness."""
    from scenarios.simulate import simulate

    start = perf_counter()
    results = list(simulate(cases))
    note = Path(os.environ[NOTES]) / f"{os.getpid()}-{start}"
    note.write_text(f"{start} {perf_counter()}")
    return results


@dataclass(frozen=True)
class Run:
    """What one campaign took."""

    begun: float  #: until the first batch was in hand [s]
    wall: float  #: from then on [s]
    marched: float  #: [s], all workers together
    simulated: float  #: [s] of lanes


def run(cases: list[Case], jobs: int) -> Run:
    """Run a campaign on an empty store."""
    from scenarios.warming import WARM

    with tempfile.TemporaryDirectory() as folder:
        os.environ[NOTES] = str(Path(folder))
        engine = Engine(timed, WARM)
        start = perf_counter()
        campaign = run_cases(cases, Store(Path(folder) / "store"), jobs, None, engine)
        end = perf_counter()
        notes = [note.read_text().split() for note in Path(folder).iterdir() if note.is_file()]
    if campaign.tally.failed:
        raise RuntimeError(f"{len(campaign.tally.failed)} cases failed: {campaign.tally.failed}")
    first = min(float(begun) for begun, _ in notes)
    marched = sum(float(ended) - float(begun) for begun, ended in notes)
    return Run(first - start, end - first, marched, campaign.tally.simulated_s)


def memory_GiB(jobs: int) -> float:
    """Return a bound of what all processes held at most: this one and so many of the largest worker [GiB]."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return (own + jobs * worker) / 2**20


def main() -> None:
    """Print the table."""
    number, seconds = int(os.environ.get("CASES", "48")), float(os.environ.get("SECONDS", "120"))
    cases = cases_of(number, seconds)
    two = run(cases, 2)
    print(
        f"{number} cases of {seconds:.0f} s, two workers: {two.begun:.1f} s to begin, then {two.wall:.1f} s, "
        f"{two.simulated / two.wall:.0f} times real time; at most {memory_GiB(2):.2f} GiB (wanted below 4)"
    )
    lost = 100.0 * (1.0 - two.marched / (2.0 * two.wall))
    print(f"store, hand-over, waiting at the end: {lost:.1f} % of the workers' time (wanted below 5)")
    full = 2000 * 660.0 / (two.simulated / two.wall) + two.begun
    print(f"2 000 cases of ten minutes at this pace: {full / 60.0:.1f} minutes (wanted below 10)")
    if number <= 400:
        one = run(cases, 1)
        print(f"one worker: {one.wall:.1f} s; two are {one.wall / two.wall:.2f} times as fast (wanted 1.8)")


if __name__ == "__main__":
    main()
