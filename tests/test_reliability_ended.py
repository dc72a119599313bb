"""Does a candidate whose layer fails in every run come out as failed in each part, and never as held?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scenarios.answer import ExitCode, Options
from scenarios.load import load_scenario
from scenarios.scenario import Scenario
from scenarios.studies import matrix, reliability, room
from tests.brisk import FILE

BROKEN = Path(__file__).resolve().parent / "data" / "broken_logic.py"
SHORTER = {
    "duration_s = 60.0": "duration_s = 5.0",
    "settle_s = 20.0": "settle_s = 3.0",
    "gust_duration_s = 20.0": "gust_duration_s = 12.0",
    "[10, 14]": "[10]",
    "seeds = 6": "seeds = 2",
    "phases = 12": "phases = 1",
    '["power", "guard"]': f'["power", "{BROKEN}:ChangesShapeLate"]',
}
FAULT = """
[[faults]]
name = "stuck"
kind = "servo_stuck"
blade = 1
start_s = 1.0

[[winds]]
label = "with it"
kind = "normal_turbulence"
speeds_m_s = [10]
seeds = 1
faults = ["stuck"]
"""


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    text = FILE.read_text(encoding="utf-8")
    for long, short in SHORTER.items():
        assert long in text, long
        text = text.replace(long, short)
    path = tmp_path_factory.mktemp("ended") / "ended.toml"
    path.write_text(text + FAULT, encoding="utf-8")
    return load_scenario(path)


@pytest.fixture
def asked(scenario: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(matrix, "QUICK", matrix.MatrixEffort(3.0, 1.0, 4.0, 1, 1, 1, False))
    monkeypatch.setattr(room, "QUICK", room.RoomEffort(3.0, 4.0, 1, 1, 1))
    options = Options(out=tmp_path / "out", store=tmp_path / "store", jobs=0, is_quiet=True)
    return lambda part: reliability.run(scenario, options, is_quick=True, only=part)


@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_the_ledger_counts_nothing_for_it_and_names_the_layer(asked: Any) -> None:
    answer = asked("ledger")
    row = answer.data["ledger"][-1]
    assert answer.code == ExitCode.PARTLY_FAILED
    assert row["passes"] == 0 and np.isnan(row["needless_travel_deg_per_hour"])
    assert np.isnan(row["asymmetry"]["acted_share_by_blade"]).all()
    assert "layer ChangesShapeLate" in answer.text and "before the judged time" in answer.text
    assert answer.data["ledger"][1]["passes"] > 0  # the entry without it is told as ever


def test_no_fault_is_held_by_a_layer_that_ended_before_it(asked: Any) -> None:
    answer = asked("faults")
    data = answer.data["faults"]
    assert answer.code == ExitCode.PARTLY_FAILED
    assert {row["stack"] for row in data["rows"]} == {"power"} == {row["stack"] for row in data["healthy"]}
    assert {row["fault"] for row in data["rows"]} == {"stuck"}
    failed = {row["entry"] for row in answer.data["failed"]}
    assert failed == {"power+ChangesShapeLate", "power+ChangesShapeLate+supervisor"}


def test_no_room_is_told_of_runs_that_end_early_as_they_are(asked: Any) -> None:
    answer = asked("room")
    assert answer.code == ExitCode.PARTLY_FAILED
    assert answer.data["room"]["rows"] == [] and room.UNTOLD in answer.text
    assert answer.text.count("seed 1: a controller layer") == 1  # however many knobs were tried
    assert room.UNTOLD in Path(answer.data["page"]).read_text(encoding="utf-8")
