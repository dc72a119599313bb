"""A layer that fails ends its own lanes, with status and time, and no others."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from sim.faults import FaultSpec
from sim.interface import Status
from sim.kernels import layout as at
from sim.march import march
from sim.stack import Stack
from tests.plant_flocks import Steady, differences, flock_of
from tests.plant_lanes import rig, steady_wind, turbine
from tests.test_plant_twin import site

SETTLE, JUDGED, BREAKS = 1.0, 4.0, 75
GUILTY = (1, 4)
INNOCENT = (0, 2, 3)


class Breaking(Steady):
    """Fails in the guilty lanes from a tick on, in a way of its own; a lane's guilt travels in its state."""

    def __init__(self, how: str):
        self.how = how

    def init(self, known, seen):
        guilty = known.required_clearance > 50.0
        if self.how == "cannot begin" and guilty.any():
            raise KeyError("table")
        return super().init(known, seen) | {"guilty": guilty, "past": np.zeros((len(guilty), 1))}

    def step(self, state, seen, below, reference):
        state, commands = super().step(state, seen, below, reference)
        bad = state["guilty"] & (seen.tick >= BREAKS)
        if self.how == "raises" and bad.any():
            raise ValueError("no such angle")
        if self.how == "nan":
            commands = replace(commands, pitch=np.where(bad[:, None], np.nan, commands.pitch))
        if self.how == "infinite torque":
            commands = replace(commands, torque=np.where(bad, np.inf, commands.torque))
        if self.how == "wrong shape" and bad.any():
            commands = replace(commands, pitch=commands.pitch[:, :2])
        if self.how == "leaves the program" and bad.any():
            sys.exit(0)
        if self.how == "writes into its input" and bad.any():
            below.pitch[bad] += 0.01
        if self.how == "grows its state" and bad.any():
            state = state | {"past": np.concatenate([state["past"], state["past"]], axis=1)}
        return state, commands


def winds():
    speeds = (9.5, 10.0, 10.5, 11.0, 11.5)
    return [site("normal_turbulence", v, seed=n) for n, v in enumerate(speeds)]


def marched(how: str, rows: Sequence[int] = range(5)):
    flock = flock_of(winds(), Stack([Breaking(how)], ["breaking"]), rows=rows)
    guilty = np.isin(np.asarray(rows), GUILTY)
    flock.known.required_clearance[:] = np.where(guilty, 99.0, 3.9)
    return march(flock, SETTLE, JUDGED)


@pytest.fixture(scope="module")
def without_the_guilty():
    return marched("nothing", INNOCENT)


HOW = {
    "raises": (Status.LAYER_RAISED, "raised ValueError: no such angle"),
    "nan": (Status.LAYER_NOT_FINITE, "returned pitch [nan, nan, nan]"),
    "infinite torque": (Status.LAYER_NOT_FINITE, "returned torque inf"),
    "wrong shape": (Status.LAYER_WRONG_SHAPE, "returned pitch"),
    "leaves the program": (Status.LAYER_RAISED, "raised SystemExit: 0 at test_march_faults.py:"),
    "writes into its input": (Status.LAYER_RAISED, "what a layer is given it must leave as it is"),
    "grows its state": (
        Status.LAYER_WRONG_SHAPE,
        "returned state past (1, 2) float64; expected (1, 1) float64",
    ),
}


@pytest.mark.parametrize("how", HOW)
def test_the_guilty_are_ended_and_the_others_do_not_notice(without_the_guilty, how):
    record = marched(how)
    status, message = HOW[how]
    assert record.cases["status"].tolist() == [0, status, 0, 0, status]
    assert record.cases["status_time_s"][list(GUILTY)] == pytest.approx(BREAKS * 0.04 - SETTLE)
    assert np.all(np.isnan(record.cases["status_time_s"][list(INNOCENT)]))
    assert [(fault.lane, fault.layer) for fault in record.faults] == [(n, "breaking") for n in GUILTY]
    assert all(message in fault.message for fault in record.faults)
    assert record.cases["judged_s"][list(GUILTY)] == pytest.approx(BREAKS * 0.04 - SETTLE, abs=0.05)
    assert differences(record, INNOCENT, without_the_guilty, range(3)) == []


