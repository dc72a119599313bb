"""Stand-ins for the simulator, importable by worker processes and light to import."""

from __future__ import annotations

import ctypes
import os
import signal
import sys
import time
from dataclasses import dataclass

import numpy as np

from scenarios.case import Case, LayerSpec, RunSpec, SensorSpec, TurbineSpec
from scenarios.heartbeat import beat


@dataclass(frozen=True)
class FakeWind:
    """What a campaign asks of a wind: that it is a description."""

    label: str
    speed: float
    seed: int


def make_case(number: int, stack: str = "power", duration: float = 600.0, speed: float = 11.0) -> Case:
    """Return a case that differs from others by its wind's number, stack, speed and duration."""
    return Case(
        turbine=TurbineSpec("nowhere.toml", (), "content"),
        stack=(LayerSpec(stack),),
        wind=FakeWind("1.3", speed, number),  # type: ignore[arg-type]
        sensors=SensorSpec(),
        run=RunSpec(0.04, 60.0, duration),
        blade_count=3,
        required_share=0.3,
        seed=number,
        entry=stack,
        load_case="1.3",
        number=number,
    )


def result_of(case: Case) -> dict[str, np.ndarray]:
    """Return what a case gives, from its key alone."""
    generator = np.random.default_rng(int(case.key[:12], 16))
    count = int(generator.integers(0, 40))
    return {
        "passes.clearance_m": generator.normal(size=count),
        "passes.blade": generator.integers(0, 3, size=count),
        "cases.status": np.array(0, dtype=np.int64),
        "cases.pitch_travel_rad": generator.normal(size=3),
        "series": generator.normal(size=(4, 2)).astype(np.float32),
        "word": np.array(f"seed {case.number}"),
    }


def honest(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    return [result_of(case) for case in cases]


def slow(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    time.sleep(0.3)
    return honest(cases)


def endless(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    """Logic that never ends; Linux shows its name."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(15, b"endless")
    while True:
        time.sleep(0.05)


def deaf(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    """Logic that hangs in foreign code and lets no other thread of its process run; Linux shows its name."""
    library = ctypes.PyDLL(None)
    library.prctl(15, b"deaf")
    library.pause()
    return honest(cases)


def raises_on_number_5(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    if any(case.number == 5 for case in cases):
        raise ArithmeticError("five is out")
    return honest(cases)


def dies_on_number_5(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    if any(case.number == 5 for case in cases):
        os.kill(os.getpid(), signal.SIGKILL)
    return honest(cases)


def hangs_on_stack_stuck(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    beat()
    while any(case.stack[0].name == "stuck" for case in cases):
        time.sleep(0.05)
    return honest(cases)


def one_too_few(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    return honest(cases)[:-1]


def fills_the_disk(cases: list[Case]) -> list[dict[str, np.ndarray]]:
    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    os.fsync = full  # type: ignore[assignment]
    return honest(cases)
