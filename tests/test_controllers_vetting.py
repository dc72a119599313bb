"""The contract check: our own layers pass every clause, each planted sinner fails its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from controllers import clauses, made_up, registry, trials
from controllers.parameters import Described, parameter
from controllers.scalar import OneLane
from controllers.template import Template
from controllers.trials import BrokenClauseError, LayerRaisedError
from controllers.vetting import CLAUSES, vet
from sim.interface import Commands

SINNERS = Path(__file__).parent / "data" / "broken_logic.py"


def failed(results):
    return [result.clause for result in results if not result.passed]


QUICK = ("power", "guard", "template")
"""Vetted each time; the others with the slow tests."""


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=[] if name in QUICK else pytest.mark.slow)
        for name in (*registry.OURS, "template")
    ],
)
def test_each_of_our_own_layers_keeps_the_whole_contract(name):
    factory = Template if name == "template" else lambda: registry.find(name)
    results = vet(factory)
    assert [result for result in results if not result.passed] == []
    assert [result.clause for result in results] == list(CLAUSES)


def test_an_honest_layer_of_a_few_lines_keeps_the_whole_contract():
    assert failed(vet(lambda: registry.find(f"{SINNERS}:Honest"))) == []


OWN = {
    "NeedsNothingReal": ("says what it is", "crystal_ball"),
    "RaisesInOneLane": (
        "returns from every call",
        r"raised ValueError: the rotor stands at broken_logic\.py:\d+",
    ),
    "LeavesTheProgram": ("returns from every call", "raised SystemExit: 0"),
    "WrongShape": ("returns right shapes", r"commands\.pitch has the wrong shape"),
    "StateWithoutLanes": ("returns right shapes", "lane first"),
    "StateOfFive": ("returns right shapes", "lane first"),
    "ChangesShapeLate": ("returns right shapes", r"commands\.pitch has the wrong shape"),
    "GrowsItsState": ("returns right shapes", "an entry of the state changes its shape"),
    "Slow": ("is quick enough", "times the numpy yardstick"),
    "SlowAtTimes": ("is quick enough", "times the numpy yardstick"),
    "PassesNanOn": ("stays finite", "commands are not finite"),
    "NanWhereEndsMeet": ("stays finite at the ends of its parameters", "commands are not finite"),
    "CommandsDegrees": ("asks for what a machine can do", "angles are in radians"),
    "TakesAStopBack": ("passes a stop on", "takes back the emergency stop"),
    "KeepsNan": ("recovers from lost readings", "its state stays nan"),
    "KeepsSecrets": ("keeps its memory in the state", "a second time gives another answer"),
    "RemembersInTheModule": ("keeps its memory in the state", "a second time gives another answer"),
    "RemembersTheMachine": ("keeps its memory in the state", "after the layer began on other machines"),
    "WritesIntoItsInputs": ("leaves its inputs alone", "an input was changed"),
    "VouchesForWhatIsLost": ("leaves its inputs alone", "an input was changed"),
    "MixesLanes": ("treats lanes apart", "beside others than alone"),
    "MixesInTheState": ("treats lanes apart", "beside others than alone"),
    "MindsTheBatch": ("treats lanes apart", "beside others than alone"),
    "FollowsAStrangeNeighbour": ("treats lanes apart", "what lane 2 reads changes other lanes"),
    "ReadsTheFirstClock": ("treats lanes apart", "beside others than alone"),
    "SpreadsNan": ("keeps nan in its lane", "nan in lane 2 changes another lane"),
    "PeeksAtTheWind": ("reads only what it needs", "it reads wind_speed"),
    "PeeksAtAnAge": ("reads only what it needs", "it reads wind_speed"),
    "LooksAtTheClock": ("asks no clock", r"it calls time\.perf_counter"),
    "AsksTheDate": ("asks no clock", r"it calls datetime\.now"),
    "RollsDice": ("draws no random numbers", r"it calls random\.random"),
    "SeedsItsDice": ("draws no random numbers", r"it calls numpy\.random\.default_rng"),
    "ReadsAFile": ("touches no files", "it calls open"),
    "ListsAFolder": ("touches no files", r"it calls os\.listdir"),
    "CannotBePickled": ("pickles", "does not pickle"),
}
"""The clause that each sinner breaks, and what is said of it."""
ONE_EACH = {clause: name for name, (clause, _) in OWN.items() if name != "RollsDice"}
"""A sinner for each clause; whoever rolls dice at every call breaks the clause on memory too."""


def sinner_of(name):
    return lambda: registry.find(f"{SINNERS}:{name}")


@pytest.mark.parametrize("sinner", OWN)
def test_each_planted_sinner_is_caught_by_its_own_clause_with_an_example(sinner):
    clause, words = OWN[sinner]
    with pytest.raises((BrokenClauseError, LayerRaisedError), match=words) as caught:
        CLAUSES[clause](sinner_of(sinner))
    assert getattr(caught.value, "example", "") or getattr(caught.value, "when", "")


@pytest.mark.slow
@pytest.mark.parametrize("sinner", ONE_EACH.values())
def test_each_planted_sinner_breaks_no_clause_but_its_own(sinner):
    assert failed(vet(sinner_of(sinner))) == [OWN[sinner][0]]


def test_a_layer_that_never_returns_is_told_where_it_hangs_and_nothing_else_is_tried(monkeypatch):
    monkeypatch.setattr(trials, "LONGEST_CALL_S", 0.2)
    results = vet(sinner_of("NeverReturns"))
    assert [result.clause for result in results] == ["says what it is", "returns from every call"]
    assert results[-1].message.startswith("a call did not return within 0.2 s at broken_logic.py:")
    assert results[-1].message.endswith(", tick 0, 3 blades, lane 0 alone")


def test_the_smallest_example_of_mixed_lanes_is_a_pair():
    with pytest.raises(BrokenClauseError) as caught:
        CLAUSES["treats lanes apart"](sinner_of("MixesLanes"))
    assert caught.value.example.startswith("tick 0, lanes [0, 1] and lane 0 alone: torque[0] is ")


def test_every_two_parameters_meet_at_all_pairs_of_their_ends():
    rows = [Described("layer", f"p{n}", 0.5, "-", 0.0, 1.0, "") for n in range(14)]
    mixtures = [given for given in clauses.ends(rows) if len(given) == 14]
    for a, b in combinations(range(14), 2):
        assert len({(given[f"p{a}"], given[f"p{b}"]) for given in mixtures}) == 4
    assert len(mixtures) == 10


def test_a_wrong_shape_is_told_with_expected_and_got():
    result = next(result for result in vet(sinner_of("WrongShape")) if not result.passed)
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


def test_one_lane_logic_in_plain_python_keeps_the_whole_contract():
    assert failed(vet(PlainNudge)) == []


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
