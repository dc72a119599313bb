"""The campaign: the same results whatever the batches, workers and accidents on the way."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from scenarios.batches import cut, split, wind_bytes_of
from scenarios.campaign import Campaign, Limits, Tally, run_cases
from scenarios.case import Case, SensorSpec, canonical
from scenarios.foreman import Foreman
from scenarios.store import Store
from scenarios.workers import Engine, Orders, Task
from sim.errors import RunError
from tests import campaign_fakes as fakes
from tests.campaign_fakes import make_case

CASES = [make_case(number) for number in range(1, 13)]
ROOT = Path(__file__).resolve().parent.parent


def run(root: Path, simulate, cases=CASES, jobs: int = 2, **limits) -> Campaign:
    return run_cases(cases, Store(root, "v"), jobs, None, Engine(simulate), Limits(**{"lanes": 4} | limits))


def digest(campaign: Campaign) -> str:
    parts = [
        (key, name, array.dtype.str, list(array.shape), array.tobytes().hex())
        for key, result in sorted(campaign.results.items())
        for name, array in sorted(result.items())
    ]
    return hashlib.sha256(canonical(parts).encode()).hexdigest()


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> str:
    return digest(run(tmp_path_factory.mktemp("store"), fakes.honest, jobs=0))


def test_a_second_run_computes_nothing(tmp_path: Path, undisturbed: str) -> None:
    first = run(tmp_path, fakes.honest)
    second = run(tmp_path, fakes.endless)
    assert first.tally.counts() == {"total": 12, "computed": 12, "from_store": 0, "failed": 0}
    assert second.tally.counts() == {"total": 12, "computed": 0, "from_store": 12, "failed": 0}
    assert digest(first) == digest(second) == undisturbed


@pytest.mark.parametrize(("jobs", "lanes"), [(1, 1), (1, 96), (3, 5)])
def test_batch_size_and_number_of_workers_change_nothing(
    tmp_path: Path, undisturbed: str, jobs: int, lanes: int
) -> None:
    assert digest(run(tmp_path, fakes.honest, jobs=jobs, lanes=lanes)) == undisturbed


def test_an_extended_campaign_computes_only_what_is_new(tmp_path: Path) -> None:
    run(tmp_path, fakes.honest, CASES[:8], jobs=0)
    assert run(tmp_path, fakes.honest, jobs=0).tally.counts() == {
        "total": 12,
        "computed": 4,
        "from_store": 8,
        "failed": 0,
    }


def test_equal_cases_are_run_once(tmp_path: Path) -> None:
    assert run(tmp_path, fakes.honest, [*CASES, *CASES], jobs=0).tally.total == 12


def test_a_case_that_raises_is_isolated_and_named(tmp_path: Path) -> None:
    campaign = run(tmp_path, fakes.raises_on_number_5, lanes=96)
    assert campaign.tally.failed == {CASES[4].key: "ArithmeticError: five is out"}
    assert campaign.results.keys() == {case.key for case in CASES if case.number != 5}


def test_a_case_that_kills_its_worker_is_isolated_and_the_others_finish(tmp_path: Path) -> None:
    campaign = run(tmp_path, fakes.dies_on_number_5)
    assert campaign.tally.failed == {CASES[4].key: "its worker process died"}
    assert len(campaign.results) == 11


@pytest.mark.slow
def test_a_logic_that_hangs_is_given_up_after_three_cases_and_the_others_finish(
    tmp_path: Path, caplog
) -> None:
    stuck = [make_case(number, "stuck") for number in range(1, 7)]
    campaign = run(tmp_path, fakes.hangs_on_stack_stuck, CASES + stuck, lanes=96, stall_beating_s=0.5)
    assert campaign.results.keys() == {case.key for case in CASES}
    assert campaign.tally.failed.keys() == {case.key for case in stuck}
    reasons = list(campaign.tally.failed.values())
    assert sum("stood still" in reason and "not run" not in reason for reason in reasons) == 3
    assert sum("not run: 3 cases of the same stack" in reason for reason in reasons) == 3
    told = [words.split(" stood still for ")[0] for words in caplog.messages]
    assert told[0] == "6 cases (stuck) have"  # a batch is of one stack
    assert told[-3:] == ["1 case (stuck) has"] * 3


@pytest.fixture
def foreman(tmp_path: Path) -> Foreman:
    """Return a foreman with 4 cases of each of two stacks waiting, and no worker."""
    orders = Orders(Engine(fakes.honest), tmp_path, "v", tmp_path)
    made = Foreman(orders, Store(tmp_path, "v"), 1, Tally(), lambda tally: None, Limits())
    for number, stack in enumerate(("power", "stuck")):
        cases = tuple(make_case(10 * number + n, stack) for n in range(4))
        made.waiting.append(Task(number, cases))
    return made


def test_once_a_stack_stood_still_it_is_waited_for_less_and_others_as_long_as_before(
    foreman: Foreman, caplog
) -> None:
    sound, stuck = foreman.waiting
    assert [foreman._patience(task, True) for task in (sound, stuck)] == [60.0, 60.0]
    foreman._suspect(stuck, 60.4)
    assert caplog.messages == [
        "4 cases (stuck) have stood still for 60 s: ended, and cut down to find the guilty ones"
    ]
    assert [foreman._patience(task, True) for task in (sound, stuck)] == [60.0, 10.0]
    assert foreman._patience(stuck, False) == 600.0


def test_the_parent_writes_a_batch_s_stacks_once_however_often_it_looks(
    foreman: Foreman, monkeypatch
) -> None:
    """It looks ten times a second, at every batch in hand: that must cost the workers nothing."""
    written: list[object] = []
    monkeypatch.setattr("scenarios.case.canonical", lambda value: written.append(value) or canonical(value))
    for _ in range(50):
        for task in foreman.waiting:
            foreman._patience(task, True)
    assert len(written) == sum(len(task.cases) for task in foreman.waiting)


def test_a_stack_that_is_given_up_is_not_begun_again_from_any_queue(foreman: Foreman) -> None:
    sound, stuck = foreman.waiting
    foreman.waiting.clear()
    foreman.waiting.extend([sound, replace(stuck, cases=(*sound.cases[:1], *stuck.cases[2:]))])
    foreman.alone.append(replace(stuck, cases=stuck.cases[:2], is_alone=True))
    for case in fakes_of("stuck"):
        foreman._give_up_on(case, "it stood still for 10 s")
    assert [task.cases for task in foreman.waiting] == [sound.cases, sound.cases[:1]]
    assert not foreman.alone
    assert foreman.tally.failed.keys() == {case.key for case in stuck.cases}


def fakes_of(stack: str) -> list[Case]:
    return [make_case(number, stack) for number in (91, 92, 93)]


def test_a_result_that_is_missing_from_a_batch_is_never_attributed_to_a_case(tmp_path: Path) -> None:
    campaign = run(tmp_path, fakes.one_too_few, CASES[:2])
    assert campaign.results == {}
    assert set(campaign.tally.failed.values()) == {"ValueError: 1 case gave 0 results"}


def test_a_full_disk_ends_the_campaign_and_leaves_the_store_sound(tmp_path: Path) -> None:
    store = Store(tmp_path, "v")
    run(tmp_path, fakes.honest, CASES[:4], jobs=0)
    with pytest.raises(RunError, match="store cannot be written"):
        run_cases(CASES, store, 2, None, Engine(fakes.fills_the_disk), Limits(lanes=4))
    assert store.load(case.key for case in CASES).keys() == {case.key for case in CASES[:4]}


def test_progress_counts_every_case_once(tmp_path: Path) -> None:
    seen: list[int] = []

    def note(tally: Tally) -> None:
        seen.append(tally.computed + tally.from_store + len(tally.failed))

    run_cases(CASES, Store(tmp_path, "v"), 2, note, Engine(fakes.raises_on_number_5), Limits(lanes=4))
    assert seen == sorted(seen)
    assert seen[0] == 0 and seen[-1] == 12


CAMPAIGN = """
import sys
sys.path.insert(0, {root!r})
import signal
from tests import campaign_fakes as fakes
from scenarios.campaign import Limits, run_cases
from scenarios.store import Store
from scenarios.workers import Engine
if __name__ == "__main__":
    # A shell that starts the tests in the background has Ctrl-C ignored by all that they start.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    cases = [fakes.make_case(number) for number in range(1, 13)]
    print("begun", flush=True)
    run_cases(cases, Store({store!r}, "v"), 2, None, Engine(fakes.{fake}), Limits(lanes=2))
