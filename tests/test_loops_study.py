"""The command that tells poles and margins: what it prints, writes and refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from scenarios.answer import to_json
from scenarios.cli import main
from scenarios.studies.loops import Asked, make_stack, run
from scenarios.studies.loops_text import margin_rows, pole_rows

ASKED = Asked([14.0], ["power", "power+thrust-limit"], 0.2, 0.12, 0.04)


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    folder = tmp_path_factory.mktemp("loops")
    return run("skerry", [("power.damping", "0.9")], ASKED, folder), folder


def test_answer_holds_poles_and_margins_of_every_stack(answered) -> None:
    answer, _ = answered
    data = json.loads(to_json(answer.data))
    assert [(row["wind_speed_m_s"], row["stack"]) for row in data["operation"]] == [
        (14.0, "power"), (14.0, "power+thrust-limit")
    ]  # fmt: skip
    first, second = data["operation"]
    assert first["stable"]
    assert first["rotor_speed_rpm"] == pytest.approx(11.0, rel=1e-3)
    assert [loop["loop"] for loop in first["loops"]] == ["collective pitch"]
    assert first["loops"] == second["loops"], "the thrust limit rests at this wind"
    assert (first["resting_layers"], second["resting_layers"]) == ([], ["thrust-limit"])
    assert {pole["motion"] for pole in first["open_loop_poles"]} >= {
        "rotor speed",
        "tower fore-aft",
        "flap 1 forward",
    }
    assert all(pole["real_rad_s"] < 0.0 for pole in first["closed_loop_poles"])


def test_text_has_a_unit_in_every_head_and_says_none_for_what_is_not_there(answered) -> None:
    answer, folder = answered
    for word in ("crossover Hz", "gain dB", "phase deg", "delay s", "open Hz", "kN m", "stable", str(folder)):
        assert word in answer.text
    loop = dict(answer.data["operation"][0]["loops"][0], gain_margin_dB=float("inf"))
    assert margin_rows([loop])[0][2] == "none"


def test_motions_that_the_loops_add_stand_in_rows_of_their_own() -> None:
    pole = {"motion": "a", "frequency_Hz": 1.0, "damping_ratio": 0.5}
    rows = pole_rows({"open_loop_poles": [pole], "closed_loop_poles": [{**pole, "motion": "b"}]})
    assert rows == [["a", "1.0000", "0.5000", "", ""], ["b", "", "", "1.0000", "0.5000"]]


def test_page_and_models_are_written_and_hold_the_same_numbers(answered) -> None:
    answer, folder = answered
    page = (folder / "loops-skerry.html").read_text(encoding="utf-8")
    disc = answer.data["operation"][0]["loops"][0]["disc_margin"]
    for text in (f"Least disc margin {disc:.2f}", "certification body", "<svg", "collective pitch"):
        assert text in page
    assert json.loads((folder / "loops-skerry.json").read_text(encoding="utf-8")) == json.loads(
        to_json(answer.data)
    )
    with np.load(answer.data["operation"][0]["models"]) as models:
        assert models["plant_A"].shape == (len(models["plant_states"]),) * 2
        assert models["closed_C"].shape == (len(models["closed_outputs"]), len(models["closed_states"]))
        assert np.abs(np.linalg.eigvals(models["closed_A"])).max() < 1.0


def test_a_layers_parameter_is_set_by_its_name(answered) -> None:
    """More damping of the speed loop is more proportional gain: the crossover moves up."""
    usual = make_stack("power", {}).layers[0]
    answer, _ = answered
    assert answer.data["set"] == {"power.damping": "0.9"}
    assert make_stack("power", {"power": {"damping": 0.9}}).layers[0].damping == 0.9 != usual.damping
    assert answer.data["operation"][0]["loops"][0]["crossover_Hz"] > 0.0935


WRONG = {
    "--speed 2": "--speed 2: must be from cut-in 3 to cut-out 25 m/s",
    "--speed 14 --stack powr": "unknown layer 'powr'; did you mean 'power'?",
    "--speed 14 --stack scheduled": "--stack scheduled: scheduled: the lowest layer must make power",
    "--speed 14 --set rotor.blade_count=2": "rotor.blade_count = 2; linear models need 3 blades",
    "--speed 14 --speed 14": "--speed 14: is there twice",
    "--speed 14 --reading-delay 0.1": "--reading-delay 0.1: must be whole periods of 0.04 s",
    "--speed 14 --set power.dampnig=1": "unknown parameter 'dampnig'; did you mean 'damping'",
    "--speed 14 --stack power+kalman-guard --set kalman-guard.flap_frequency_rad_s=9": (
        "--stack power+kalman-guard: layer kalman-guard: flap_frequency_rad_s = 9, but the first flap mode"
    ),
    "--speed 14 --set cyclic.lead_deg=1": "--set: cyclic.lead_deg = 1; no stack has that layer",
    "--speed 14 --stack power+supervisor+guard": "supervisor: watches the layers below it only, not 'guard'",
    "--speed 14 --period 0.9 --reading-delay 0": "--period 0.9: must be at most",
}


@pytest.mark.parametrize(("arguments", "told"), WRONG.items())
def test_wrong_input_ends_with_2_and_says_what_is_allowed(arguments, told, capsys, tmp_path: Path) -> None:
    assert main(["loops", "skerry", *arguments.split(), "--out", str(tmp_path)]) == 2
    assert told in capsys.readouterr().err
