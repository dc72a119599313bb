"""What is the equivalent range of many cases, each standing for some hours of a life?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.spectrum import Spectrum

Floats = NDArray[np.float64]


def cycle_rates(
    spectra: Sequence[Sequence[Spectrum]],
    durations_s: ArrayLike,
    exponent: float,
    ultimate: float | None = None,
) -> Floats:
    """Return, per case and part, the sum of n S^m per second of the case.

    Parameters
    ----------
    spectra : [part][case] Spectrum
        Cycles of one channel for each part (blade; one part for a tower) and case.
    durations_s : (case,) float64 [s]
    exponent : float [-]
    ultimate : float [any], optional
        Ultimate load, for Goodman's correction of the mean.

    Returns
    -------
    (case, part) float64 [any^m / s]
        Not a number where the case has no history or no duration: it did not run.

    Notes
    -----
    Each case is counted alone; its residue counts as half cycles. Cycles that span several cases (a low wind
    in one and a high wind in the next) are not in it.
    """
    durations = np.asarray(durations_s, dtype=np.float64)
    rates = np.full((durations.size, len(spectra)), np.nan)
    for part, cases in enumerate(spectra):
        for case, spectrum in enumerate(cases):
            if not spectrum.is_empty and durations[case] > 0.0:
                rates[case, part] = spectrum.power_sum(exponent, ultimate) / durations[case]
    return rates


def equivalent_range_of_cases(
    spectra: Sequence[Spectrum],
    weights_hours: ArrayLike,
    durations_s: ArrayLike,
    exponent: float,
    reference_frequency: float = 1.0,
) -> float:
    """Return the equivalent range of many cases, each standing for a number of hours.

    Parameters
    ----------
    spectra : [case] Spectrum
        Cycles of one channel.
    weights_hours : (case,) float64 [h]
        Hours that each case stands for; their sum must be above 0.
    durations_s : (case,) float64 [s]
        Length of each history.
    exponent : float [-]
    reference_frequency : float [Hz]

    Returns
    -------
    float [any]
        Not a number where a case with hours did not run.

    Raises
    ------
    InputError
        Where no hours are given, or exponent or frequency are out of range.

    Notes
    -----
    ( sum_i h_i r_i / (f sum_i h_i) )^(1/m) with r_i the case's sum of n S^m per second.
    """
    hours = np.asarray(weights_hours, dtype=np.float64)
    if not (np.all(hours >= 0.0) and np.sum(hours) > 0.0):
        raise InputError("weights_hours: must be >= 0 with a sum > 0")
    if not 0.0 < reference_frequency < np.inf:
        raise InputError(f"reference_frequency = {reference_frequency}; must be > 0")
    rates = cycle_rates([spectra], durations_s, exponent)[:, 0]
    used = hours > 0.0
    mean = np.sum(hours[used] * rates[used]) / np.sum(hours)
    return float((mean / reference_frequency) ** (1.0 / exponent))
