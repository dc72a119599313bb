"""The real simulator under accidents: killed at any instant, the results are those of an undisturbed run."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from tests import short_campaign as short
from tests.test_campaign import needs_proc, session_of

KILLS = 10
"""Runs, each of which loses a worker at one random instant and the main process at a later one."""


def workers_of(leader: int) -> list[int]:
    """The processes of a campaign that march: its own and the tracker of its resources do not."""
    found = []
    for process in session_of(leader):
        told = Path(f"/proc/{process}/cmdline").read_bytes() if Path(f"/proc/{process}").exists() else b""
        if process != leader and b"popen_loky_posix" in told:
            found.append(process)
    return found


@pytest.mark.slow
@pytest.mark.parametrize(("jobs", "lanes"), [(1, 5), (2, 2), (3, 16)])
def test_batches_and_workers_change_no_bit_of_the_real_results(tmp_path: Path, jobs: int, lanes: int) -> None:
    campaign = short.run(tmp_path, jobs, lanes)
    assert campaign.tally.counts() == {"total": 16, "computed": 16, "from_store": 0, "failed": 0}
    assert sum(result["passes.acted"].sum() for result in campaign.results.values()) > 0
    assert short.digest(campaign) == short.undisturbed()


@pytest.fixture(scope="module")
def whole_s(tmp_path_factory) -> float:
    """How long a run takes from its imports to its end [s]."""
    child = short.start(tmp_path_factory.mktemp("whole"))
    began = time.monotonic()
    out, _ = child.communicate(timeout=300)
    assert out == "ended\n"
    return time.monotonic() - began


@pytest.mark.slow
@needs_proc
@pytest.mark.parametrize("number", range(KILLS))
def test_killed_at_random_instants_and_resumed_it_gives_the_same(
    tmp_path: Path, whole_s: float, number: int
) -> None:
    """``kill -9`` of a worker, then of the main process: 20 instants in all, drawn by key."""
    draw = np.random.Generator(np.random.Philox(key=[6, number]))
    first, second = np.sort(draw.uniform(0.0, whole_s, size=2))
    child = short.start(tmp_path)
    began = time.monotonic()
    time.sleep(first)
    workers = workers_of(child.pid)
    if workers:
        os.kill(workers[int(draw.integers(len(workers)))], signal.SIGKILL)
    time.sleep(max(0.0, second - (time.monotonic() - began)))
    child.kill()
    child.communicate()
    resumed = short.run(tmp_path, 0, 96)
    assert resumed.tally.from_store + resumed.tally.computed == 16
    assert not resumed.tally.failed
    assert short.digest(resumed) == short.undisturbed()