"""


def start(tmp_path: Path, fake: str, text: str = CAMPAIGN) -> subprocess.Popen[str]:
    script = tmp_path / "campaign.py"
    script.write_text(text.format(root=str(ROOT), store=str(tmp_path / "store"), fake=fake))
    child = subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert child.stdout is not None and child.stdout.readline() == "begun\n"
    return child


def session_of(leader: int) -> list[int]:
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                pieces = (entry / "stat").read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            if int(pieces[3]) == leader and pieces[0] != "Z":
                found.append(int(entry.name))
    return found


def wait_for_workers(leader: int, fake: str) -> None:
    """Two workers of a session have a batch in hand whose logic shows its name."""
    began = time.monotonic()
    while (found := named(leader, fake)) < 2 and time.monotonic() - began < 60.0:
        time.sleep(0.02)
    assert found == 2


def named(leader: int, name: str) -> int:
    """How many threads of a session's processes have this name; a batch may run in any of a worker's."""
    found = 0
    for pid in session_of(leader):
        for comm in Path(f"/proc/{pid}/task").glob("*/comm"):
            with suppress(OSError):
                found += comm.read_text() == f"{name}\n"
    return found


ASKED_BY_COMMAND = """
import sys
from types import SimpleNamespace
sys.path.insert(0, {root!r})
from scenarios.campaign import run_cases
from scenarios.cli import main
from scenarios.store import Store
from scenarios.workers import Engine
from tests import campaign_fakes as fakes

