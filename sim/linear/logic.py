"""What is a stack of logic when it only makes small moves: its linear form, if it has one?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.linear.difference import Difference, Leaf, differentiate
from sim.linear.multiblade import BLADES, PARTS, blades_matrix, parts_matrix
from sim.linear.settle import Moment, Settled
from sim.stack import Stack

Array = NDArray[Any]

OF_BLADES = ("pitch", "root_flap_moment", "root_edge_moment")
"""Readings of blades that the plant's model tells; their three parts are read."""
SINGLE = {
    "rotor_speed": ("rotor_speed",),
    "tower_acceleration": ("fore_aft_acceleration", "side_side_acceleration"),
    "wind_speed": ("nacelle_wind_speed",),
    "wind_direction": ("nacelle_wind_direction",),
    "power": ("power",),
}
"""Readings of the whole turbine, and what they are called in the plant's model."""
UNMODELLED = ("tip_distance", "last_pass_clearance", "wind_preview")
"""Readings that no linear plant tells; a layer that answers them has no linear form."""
READINGS = (
    *(f"{name}_{part}" for name in OF_BLADES for part in PARTS),
    *(name for names in SINGLE.values() for name in names),
)
"""What the linear form reads, by its names in the plant's model."""
ALIKE = 0.1
"""Answers that count as alike, as a share of the command's largest answer to any reading [-]."""
NONE = np.array([1e-6, 1e-6, 1e-6, 1e-6])
"""Answers that count as none: pitch [rad] and torque, as a share of rated [-]."""
JUDGED_HZ = (0.01, 0.03, 0.1, 0.3, 1.0)
"""Frequencies at which answers are compared [Hz]."""


@dataclass(frozen=True)
class LinearLogic:
    """x(k+1) = A x(k) + B r(k), command(k) = C x(k) + D r(k), once a period, in the standing frame.

    Attributes
    ----------
    A, B, C, D : float64 - readings as READINGS, commands as `sim.linear.plant.COMMANDS`
    states : names
    period : float [s]
    usual : (reading,) float64 - changes of the readings that count as usual
    spread : float [-] - by how much its answers differ with the azimuth, of each command's largest
    """

    A: Array
    B: Array
    C: Array
    D: Array
    states: tuple[str, ...]
    period: float
    usual: Array
    spread: float = 0.0

    def response(self, frequencies: Array) -> Array:
        """Return the complex answer, (frequency, command, reading), at angular frequencies [rad/s]."""
        z = np.exp(1j * np.asarray(frequencies) * self.period)[:, None, None]
        inside = np.linalg.solve(z * np.eye(len(self.A)) - self.A, self.B[None].astype(complex))
        return self.C @ inside + self.D


def linearise_stack(settled: Settled) -> LinearLogic:
    """Differentiate one step of the stack about what it sees and remembers while it holds the turbine.

    Raises
    ------
    InputError
        A layer has no linear form here: its answer differs with the direction of a small change, or with the
        azimuth even in the standing frame, or it answers what no linear plant tells. It is named.

    Notes
    -----
    Readings are turned into parts at the azimuth of their sample, pitch demands at that of the middle of the
    period in which they reach the servos. An entry of a state with one number a blade is taken as a quantity
    of the blades if that makes the answer differ less with the azimuth, else as it stands. Entries that a
    step hands on whatever it reads are constants, no states. The azimuth's reading is not differentiated:
    the standing frame turns with the azimuth itself.
    """
    found, reason = _try(settled, settled.stack)
    names, count = settled.stack.names, len(settled.stack.names)
    if found is not None:
        return found
    for count in range(1, len(names) + 1):
        part = Stack(settled.stack.layers[:count], names[:count])
        found, reason = _try(settled, part)
        if found is None:
            break
    hint = f"try --stack {'+'.join(names[: count - 1])}" if count > 1 else "try another wind speed"
    raise InputError(
        f"layer {names[count - 1]}: has no linear form at {settled.point.wind_speed:g} m/s: {reason}; {hint}"
    )


def resting_layers(settled: Settled, logic: LinearLogic) -> list[str]:
    """Return the layers without which the stack's linear form is the same: they rest in this steady wind.

    Parameters
    ----------
    settled : Settled
    logic : LinearLogic
        Of the whole stack.
    """
    frequencies, floor = 2.0 * np.pi * np.array(JUDGED_HZ), _floor(settled)
    whole, resting = logic.response(frequencies) * logic.usual, []
    for place, name in enumerate(settled.stack.names):
        keep = [k for k in range(len(settled.stack.names)) if k != place]
        rest = Stack([settled.stack.layers[k] for k in keep], [settled.stack.names[k] for k in keep])
        moments = [replace(moment, states=[moment.states[k] for k in keep]) for moment in settled.moments]
        found = _try(replace(settled, moments=moments), rest)[0] if keep else None
        if found is not None:
            away = np.abs(found.response(frequencies) * found.usual - whole).max(axis=(0, 2))
            if bool(np.all(away <= 1e-3 * np.abs(whole).max(axis=(0, 2)) + floor)):
                resting.append(name)
    return resting


def _floor(settled: Settled) -> Array:
    """Return the answer of each command to a usual change that counts as none, (command,)."""
    return NONE * np.array([1.0, 1.0, 1.0, float(settled.flock.known.rated_torque[0])])


