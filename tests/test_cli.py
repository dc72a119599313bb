"""The command line: one study per word, one exit code per ending, and nothing heavy before it is needed."""

from __future__ import annotations

import io
import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import click
import numpy as np
import pytest

from controllers.registry import OURS
from scenarios.answer import CAUTION, Answer, ExitCode, Options, counted, table, to_json
from scenarios.cli import commands, main
from scenarios.foreman import Tally
from scenarios.progress import progress_bar
from scenarios.store import Store
from sim.errors import InputError, RunError

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize(
    ("count", "noun", "told"),
    [
        (1, "case", "1 case"),
        (0, "case", "0 cases"),
        (2, "case", "2 cases"),
        (1, "pass", "1 pass"),
        (9, "pass", "9 passes"),
    ],
)
def test_one_of_a_thing_is_told_as_one(count: int, noun: str, told: str) -> None:
    assert counted(count, noun) == told


@pytest.fixture
def ended(monkeypatch, capsys):
    """Run ``study`` with a stand-in that ends as told; return exit code, output and errors."""

    def run_with(ending, *arguments: str):
        asked: dict[str, object] = {}

        def run(scenario, options):
            asked.update(scenario=scenario, options=options)
            if isinstance(ending, BaseException):
                raise ending
            return ending

        monkeypatch.setitem(sys.modules, "scenarios.studies.study", SimpleNamespace(run=run))
        code = main(["study", "hollin-fell", *arguments])
        said = capsys.readouterr()
        return SimpleNamespace(code=code, out=said.out, err=said.err, **asked)

    return run_with


@pytest.mark.parametrize("code", [ExitCode.HOLDS, ExitCode.DOES_NOT_HOLD, ExitCode.PARTLY_FAILED])
def test_a_study_ends_with_its_own_code(ended, code: ExitCode) -> None:
    assert ended(Answer({}, "verdict", code)).code == code


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (InputError("small.toml:3: seed = -1; must be >= 0"), 2),
        (RunError("the disk is full"), 3),
        (KeyboardInterrupt(), 130),
        (ZeroDivisionError("division by zero"), 70),
    ],
)
def test_each_error_has_its_code_and_one_message_without_a_traceback(ended, error, code: int) -> None:
    end = ended(error)
    assert end.code == code
    assert end.out == ""
    assert "Traceback" not in end.err
    assert str(error) in end.err


def test_a_fault_of_ours_shows_its_traceback_when_asked(ended) -> None:
    end = ended(ZeroDivisionError("division by zero"), "--debug")
    assert end.code == 70
    assert "Traceback" in end.err


def test_people_read_the_caution_and_machines_one_object(ended) -> None:
    answer = Answer({"holds": True, "value": math.nan}, "verdict")
    assert ended(answer).out == f"verdict\n\n{CAUTION}\n"
    assert json.loads(ended(answer, "--json").out) == {"holds": True, "value": None}