def run(scenario, options):
    print("begun", file=sys.__stdout__, flush=True)
    cases = [fakes.make_case(number) for number in range(1, 13)]
    run_cases(cases, Store({store!r}, "v"), 2, None, Engine(fakes.endless))

if __name__ == "__main__":
    sys.modules["scenarios.studies.study"] = SimpleNamespace(run=run)
    sys.exit(main(["study", "hollin-fell"]))
"""

needs_proc = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads /proc")


def ends_within(leader: int, seconds: float) -> bool:
    began = time.monotonic()
    while session_of(leader) and time.monotonic() - began < seconds:
        time.sleep(0.02)
    return not session_of(leader)


@needs_proc
def test_control_c_ends_a_campaign_and_its_workers(tmp_path: Path) -> None:
    """Within a second on an idle machine (0.3 s measured); the limit here leaves room for a busy one."""
    child = start(tmp_path, "endless")
    wait_for_workers(child.pid, "endless")
    os.killpg(child.pid, signal.SIGINT)
    child.communicate(timeout=20)
    assert ends_within(child.pid, 5.0)


@needs_proc
def test_a_command_that_is_asked_to_end_leaves_one_line_and_no_worker(tmp_path: Path) -> None:
    """Without care the semaphores that the workers share are left to a tracker that complains."""
    child = start(tmp_path, "endless", ASKED_BY_COMMAND)
    wait_for_workers(child.pid, "endless")
    child.terminate()
    _, errors = child.communicate(timeout=30)
    assert (child.returncode, errors.strip()) == (130, "interrupted; what was finished is in the store")
    assert ends_within(child.pid, 5.0)


@needs_proc
def test_workers_that_hang_in_foreign_code_end_with_their_parent(tmp_path: Path) -> None:
    child = start(tmp_path, "deaf")
    wait_for_workers(child.pid, "deaf")
    child.kill()
    child.wait()
    assert ends_within(child.pid, 10.0)


@needs_proc
def test_workers_end_when_their_parent_is_gone(tmp_path: Path) -> None:
    """Within two seconds on an idle machine; the limit here leaves room for a busy one."""
    child = start(tmp_path, "endless")
    wait_for_workers(child.pid, "endless")
    child.kill()
    child.wait()
    assert ends_within(child.pid, 10.0)


@pytest.mark.parametrize("instant", [0.4, 0.9, 1.3])
def test_a_campaign_killed_at_any_instant_resumes_to_the_same_results(
    tmp_path: Path, undisturbed: str, instant: float
) -> None:
    child = start(tmp_path, "slow")
    time.sleep(instant)
    child.kill()
    child.communicate()
    resumed = run(tmp_path / "store", fakes.honest, jobs=0)
    assert resumed.tally.from_store + resumed.tally.computed == 12
    assert digest(resumed) == undisturbed


def test_two_campaigns_on_one_store_do_not_disturb_each_other(tmp_path: Path, undisturbed: str) -> None:
    children = [start(tmp_path, "slow"), start(tmp_path, "slow")]
    for child in children:
        _, errors = child.communicate(timeout=120)
        assert (child.returncode, errors) == (0, "")
    assert digest(run(tmp_path / "store", fakes.endless, jobs=0)) == undisturbed


def test_incompatible_cases_never_share_a_batch() -> None:
    cases = [make_case(n, duration=d) for n in range(5) for d in (20.0, 600.0)]
    cases += [replace(make_case(n), blade_count=2) for n in range(5)]
    taller = replace(make_case(0).turbine, content="taller", disc=(120.0, 80.0))
    cases += [replace(make_case(n), turbine=taller) for n in range(5)]
    cases += [replace(make_case(n), sensors=SensorSpec((("pitch", 0.2),))) for n in range(5)]
    batches = cut(cases, 96, 2**30, 1)
    assert len(batches) == 5
    for batch in batches:
        assert len({(case.simulated_s, case.blade_count) for case in batch}) == 1
        assert len({(case.turbine.disc, case.sensors) for case in batch}) == 1


def test_batches_hold_every_case_once_within_both_limits() -> None:
    cases = [make_case(n, stack) for n in range(50) for stack in ("power", "guard", "scheduled")]
    limit = 9 * wind_bytes_of(cases[0])  # seven fields, and room for two while one of them is made
    batches = cut(cases, 32, limit, 2)
    assert sorted(case.key for batch in batches for case in batch) == sorted(case.key for case in cases)
    for batch in batches:
        assert len(batch) <= 32
        assert len({case.wind_key for case in batch}) <= 7


def sizes(
    number: int, lanes: int, jobs: int, fields: int = 1000, stacks: tuple[str, ...] = ("power",)
) -> list[int]:
    """How many cases of each stack, each in wind of its own, march together."""
    cases = [make_case(n, stack) for n in range(number) for stack in stacks]
    # Of the fields' memory two are for the making of one.
    batches = cut(cases, lanes, (fields + 2) * wind_bytes_of(cases[0]), jobs)
    assert all(len({case.stack_key for case in batch}) == 1 for batch in batches)
    return [len(batch) for batch in batches]


@pytest.mark.parametrize("jobs", [1, 2, 3, 6])
def test_what_memory_cuts_is_cut_evenly_and_no_worker_waits_for_the_last(jobs: int) -> None:
    """Full batches and a rest (38, 38, 38, 38, 38, 2) would end 38 lanes after the other worker's."""
    assert sizes(192, 360, jobs, fields=38) == [32] * 6


