"""Planted sinners: each breaks one clause of the controller contract and is otherwise harmless."""

from __future__ import annotations

import datetime
import os
import time
from dataclasses import dataclass
from random import random
from typing import ClassVar

import numpy as np

from controllers.parameters import Parameters, parameter
from sim.interface import Commands


class Honest:
    """Adds nothing and breaks nothing."""

    needs = ("rotor_speed",)
    tower_pass = True

    def init(self, known, seen):
        return {"count": np.zeros(len(seen.tick))}

    def step(self, state, seen, below, reference):
        return {"count": state["count"] + 1.0}, below


class KeepsSecrets(Honest):
    """Counts its calls on itself instead of in the state."""

    calls = 0

    def step(self, state, seen, below, reference):
        self.calls += 1
        return state, Commands(below.pitch + 1e-3 * self.calls, below.torque, below.stop)


class RemembersInTheModule(Honest):
    """Keeps its memory in a list that all layers of the class share."""

    memory: ClassVar[list] = []

    def step(self, state, seen, below, reference):
        self.memory.append(1)
        return state, Commands(below.pitch + 1e-4 * len(self.memory), below.torque, below.stop)


class MixesLanes(Honest):
    """Takes the mean over lanes."""

    def step(self, state, seen, below, reference):
        return state, Commands(below.pitch, below.torque + 1e-6 * below.torque.mean(), below.stop)


class WritesIntoItsInputs(Honest):
    """Adds to the array that it was given."""

    def step(self, state, seen, below, reference):
        below.pitch[:] += 0.01
        return state, below


class SpreadsNan(Honest):
    """Lets one lane's missing reading decide for all, and hides it in a maximum."""

    def step(self, state, seen, below, reference):
        lost = np.isnan(seen.rotor_speed).any()
        return state, Commands(below.pitch + (0.01 if lost else 0.0), below.torque, below.stop)


class PassesNanOn(Honest):
    """Multiplies by a reading that may be missing."""

    def step(self, state, seen, below, reference):
        return state, Commands(below.pitch + 0.001 * seen.rotor_speed[:, None], below.torque, below.stop)


class LooksAtTheClock(Honest):
    """Asks the time, if only to wait for nothing."""

    def step(self, state, seen, below, reference):
        early = time.perf_counter() < 0.0
        return state, Commands(below.pitch + early, below.torque, below.stop)


class RollsDice(Honest):
    """Draws a random number."""

    def step(self, state, seen, below, reference):
        return state, Commands(below.pitch + 0.001 * random(), below.torque, below.stop)


class ReadsAFile(Honest):
    """Looks into a file at every step."""

    def step(self, state, seen, below, reference):
        with open(__file__) as file:
            file.read(1)
        return state, below


class WrongShape(Honest):
    """Returns one pitch for all blades."""

    def step(self, state, seen, below, reference):
        return state, Commands(below.pitch[:, 0], below.torque, below.stop)


class StateWithoutLanes(Honest):
    """Keeps one number for all lanes."""

    def init(self, known, seen):
        return {"count": np.zeros(3)}

    def step(self, state, seen, below, reference):
        return state, below


class CannotBePickled(Honest):
    """Holds a function of its own."""

    def __init__(self):
        self.adjust = lambda pitch: pitch

    def step(self, state, seen, below, reference):
        return state, Commands(self.adjust(below.pitch), below.torque, below.stop)


class Slow(Honest):
    """Works very long for nothing."""

    def step(self, state, seen, below, reference):
        waste = 0
        for _ in seen.tick:
            waste += sum(i % 7 for i in range(1500))
        return state, below


class PeeksAtTheWind(Honest):
    """Reads a sensor that it does not name."""

    def step(self, state, seen, below, reference):
        return state, Commands(
            below.pitch + 0.001 * (seen.wind_speed > 10.0)[:, None], below.torque, below.stop
        )


class NeedsNothingReal(Honest):
    """Names a sensor that there is not."""

    needs = ("crystal_ball",)


def speed_of(seen):
    """The rotor's speed where the sensor gives one, else 1."""
    return np.where(np.isfinite(seen.rotor_speed), seen.rotor_speed, 1.0)


def nudged(below, by):
    """Commands with some pitch added, (lane,) or one number [rad]."""
    return Commands(below.pitch + np.reshape(by, (-1, 1)), below.torque, below.stop)


class RaisesInOneLane(Honest):
    """Knows no answer where the rotor of any lane stands."""

    def step(self, state, seen, below, reference):
        if (speed_of(seen) == 0.0).any():
            raise ValueError("the rotor stands")
        return state, below


