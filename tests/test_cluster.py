"""A cluster: the same results as without, whatever its workers suffer; plain words where there is none."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from scenarios import cluster
from scenarios.campaign import Limits, run_cases
from scenarios.store import Store
from scenarios.workers import Engine
from sim.errors import InputError
from tests import campaign_fakes as fakes
from tests import short_campaign as short
from tests.campaign_fakes import make_case

CASES = [make_case(number) for number in range(1, 13)]


@dataclass
class Local:
    """A scheduler and its workers, each a process of its own."""

    folder: Path
    address: str
    processes: list[subprocess.Popen[bytes]]

    def hire(self, *options: str) -> subprocess.Popen[bytes]:
        """Start one more worker."""
        command = ["worker", self.address, "--nthreads", "1", "--no-dashboard", *options]
        self.processes.append(dask(self.folder, command))
        return self.processes[-1]

    def wait_for(self, number: int) -> None:
        """Wait until so many workers are there; on a busy machine that takes longer than a campaign waits."""
        from distributed import Client

        with Client(self.address, set_as_default=False) as client:
            client.wait_for_workers(number, timeout=120.0)


def dask(folder: Path, command: list[str]) -> subprocess.Popen[bytes]:
    log = (folder / f"{command[0]}.log").open("ab")
    environment = os.environ | {"PYTHONPATH": str(short.ROOT)}
    run = [sys.executable, "-m", "dask", *command]
    return subprocess.Popen(run, cwd=folder, env=environment, stdout=log, stderr=log)


@pytest.fixture
def local(tmp_path: Path) -> Iterator[Local]:
    """A scheduler that answers, without workers."""
    file = tmp_path / "scheduler.json"
    command = [
        "scheduler",
        "--host",
        "127.0.0.1",
        "--port",
        "0",
        "--no-dashboard",
        "--scheduler-file",
        str(file),
    ]
    started = dask(tmp_path, command)
    made = Local(tmp_path, "", [started])
    try:
        began = time.monotonic()
        while not file.exists() and time.monotonic() - began < 60.0:
            time.sleep(0.05)
        made.address = json.loads(file.read_text())["address"]
        yield made
    finally:
        for process in reversed(made.processes):
            process.terminate()
        for process in made.processes:
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def test_an_address_where_nothing_answers_is_named(monkeypatch, tmp_path: Path) -> None:
    assert cluster.CONNECT_S + cluster.CREW_S < 10.0
    monkeypatch.setattr(cluster, "CONNECT_S", 0.3)
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{closed.getsockname()[1]}"
        with pytest.raises(InputError, match=f"--cluster {address}: no scheduler answers there"):
            run_cases(CASES, Store(tmp_path, "v"), address)


def test_something_else_that_answers_is_no_scheduler(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 0.3)
    with socket.socket() as web:
        web.bind(("127.0.0.1", 0))
        web.listen()
        with pytest.raises(InputError, match="no scheduler answers there"):
            run_cases(CASES, Store(tmp_path, "v"), f"tcp://127.0.0.1:{web.getsockname()[1]}")


def test_an_address_without_a_port_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nonsense: no scheduler answers there \(missing port number"):
        run_cases(CASES, Store(tmp_path, "v"), "nonsense")


@pytest.mark.slow
def test_a_killed_worker_of_two_changes_no_bit(local: Local, tmp_path: Path) -> None:
    """Two workers on the real simulator; one is killed once the first batch is in the store."""
    lost = local.hire("--no-nanny")
    local.hire("--no-nanny")
    local.wait_for(2)
    root = tmp_path / "store"
    child = short.start(root, local.address)
    began = time.monotonic()
    while not list(root.glob("*/*.npz")) and time.monotonic() - began < 120.0:
        time.sleep(0.02)
    lost.send_signal(signal.SIGKILL)
    out, errors = child.communicate(timeout=300)
    assert out == "ended\n", errors
    found = short.run(root)
    assert found.tally.counts() == {"total": 16, "computed": 0, "from_store": 16, "failed": 0}
    assert short.digest(found) == short.undisturbed()


@pytest.mark.slow
def test_what_a_cluster_lacks_and_what_it_holds_up_is_named(
    local: Local, tmp_path: Path, monkeypatch
) -> None:
    with pytest.raises(InputError, match="answers but has no worker"):
        run_cases(CASES, Store(tmp_path / "none", "v"), local.address)
    local.hire()
    local.wait_for(1)
    engine, limits = Engine(fakes.hangs_on_stack_stuck), Limits(lanes=4, stall_beating_s=1.0)
    stuck = make_case(1, "stuck")
    monkeypatch.setattr(cluster, "CREW_S", 60.0)  # a worker that is ended for what hangs starts again
    campaign = run_cases([*CASES, stuck], Store(tmp_path / "s", "v"), local.address, None, engine, limits)
    assert campaign.results.keys() == {case.key for case in CASES}
    assert "stood still" in campaign.tally.failed[stuck.key]
    raising = Engine(fakes.raises_on_number_5)
    campaign = run_cases(CASES, Store(tmp_path / "r", "v"), local.address, None, raising, limits)
    assert campaign.tally.failed == {CASES[4].key: "ArithmeticError: five is out"}
    monkeypatch.setattr(cluster, "code_version", lambda: "0123456789abcdef")
    with pytest.raises(InputError, match="runs other code or another environment"):
        run_cases(CASES, Store(tmp_path / "o", "v"), local.address)
