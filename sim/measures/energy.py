"""What does a logic cost in energy and in work of the pitch bearings?"""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.labels import Labels
from sim.measures.lifetime import PairedRatio, paired_ratio, split_hours
from sim.measures.spectrum import Spectrum
from sim.measures.statistics import Interval, cluster_bootstrap, ratio

Floats = NDArray[np.float64]


def energy_ratio(
    energy: tuple[ArrayLike, ArrayLike],
    judged_s: tuple[ArrayLike, ArrayLike],
    labels: Labels,
    bin_hours: ArrayLike,
) -> PairedRatio:
    """Return the energy of an entry over that of its reference, in the same winds.

    Parameters
    ----------
    energy : two of (case,) float64 [J]
        Of the entry and of the reference.
    judged_s : two of (case,) float64 [s]
        Over which it was made; a case of no duration did not run.
    labels : Labels
    bin_hours : () or (case,) float64 [h]
        Hours of the bin of wind of each case; 0 keeps it out.

    Returns
    -------
    PairedRatio
        `value` and `reference` are mean power [W].
    """
    power = tuple(_rate(part, time) for part, time in zip(energy, judged_s, strict=True))
    return paired_ratio((power[0], power[1]), labels, bin_hours)


def travel_per_hour(
    travel_rad: ArrayLike, judged_s: ArrayLike, labels: Labels, bin_hours: ArrayLike
) -> Interval:
    """Return the pitch travel per hour, mean per blade.

    Parameters
    ----------
    travel_rad : (case, blade) float64 [rad]
        Sum of all pitch movement, up and down, in the judged time.
    judged_s : (case,) float64 [s]
    labels : Labels
    bin_hours : () or (case,) float64 [h]

    Returns
    -------
    Interval
        [deg/h], over seeds.

    Notes
    -----
    A demand of amplitude A at frequency f travels 4 A f per second. Derived here: up and down twice a period.
    """
    travel = np.asarray(travel_rad, dtype=np.float64)
    if travel.ndim != 2:
        raise InputError(f"travel_rad: has {travel.ndim} dimensions; must be (case, blade)")
    rate = _rate(np.mean(travel, axis=1), judged_s) * 3600.0 * degrees(1.0)
    return mean_over_hours(rate, labels, bin_hours)


def mean_over_hours(rate: ArrayLike, labels: Labels, bin_hours: ArrayLike, seed: int = 0) -> Interval:
    """Return the mean of a rate over the hours of all winds, with its interval over seeds.

    Parameters
    ----------
    rate : (case,) float64 [any]
        Not a number where the case did not run.
    labels : Labels
    bin_hours : () or (case,) float64 [h]
    seed : int
        Of the bootstrap.

    Returns
    -------
    Interval
    """
    values = np.asarray(rate, dtype=np.float64)
    hours = split_hours(labels, bin_hours, np.isfinite(values))
    used = hours > 0.0
    sums = np.stack([values[used] * hours[used], hours[used]], axis=1)
    return cluster_bootstrap(ratio, sums, labels.bins()[0][used], seed=seed)


def count_reversals(spectrum: Spectrum, dead_band: float) -> float:
    """Count how often a movement turns round, swings within a dead band not counted.

    Parameters
    ----------
    spectrum : Spectrum
        Cycles of the movement.
    dead_band : float [rad]
        A reversal counts once the way back is longer than this.

    Returns
    -------
    float [-]
        Within one of the count, as the two ends of a history turn nothing round.

    Notes
    -----
    Twice the cycles of a range above the dead band. Derived here: a filter that waits for the way back to
    exceed the band drops the pairs of turning points that are no further apart, which are the cycles that
    rainflow closes at ranges up to the band; what is left has two reversals for each whole cycle, one for
    each half cycle of the residue.
    """
    return 2.0 * float(spectrum.cycles_above([dead_band])[0])


def amplitudes_per_hour(spectra: Sequence[Spectrum], judged_s: ArrayLike, edges: ArrayLike) -> Floats:
    """Return how many pitch cycles of each amplitude an hour holds, one history after another.

    Parameters
    ----------
    spectra : [history] Spectrum
        Cycles of the pitch angle, one for each case and blade.
    judged_s : (history,) float64 [s]
    edges : (cell + 1,) float64 [rad]
        Rising edges of the amplitude, half of the range; start near zero: small oscillations fret a bearing.

    Returns
    -------
    (history, cell) float64 [1/h]
        Cycles beyond the last edge count in the last cell, those below the first edge nowhere.
    """
    limits = np.asarray(edges, dtype=np.float64)
    durations = np.asarray(judged_s, dtype=np.float64)
    found = np.zeros((len(spectra), limits.size - 1))
    for row, spectrum in enumerate(spectra):
        ranges, _, counts = spectrum.grouped()
        amplitude = np.minimum(0.5 * ranges, limits[-1])
        found[row] = np.histogram(amplitude, limits, weights=counts)[0]
    return found * 3600.0 / durations[:, None]


def per_thousand_actions(with_logic: ArrayLike, without_logic: ArrayLike, actions: ArrayLike) -> Floats:
    """Return what a thousand actions of the logic add, from two runs of the same winds.

    Parameters
    ----------
    with_logic, without_logic : (...) float64 [any]
        Travel, energy or sum of n S^m of the whole history, recounted with and without the logic.
    actions : (...) float64 [-]

    Returns
    -------
    (...) float64 [any]
        Not a number without an action.

    Notes
    -----
    A mean over actions, of the total effect. Rainflow is not additive: the effects of single actions, each
    taken back alone, do not sum to it.
    """
    count = np.asarray(actions, dtype=np.float64)
    added = np.asarray(with_logic, dtype=np.float64) - np.asarray(without_logic, dtype=np.float64)
    return 1000.0 * added / np.where(count > 0.0, count, np.nan)


def _rate(amount: ArrayLike, time: ArrayLike) -> Floats:
    duration = np.asarray(time, dtype=np.float64)
    ran = duration > 0.0
    return np.where(ran, np.asarray(amount, dtype=np.float64) / np.where(ran, duration, 1.0), np.nan)
