"""Planted sinners: each breaks one clause of the controller contract and is otherwise harmless."""

from __future__ import annotations

import time
from random import random
from typing import ClassVar

import numpy as np

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