def _try(settled: Settled, stack: Stack) -> tuple[LinearLogic | None, str]:
    """Return the linear form of a stack, or why there is none."""
    moments = [replace(moment, states=moment.states[: len(stack.layers)]) for moment in settled.moments]
    told = [
        differentiate(moment, stack, settled.flock.known, (*OF_BLADES, *SINGLE), UNMODELLED)
        for moment in moments
    ]
    usual, period, n = told[0].usual, settled.period, told[0].states
    floor = _floor(settled)

    def judge(matrices: Sequence[Array], others: Sequence[Array]) -> float:
        """Return the largest difference of answers, over the command's largest at that frequency."""
        worst = 0.0
        for one, other in zip(matrices, others, strict=True):
            first, second = (_answer(matrix, n, period) * usual for matrix in (one, other))
            largest = np.maximum(np.abs(first), np.abs(second)).max(axis=2)
            away = np.abs(first - second).max(axis=2)
            share = away / np.where(largest > floor, largest, np.inf)
            worst = max(worst, float(share.max(initial=0.0)))
        return worst

    known = n + len(READINGS)
    blind = [_without(d.central, known) for d in told]
    if judge([d.central for d in told], blind) > ALIKE:
        return None, f"it answers {' or '.join(UNMODELLED)}, which no linear plant tells"
    bent = judge([d.forward for d in told], [d.backward for d in told])
    if bent > ALIKE:
        return None, f"it answers a small rise otherwise than a small fall, by up to {bent:.0%}"
    turned = _standing(told, moments, settled, judge)
    mean = np.mean(turned, axis=0)
    spread = judge(turned, [mean] * len(turned))
    if spread > ALIKE:
        return None, f"its answer turns with the azimuth, by up to {spread:.0%}"
    return replace(_reduced(mean[:, :known], told[0], period), spread=spread), ""


def _without(matrix: Array, columns: int) -> Array:
    """Return a copy that answers only the first columns."""
    copy = matrix.copy()
    copy[:, columns:] = 0.0
    return copy


def _answer(matrix: Array, n: int, period: float) -> Array:
    """Return the answer of commands to readings, (frequency, command, reading)."""
    z = np.exp(2j * np.pi * np.array(JUDGED_HZ) * period)[:, None, None]
    inside = np.linalg.solve(z * np.eye(n) - matrix[:n, :n], matrix[None, :n, n:].astype(complex))
    return matrix[n:, :n] @ inside + matrix[n:, n:]


def _standing(
    told: Sequence[Difference],
    moments: Sequence[Moment],
    settled: Settled,
    judge: Callable[[Sequence[Array], Sequence[Array]], float],
) -> list[Array]:
    """Return the matrices of all moments in the standing frame.

    Notes
    -----
    Each state with one number a blade is tried as the blades' own, one after the other.
    """
    chosen: list[Leaf] = []

    def turned(leaves: Sequence[Leaf]) -> list[Array]:
        return [_turn(d, m, settled, leaves) for d, m in zip(told, moments, strict=True)]

    best = turned(chosen)
    for leaf in told[0].leaves:
        if leaf.shape == (BLADES,):
            tried = turned([*chosen, leaf])
            if _spread(tried, judge) < _spread(best, judge):
                chosen, best = [*chosen, leaf], tried
    return best


def _spread(matrices: list[Array], judge: Callable[[Sequence[Array], Sequence[Array]], float]) -> float:
    mean = np.mean(matrices, axis=0)
    return judge(matrices, [mean] * len(matrices)) + 1e-9 * float(np.abs(np.array(matrices) - mean).max())


def _turn(told: Difference, moment: Moment, settled: Settled, leaves: Sequence[Leaf]) -> Array:
    """Return one moment's matrix with the blades' quantities as parts."""
    period, speed, n = settled.period, settled.point.rotor_speed, told.states
    seen = moment.azimuth - speed * settled.reading_delay * period
    reached = moment.azimuth + speed * (settled.command_delay + 0.5 * period)
    matrix = told.central.copy()
    for leaf in leaves:
        matrix[:, leaf.span] = matrix[:, leaf.span] @ parts_matrix(moment.azimuth)
        matrix[leaf.span] = blades_matrix(moment.azimuth + speed * period) @ matrix[leaf.span]
    for k in range(len(OF_BLADES)):
        columns = slice(n + BLADES * k, n + BLADES * (k + 1))
        matrix[:, columns] = matrix[:, columns] @ parts_matrix(seen)
    matrix[n : n + BLADES] = blades_matrix(reached) @ matrix[n : n + BLADES]
    return matrix


def _reduced(matrix: Array, told: Difference, period: float) -> LinearLogic:
    """Leave out constants, and states that no reading moves or no command answers."""
    n = told.states
    A, B, C, D = matrix[:n, :n], matrix[:n, n:], matrix[n:, :n], matrix[n:, n:]
    scale, usual = told.scales, told.usual[: B.shape[1]]
    links = np.asarray(np.abs(A) * scale[None, :] / scale[:, None] > 1e-9)
    moved = np.asarray((np.abs(B) * usual / scale[:, None] > 1e-9).any(axis=1))
    heard = np.abs(C) * scale / np.array([0.05, 0.05, 0.05, told.torque])[:, None] > 1e-9
    answered = np.asarray(heard.any(axis=0))
    for _ in range(n):
        moved = moved | np.any(links & moved.reshape(1, -1), axis=1)
        answered = answered | np.any(links & answered.reshape(-1, 1), axis=0)
    keep = np.flatnonzero(moved & answered)
    names = [name for leaf in told.leaves for name in leaf.names]
    kept = tuple(names[k] for k in keep.tolist())
    return LinearLogic(A[keep][:, keep], B[keep], C[:, keep], D, kept, period, usual)
