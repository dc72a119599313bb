"""What becomes of the plant when the logic is closed around it: poles, and answers to wind?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.linear.logic import READINGS
from sim.linear.loop import Loop
from sim.linear.multiblade import BLADES
from sim.linear.plant import COMMANDS, INPUTS, OUTPUTS, WINDS

Array = NDArray[Any]

LOGIC, DELAY = "logic", "delay"
"""Families of the states that the closed loop adds to the plant's."""


@dataclass(frozen=True)
class ClosedLoop:
    """x(k+1) = A x(k) + B u(k), y(k) = C x(k) + D u(k), plant and logic together.

    Inputs are those of the plant, commands added to what the logic demands and delayed with it. The outputs
    are the plant's, then what is demanded, ``demanded_`` before the command's name.

    Attributes
    ----------
    A, B, C, D : float64
    families : what moves in each state: the plant's, then DELAY and LOGIC
    states : names
    period : float [s]
    """

    A: Array
    B: Array
    C: Array
    D: Array
    families: tuple[str, ...]
    states: tuple[str, ...]
    period: float

    @classmethod
    def of(cls, loop: Loop) -> ClosedLoop:
        """Put plant, delays and logic together.

        Notes
        -----
        Readings r(k) = y(k - reading) from a chain of stores; demands v = C x + D r + u; pitch that reaches
        the servos (1 - share) v(k - command) + share v(k - command - 1). The plant's outputs follow commands
        only through its states, so no sum runs in a circle.
        """
        plant, logic, delays = loop.plant, loop.logic, loop.delays
        late = delays.command + (1 if delays.share > 0.0 else 0)
        n, r, m = len(plant.A), len(READINGS), len(INPUTS)
        stores = n + r * np.arange(delays.reading + 1)
        sent = stores[-1] + BLADES * np.arange(late + 1)
        total = int(sent[-1]) + len(logic.A)
        own, inputs = np.arange(sent[-1], total), total + np.arange(m)
        every = np.eye(total + m)

        def age(fresh: Array, places: Array, periods: int) -> Array:
            return fresh if periods == 0 else every[places[periods - 1] : places[periods]]

        measured = np.zeros((r, total + m))
        winds = plant.input(*WINDS)
        measured[:, :n], measured[:, inputs[winds]] = plant.C[loop.read], plant.D[loop.read][:, winds]
        seen = age(measured, stores, delays.reading)
        demand = logic.D @ seen + every[inputs[plant.input(*COMMANDS)]]
        demand[:, own] += logic.C
        pitch, reached = demand[:BLADES], demand.copy()
        reached[:BLADES] = (1.0 - delays.share) * age(pitch, sent, delays.command)
        reached[:BLADES] += delays.share * age(pitch, sent, late)
        transition, input_ = loop.sampled
        moved = np.zeros((total, total + m))
        moved[:n, :n] = transition
        moved[:n] += input_[:, plant.input(*COMMANDS)] @ reached
        moved[:n, inputs[winds]] = input_[:, winds]
        for fresh, places in ((measured, stores), (pitch, sent)):
            for periods in range(len(places) - 1):
                moved[places[periods] : places[periods + 1]] = age(fresh, places, periods)
        moved[own] = logic.B @ seen
        moved[own[:, None], own] += logic.A
        told = np.zeros((len(OUTPUTS), total + m))
        told[:, :n], told[:, inputs[winds]] = plant.C, plant.D[:, winds]
        told = np.concatenate([told, demand])
        names = [f"stored_{name}_{s + 1}" for s in range(delays.reading) for name in READINGS]
        names += [f"sent_{name}_{s + 1}" for s in range(late) for name in list(COMMANDS)[:BLADES]]
        return cls(
            moved[:, :total], moved[:, total:], told[:, :total], told[:, total:],
            (*plant.families, *(DELAY,) * len(names), *(LOGIC,) * len(own)),
            (*plant.states, *names, *logic.states),
            logic.period,
        )  # fmt: skip

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of the outputs."""
        return (*OUTPUTS, *(f"demanded_{name}" for name in COMMANDS))

    @cached_property
    def state_space(self) -> Any:
        """The same as python-control's ``StateSpace`` with its period as ``dt``."""
        import control

        return control.ss(
            self.A, self.B, self.C, self.D, self.period, inputs=tuple(INPUTS), outputs=self.outputs,
            states=self.states, name="closed_loop",
        )  # fmt: skip

    def step_response(
        self, input_: str, size: float, seconds: float, outputs: Sequence[str]
    ) -> tuple[Array, Array]:
        """Return time [s] and outputs (time, output) after a step of one input at time 0."""
        entry = list(INPUTS).index(input_)
        rows = [self.outputs.index(name) for name in outputs]
        count = round(seconds / self.period) + 1
        told, x = np.empty((count, len(rows))), np.zeros(len(self.A))
        for k in range(count):
            told[k] = self.C[rows] @ x + self.D[rows, entry] * size
            x = self.A @ x + self.B[:, entry] * size
        return self.period * np.arange(count), told
