"""Compiled code is the same whoever compiled it, and checks bounds where that was asked for."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest
from numba import njit

ROOT = Path(__file__).resolve().parent.parent
PLANTED = """
import sim
import numpy as np
from numba import njit

@njit(cache=True)
def beyond(array, place):
    return array[place]
"""
MARCH = """
import hashlib
import {first}
from scenarios.load import load_scenario
from scenarios.simulate import simulate

scenario = load_scenario("bad-day", [("duration_s", 5.0), ("settle_s", 8.0)])
digest = hashlib.sha256()
for result in simulate(scenario.cases_of(scenario.candidate)[-3:]):
    for name in sorted(result):
        digest.update(result[name].tobytes())
print(digest.hexdigest())
"""
RUN = "import planted, numpy; planted.beyond(numpy.zeros(3), 1); planted.beyond(numpy.zeros(3), 5)"


def run_planted(folder: Path, code: str = RUN, **flags: str) -> subprocess.CompletedProcess[str]:
    unset = ("NUMBA_CACHE_DIR", "NUMBA_BOUNDSCHECK", "NUMBA_DISABLE_JIT")
    kept = {name: value for name, value in os.environ.items() if name not in unset}
    paths = os.pathsep.join([str(folder), str(ROOT)])
    environment = kept | {"PYTHONPATH": paths, "XDG_CACHE_HOME": str(folder / "cache")} | flags
    command = [sys.executable, "-c", code]
    return subprocess.run(command, env=environment, cwd=folder, capture_output=True, text=True, check=False)


def test_planted_read_out_of_range_is_caught_after_an_unchecked_run(tmp_path: Path) -> None:
    (tmp_path / "planted.py").write_text(PLANTED, encoding="utf-8")
    unchecked = run_planted(tmp_path)
    assert unchecked.returncode == 0, unchecked.stderr
    assert list((tmp_path / "cache" / "wideberth" / "compiled").glob("*/**/planted*.nbc"))
    checked = run_planted(tmp_path, NUMBA_BOUNDSCHECK="1")
    assert checked.returncode != 0
    assert "IndexError" in checked.stderr


@pytest.mark.skipif(
    os.environ.get("NUMBA_BOUNDSCHECK") != "1" or bool(numba.config.DISABLE_JIT),
    reason="only in the pass of the gate that checks bounds; it proves that pass",
)
def test_this_pass_checks_bounds() -> None:
    @njit
    def beyond(array: np.ndarray, place: int) -> float:
        return array[place]

    with pytest.raises(IndexError, match="out of bounds"):
        beyond(np.zeros(3), 5)


@pytest.mark.slow
def test_results_are_the_same_from_fresh_code_from_the_cache_and_with_numpy_awake(tmp_path: Path) -> None:
    """The second run loads what the first compiled; in the third, numpy was there first."""
    runs = [run_planted(tmp_path, MARCH.format(first=first)) for first in ("sim", "sim", "numpy")]
    assert all(run.returncode == 0 for run in runs), runs[0].stderr
    assert len({run.stdout for run in runs}) == 1
