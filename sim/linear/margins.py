"""How much gain, phase and delay does a loop stand before it turns unstable?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
Response = Callable[[Array], Array]
"""From angular frequencies [rad/s] to the complex response of a loop L, closed by negative feedback."""

HALVINGS = 26
"""Of a bracket around a crossing."""
FINER, ROUNDS = 9, 6
"""Points between two neighbours of the least of a grid, and how often they are set anew."""


@dataclass(frozen=True)
class Margins:
    """What a loop stands, within the band that was looked at; infinite where nothing in the band limits it.

    Attributes
    ----------
    gain_up, gain_down : float [-] - smallest factor above 1, largest below 1 that makes it unstable (inf, 0)
    gain_frequency : float [rad/s] - at which ``gain_up`` would make it swing; nan for none
    phase : float [rad] - smallest turn of the phase, either way
    phase_frequency : float [rad/s] - where |L| = 1 with that turn; nan for none
    delay : float [s] - smallest added delay
    delay_frequency : float [rad/s]
    disc : float [-] - of the balanced disc, at most 2
    disc_frequency : float [rad/s]
    peak_sensitivity : float [-] - largest |1/(1 + L)|
    crossover : float [rad/s] - highest frequency at which |L| = 1; nan for none
    """

    gain_up: float
    gain_down: float
    gain_frequency: float
    phase: float
    phase_frequency: float
    delay: float
    delay_frequency: float
    disc: float
    disc_frequency: float
    peak_sensitivity: float
    crossover: float

    @property
    def disc_gain(self) -> float:
        """Factor by which the gain may rise or fall together with `disc_phase` [-]."""
        return (2.0 + self.disc) / (2.0 - self.disc) if self.disc < 2.0 else math.inf

    @property
    def disc_phase(self) -> float:
        """Turn of the phase that is allowed together with `disc_gain` [rad]."""
        return 2.0 * math.atan(0.5 * self.disc)


def margins_of(loop: Response, frequencies: Array) -> Margins:
    """Return the margins of a loop whose closed loop is stable.

    Parameters
    ----------
    loop : Response
    frequencies : (n,) float64 [rad/s] - rising and dense; their ends bound the band

    Notes
    -----
    Crossings of the unit circle and of the negative real axis are bracketed on the grid and halved there. The
    balanced disc is the largest alpha = 2 min |1 + L| / |1 - L|: the loop stands any factor within the disc
    on the diameter ((2 - alpha)/(2 + alpha), (2 + alpha)/(2 - alpha)), held below 2.

    References
    ----------
    P. Seiler, A. Packard, P. Gahinet, An introduction to disk margins, IEEE Control Systems Magazine 40, 2020
    (from memory).
    """
    response = loop(frequencies)
    gains = _gain_crossings(loop, frequencies, response)
    units = _unit_crossings(loop, frequencies, response)
    up = min((pair for pair in gains if pair[0] > 1.0), default=(math.inf, math.nan))
    down = max((pair for pair in gains if pair[0] < 1.0), default=(0.0, math.nan))
    turns = [(abs(turn), w) for turn, w in units]
    delays = [(turn % (2.0 * math.pi) / w, w) for turn, w in units]
    phase = min(turns, default=(math.inf, math.nan))
    delay = min(delays, default=(math.inf, math.nan))
    disc = _least(loop, frequencies, lambda L: 2.0 * np.abs(1.0 + L) / np.maximum(np.abs(1.0 - L), 1e-300))
    return Margins(
        gain_up=up[0],
        gain_down=down[0],
        gain_frequency=up[1],
        phase=phase[0],
        phase_frequency=phase[1],
        delay=delay[0],
        delay_frequency=delay[1],
        disc=min(disc[0], 2.0),
        disc_frequency=disc[1],
        peak_sensitivity=1.0 / max(_least(loop, frequencies, lambda L: np.abs(1.0 + L))[0], 1e-300),
        crossover=max((w for _, w in units), default=math.nan),
    )


def _gain_crossings(loop: Response, grid: Array, response: Array) -> list[tuple[float, float]]:
    """Return (factor that brings L to -1, frequency) of every crossing of the negative real axis."""
    found = []
    last = complex(response[-1])
    if last.real < 0.0 and abs(last.imag) < 1e-9 * abs(last):
        found.append((1.0 / abs(last), float(grid[-1])))  # a sampled loop is real at the end of its band
    real, imaginary = np.real(response), np.imag(response)
    turns = np.flatnonzero(np.signbit(imaginary[:-1]) != np.signbit(imaginary[1:]))
    for n in turns[real[turns] + real[turns + 1] < 0.0].tolist():
        frequency = _halve(loop, (float(grid[n]), float(grid[n + 1])), np.imag)
        value = complex(loop(np.array([frequency]))[0])
        if value.real < 0.0 and abs(value.imag) < 1e-3 * abs(value):
            found.append((1.0 / abs(value), frequency))
    return found


def _unit_crossings(loop: Response, grid: Array, response: Array) -> list[tuple[float, float]]:
    """Return (phase above -180 degrees, in (-pi, pi], frequency) wherever |L| = 1."""
    size = np.abs(response) - 1.0
    found = []
    for n in np.flatnonzero(np.signbit(size[:-1]) != np.signbit(size[1:])):
        frequency = _halve(loop, (grid[n], grid[n + 1]), lambda L: np.abs(L) - 1.0)
        value = complex(loop(np.array([frequency]))[0])
        found.append((float(np.angle(-value)), frequency))
    return found


def _halve(loop: Response, ends: tuple[float, float], judge: Callable[[Array], Array]) -> float:
    low, high = float(ends[0]), float(ends[1])
    below = bool(judge(loop(np.array([low])))[0] < 0.0)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if bool(judge(loop(np.array([middle])))[0] < 0.0) == below:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _least(loop: Response, grid: Array, judge: Callable[[Array], Array]) -> tuple[float, float]:
    """Return the least value and its frequency: the least of the grid, refined between its neighbours."""
    values, near = judge(loop(grid)), grid
    at = int(np.argmin(values))
    for _ in range(ROUNDS):
        near = np.linspace(grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)], FINER)
        values = judge(loop(near))
        grid, at = near, int(np.argmin(values))
    return float(values[at]), float(near[at])
