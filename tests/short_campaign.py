"""A campaign of a few seconds, two lanes a batch, on the real simulator: here or in a process of its own."""

from __future__ import annotations

import hashlib
import signal
import subprocess
import sys
from functools import lru_cache
from pathlib import Path

from scenarios.campaign import Campaign, Limits, run_cases
from scenarios.case import Case, canonical
from scenarios.load import load_scenario
from scenarios.store import Store

ROOT = Path(__file__).resolve().parent.parent
FILE = ROOT / "tests" / "data" / "short-study.toml"


@lru_cache(maxsize=1)
def cases() -> tuple[Case, ...]:
    return load_scenario(FILE).cases


def run(root: Path, jobs: int | str = 0, lanes: int = 2) -> Campaign:
    return run_cases(cases(), Store(root), jobs, None, None, Limits(lanes=lanes))


def digest(campaign: Campaign) -> str:
    """The hash of all results: every name, type, shape and bit."""
    parts = [
        (key, name, array.dtype.str, list(array.shape), array.tobytes().hex())
        for key, result in sorted(campaign.results.items())
        for name, array in sorted(result.items())
    ]
    return hashlib.sha256(canonical(parts).encode()).hexdigest()


@lru_cache(maxsize=1)
def undisturbed() -> str:
    """The hash of all results of a run that nothing happened to, all lanes in one batch, in this process."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        return digest(run(Path(folder), lanes=96))


def start(root: Path, jobs: int | str = 2) -> subprocess.Popen[str]:
    """Run it in a process of its own, the leader of its session; it has imported what it needs."""
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.short_campaign", str(root), str(jobs)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert child.stdout is not None and child.stdout.readline() == "begun\n"
    return child


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    cases()
    print("begun", flush=True)
    run(Path(sys.argv[1]), int(sys.argv[2]) if sys.argv[2].isdigit() else sys.argv[2])
    print("ended", flush=True)
