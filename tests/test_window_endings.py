"""Is a window that ends before its time told as what ended it, and does it harm nothing else?"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from scenarios.load import load_scenario
from scenarios.report.page import UNKNOWN
from scenarios.report.reliability import verdict
from scenarios.report.reliability_figures import odds_figure
from scenarios.studies import odds
from scenarios.studies.integrity import integrity_data, integrity_text
from scenarios.studies.odds_telling import odds_data, odds_text
from scenarios.studies.stratum_rows import stratum_rows
from scenarios.studies.window_runs import WITH, WITHOUT, speed_bins, stacks_of, stratum_of
from scenarios.window_endings import Ending, ending_of, endings_row
from scenarios.window_job import Doubt, Sampling, Span, WindowJob
from scenarios.windows import sample
from sim.interface import Status
from tests.brisk import FILE

BROKEN = Path(__file__).resolve().parent / "data" / "broken_logic.py"
LIMITS = ("probability", "low", "high", "rate_per_s", "nearest_m", "curve_probability", "curve_m")


@pytest.fixture(scope="module")
def sampled() -> dict[str, Any]:
    """Sample a stack whose layer fails two seconds after the start, beside the same without it, and alone."""
    scenario = load_scenario(FILE, [("entries.guarded.stack", ["power", f"{BROKEN}:ChangesShapeLate"])])
    stacks, bin_ = stacks_of(scenario), speed_bins(scenario)[0]
    stratum = stratum_of(scenario, stacks[WITHOUT], bin_[0], bin_[1], Doubt())
    sampling = Sampling("subset", 20, 5e-2, 3)
    job = WindowJob((stratum,), Span(3.0, 1.0, 3.0), sampling, "both", stacks[WITH])
    alone = sample(replace(job, beside=()))
    found = sample(job)
    rows = stratum_rows([WITHOUT, WITH], odds.UNSURE, bin_, job, (found, 0))
    return {"both": found, "alone": alone, "rows": rows, "bin": bin_}


def test_a_layer_that_fails_is_told_with_window_and_time_and_harms_nothing_beside(
    sampled: dict[str, Any],
) -> None:
    found, alone = sampled["both"], sampled["alone"]
    count = found["evaluations"][0]
    assert found["ended"].tolist() == [[0, count]] == found["ended_by_layer"].tolist()
    told = str(found["ended_first"][0, 1])
    # Its 52nd call forgets a blade: after a second and more of the three that are settled.
    assert re.search(r"wrong shape or type, window 0, 0\.\d\d s before the end of settling: layer Ch", told)
    for name in LIMITS:
        assert np.array_equal(found[name][:, 0], alone[name][:, 0], equal_nan=True), name


def test_what_a_layer_ended_is_told_as_failed_and_never_as_held(sampled: dict[str, Any]) -> None:
    rows = sampled["rows"]
    failed = [odds.ended_of("10 m/s", row) for row in rows if odds.is_ended_by_layer(row)]
    assert [item["entry"] for item in failed] == [WITH]
    assert "window 0" in failed[0]["why"] and "ChangesShapeLate" in failed[0]["why"]
    yearly, seen = (odds._yearly(rows, [sampled["bin"]], which) for which in ("", "_as_seen"))
    missed, caused = (odds._apart(rows, [sampled["bin"]], kind) for kind in ("missed", "caused"))
    told = odds.Odds(odds.QUICK, yearly, seen, missed, caused, rows, [], [], failed)
    data = odds_data(told, 1e9)  # whatever the bound, it would be within this
    assert data["holds"] is False and data["upper_end_holds"] is False
    assert odds_data(replace(told, strata=rows[:1]), 1e9)["holds"] is True
    assert verdict({"odds": data})[1:] == (
        "1e+09 strikes a year are tolerable; a layer of the stack ended windows, so that nothing is shown.",
        UNKNOWN,
    )
    told_of = integrity_data(load_scenario(FILE), told)
    assert "ended sampled windows" in integrity_text(told_of) and not told_of["architectures"]
    figure = odds_figure(data)
    assert figure.count("no window came near") >= 1
    assert "no window came near" not in odds_figure(odds_data(replace(told, strata=rows[:1]), 1e9))
    words = odds_text(data)
    assert "inf" not in words and "no pass was seen" in words and "most windows ended before a pass" in words


def test_a_rotor_that_runs_away_is_marched_on_and_has_not_ended() -> None:
    statuses = [Status.RUNNING, Status.STRUCK, Status.OVERSPEED, Status.OUT_OF_RANGE, Status.LAYER_RAISED]
    cases = {"status": np.array(statuses), "status_time_s": np.full(5, 1.25)}
    fault = SimpleNamespace(lane=4, layer="mine", message="raised ValueError: no")
    record: Any = SimpleNamespace(cases=cases, faults=[fault])
    endings = [ending_of(record, lane) for lane in range(5)]
    assert endings[:3] == [None] * 3
    assert endings[3:] == [
        Ending(Status.OUT_OF_RANGE, 1.25, ""),
        Ending(Status.LAYER_RAISED, 1.25, "layer mine raised ValueError: no"),
    ]
    told = endings_row([ending for ending in endings if ending])
    assert told["ended"] == 2 and told["ended_by_layer"] == 1
    assert told["ended_first"].endswith("1.25 s after the end of settling: layer mine raised ValueError: no")
