"""What a store tells of itself, and what it gives up when it is asked to."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scenarios import asked, cluster
from scenarios.answer import Options
from scenarios.asked import Asked
from scenarios.campaign import Campaign, run_cases
from scenarios.cli import main
from scenarios.load import load_scenario
from scenarios.pruning import plan
from scenarios.remembered import begin, end, remembered
from scenarios.scenario import Scenario
from scenarios.store import Store
from scenarios.studies import study
from scenarios.workers import Engine
from sim.errors import InputError
from tests import campaign_fakes as fakes
from tests.brisk import FILE


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return Path(shutil.copy(FILE, tmp_path / "mine.toml"))


def ask(file: Path, root: Path, kept: slice, *overrides: tuple[str, object], failed=()) -> Scenario:
    """Ask for a scenario, of which only some cases come to be."""
    scenario, store = load_scenario(file, overrides), Store(root)
    asking = begin(scenario, store)
    run_cases(scenario.cases[kept], store, 0, None, Engine(fakes.honest))
    end(asking, failed, store)
    return scenario


def honestly(cases, store, jobs, progress, *engine_and_limits) -> Campaign:
    """Stand in for `run_cases`: whatever the engine, an honest one."""
    return run_cases(cases, store, jobs, progress, Engine(fakes.honest))


def told(capsys, *arguments: str) -> dict:
    assert main(["store", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def current(data: dict) -> dict:
    return next(row for row in data["versions"] if row["is_current"])


def test_the_store_tells_what_is_there_missing_and_failed(file: Path, tmp_path: Path, capsys) -> None:
    scenario = ask(file, tmp_path / "s", slice(0, 30))
    lost = scenario.cases[-1].title
    planted = {"key": scenario.cases[-1].key, "case": lost, "entry": "guarded", "why": "planted"}
    ask(file, tmp_path / "s", slice(0, 30), failed=[planted])
    version = current(told(capsys, str(tmp_path / "s")))
    (row,) = version["scenarios"]
    keys = {case.key for case in scenario.cases}
    assert (row["scenario"], row["file"]) == ("brisk-study", str(file))
    assert row["total"] == len(keys)
    assert row["there"] == len({case.key for case in scenario.cases[:30]}) == version["cases"]
    assert row["missing"] == row["total"] - row["there"] - 1
    assert row["failed_cases"] == [planted]
    assert lost not in row["missing_cases"]
    on_disk = sum(path.stat().st_size for path in (tmp_path / "s").rglob("*") if path.is_file())
    assert version["size_bytes"] == on_disk
    assert main(["store", str(tmp_path / "s")]) == 0
    assert f"{lost}: planted" in capsys.readouterr().out


def test_failed_cases_are_counted_by_what_they_are_not_by_what_they_are_called(
    file: Path, tmp_path: Path, capsys
) -> None:
    """Two cases of one title are two; one case that two entries share is one."""
    scenario, root = load_scenario(file), tmp_path / "s"
    alike = [fakes.make_case(number) for number in (1, 2)]
    assert alike[0].key != alike[1].key
    titles = {case.key: "power: 1.3, 11 m/s, seed 1" for case in alike}
    rows = [{"key": case.key, "case": titles[case.key], "entry": "power", "why": "planted"} for case in alike]
    end(begin(scenario, Store(root), "two alike", titles), rows, Store(root))
    shared = [rows[0], rows[0] | {"entry": "other", "case": "other: 1.3, 11 m/s, seed 1"}]
    end(begin(scenario, Store(root), "one shared", titles), shared, Store(root))
    found = {row["part"]: row for row in current(told(capsys, str(root)))["scenarios"]}
    assert (found["two alike"]["failed"], found["two alike"]["missing"]) == (2, 0)
    assert (found["one shared"]["failed"], found["one shared"]["missing"]) == (1, 1)


def test_a_cluster_that_does_not_answer_leaves_the_store_as_it_was(
    file: Path, tmp_path: Path, monkeypatch
) -> None:
    """A question that was never put is not remembered, and --fresh forgets nothing that is not made again."""
    monkeypatch.setattr(cluster, "CONNECT_S", 0.3)
    store, here = Store(tmp_path / "s"), Options(jobs=0, is_quiet=True)
    cases = [fakes.make_case(number) for number in range(3)]
    Asked(load_scenario(file), store, here, "search").run(cases[:2], Engine(fakes.honest))
    before = remembered(store)
    for number, is_fresh in ((3, False), (2, True)):
        away = replace(here, jobs=None, cluster="tcp://127.0.0.1:9", is_fresh=is_fresh)
        with pytest.raises(InputError, match="no scheduler answers there"):
            Asked(load_scenario(file), store, away, "search").run(cases[:number], Engine(fakes.honest))
    assert remembered(store) == before
    assert store.keys() == {case.key for case in cases[:2]}
    away = replace(away, is_fresh=False)
    found = Asked(load_scenario(file), store, away, "search").run(cases[:2])
    assert found.tally.from_store == 2  # nothing is to be run: nobody is needed


def test_a_campaign_that_did_not_end_is_told_as_such(file: Path, tmp_path: Path, capsys) -> None:
    begin(load_scenario(file), Store(tmp_path / "s"))
    (row,) = current(told(capsys, str(tmp_path / "s")))["scenarios"]
    assert row["ended"] is None
    assert row["missing"] == row["total"]


def test_pruning_names_first_and_removes_only_when_sure(file: Path, tmp_path: Path, capsys) -> None:
    root = tmp_path / "s"
    first = ask(file, root, slice(None))
    Store(root).write({"look": {"x": np.arange(3)}}, {"look": "a look"}, {"look": first.cases[0].key})
    file.write_text(file.read_text().replace("speeds_m_s = [10, 14]", "speeds_m_s = [10]"))
    second = ask(file, root, slice(None))
    kept = {case.key for case in second.cases} | {"look"}
    superfluous = {case.key for case in first.cases} - kept
    assert superfluous
    named = told(capsys, str(root), "--prune")["pruned"]
    assert {row["key"] for row in named["results"]} == superfluous
    assert all("14 m/s" in row["title"] for row in named["results"])
    assert Store(root).keys() == kept | superfluous
    assert told(capsys, str(root), "--prune", "--yes")["pruned"]["is_removed"] is True
    assert Store(root).keys() == kept
    assert not told(capsys, str(root), "--prune")["pruned"]["results"]


def test_what_was_set_on_the_command_line_is_another_asking(file: Path, tmp_path: Path) -> None:
    ask(file, tmp_path / "s", slice(None))
    ask(file, tmp_path / "s", slice(None), ("seed", "5"))
    store = Store(tmp_path / "s")
    assert len(remembered(store)) == 2
    assert not plan(store, with_versions=False).results


def test_a_scenario_whose_file_is_gone_refers_to_nothing(file: Path, tmp_path: Path) -> None:
    ask(file, tmp_path / "s", slice(0, 4))
    store = Store(tmp_path / "s")
    assert not plan(store, with_versions=False).told()
    file.unlink()
    planned = plan(store, with_versions=False)
    assert set(planned.results) == store.keys()
    assert len(planned.askings) == 1


def test_other_code_versions_go_only_when_they_are_named(file: Path, tmp_path: Path, capsys) -> None:
    root = tmp_path / "s"
    ask(file, root, slice(0, 4))
    Store(root, "0123456789abcdef").write({"a": {"x": np.arange(3)}})
    (root / "photographs").mkdir()
    assert told(capsys, str(root), "--prune", "--yes")["pruned"]["folders"] == []
    assert (root / "0123456789abcdef").is_dir()
    removed = told(capsys, str(root), "--prune", "--all-versions", "--yes")["pruned"]["folders"]
    assert removed == [str(root / "0123456789abcdef")]
    assert not (root / "0123456789abcdef").exists()
    assert (root / "photographs").is_dir()


def test_a_study_says_so_where_a_store_holds_other_code_only(
    file: Path, tmp_path: Path, monkeypatch, caplog
) -> None:
    monkeypatch.setattr(asked, "run_cases", honestly)
    monkeypatch.setattr(study, "assess", lambda *given: [])
    root = tmp_path / "s"
    Store(root, "0123456789abcdef").write({"a": {"x": np.arange(3)}})
    options = Options(store=root, jobs=0, is_quiet=True)
    for _ in range(2):
        study.judge_scenario(load_scenario(file), Store(root), options)
    assert caplog.text.count("holds results of other code (0123456789abcdef)") == 1


def test_a_record_of_an_asking_that_is_damaged_is_set_aside(file: Path, tmp_path: Path, caplog) -> None:
    ask(file, tmp_path / "s", slice(0, 4))
    store = Store(tmp_path / "s")
    (path,) = (store.folder / "asked").glob("*.json")
    path.write_text('{"schema": 1, "scenario": "x"}')
    assert remembered(store) == []
    assert "set aside" in caplog.text


def test_fresh_computes_again_what_the_store_holds(file: Path, tmp_path: Path, monkeypatch) -> None:
    scenario, store = load_scenario(file), Store(tmp_path / "s")
    monkeypatch.setattr(asked, "run_cases", honestly)
    monkeypatch.setattr(study, "assess", lambda *given: [])
    options = Options(store=store.root, jobs=0, is_quiet=True)
    total = len({case.key for case in scenario.cases})
    counts = [
        study.judge_scenario(scenario, store, chosen).campaign.tally.counts()
        for chosen in (options, options, Options(store=store.root, jobs=0, is_quiet=True, is_fresh=True))
    ]
    assert [row["computed"] for row in counts] == [total, 0, total]
    assert [row["from_store"] for row in counts] == [0, total, 0]


def test_each_part_of_a_question_is_remembered_over_all_its_campaigns(
    file: Path, tmp_path: Path, capsys
) -> None:
    scenario, root = load_scenario(file), tmp_path / "s"
    options, engine = Options(store=root, jobs=1, is_quiet=True), Engine(fakes.raises_on_number_5)
    searched = Asked(scenario, Store(root), options, "search, 2 steps")
    first, second = ([fakes.make_case(n) for n in numbers] for numbers in ((1, 2, 3), (4, 5)))
    searched.run(first, engine)
    searched.run(second, engine)
    (row,) = current(told(capsys, str(root)))["scenarios"]
    assert (row["scenario"], row["part"]) == ("brisk-study", "search, 2 steps")
    assert (row["total"], row["there"], row["missing"], row["failed"]) == (5, 4, 0, 1)
    assert [failure["case"] for failure in row["failed_cases"]] == [second[1].title]
    assert not plan(Store(root), with_versions=False).told()
    assert main(["store", str(root)]) == 0
    assert "brisk-study, search, 2 steps" in capsys.readouterr().out


def test_a_part_that_is_interrupted_is_told_as_not_ended(file: Path, tmp_path: Path) -> None:
    store = Store(tmp_path / "s")
    searched = Asked(load_scenario(file), store, Options(jobs=0, is_quiet=True), "search")
    searched.run([fakes.make_case(1)], Engine(fakes.honest))
    with pytest.raises(KeyboardInterrupt):
        searched.run([fakes.make_case(2)], Engine(interrupting))
    (asking,) = remembered(store)
    assert not asking.ended
    assert set(asking.titles) == {fakes.make_case(n).key for n in (1, 2)}


def interrupting(cases):
    raise KeyboardInterrupt


def test_fresh_forgets_what_was_there_before_and_nothing_that_it_brought(file: Path, tmp_path: Path) -> None:
    store, engine = Store(tmp_path / "s"), Engine(fakes.honest)
    cases = [fakes.make_case(number) for number in range(3)]
    for is_fresh in (False, True):
        options = Options(jobs=0, is_quiet=True, is_fresh=is_fresh)
        searched = Asked(load_scenario(file), store, options, "search")
        tallies = [searched.run(cases[:until], engine).tally for until in (2, 3)]
        assert [tally.computed for tally in tallies] == [2, 1]
        assert [tally.from_store for tally in tallies] == [0, 2]


def test_parts_of_a_former_edition_refer_to_nothing(file: Path, tmp_path: Path, monkeypatch) -> None:
    store, options = Store(tmp_path / "s"), Options(jobs=0, is_quiet=True)
    case, clock = fakes.make_case(1), iter(f"2030-01-01T00:00:{second:02d}+00:00" for second in range(60))
    monkeypatch.setattr("scenarios.remembered._now", lambda: next(clock))
    Asked(load_scenario(file), store, options, "search").run([case], Engine(fakes.honest))
    ask(file, store.root, slice(0, 4))
    assert not plan(store, with_versions=False).told()
    file.write_text(file.read_text().replace("speeds_m_s = [10, 14]", "speeds_m_s = [10]"))
    ask(file, store.root, slice(0, 4))
    planned = plan(store, with_versions=False)
    assert case.key in planned.results
    assert len(planned.askings) == 1
    Asked(load_scenario(file), store, options, "search").run([case], Engine(fakes.honest))
    assert case.key not in plan(store, with_versions=False).results


def test_no_study_stores_behind_the_memorys_back() -> None:
    folder = Path(study.__file__).parent
    behind = [path.name for path in folder.glob("*.py") if re.search(r"\brun_cases\(", path.read_text())]
    assert not behind, "ask through scenarios.asked.Asked"


def test_pruning_for_certain_removes_what_it_named_and_no_more(file: Path, tmp_path: Path, capsys) -> None:
    root = tmp_path / "s"
    root.mkdir()
    assert told(capsys, str(root), "--prune", "--yes")["pruned"]["files"] == []
    assert not list(root.iterdir())  # a folder that is no store stays as it is
    ask(file, root, slice(0, 4))
    store = Store(root)
    store.write({"old": {"x": np.arange(3)}})
    torn = store.folder / "asked" / "torn.json"
    torn.write_text("{")
    named = told(capsys, str(root), "--prune")["pruned"]
    removed = told(capsys, str(root), "--prune", "--yes")["pruned"]
    assert named == removed | {"is_removed": False}
    assert [row["key"] for row in removed["results"]] == ["old"]
    assert torn.exists()