def test_lanes_in_which_a_layer_cannot_begin_are_ended_at_once_and_the_others_do_not_notice(
    without_the_guilty,
):
    record = marched("cannot begin")
    assert record.cases["status"].tolist() == [0, 2, 0, 0, 2]
    assert record.cases["status_time_s"][list(GUILTY)] == pytest.approx(-SETTLE)
    assert {fault.message.partition(" at ")[0] for fault in record.faults} == {
        "init raised KeyError: 'table'"
    }
    assert differences(record, INNOCENT, without_the_guilty, range(3)) == []


def test_a_layer_that_begins_nowhere_ends_every_lane():
    record = marched("cannot begin", GUILTY)
    assert record.cases["status"].tolist() == [Status.LAYER_RAISED] * 2


class BeginsOnce(Steady):
    """Cannot begin anew once its lane has marched."""

    def init(self, known, seen):
        if (seen.tick > 0).any():
            raise RuntimeError("nothing left to begin with")
        return super().init(known, seen)


def test_a_layer_that_cannot_begin_anew_after_the_computer_restarts_ends_that_lane_alone():
    restart = (FaultSpec("computer_restarted", start=1.0, duration=1.0),)
    flock = flock_of(winds()[:3], Stack([BeginsOnce()], ["once"]), faults=[(), restart, ()], settle=SETTLE)
    record = march(flock, SETTLE, JUDGED)
    assert record.cases["status"].tolist() == [0, Status.LAYER_RAISED, 0]
    assert record.cases["status_time_s"][1] == pytest.approx(2.0)
    assert "init raised RuntimeError: nothing left" in record.faults[0].message


@pytest.mark.parametrize(
    ("first", "words"),
    [
        ({"period": 0.04}, "returned state period of type float; expected an array"),
        ({"sum": np.zeros(5)}, r"returned state sum (5,) float64; expected numbers"),
        (None, "returned a state of type NoneType"),
    ],
)
def test_a_first_state_that_has_not_its_lanes_first_ends_every_lane_with_what_was_expected(first, words):
    class Odd(Steady):
        def init(self, known, seen):
            return first

    record = march(flock_of(winds()[:2], Stack([Odd()], ["odd"])), 0.0, 0.2)
    assert record.cases["status"].tolist() == [Status.LAYER_WRONG_SHAPE] * 2
    assert words in record.faults[0].message


def test_a_layer_that_is_always_wrong_ends_every_lane():
    flock = flock_of(winds()[:3], Stack([Breaking("wrong shape")], ["breaking"]))
    flock.known.required_clearance[:] = 99.0
    record = march(flock, SETTLE, 2.1)
    assert record.cases["status"].tolist() == [Status.LAYER_WRONG_SHAPE] * 3


def test_a_lane_ends_at_its_first_failure_and_is_told_once():
    record = marched("raises")
    assert len(record.faults) == len(GUILTY)


@pytest.mark.parametrize("wreck", [np.nan, np.inf, 1e200])
def test_a_plant_that_is_no_longer_finite_ends_its_lane_alone(wreck):
    """A lost number may read the wrong row of a table, never one out of range, and stays in its lane."""
    lanes = rig(turbine(), [steady_wind(10.0)] * 3, seconds=2.0)
    alone = rig(turbine(), [steady_wind(10.0)], seconds=2.0).march(0.4)
    lanes.lanes.y[1, at.Q] = wreck
    lanes.lanes.y[2, at.FLAT + at.ROW_X1 + 5] = wreck
    lanes.march(0.4)
    assert lanes.lanes.status[0] == Status.RUNNING
    assert set(lanes.lanes.status[1:]) <= {Status.NOT_FINITE, Status.OUT_OF_RANGE}
    assert np.all(lanes.lanes.status_time[1:] <= 3 * lanes.period)
    assert np.array_equal(lanes.lanes.y[0], alone.lanes.y[0])
