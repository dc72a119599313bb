"""The contract check: our own layers pass every clause, each planted sinner fails its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from controllers import made_up, registry
from controllers.parameters import parameter
from controllers.scalar import OneLane
from controllers.template import Template
from controllers.vetting import CLAUSES, vet
from sim.interface import Commands

SINNERS = Path(__file__).parent / "data" / "broken_logic.py"


def failed(results):
    return [result.clause for result in results if not result.passed]


@pytest.mark.parametrize("name", [*registry.OURS, "template"])
def test_each_of_our_own_layers_keeps_the_whole_contract(name):
    factory = Template if name == "template" else lambda: registry.find(name)
    results = vet(factory)
    assert [result for result in results if not result.passed] == []
    assert [result.clause for result in results] == list(CLAUSES)


def test_an_honest_layer_of_a_few_lines_keeps_the_whole_contract():
    assert failed(vet(lambda: registry.find(f"{SINNERS}:Honest"))) == []


@pytest.mark.parametrize(
    ("sinner", "clause", "words"),
    [
        ("KeepsSecrets", "keeps its memory in the state", "a second time gives another answer"),
        ("RemembersInTheModule", "keeps its memory in the state", "a second time gives another answer"),
        ("MixesLanes", "treats lanes apart", "alone give another answer"),
        ("WritesIntoItsInputs", "leaves its inputs alone", "an input was changed"),
        ("SpreadsNan", "keeps nan in its lane", "nan in lane 2 changes another lane"),
        ("PassesNanOn", "stays finite", "commands are not finite"),
        ("LooksAtTheClock", "asks no clock", r"it calls time\.perf_counter"),
        ("RollsDice", "draws no random numbers", "it calls random.random"),
        ("ReadsAFile", "touches no files", "it calls open"),
        ("WrongShape", "returns right shapes", r"commands\.pitch has the wrong shape"),
        ("StateWithoutLanes", "returns right shapes", "lane first"),
        ("CannotBePickled", "pickles", "does not pickle"),
        ("Slow", "is quick enough", "times the numpy yardstick"),
        ("PeeksAtTheWind", "reads only what it needs", "it reads wind_speed"),
        ("NeedsNothingReal", "says what it is", "crystal_ball"),
    ],
)
def test_each_planted_sinner_is_caught_by_its_own_clause(sinner, clause, words):
    results = {result.clause: result for result in vet(lambda: registry.find(f"{SINNERS}:{sinner}"))}
    assert not results[clause].passed
    with pytest.raises(AssertionError, match=words):
        raise AssertionError(results[clause].message)


def test_a_wrong_shape_is_told_with_expected_and_got():
    result = vet(lambda: registry.find(f"{SINNERS}:WrongShape"))[-1]
    assert result.example == "tick 0: expected float64 (5, 3), got float64 (5,)"


def test_a_difference_in_the_last_bit_is_found_and_nan_equals_nan():
    one = {"a": np.array([1.0, np.nan, 3.0])}
    other = {"a": np.array([1.0, np.nan, np.nextafter(3.0, 4.0)])}
    assert made_up.difference(one, one) == ""
    assert made_up.difference(one, other).startswith("a[2] is")


@dataclass(frozen=True)
class PlainNudge(OneLane):
    """A scalar logic with ``if``: pitches a blade by a fixed angle before the tower after a near pass."""

    name: ClassVar[str] = "plain-nudge"
    needs: ClassVar[tuple[str, ...]] = ("azimuth", "last_pass_clearance")
    nudge_deg: float = parameter(2.0, "deg", 0.0, 10.0, "pitch added")

    def start(self, known, seen):
        return {"near": 0.0, "limit": known.required_clearance + 1.0}

    def decide(self, memory, seen, below, reference):
        pitch = list(below.pitch)
        for blade, clearance in enumerate(seen.last_pass_clearance):
            if seen.valid["last_pass_clearance"][blade] and clearance == clearance:
                memory["near"] = 1.0 if clearance < memory["limit"] else 0.0
        for blade in range(len(pitch)):
            if not seen.valid["azimuth"] or seen.azimuth != seen.azimuth:
                continue
            azimuth = (seen.azimuth + 2 * np.pi * blade / len(pitch)) % (2 * np.pi)
            if memory["near"] and 1.8 < azimuth < 3.2:
                pitch[blade] += np.deg2rad(self.nudge_deg)
        return memory, pitch


def test_one_lane_logic_in_plain_python_keeps_the_contract_except_for_speed():
    assert set(failed(vet(PlainNudge))) <= {"is quick enough"}


def test_one_lane_logic_decides_as_it_would_alone():
    machine = made_up.known(2, 3)
    layer = PlainNudge(nudge_deg=2.0)
    seen = made_up.readings(machine, 0)
    seen = replace(seen, azimuth=np.array([2.0, 0.0]), last_pass_clearance=np.full((2, 3), 4.0))
    below = Commands(np.zeros((2, 3)), np.zeros(2), np.zeros(2, bool))
    _, command = layer.step(layer.init(machine, seen), seen, below, below)
    assert np.rad2deg(command.pitch) == pytest.approx(np.array([[2.0, 0.0, 0.0], [0.0, 2.0, 0.0]]))


def test_one_lane_logic_that_forgets_a_blade_is_told():
    class Forgetful(PlainNudge):
        def decide(self, memory, seen, below, reference):
            return memory, [0.0]

    machine = made_up.known(1, 3)
    seen, below = made_up.readings(machine, 0), made_up.commands(machine, 0)
    layer = Forgetful()
    with pytest.raises(ValueError, match="1 pitch angles for 3 blades"):
        layer.step(layer.init(machine, seen), seen, below, below)