class LeavesTheProgram(Honest):
    """Ends the program, as if all were well."""

    def step(self, state, seen, below, reference):
        raise SystemExit(0)


class NeverReturns(Honest):
    """Waits for what cannot come."""

    def step(self, state, seen, below, reference):
        while True:
            pass


class ChangesShapeLate(Honest):
    """Forgets a blade after two seconds."""

    def step(self, state, seen, below, reference):
        late = state["count"][0] > 50
        pitch = below.pitch[:, :2] if late else below.pitch
        return {"count": state["count"] + 1.0}, Commands(pitch, below.torque, below.stop)


class GrowsItsState(Honest):
    """Keeps all that it ever read."""

    def init(self, known, seen):
        return {"past": np.zeros((len(seen.tick), 0))}

    def step(self, state, seen, below, reference):
        return {"past": np.concatenate([state["past"], speed_of(seen)[:, None]], axis=1)}, below


class StateOfFive(Honest):
    """Keeps five numbers, be the lanes as many as they may."""

    def init(self, known, seen):
        return {"five": np.zeros(5)}

    def step(self, state, seen, below, reference):
        return state, below


class KeepsNan(Honest):
    """Filters a reading that may be missing, and shows it nowhere."""

    def init(self, known, seen):
        return {"slow": np.ones(len(seen.tick))}

    def step(self, state, seen, below, reference):
        slow = 0.9 * state["slow"] + 0.1 * seen.rotor_speed
        return {"slow": slow}, nudged(below, np.where(slow > 1.0, 0.01, 0.0))


@dataclass(frozen=True)
class NanWhereEndsMeet(Parameters, Honest):
    """Is sound at either end of each parameter, and divides nothing by nothing where both are at theirs."""

    name: ClassVar[str] = "meeting"
    needs: ClassVar[tuple[str, ...]] = ("rotor_speed",)
    tower_pass: ClassVar[bool] = True
    gain: float = parameter(0.5, "-", 0.0, 1.0, "of nothing")
    share: float = parameter(0.5, "-", 0.0, 1.0, "of nothing")

    def step(self, state, seen, below, reference):
        room = np.asarray(2.0 - self.gain - self.share)
        return state, nudged(below, 0.01 * (room / room))


class CommandsDegrees(Honest):
    """Takes radians for degrees."""

    def step(self, state, seen, below, reference):
        return state, Commands(np.rad2deg(below.pitch), below.torque, below.stop)


class TakesAStopBack(Honest):
    """Asks for no stop, whoever did."""

    def step(self, state, seen, below, reference):
        return state, Commands(below.pitch, below.torque, np.zeros_like(below.stop))


class RemembersTheMachine(Honest):
    """Keeps what is known on itself, so that the last machine's facts serve all."""

    def init(self, known, seen):
        self.blades = known.blade_count
        return super().init(known, seen)

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.001 * self.blades)


class VouchesForWhatIsLost(Honest):
    """Declares every reading valid."""

    def step(self, state, seen, below, reference):
        seen.valid["rotor_speed"][:] = True
        return state, below


class MixesInTheState(Honest):
    """Takes the largest over lanes, and shows it nowhere yet."""

    def init(self, known, seen):
        return {"most": speed_of(seen)}

    def step(self, state, seen, below, reference):
        return {"most": np.full_like(state["most"], np.maximum(state["most"], speed_of(seen)).max())}, below


class MindsTheBatch(Honest):
    """Does something else where there are many lanes."""

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.001 * (len(below.torque) > 32))


class FollowsAStrangeNeighbour(Honest):
    """Gives way in all lanes once any rotor turns faster than any should."""

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.01 * (speed_of(seen) > 100.0).any())


class ReadsTheFirstClock(Honest):
    """Does something at every second tick of the first lane."""

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.001 * (seen.tick[0] % 2))


class AsksTheDate(Honest):
    """Rests on Sundays."""

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.0 * datetime.datetime.now().weekday())


class SeedsItsDice(Honest):
    """Draws the same numbers at every call."""

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.001 * np.random.default_rng(1).random())


class ListsAFolder(Honest):
    """Looks at what lies about."""

    def step(self, state, seen, below, reference):
        os.listdir(".")
        return state, below


class PeeksAtAnAge(Honest):
    """Reads how old a reading is that it does not name."""

    def step(self, state, seen, below, reference):
        return state, nudged(below, 0.001 * (seen.age["wind_speed"] > 1.0))


class SlowAtTimes(Honest):
    """Works very long for nothing at every third call."""

    def step(self, state, seen, below, reference):
        if int(seen.tick[0]) % 3 == 0:
            sum(i % 7 for i in range(200_000))
        return state, below
