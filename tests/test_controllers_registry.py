"""Layers are found by name or file, and every wrong name, file or parameter is told with a hint."""

from __future__ import annotations

import pickle

import pytest

from controllers import registry
from controllers.guard import Guard
from controllers.parameters import describe
from sim.errors import InputError
from sim.interface import SENSED, Layer


@pytest.mark.parametrize("name", list(registry.OURS))
def test_each_of_our_layers_is_found_by_its_own_name_and_keeps_the_protocol(name):
    layer = registry.find(name)
    assert layer.name == name
    assert isinstance(layer, Layer)
    assert set(layer.needs) <= set(SENSED)
    assert pickle.loads(pickle.dumps(layer)) == layer


@pytest.mark.parametrize("name", list(registry.OURS))
def test_each_default_lies_in_its_range_and_each_file_facing_name_carries_its_unit(name):
    rows = describe(registry.find_class(name))
    suffix = {"deg": "_deg", "m": "_m", "s": "_s", "deg/s": "_deg_s", "rad/s": "_rad_s"}
    for row in rows:
        assert row.low <= row.default <= row.high
        assert row.name.endswith(suffix.get(row.unit, ""))


def test_parameters_given_by_a_scenario_reach_the_layer():
    assert registry.find("guard", {"margin_m": 2}) == Guard(margin_m=2)


def test_an_unknown_layer_is_refused_with_the_nearest_name():
    with pytest.raises(InputError, match=r"unknown layer 'gaurd'; did you mean 'guard'\?"):
        registry.find("gaurd")


def test_an_unknown_parameter_is_refused_with_the_nearest_name():
    with pytest.raises(InputError, match=r"layer guard: unknown parameter 'margin'; did you mean 'margin_m'"):
        registry.find("guard", {"margin": 2})


def test_a_file_with_a_class_is_found_and_its_parameters_are_checked(tmp_path):
    path = tmp_path / "mine.py"
    path.write_text("from controllers.template import Template\nclass Mine(Template):\n    name = 'mine'\n")
    layer = registry.find(f"{path}:Mine", {"gain_deg": 1.0})
    assert layer.gain_deg == 1.0
    assert pickle.loads(pickle.dumps(layer)) == layer
    with pytest.raises(InputError, match=r"layer mine: gain_deg = 99"):
        registry.find(f"{path}:Mine", {"gain_deg": 99})


def test_a_file_that_does_not_import_is_told_with_file_line_and_exception(tmp_path):
    path = tmp_path / "bad.py"
    path.write_text("x = 1\ny = 1 / 0\n")
    with pytest.raises(InputError, match=r"bad\.py:2: does not import: ZeroDivisionError"):
        registry.find(f"{path}:Any")
    path.write_text("x = 1\n\ndef broken(:\n")
    with pytest.raises(InputError, match=r"bad\.py:3: does not import: SyntaxError"):
        registry.find(f"{path}:Any")


def test_a_missing_file_or_class_or_method_is_told(tmp_path):
    path = tmp_path / "half.py"
    path.write_text("class EarlyNudge:\n    needs = ()\n    tower_pass = True\n")
    with pytest.raises(InputError, match="no such file"):
        registry.find(f"{tmp_path}/none.py:EarlyNudge")
    with pytest.raises(InputError, match=r"has no class 'EarlyNudg'; did you mean 'EarlyNudge'"):
        registry.find(f"{path}:EarlyNudg")
    with pytest.raises(InputError, match="lacks init, step"):
        registry.find(f"{path}:EarlyNudge")


def test_a_class_without_declared_parameters_has_an_empty_table():
    assert describe(dict) == []


def test_a_file_that_leaves_the_program_when_imported_is_told_as_one_that_does_not_import(tmp_path):
    path = tmp_path / "leaves.py"
    path.write_text("import sys\nsys.exit(0)\n")
    with pytest.raises(InputError, match=r"leaves\.py:2: does not import: SystemExit: 0"):
        registry.find(f"{path}:Any")


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("needs = None\n    tower_pass = True", r"needs = None; must be a tuple of sensors"),
        ("needs = ['azimuth']\n    tower_pass = True", r"needs = \['azimuth'\]; must be a tuple"),
        ("needs = ()\n    tower_pass = 'yes'", r"tower_pass = 'yes'; must be True or False"),
        ("def __init__(self):\n        raise RuntimeError('no licence')", "RuntimeError: no licence"),
        ("def __init__(self, gain):\n        pass", "missing 1 required positional argument: 'gain'"),
    ],
)
def test_a_class_that_cannot_be_made_or_says_wrongly_what_it_is_is_wrong_input(tmp_path, body, words):
    path = tmp_path / "odd.py"
    path.write_text(f"from tests.data.broken_logic import Honest\n\n\nclass Odd(Honest):\n    {body}\n")
    with pytest.raises(InputError, match=words):
        registry.find(f"{path}:Odd")
