"""What does each single action add to the damage of a history, and do the single effects sum to the whole?

The same wind is marched twice, with the logic and without it from the start. One action is taken back by
putting the history without logic in its place, from its first tick until a revolution after its last, and
the whole history is counted again. Rainflow is not additive: the single effects do not sum to the
difference of the two histories, and what is missing is the closure error.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, canonical
from scenarios.heartbeat import beat
from scenarios.simulate import make_flock, make_world
from scenarios.store import CaseResult, Store
from sim.flock import Flock
from sim.interface import Commands, Readings
from sim.kernels import layout as at
from sim.march import march
from sim.measures.fatigue import cycle_sum, goodman, rainflow

Floats = NDArray[np.float64]

WATCHED = {
    "blade_root_flap": (at.OUT_FLAP, True),
    "blade_root_edge": (at.OUT_EDGE, True),
    "tower_base_fore_aft": (at.OUT_FA_BASE, False),
}
"""Channels whose histories are recounted: first column of what is put out, and whether blades have it."""


Laws = Mapping[str, tuple[float, float | None]]
"""Of each channel the exponent [-], and the ultimate moment [N m] for the correction of means, or None."""


@dataclass(frozen=True)
class Histories:
    """What one lane put out in its judged time: out (tick, OUTPUTS), acting (tick, blade)."""

    out: Floats
    acting: NDArray[np.bool_]
    period: float  #: [s]

    def windows(self, blade: int) -> list[slice]:
        """Return the ticks of each action of one blade, a revolution after its end included."""
        edges = np.diff(np.concatenate([[0], self.acting[:, blade].astype(np.int8), [0]]))
        begun, ended = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
        turn = 2.0 * np.pi / np.maximum(self.out[:, at.OUT_SPEED], 0.1) / self.period
        return [
            slice(int(a), min(int(b + turn[min(b, len(turn) - 1)]), len(turn)))
            for a, b in zip(begun, ended, strict=True)
        ]


def single_effects(
    mine: Floats, plain: Floats, windows: Sequence[slice], exponent: float, ultimate: float | None = None
) -> tuple[float, float, float]:
    """Return sums of n S^m: with the logic, without it, and the sum of the effects of single actions.

    Parameters
    ----------
    mine, plain : (tick,) float64 [any]
        Histories with the logic and without, in the same wind.
    windows : ticks of each action
    exponent : float [-]
    ultimate : float [any]
        For the correction of the means after Goodman; None: they do not count.
    """
    whole, without = _sum(mine, exponent, ultimate), _sum(plain, exponent, ultimate)
    effects = 0.0
    for window in windows:
        taken_back = mine.copy()
        taken_back[window] = plain[window]
        effects += whole - _sum(taken_back, exponent, ultimate)
    return whole, without, effects


def _sum(history: Floats, exponent: float, ultimate: float | None) -> float:
    ranges, means, counts = rainflow(history)
    if ultimate is not None:
        ranges = goodman(ranges, means, ultimate)
    return cycle_sum(ranges / 1e6, counts, exponent)


def recount(pairs: Sequence[tuple[Case, Case]], laws: Laws, store: Store) -> list[CaseResult]:
    """March pairs of cases again, with logic and without, and count every action's effect.

    Parameters
    ----------
    pairs : cases with and without the logic, of one wind each
    laws : of the channels of WATCHED
    store : Store
        Where it is looked for and kept.

    Returns
    -------
    list of CaseResult
        For each pair ``actions``, and ``with``, ``without`` and ``singles`` (channel,) [(MN m)^m], the same
        with ``uncorrected_`` before them where the means do not count.
    """
    keys = [
        hashlib.sha256(canonical(["recounted", one.key, two.key, laws]).encode()).hexdigest()
        for one, two in pairs
    ]
    found = store.load(keys)
    missing = [n for n, key in enumerate(keys) if key not in found]
    if missing:
        mine = _march([pairs[n][0] for n in missing])
        plain = _march([pairs[n][1] for n in missing])
        made = {keys[n]: _effects(one, two, laws) for n, one, two in zip(missing, mine, plain, strict=True)}
        titles = {keys[n]: f"recounted without each action: {pairs[n][0].title}" for n in missing}
        store.write(made, titles, {keys[n]: pairs[n][0].key for n in missing})
        found |= made
    return [found[key] for key in keys]


def _effects(mine: Histories, plain: Histories, laws: Laws) -> dict[str, NDArray]:
    told = _told(mine, plain, laws)
    uncorrected = {name: (exponent, None) for name, (exponent, _) in laws.items()}
    other = told if uncorrected == laws else _told(mine, plain, uncorrected)
    return told | {f"uncorrected_{key}": values for key, values in other.items() if key != "actions"}


def _told(mine: Histories, plain: Histories, laws: Laws) -> dict[str, NDArray]:
    blades = mine.acting.shape[1]
    each = [mine.windows(blade) for blade in range(blades)]
    rows = []
    for name, (column, is_of_blade) in WATCHED.items():
        parts = range(blades) if is_of_blade else range(1)
        some = [
            single_effects(
                mine.out[:, column + part],
                plain.out[:, column + part],
                each[part] if is_of_blade else [window for windows in each for window in windows],
                *laws[name],
            )
            for part in parts
        ]
        rows.append(np.mean(some, axis=0))
    table = np.array(rows)
    told = {"with": table[:, 0], "without": table[:, 1], "singles": table[:, 2]}
    return told | {"actions": np.array(sum(len(windows) for windows in each))}


def _march(cases: Sequence[Case]) -> list[Histories]:
    """March cases of one stack, period and length side by side and keep what they put out."""
    run = cases[0].run
    world, design_of, wind_of = make_world(cases)
    flock = make_flock(cases, world, design_of, wind_of)
    outs, acts = [], []

    def observe(flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
        beat()
        if flock.lanes.tick.max() >= round(run.settle / run.period):
            outs.append(flock.lanes.out.copy())
            acts.append(flock.acting(commands, reference))

    march(flock, run.settle, run.duration, forks=False, observe=observe)
    out, acting = np.array(outs), np.array(acts)
    return [Histories(out[:, lane], acting[:, lane], run.period) for lane in range(len(cases))]
