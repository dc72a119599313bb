"""Duels and vetting from the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from scenarios.cli import main
from scenarios.studies.cost import StackCost, cost_text, costs_of
from scenarios.studies.duel import duel_scenario
from sim.errors import InputError

DATA = Path(__file__).parent / "data"
SMALL = [
    ("duration_s", "20"),
    ("settle_s", "5"),
    ("winds", '[{label = "gusty", kind = "extreme_turbulence", speeds_m_s = [11], seeds = 2}]'),
]


def test_a_duel_puts_every_stack_on_the_candidates_turbine_in_the_same_winds() -> None:
    scenario = duel_scenario("hollin-fell", ["power", "power+scheduled", "power+guard"], SMALL)
    assert [entry.name for entry in scenario.entries] == ["power", "power+scheduled", "power+guard"]
    assert len({entry.turbine.content for entry in scenario.entries}) == 1
    assert len({case.wind_key for case in scenario.cases}) == 2
    assert scenario.entries[0].design.blade.stiffness_factor.tolist() == [1.0, 1.0, 1.0]
    soft = duel_scenario("hollin-fell", ["power", "power+guard"]).entries[0]
    from scenarios.load import load_scenario

    assert soft.turbine.content == load_scenario("hollin-fell").candidate.turbine.content


def test_a_duel_heeds_what_is_set_on_the_scenarios_entries() -> None:
    asked = [
        ("entries.guarded.parameters.guard.margin_m", "2.5"),
        ("entries.guarded.set", '{"blade.flap_stiffness_factor" = 0.9}'),
    ]
    guarded = duel_scenario("hollin-fell", ["power", "power+guard"], asked).candidate
    assert guarded.stack[1].load().margin_m == 2.5
    usual = duel_scenario("hollin-fell", ["power", "power+guard"]).candidate
    ratio = guarded.design.blade.flap_stiffness / usual.design.blade.flap_stiffness
    assert ratio == pytest.approx(0.9 / 0.8)


def test_a_duel_takes_a_users_own_layer_from_the_working_directory(monkeypatch) -> None:
    monkeypatch.chdir(DATA)
    scenario = duel_scenario("hollin-fell", ["power", "power+broken_logic.py:Honest"], SMALL)
    assert scenario.candidate.stack[1].source == str(DATA / "broken_logic.py")


@pytest.mark.parametrize(
    ("stacks", "words"),
    [
        (["power"], "a duel needs two stacks or more"),
        (["power", "power"], "--stack power: is there twice"),
        (["power", "power+gard"], r"^--stack power\+gard: unknown layer 'gard'; did you mean 'guard'"),
        (["power", "guard"], "^--stack guard: 'guard': the lowest layer must make power"),
        (["power", "power+guard+guard"], r"^--stack power\+guard\+guard: 'guard': is in the stack twice"),
        (["power", "power+"], r"^--stack power\+: names no layer beside a '\+'"),
    ],
)
def test_a_duel_that_makes_no_sense_is_refused(stacks, words) -> None:
    with pytest.raises(InputError, match=words):
        duel_scenario("hollin-fell", stacks, SMALL)


def test_the_duels_command_prints_tables_and_costs_and_writes_its_page(tmp_path: Path, capsys) -> None:
    sets = [part for key, value in SMALL for part in ("--set", f"{key}={value}")]
    where = ["--store", str(tmp_path / "store"), "--out", str(tmp_path), "--jobs", "0", "--quiet"]
    code = main(
        ["duel", "hollin-fell", "--stack", "power", "--stack", "power+guard", "--json", *sets, *where]
    )
    told = json.loads(capsys.readouterr().out)
    assert code in (0, 1)
    assert [entry["name"] for entry in told["controllers"]] == ["power", "power+guard"]
    cost = told["cost"]["power+guard"]
    assert cost["yardsticks"] > told["cost"]["power"]["yardsticks"] > 0.0
    assert 0.0 < cost["share_of_wall_time"] < 1.0
    assert len(cost["layer_yardsticks"]) == 2 and min(cost["layer_yardsticks"]) > 0.0
    page = Path(told["page"]).read_text(encoding="utf-8")
    assert "What the logic costs to compute" in page and "<svg" in page


def test_vet_ends_with_0_for_the_template_and_with_1_for_a_sinner(capsys) -> None:
    assert main(["vet", "controllers/template.py:Template"]) == 0
    assert "keeps the contract" in capsys.readouterr().out
    assert main(["vet", f"{DATA}/broken_logic.py:KeepsSecrets", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    broken = {row["clause"]: row for row in told["clauses"] if not row["passed"]}
    assert list(broken) == ["keeps its memory in the state"]
    assert "tick 0: pitch[0, 0] is" in broken["keeps its memory in the state"]["example"]
    assert "treats lanes apart" in told["not_tried"]


def test_vet_of_what_is_not_there_is_wrong_input(capsys) -> None:
    assert main(["vet", "nowhere.py:Logic"]) == 2
    assert "nowhere.py: no such file" in capsys.readouterr().err
    assert main(["vet", f"{DATA}/broken_logic.py:KeepSecrets"]) == 2
    assert "did you mean 'KeepsSecrets'" in capsys.readouterr().err


def test_list_names_every_kind_of_fault(capsys) -> None:
    from sim.faults import KINDS

    assert main(["list", "--faults", "--json"]) == 0
    assert [row["kind"] for row in json.loads(capsys.readouterr().out)["faults"]] == list(KINDS)


def test_what_a_layer_prints_stays_out_of_the_answer(tmp_path, capsys) -> None:
    path = tmp_path / "talks.py"
    path.write_text(
        "from tests.data.broken_logic import Honest\n\nprint('imported')\n\n\nclass Talks(Honest):\n"
        "    def step(self, state, seen, below, reference):\n"
        "        print('stepped')\n        return state, below\n"
    )
    main(["vet", f"{path}:Talks", "--json"])
    told = capsys.readouterr()
    assert json.loads(told.out)["keeps_the_contract"]
    assert "imported" in told.err
    assert "stepped" in told.err


def test_a_study_tells_of_a_slow_layer_of_ones_own_with_its_share_of_the_time(tmp_path: Path, capsys) -> None:
    own = f"{DATA}/broken_logic.py:Slow"
    entries = (
        f'[{{name = "plain", stack = ["power"]}}, {{name = "own", stack = ["power", {json.dumps(own)}]}}]'
    )
    sets = [f"{key}={value}" for key, value in [*SMALL, ("duration_s", "6"), ("entries", entries)]]
    asked = ["study", "hollin-fell", "--jobs", "0", "--quiet", f"--out={tmp_path}", f"--store={tmp_path}/s"]
    main([*asked, *(part for one in sets for part in ("--set", one))])
    told = capsys.readouterr().out
    assert re.search(r"slow, of the wall time: own \(\d\d%\)", told)
    assert "plain" not in told.partition("What a call costs")[2]
    data = json.loads((tmp_path / "hollin-fell.json").read_text())
    assert set(data["cost"]) == {"own"}
    assert data["cost"]["own"]["slow"] and data["cost"]["own"]["layer_yardsticks"] == []


def test_a_stack_of_which_a_case_failed_is_not_timed_for_it_may_never_return(monkeypatch) -> None:
    scenario = duel_scenario("hollin-fell", ["power", "power+guard", "power+scheduled"], SMALL)
    cost = StackCost(1e-5, 1e-4, 1e-3, 5e-5)
    monkeypatch.setattr("scenarios.studies.cost.measure", lambda case: cost)
    failed = [{"case": "gusty", "entry": "power+guard", "why": "it stalled"}]
    costs, untimed = costs_of(scenario, failed, all_stacks=True)
    assert (list(costs), untimed) == (["power", "power+scheduled"], ["power+guard"])
    assert "not timed, for cases of it failed: power+guard" in cost_text(costs, untimed)
    assert costs_of(scenario, [], all_stacks=False) == ({}, [])
    assert cost_text({}) == ""
