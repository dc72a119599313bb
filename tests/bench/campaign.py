"""How do two workers compare with one, what do store and hand-over cost, and how long do 2 000 cases take?

Start with ``python -m tests.bench campaign`` on an idle machine. Ratios of one run count, from the first
batch on: the start does not grow with the campaign. The number of cases and their judged time are those of
the environment's CASES and SECONDS. Where none are given it is 152 of ten minutes: four batches as large as
those of the large campaign, for one worker as for two (a batch of fewer lanes costs more a lane, so that
shorter campaigns say less of the workers than of the logic's calls). With CASES=2000 SECONDS=600 it is the
large campaign itself: wanted within 10 minutes and 4 GiB on two cores.
"""

from __future__ import annotations

import os
import resource
import tempfile
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

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

    start, cpu = perf_counter(), process_time()
    results = list(simulate(cases))
    note = Path(os.environ[NOTES]) / f"{os.getpid()}-{start}"
    note.write_text(f"{start} {perf_counter()} {process_time() - cpu}")
    return results


@dataclass(frozen=True)
class Run:
    """What one campaign took."""

    begun: float  #: until the first batch was in hand [s]
    wall: float  #: from then on [s]
    marched: float  #: [s], all workers together
    cpu: float  #: of that, processor time [s]
    parent_cpu: float  #: processor time of this process, the start included [s]
    simulated: float  #: [s] of lanes


def run(cases: list[Case], jobs: int) -> Run:
    """Run a campaign on an empty store."""
    from scenarios.warming import WARM

    with tempfile.TemporaryDirectory() as folder:
        os.environ[NOTES] = str(Path(folder))
        engine = Engine(timed, WARM)
        start, cpu = perf_counter(), process_time()
        campaign = run_cases(cases, Store(Path(folder) / "store"), jobs, None, engine)
        end, cpu = perf_counter(), process_time() - cpu
        told = [note.read_text().split() for note in Path(folder).iterdir() if note.is_file()]
    if campaign.tally.failed:
        raise RuntimeError(f"{len(campaign.tally.failed)} cases failed: {campaign.tally.failed}")
    begun, ended, spent = np.array(told, dtype=float).T
    first = float(begun.min())
    marched, simulated = float(np.sum(ended - begun)), campaign.tally.simulated_s
    return Run(first - start, end - first, marched, float(spent.sum()), cpu, simulated)


def memory_GiB(jobs: int) -> float:
    """Return a bound of what all processes held at most: this one and so many of the largest worker [GiB]."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return (own + jobs * worker) / 2**20


def main() -> None:
    """Print the table."""
    number, seconds = int(os.environ.get("CASES", "152")), float(os.environ.get("SECONDS", "600"))
    cases = cases_of(number, seconds)
    two = run(cases, 2)
    print(
        f"{number} cases of {seconds:.0f} s, two workers: {two.begun:.1f} s to begin, then {two.wall:.1f} s, "
        f"{two.simulated / two.wall:.0f} times real time; at most {memory_GiB(2):.2f} GiB (wanted below 4)"
    )
    lost = 100.0 * (1.0 - two.marched / (2.0 * two.wall))
    print(f"store, hand-over, waiting at the end: {lost:.1f} % of the workers' time (wanted below 5)")
    print(
        f"processor time: {two.cpu:.1f} s of the march, {two.parent_cpu:.1f} s of the parent, start included"
    )
    full = 2000 * 660.0 / (two.simulated / two.wall) + two.begun
    print(f"2 000 cases of ten minutes at this pace: {full / 60.0:.1f} minutes (wanted below 10)")
    if number <= 400:
        one = run(cases, 1)
        print(
            f"one worker: {one.wall:.1f} s, {one.cpu:.1f} s processor time of the march; "
            f"two are {one.wall / two.wall:.2f} times as fast (wanted 1.8)"
        )


if __name__ == "__main__":
    main()