@pytest.mark.parametrize(
    ("jobs", "expected"), [(1, [40] * 3), (2, [40, 40, 20, 20]), (3, [40] * 3), (6, [20] * 6)]
)
def test_stacks_are_cut_until_every_worker_has_as_much(jobs: int, expected: list[int]) -> None:
    assert sizes(40, 96, jobs, stacks=("power", "guard", "scheduled")) == expected


def test_a_cut_that_costs_more_than_it_saves_is_not_made() -> None:
    """A batch of n lanes takes n + 11: 6 + 6 lanes end after 17 and cost 34, 12 lanes end after 23."""
    assert sizes(12, 96, 1) == [12]
    assert sizes(12, 96, 2) == [6, 6]  # 17 + 34 / 2 is less than 23 + 23 / 2
    assert sizes(8, 96, 2) == [8]  # 19 + 19 / 2 is less than 15 + 30 / 2
    assert sizes(48, 96, 8) == [8] * 6


def test_turbulence_of_ten_minutes_takes_the_bytes_of_its_grid() -> None:
    # 660 s at 10 Hz and 2 % more, rounded up to 6750 = 2 3^3 5^3 steps; 15 x 15 points, three components.
    assert wind_bytes_of(make_case(1)) == 6750 * 225 * 3 * 4


def test_a_guilty_batch_is_split_by_stack_first_then_in_halves() -> None:
    mixed = [make_case(n, stack) for n in range(4) for stack in ("power", "guard")]
    by_stack = split(mixed)
    assert [{case.stack_key for case in part} for part in by_stack] != []
    assert [len(part) for part in by_stack] == [4, 4]
    assert all(len({case.stack_key for case in part}) == 1 for part in by_stack)
    assert [len(part) for part in split(by_stack[0])] == [2, 2]
    assert [len(part) for part in split(by_stack[0][:3])] == [2, 1]
