"""How often was the tower-pass logic right: the ledger of its passes?

Where the logic did not act, the pass shows what happens without it: *quiet* where it held, *missed* where it
broke the requirement. Where it acted, a fork tells: *saved* (broken without, held with), *missed* (broken
with and without), *needless* (held with and without), *harmed* (broken with, held without).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError, RunError
from sim.measures.labels import Labels

Floats = NDArray[np.float64]
WORDS = ("quiet", "saved", "missed", "needless", "harmed")

#: Estimated counts are kept to this step, a power of two, so that their sums are exact in any order.
STEP = 2.0**-20


@dataclass(frozen=True)
class Passes:
    """The passes of one entry, one row per pass.

    Parameters
    ----------
    case : (pass,) int64
        Row of the pass's case.
    acted : (pass,) bool
    clearance, clearance_without : (pass,) float64 [m]
        Without: not a number where it is not known.
    weight : (pass,) float64 [-]
        For an acted pass, 1 over the probability with which its fork was marched, 0 where it was not; the
        first broken passes of each case have one for certain. Not used where the logic did not act.
    required : (pass,) or () float64 [m]
        A pass is broken where its clearance is below this.
    """

    case: NDArray[np.int64]
    acted: NDArray[np.bool_]
    clearance: Floats
    clearance_without: Floats
    weight: Floats
    required: Floats | float


@dataclass(frozen=True)
class Ledger:
    """Counts of the five classes per case; they sum exactly to the passes of the case.

    Parameters
    ----------
    counts : (case, 5) float64 [-]
        In the order of `WORDS`; whole numbers where no fork was thinned.
    acted : (case,) float64 [-]
        Passes at which the logic acted; known exactly.
    pooled : (case,) float64 [-]
        Passes whose class was shared out by the forks of other cases, as their own case had none.
    assumed : (case,) float64 [-]
        Passes of which no fork at all can tell: charged to the logic, as needless or harmed.
    forks_lost : int
        Forks that were drawn and did not come to an answer.
    forks : (case, 2) float64 [-]
        Acted passes that held and of which a fork tells; how many of them would have broken without it.
    """

    counts: Floats
    acted: Floats
    pooled: Floats
    assumed: Floats
    forks_lost: int
    forks: Floats

    @property
    def passes(self) -> Floats:
        """Number of passes of each case, (case,) float64."""
        return np.sum(self.counts, axis=1)

    def total(self, cases: ArrayLike | None = None) -> dict[str, float]:
        """Return the counts summed over all cases, or over the chosen rows.

        Parameters
        ----------
        cases : (case,) bool or int, optional

        Returns
        -------
        dict of str to float
            One entry for each of `WORDS`.
        """
        chosen = self.counts if cases is None else self.counts[np.asarray(cases)]
        return dict(zip(WORDS, np.sum(chosen, axis=0).tolist(), strict=True))


def classify(passes: Passes) -> NDArray[np.str_]:
    """Name the class of each pass.

    Parameters
    ----------
    passes : Passes

    Returns
    -------
    (pass,) str
        One of `WORDS`, or "unknown" where the logic acted and no fork tells what would have been.

    Raises
    ------
    RunError
        Where a clearance is not a number.
    """
    _check(passes)
    broken = passes.clearance < passes.required
    broken_without = np.where(passes.acted, passes.clearance_without, passes.clearance) < passes.required
    word = np.where(
        passes.acted,
        np.where(
            broken,
            np.where(broken_without, "missed", "harmed"),
            np.where(broken_without, "saved", "needless"),
        ),
        np.where(broken, "missed", "quiet"),
    )
    return np.where(passes.acted & ~_told(passes), "unknown", word)


def make_ledger(passes: Passes, labels: Labels) -> Ledger:
    """Count the classes of the passes of every case, also where forks were thinned.

    Parameters
    ----------
    passes : Passes
    labels : Labels
        One row per case.

    Returns
    -------
    Ledger

    Raises
    ------
    InputError
        Where a pass names a case that is not there.
    RunError
        Where a clearance is not a number.

    Notes
    -----
    Known exactly: whether the logic acted, and whether the pass broke. So quiet, the missed passes without
    action, and the numbers of acted passes that held and that broke are counted, not estimated. Only how
    those two split (saved or needless; missed or harmed) comes from the forks, by the ratio of the summed
    weights within the case. Where a case has no fork of that kind, the ratio is that of all cases of the same
    condition and speed, then of the same stratum of wind (counted in `pooled`); where there is none either,
    the passes are charged to the logic (counted in `assumed`). Derived here: a post-stratified ratio
    estimator; its bias is of the order of one over the number of forks.

    References
    ----------
    W. G. Cochran, "Sampling Techniques", 3rd ed., Wiley 1977, sections 5A.9 and 6.
    """
    _check(passes)
    size = labels.size
    if passes.case.size and not 0 <= passes.case.min() <= passes.case.max() < size:
        raise InputError(f"passes: case {passes.case.max()} is not one of the {size} cases")
    broken = passes.clearance < passes.required
    counts = np.zeros((size, len(WORDS)))
    pooled, assumed = np.zeros(size), np.zeros(size)
    counts[:, 0] = _count(passes.case, ~passes.acted & ~broken, size)
    counts[:, 2] = _count(passes.case, ~passes.acted & broken, size)
    for held, demand_word, other_word in ((True, 1, 3), (False, 2, 4)):
        cell = passes.acted & (broken != held)
        number = _count(passes.case, cell, size)
        share, source = _demand_share(passes, cell, labels)
        demanded = np.round(number * share / STEP) * STEP
        counts[:, demand_word] += demanded
        counts[:, other_word] += number - demanded
        pooled += np.where(source == 1, number, 0.0)
        assumed += np.where(source == 2, number, 0.0)
    lost = int(np.count_nonzero(passes.acted & (passes.weight > 0.0) & ~_told(passes)))
    told = passes.acted & ~broken & _told(passes)
    demanded = told & (passes.clearance_without < passes.required)
    forks = np.stack([_count(passes.case, told, size), _count(passes.case, demanded, size)], axis=1)
    return Ledger(counts, _count(passes.case, passes.acted, size), pooled, assumed, lost, forks)


def _check(passes: Passes) -> None:
    if not np.all(np.isfinite(passes.clearance)):
        where = int(np.flatnonzero(~np.isfinite(passes.clearance))[0])
        raise RunError(f"pass {where} of case {passes.case[where]}: its clearance is not a number")


def _told(passes: Passes) -> NDArray[np.bool_]:
    """Say of which passes a fork tells what would have been without the logic."""
    return (passes.weight > 0.0) & np.isfinite(passes.clearance_without)


def _count(index: NDArray[np.int64], chosen: NDArray, size: int) -> Floats:
    """Sum a bool or a weight of each pass over the passes of each case, or of each group of cases."""
    return np.bincount(index, np.asarray(chosen, dtype=np.float64), size).astype(np.float64)


def _demand_share(
    passes: Passes, cell: NDArray[np.bool_], labels: Labels
) -> tuple[Floats, NDArray[np.int64]]:
    """Estimate which share of the acted passes of one kind would have broken without the logic, per case.

    The second array says from where: 0 the case's own forks, 1 pooled ones, 2 nothing (the share is then 0).
    """
    told = np.where(cell & _told(passes), passes.weight, 0.0)
    demanded = np.where(passes.clearance_without < passes.required, told, 0.0)
    share = np.zeros(labels.size)
    source = np.full(labels.size, 2, dtype=np.int64)
    stratum = np.unique(labels.strata(), return_inverse=True)[1]
    for group, rank in ((stratum, 1), (labels.bins()[0], 1), (np.arange(labels.size), 0)):
        below = _count(group[passes.case], told, labels.size)[group]
        above = _count(group[passes.case], demanded, labels.size)[group]
        known = below > 0.0
        share = np.where(known, above / np.where(known, below, 1.0), share)
        source = np.where(known, rank, source)
    return share, source
