"""At which rate do clusters of events begin, seen from short windows?

A long blow near the tower breaks several passes one after another; it is one event. A cluster begins with a
broken pass before which there was none for a stated quiet time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.statistics import Interval
from sim.measures.subset import SubsetSimulation

Floats = NDArray[np.float64]


def cluster_starts(times_s: ArrayLike, quiet_s: float, judged_from_s: float) -> int:
    """Count the clusters of events that begin in the judged part of a window.

    Parameters
    ----------
    times_s : (event,) float64 [s]
        Of the broken passes in the whole window, in any order.
    quiet_s : float [s]
        Without an event before a cluster begins; the window must have been watched for that long before the
        judged part.
    judged_from_s : float [s]

    Returns
    -------
    int

    References
    ----------
    S. Coles, "An introduction to statistical modeling of extreme values", Springer 2001, section 5.3.2
    (declustering by runs).
    """
    when = np.sort(np.asarray(times_s, dtype=np.float64))
    since = np.diff(when, prepend=-np.inf)
    return int(np.count_nonzero((since > quiet_s) & (when >= judged_from_s)))


def cluster_rate(
    sampler: SubsetSimulation,
    starts: Sequence[int] | ArrayLike,
    exposure_s: float,
    value: float = 0.0,
    with_unseen: bool = True,
) -> Interval:
    """Return the rate at which clusters begin, from subset simulation over short windows.

    Parameters
    ----------
    sampler : SubsetSimulation
        Done.
    starts : (evaluation,) int
        `cluster_starts` of every window that was evaluated, in the order in which they were told; none where
        the limit state is above the value.
    exposure_s : float [s]
        Length of the judged part of a window.
    value : float [any]
        Of the limit state, above which no cluster begins in a window.
    with_unseen : bool
        See `sim.measures.shells.Levels.expect`.

    Returns
    -------
    Interval [1/s]
        ``value`` 0 and a bound where no window held a start.

    Raises
    ------
    InputError
        Where exposure is not positive or starts do not fit the evaluations.

    Notes
    -----
    rate = E[starts] / exposure: exact for a stationary process whatever the length of the windows, since a
    cluster is counted in the window in which it begins and in no other. Derived here. The probability of an
    event per window over its length would count a cluster again in every window that it reaches into. Let the
    limit state see the judged part alone: one that sees the lead too spends samples on windows in which
    nothing begins, and few families may all be of these.
    """
    if not exposure_s > 0.0:
        raise InputError(f"exposure = {exposure_s} s; must be > 0")
    counted = np.asarray(starts, dtype=np.float64)
    if counted.shape != (sampler.evaluations,):
        raise InputError(f"starts: shape {counted.shape}; must be ({sampler.evaluations},)")
    mean, (low, high), _ = sampler.expect(counted, value, with_unseen)
    if mean > 0.0:
        return Interval(
            mean / exposure_s, low / exposure_s, high / exposure_s, sampler.size, "subset simulation"
        )
    most = max(float(np.max(counted)), 1.0)
    return Interval(0.0, 0.0, sampler.unseen(value) * most / exposure_s, sampler.size, "no event: bound")
