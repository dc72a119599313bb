"""How often, in each stratum of wind, is the logic needed, acting, right and wrong?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.measures.labels import SWEPT, Labels
from sim.measures.logic import Ledger
from sim.measures.statistics import Interval, clopper_pearson, share_over_units

Floats = NDArray[np.float64]
COUNTED = "counted: every action was marched on without the logic"


@dataclass(frozen=True)
class StratumRates:
    """How often in one stratum of wind; never pooled with another.

    Parameters
    ----------
    stratum : str
    counts : dict of str to float
        The ledger of the stratum.
    demand : Interval
        Share of passes that break without the logic (saved and missed).
    miss : Interval
        Share of demands that the logic did not save.
    acting : Interval
        Share of passes at which it acted.
    needless : Interval
        Share of its actions where there was no demand.
    harm : Interval
        Share of passes that broke only because of it.
    saved : Interval
        The saved passes of the ledger, with what the draw of the forks alone leaves open.
    """

    stratum: str
    counts: dict[str, float]
    demand: Interval
    miss: Interval
    acting: Interval
    needless: Interval
    harm: Interval
    saved: Interval

    @property
    def is_drawn(self) -> bool:
        """Whether saved and needless passes are estimated from some of the actions."""
        return self.saved.method != COUNTED


def rates_per_stratum(
    ledger: Ledger, labels: Labels, weight: ArrayLike = 1.0, seed: int = 0
) -> list[StratumRates]:
    """Return the rates of each stratum of wind, with intervals over seeds.

    Parameters
    ----------
    ledger : Ledger
    labels : Labels
    weight : () or (case,) float64 [-]
        What a pass of the case counts, like the hours that it stands for; 1 gives shares of the passes
        marched. The counts themselves stay unweighted.
    seed : int
        Of the bootstrap.

    Returns
    -------
    list of StratumRates
        In the order in which the strata appear.

    Notes
    -----
    The unit is the case: one seed at one wind speed. Deterministic gusts and steady winds have no seeds:
    their shares are shares of the phases or speeds swept, no probabilities, and have no interval.
    """
    strata = labels.strata()
    scale = np.broadcast_to(np.asarray(weight, dtype=np.float64), (labels.size,))
    found = []
    for stratum in dict.fromkeys(strata):
        inside = np.array([name == stratum for name in strata])
        quiet, saved, missed, needless, harmed = (ledger.counts[inside] * scale[inside, None]).T
        passes = quiet + saved + missed + needless + harmed
        acted = ledger.acted[inside] * scale[inside]
        share = _shares(labels, inside, seed)
        found.append(
            StratumRates(
                stratum,
                ledger.total(inside),
                demand=share(saved + missed, passes),
                miss=share(missed, saved + missed),
                acting=share(acted, passes),
                needless=share(needless, acted),
                harm=share(harmed, passes),
                saved=_saved(ledger, inside),
            )
        )
    return found


def _saved(ledger: Ledger, inside: NDArray[np.bool_]) -> Interval:
    """Return the saved passes of one stratum and what the draw of the forks leaves open.

    Notes
    -----
    Where every acted pass that held has a fork, the number is known. Else the bound is that of Clopper and
    Pearson on the share of demands among the forks drawn, as if all had been drawn alike, times the acted
    passes that held. It says nothing of other seeds; the shares' intervals do.
    """
    counts = ledger.total(inside)
    held = counts["saved"] + counts["needless"]
    told, demanded = (int(number) for number in np.sum(ledger.forks[inside], axis=0))
    value = counts["saved"]
    if told >= held:
        return Interval(value, value, value, told, COUNTED)
    if told == 0:
        return Interval(value, np.nan, np.nan, 0, "no fork: all taken for needless")
    low, high = (held * end for end in clopper_pearson(demanded, told))
    return Interval(value, min(low, value), max(high, value), told, "exact bound on the forks drawn")


def _shares(labels: Labels, inside: NDArray[np.bool_], seed: int) -> Callable[[Floats, Floats], Interval]:
    """Return the function that makes a share of one stratum, with the interval that it can carry."""
    group = labels.bins()[0][inside]
    swept = next((kind for kind in SWEPT if np.any(np.asarray(labels.kind)[inside] == kind)), "")

    def share(events: Floats, trials: Floats) -> Interval:
        if not swept:
            return share_over_units(events, trials, group, seed=seed)
        total = float(np.sum(trials))
        value = float(np.sum(events)) / total if total > 0.0 else np.nan
        units = int(np.count_nonzero(trials))
        what = "phases" if swept == "event" else "steady winds"
        return Interval(value, np.nan, np.nan, units, f"no interval: a share of the {what} swept")

    return share