def test_options_reach_the_study(ended) -> None:
    given = ["--out", "there", "--store", "kept", "--jobs", "3", "--quiet", "--seed", "9"]
    given += ["--fresh", "--cluster", "tcp://there:1"]
    end = ended(Answer({}, ""), *given, "--set", "duration_s=30", "--set", "rotor.tilt_deg = 6")
    assert end.options == Options(Path("there"), Path("kept"), 3, True, False, True, "tcp://there:1")
    assert dict(end.scenario.asked) == {"duration_s": "30", "rotor.tilt_deg": "6", "seed": 9}
    assert end.scenario.seed == 9
    assert end.scenario.cases[0].run.duration == 30.0
    assert end.scenario.reference.design.rotor.tilt == math.radians(6.0)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["stady"], "no command 'stady'; did you mean 'study'?"),
        (["study"], "Missing argument 'SCENARIO'"),
        (["study", "hollin-fell", "--set", "seed"], "--set seed; must be KEY=VALUE, like rotor.tilt_deg=6"),
        (["card", "skerry", "--set", "rotor.tilt_deg="], "--set rotor.tilt_deg=; must be KEY=VALUE"),
        (["study", "hollin-fell", "--jsn"], "--json"),
        (["study", "hollin-fel"], "did you mean 'hollin-fell'"),
        (["study", "hollin-fell", "--set", "sede=3"], "did you mean 'seed'"),
        (["study", "hollin-fell", "--seed", "x"], "--seed x; must be a whole number from 0 to 2147483648"),
        (["study", "hollin-fell", "--seed", "-3"], "--seed -3; must be a whole number from 0 to 2147483648"),
        (["study", "hollin-fell", "--jobs", "-1"], "--jobs -1; must be a whole number from 0 to 1024"),
        (["study", "hollin-fell", "--set", "period_s=0.1"], "whole periods of 0.1 s (--set: period_s)"),
        (["card"], "Missing argument 'TURBINE'"),
        (["card", "skery"], "did you mean 'skerry'"),
        (["card", "skerry", "--set", "rotor.tild_deg=6"], "did you mean 'rotor.tilt_deg'"),
        (["card", "skerry", "--set", "tower.top_diameter_m=40"], "tower"),
        (["list", "--layer", "gard"], "did you mean 'guard'"),
        (["store", "nowhere/at/all"], "no such store"),
        (["store", ".", "--yes"], "belong to --prune"),
    ],
)
def test_wrong_input_ends_with_two_one_message_and_no_traceback(capsys, arguments, message: str) -> None:
    assert main(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert message in said.err
    assert "Traceback" not in said.err
    assert len(said.err.splitlines()) == 1


def test_every_command_explains_itself_and_carries_the_caution(capsys) -> None:
    for name in ["", *commands.commands]:
        assert main([*([name] if name else []), "--help"]) == 0
        told = " ".join(capsys.readouterr().out.split())
        assert CAUTION in told
        assert "Usage: wideberth" in told


def test_no_option_and_no_command_is_without_help() -> None:
    for command in commands.commands.values():
        assert command.help
        for option in command.params:
            assert isinstance(option, click.Argument) or getattr(option, "help", ""), option.name


def test_help_imports_nothing_heavy() -> None:
    """`--help` within 0.3 s (PERFORMANCE.md) is kept by what it does not import."""
    script = "import sys\nfrom scenarios.cli import main\nmain(['--help'])\n"
    script += "print(sorted(sys.modules), file=sys.stderr)"
    ended = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    heavy = {
        "numpy",
        "numba",
        "scipy",
        "pydantic",
        "loky",
        "tqdm",
        "matplotlib",
        "xarray",
        "pandas",
        "control",
    }
    assert not heavy & set(eval(ended.stderr))


def test_a_reader_that_leaves_early_is_no_fault() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    child = subprocess.Popen(
        [sys.executable, "-c", "import sys\nfrom scenarios.cli import main\nsys.exit(main(['list']))"],
        cwd=ROOT,
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
    )
    os.close(writing)
    _, errors = child.communicate(timeout=60)
    assert (child.returncode, errors) == (0, "")


def test_list_names_what_is_at_hand(capsys) -> None:
    assert main(["list", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {"skerry"} <= {row["name"] for row in told["turbines"]}
    assert {"hollin-fell"} <= {row["name"] for row in told["scenarios"]}
    assert {"power", "thrust-limit", "scheduled", "guard"} <= {row["name"] for row in told["layers"]}
    assert all(row["title"] for rows in told.values() for row in rows)


def test_key_tables_hold_every_key_with_unit_range_default_and_meaning(capsys) -> None:
    assert main(["card", "--keys", "--json"]) == 0
    turbine = {row["key"]: row for row in json.loads(capsys.readouterr().out)["keys"]}
    assert turbine["rotor.tilt_deg"]["unit"] == "deg"
    assert turbine["blade.flap_stiffness_factor"]["default"] == 1.0
    assert main(["list", "--keys", "--json"]) == 0
    scenario = {row["key"]: row for row in json.loads(capsys.readouterr().out)["keys"]}
    assert scenario["sensors.root_flap_moment_noise_kNm"]["unit"] == "kN m"
    assert scenario["requirement.rule"]["required"]
    assert all(row["meaning"] for row in [*turbine.values(), *scenario.values()])


def test_a_layer_is_listed_with_purpose_place_readings_parameters_and_sources(capsys) -> None:
    assert main(["list", "--layer", "cyclic", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert "bandwidth_rad_s" in {row["name"] for row in told["parameters"]}
    assert [(row["name"], row["default"]) for row in told["texts"]] == [("gain_by_pitch", "0..90: 1")]
    assert told["title"].startswith("Individual pitch")
    assert told["reads"] == ["azimuth", "rotor_speed", "root_flap_moment"]
    assert told["sources"].startswith("E. A. Bossanyi")
    assert main(["list", "--layer", "cyclic"]) == 0
    text = capsys.readouterr().out
    assert all(words in text for words in ("gain_by_pitch", "0.01 to 1", "below tower-pass logic", "(2003)"))


@pytest.mark.parametrize("name", list(OURS))
def test_every_shipped_layer_tells_a_source_or_that_it_is_derived_here(name: str, capsys) -> None:
    assert main(["list", "--layer", name, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert re.search(r"(19|20)\d\d|Derived here|common practice", told["sources"])
    assert {"power": "bottom", "supervisor": "top", "cyclic": "below tower-pass"}.get(name, "") in told[
        "place"
    ]


def test_store_tells_what_each_code_version_left(tmp_path: Path, capsys) -> None:
    Store(tmp_path).write({"a": {"x": np.arange(3)}, "b": {"x": np.arange(3)}})
    Store(tmp_path, "0123456789abcdef").write({"a": {"x": np.arange(3)}})
    assert main(["store", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert sorted((row["is_current"], row["cases"]) for row in told["versions"]) == [(False, 1), (True, 2)]
    assert main(["store", str(tmp_path)]) == 0
    assert "this code" in capsys.readouterr().out


def test_progress_is_silent_without_a_terminal(capsys) -> None:
    with progress_bar(is_quiet=False) as show:
        show(Tally(total=10, computed=5, simulated_s=100.0))
    assert capsys.readouterr().err == ""


class Terminal(io.StringIO):
    """Something that takes what a terminal would show."""

    def isatty(self) -> bool:
        return True


def test_progress_on_a_terminal_tells_cases_speed_time_left_and_failures(monkeypatch) -> None:
    clock = [0.0]
    monkeypatch.setattr("tqdm.std.time", lambda: clock[0])
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar(is_quiet=False) as show:
        show(Tally(total=100, from_store=60))
        clock[0] = 4.0
        show(Tally(total=100, from_store=60, computed=8, simulated_s=800.0, failed={"key": "why"}))
        told = sys.stderr.getvalue()
    assert "69/100" in told
    assert "200 x real time, 1 failed" in told
    # Nine took 4 s, so the other 31 take 13.8 s; the look-up of 60 took no time and tells nothing.
    assert "[00:04<00:13" in told
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar(is_quiet=True) as show:
        show(Tally(total=10, computed=5, simulated_s=100.0))
    assert sys.stderr.getvalue() == ""


def test_progress_names_the_part_and_its_clock_goes_on_while_a_batch_is_waited_for(monkeypatch) -> None:
    clock = [0.0]
    monkeypatch.setattr("tqdm.std.time", lambda: clock[0])
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar(is_quiet=False, part="odds, 180 samples") as show:
        for clock[0] in (0.1, 0.2, 0.3, 75.0, 75.1):
            show(Tally(total=2))
        told = sys.stderr.getvalue()
    assert told.count("| 0/2 [00:00") == 1 and told.count("| 0/2 [01:15") == 1
    assert "odds, 180 samples:   0%" in told


def test_json_takes_arrays_and_refuses_objects() -> None:
    assert json.loads(to_json({"a": np.array([1.0, math.inf]), 2: (np.int64(3), Path("x"), None, True)})) == {
        "a": [1.0, None],
        "2": [3, "x", None, True],
    }
    with pytest.raises(TypeError, match="object has no JSON form"):
        to_json({"a": object()})


def test_a_table_aligns_its_first_columns_left_and_the_others_right() -> None:
    assert table(["a", "bb"], [["long", "1"], ["s", "22"]]) == "a     bb\nlong   1\ns     22"
    assert table(["a", "b"], [["x", "long"], ["yy", "s"]], left=2) == "a   b\nx   long\nyy  s"
