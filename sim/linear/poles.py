"""Which motions does a linear model have: how fast, how damped, and what moves in each?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.linear.coordinates import INFLOW, LAG, ROTOR_SPEED, coordinates
from sim.linear.multiblade import BLADES

Array = NDArray[Any]

AIR = (INFLOW, LAG)
"""Families that only lag behind the others."""


@dataclass(frozen=True)
class Pole:
    """One pole, or a conjugate pair by its member with the positive imaginary part.

    Attributes
    ----------
    value : complex [rad/s]
    family : what moves most, for people
    whirl : of the blades: collective, forward or backward (with or against the rotor, in the standing
        frame); empty for what is no quantity of the blades
    share : float [-] - of the family in the participation of all states
    """

    value: complex
    family: str
    whirl: str
    share: float

    @property
    def frequency(self) -> float:
        """Undamped frequency [Hz], |value| / 2 pi."""
        return abs(self.value) / (2.0 * np.pi)

    @property
    def damping(self) -> float:
        """Damping ratio [-]: 1 for what only decays, -1 for what only grows, 0 for the origin itself."""
        return -self.value.real / abs(self.value) if self.value != 0 else 0.0

    @property
    def name(self) -> str:
        """What moves, in words."""
        return f"{self.family} {self.whirl}".strip()


def poles_of(matrix: Array, families: Sequence[str], period: float | None = None) -> list[Pole]:
    """Return the poles, slowest first.

    Parameters
    ----------
    matrix : (state, state) float64 - of dx/dt = A x, or of x(k+1) = A x(k) where a ``period`` is given
    families : of each state; the first states are those of `coordinates` where there are so many
    period : float [s]

    Notes
    -----
    Participation of state j in a pole: |w_j v_j| / |w v|, v its right and w its left eigenvector, which does
    not depend on units. A sampled pole z stands for ln(z)/period; those within 1e-6 of zero (delays, dead
    beats) are left out. The pole in which the rotor's speed takes most part is called after it, whatever
    lags along.

    References
    ----------
    Perez-Arriaga, Verghese, Schweppe, Selective modal analysis with applications to electric power systems,
    IEEE Trans. Power Apparatus and Systems 101, 1982: participation factors (from memory).
    """
    from scipy.linalg import eig

    solved: Any = eig(matrix, left=True, right=True)
    values, left, right = solved
    names = list(dict.fromkeys(families))
    member = np.array([[family == name for family in families] for name in names], float)
    weight = np.abs(left.conj() * right)
    shares = member @ weight / np.maximum(weight.sum(axis=0), 1e-300)
    lead = names.index(ROTOR_SPEED) if ROTOR_SPEED in names else -1
    chief = values[int(np.argmax(shares[lead]))]
    found = []
    for k, value in enumerate(values):
        if period is not None:
            if abs(value) < 1e-6:
                continue
            value = np.log(complex(value)) / period
        if value.imag < 0.0:
            continue
        is_chief = lead >= 0 and values[k] in (chief, chief.conj())
        main = lead if is_chief else int(np.argmax(shares[:, k]))
        whirl = _whirl(right[:, k], weight[:, k], names[main], families)
        found.append(Pole(complex(value), names[main], whirl, float(shares[main, k])))
    return sorted(found, key=lambda pole: abs(pole.value))


def _whirl(vector: Array, weight: Array, family: str, families: Sequence[str]) -> str:
    """Say how the blades move in a mode: by its largest triple of the family.

    Notes
    -----
    Derived here: cosine part cos(w t), sine part sin(w t) make cos(w t - azimuth), a pattern that turns with
    the rotor. As complex amplitudes (1, -i): forward is |c + i s| / 2, backward |c - i s| / 2.
    """
    count = min(coordinates().triples.size, len(families))
    if count < coordinates().triples.size:
        return ""
    own = np.array([families[n] == family for n in range(count)]).reshape(-1, BLADES)
    if not own.any():
        return ""
    largest = np.where(own.all(axis=1), weight[:count].reshape(-1, BLADES).sum(axis=1), -1.0)
    triple = vector[:count].reshape(-1, BLADES)[int(np.argmax(largest))]
    sizes = {
        "collective": abs(triple[0]),
        "forward": abs(triple[1] + 1j * triple[2]) / 2.0,
        "backward": abs(triple[1] - 1j * triple[2]) / 2.0,
    }
    return max(sizes, key=lambda name: sizes[name])
