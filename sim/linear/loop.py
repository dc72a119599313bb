"""How does each loop of a stack answer when it is cut open, delays and sampling included?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.linear.logic import JUDGED_HZ, READINGS, LinearLogic
from sim.linear.multiblade import BLADES
from sim.linear.plant import COMMANDS, PlantModel

Array = NDArray[Any]

LOOPS: dict[str, str] = dict(
    zip(("collective pitch", "cosine pitch", "sine pitch", "generator torque"), COMMANDS, strict=True)
)
"""The loops by name, and the command at which each is cut."""

BAND_HZ = 1e-3
"""Lowest frequency of the band in which loops are looked at; its end is half the sampling frequency [Hz]."""
BAND_POINTS = 500
NO_LOOP = 1e-6
"""Gain below which a loop counts as open [-]."""


@dataclass(frozen=True)
class Delays:
    """What lies between plant and logic.

    Attributes
    ----------
    reading : periods from sample to reading
    command : periods from pitch demand to servo, the whole ones
    share : float - what is left of that delay, in periods
    """

    reading: int
    command: int
    share: float

    @classmethod
    def of(cls, reading: int, command_s: float, period: float) -> Delays:
        """Divide a servo's delay [s] into periods as the march does."""
        whole = int(np.floor(command_s / period + 1e-9))
        return cls(reading, whole, max(command_s / period - whole, 0.0))


@dataclass(frozen=True)
class Loop:
    """Plant and logic at the controller's period.

    Attributes
    ----------
    plant : PlantModel
    logic : LinearLogic
    delays : Delays

    Notes
    -----
    The plant is sampled exactly under commands and winds held over a period; readings are delayed by whole
    periods, pitch demands as the march delays them. Nothing is approximated by rational functions.
    """

    plant: PlantModel
    logic: LinearLogic
    delays: Delays

    @cached_property
    def sampled(self) -> tuple[Array, Array]:
        """The plant's transition over one period, and its answer to inputs held through it."""
        from scipy.linalg import expm

        n, m = self.plant.B.shape
        both = np.zeros((n + m, n + m))
        both[:n] = np.concatenate([self.plant.A, self.plant.B], axis=1) * self.logic.period
        moved = expm(both)
        return moved[:n, :n], moved[:n, n:]

    @cached_property
    def read(self) -> list[int]:
        """Places of the readings among the plant's outputs."""
        return self.plant.output(*READINGS)

    @cached_property
    def active(self) -> list[str]:
        """The loops that the stack closes: those that answer their own command with all others open."""
        through = np.abs(self.cut(2.0 * np.pi * np.array(JUDGED_HZ)))
        own = through[:, range(len(LOOPS)), range(len(LOOPS))].max(axis=0)
        return [name for name, size in zip(LOOPS, own, strict=True) if size > NO_LOOP]

    @cached_property
    def band(self) -> Array:
        """The frequencies at which loops are looked at [rad/s]."""
        return np.geomspace(2.0 * np.pi * BAND_HZ, np.pi / self.logic.period, BAND_POINTS)

    @cached_property
    def _cut_band(self) -> Array:
        return self.cut(self.band)

    @cached_property
    def _modal(self) -> tuple[Array, Array, Array]:
        """Eigenvalues of the sampled plant, how inputs enter its modes, how outputs follow from them.

        The eigenvectors' condition is of the order of a thousand: eleven digits are left.
        """
        transition, input_ = self.sampled
        values, vectors = np.linalg.eig(transition)
        return values, np.linalg.solve(vectors, input_.astype(complex)), self.plant.C @ vectors

    def plant_response(self, frequencies: Array) -> Array:
        """Return the sampled plant's answer to what reaches the machine, (frequency, output, input)."""
        values, entry, exit_ = self._modal
        z = np.exp(1j * np.asarray(frequencies) * self.logic.period)
        return exit_ @ (entry / (z[:, None] - values)[:, :, None]) + self.plant.D

    def _late(self, frequencies: Array) -> Array:
        """Return what the way from demand to machine does, (frequency, command)."""
        delays, z = self.delays, np.exp(1j * np.asarray(frequencies) * self.logic.period)
        late = np.ones((len(z), len(COMMANDS)), complex)
        late[:, :BLADES] = (z**-delays.command * (1.0 - delays.share + delays.share / z))[:, None]
        return late

    def _heard(self, frequencies: Array, outputs: Array) -> Array:
        """Return what the logic demands in answer to outputs of the plant, (frequency, command, ...)."""
        stale = np.exp(-1j * np.asarray(frequencies) * self.logic.period * self.delays.reading)
        return self.logic.response(frequencies) @ outputs[:, self.read] * stale[:, None, None]

    def cut(self, frequencies: Array) -> Array:
        """Return what the logic demands in answer to demands, all loops open: (frequency, 4, 4) complex.

        Parameters
        ----------
        frequencies : (n,) float64 [rad/s]
        """
        plant = self.plant_response(frequencies)[:, :, self.plant.input(*COMMANDS)]
        return self._heard(frequencies, plant * self._late(frequencies)[:, None, :])

    def answer(self, input_: str, frequencies: Array, *, closed: bool) -> Array:
        """Return all outputs' answer to one input, (frequency, output), with the loops closed or open.

        Parameters
        ----------
        input_ : of the plant; a command is added to what the logic demands
        frequencies : (n,) float64 [rad/s]
        closed : bool
        """
        plant, late = self.plant_response(frequencies), self._late(frequencies)
        commands = plant[:, :, self.plant.input(*COMMANDS)] * late[:, None, :]
        if input_ in COMMANDS:
            given = commands[:, :, [list(COMMANDS).index(input_)]]
        else:
            given = plant[:, :, self.plant.input(input_)]
        if closed:
            demanded = self._heard(frequencies, given)
            inner = np.eye(len(COMMANDS)) - self._heard(frequencies, commands)
            given = given + commands @ np.linalg.solve(inner, demanded)
        return given[:, :, 0]

    def loop_response(self, name: str, frequencies: Array) -> Array:
        """Return L of one loop, cut at its command with all others closed, for negative feedback."""
        through = self._cut_band if frequencies is self.band else self.cut(np.atleast_1d(frequencies))
        own = [*LOOPS].index(name)
        others = [k for k in range(len(LOOPS)) if k != own]
        inner = np.eye(len(others)) - through[:, others][:, :, others]
        back = np.linalg.solve(inner, through[:, others][:, :, [own]])
        return -(through[:, own, own] + (through[:, [own]][:, :, others] @ back)[:, 0, 0])
