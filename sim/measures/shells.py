"""What do the levels of a subset simulation tell of a region, or of an event that can happen only there?"""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from sim.errors import InputError
from sim.measures.estimate import (
    Estimate,
    Population,
    bound,
    crude_estimate,
    family_variation,
    lognormal_interval,
)
from sim.measures.jumps import jump_warning
from sim.measures.rungs import product_variation
from sim.measures.statistics import CONFIDENCE

SHARE = 0.1
"""Share of a level's samples that found the next (Au & Beck 2001; measured here: the cheapest of 0.1-0.5)."""


class Levels:
    """The levels that were sampled, one within the other, and what they tell."""

    def __init__(self) -> None:
        self.populations: list[Population] = []
        self.evaluations = 0
        self.done = False
        self.sharpest: list[float] = []  #: change of the limit state over the typical one, each level
        self._terms: list[float] = []  #: squared variation of each level by the formula of Au and Beck

    @property
    def formula_variation(self) -> float:
        """The estimate's coefficient of variation after Au & Beck, levels taken as independent."""
        return sqrt(np.nansum(self._terms))

    def _formula(self, level: Population) -> float:
        """Return that of the product of the shares up to a level: few families tell too little of it."""
        return product_variation(self._terms[: self.populations.index(level) + 1])

    def population(self, value: float) -> Population:
        """Return the level from which the probability of falling below a value is best told."""
        self._check_done()
        for level in self.populations:
            if np.mean(level.values <= value) >= SHARE:
                return level
        return self.populations[-1]

    def shells(self, value: float) -> list[tuple[Population, Any]]:
        """Return the levels that tell what happens below a value, and which of their particles count.

        Notes
        -----
        Every level counts those of its particles that have not reached the next one, so that each part of the
        region is told by the level with the most samples there, and none is counted twice.
        """
        first = self.population(value)
        levels = {
            level.reached: level for level in self.populations if level.reached <= first.reached
        }  # of a level that was sampled anew the last
        told = list(levels.values())
        cuts = [*(deeper.level for deeper in told[1:]), -inf]
        return [
            (level, (level.values <= value) & (level.values > cut))
            for level, cut in zip(told, cuts, strict=True)
        ]

    def expect(
        self, weights: ArrayLike, value: float = 0.0, with_unseen: bool = True
    ) -> tuple[float, tuple[float, float], float]:
        """Return the expectation of a quantity that is zero unless the limit state falls below a value.

        Parameters
        ----------
        weights : (evaluation,) float64 [any]
            Of every evaluation, in the order in which they were told; not negative.
        value : float [any]
            0 is the limit itself.
        with_unseen : bool
            Whether the upper end holds what shells in which nothing was seen can hide.

        Returns
        -------
        value : float, interval : (low, high), coefficient of variation : float

        Notes
        -----
        sum over `shells` of reached x mean(weight). The variation is that of the families' sums over all
        shells, or that of the formula, averaged over the shells by what each adds, where that is larger. What
        a shell in which nothing was seen can hide is added to the upper end: a rare event that does not care
        how deep it lies is seen first in the many samples of small weight far within.
        """
        given = np.asarray(weights, dtype=np.float64)
        shells = self.shells(value)
        parts = [level.reached / level.values.size * given[level.origins] * here for level, here in shells]
        added = np.array([np.sum(part) for part in parts])
        found = float(np.sum(added))
        if not found > 0.0:
            return 0.0, (0.0, nan), inf
        families = np.concatenate([level.families for level, _ in shells])
        formula = np.array([self._formula(level) for level, _ in shells])
        variation = max(
            family_variation(families, np.concatenate(parts)), float(np.sum(added * formula)) / found
        )
        low, high = lognormal_interval(found, variation)
        if not with_unseen:
            return found, (low, high), variation
        empty = [shell for shell, here in zip(shells, added, strict=True) if here == 0.0]
        hidden = sum(level.reached * float(np.mean(here)) * _hidden(level, here) for level, here in empty)
        return found, (low, high + float(np.max(given)) * hidden), variation

    def event(self, happened: ArrayLike, value: float = 0.0) -> Estimate:
        """Return the probability of an event that can happen only where the limit state falls below a value.

        Parameters
        ----------
        happened : (evaluation,) bool
            In every evaluation, in the order in which they were told.
        value : float [any]

        Notes
        -----
        From the first level alone, with its exact interval, where a tenth of it saw the event; else from all.
        """
        told = np.asarray(happened, dtype=bool)
        level = self.population(value)
        if level is self.populations[0]:
            found = crude_estimate(np.where(told[level.origins] & (level.values <= value), -1.0, 1.0))
            if found.probability >= SHARE:
                return found
        probability, (low, high), variation = self.expect(told, value)
        if probability > 0.0:
            return Estimate(probability, (low, min(high, 1.0)), variation, self.evaluations)
        return bound(self.unseen(value), self.evaluations, float(np.min(self.populations[-1].values)))

    def unseen(self, value: float = 0.0) -> float:
        """Bound the probability of an event that can happen only below a value, and was not seen there.

        Notes
        -----
        The upper end of the probability of falling below the value, times what independent families there can
        hide: 1 - 0.025^(1/n) of n families.
        """
        level = self.population(value)
        below = level.values <= value
        if not np.any(below):
            return self.below(value).interval[1]
        return self.below(value).interval[1] * _hidden(level, below)

    def result(self) -> Estimate:
        """Return the estimate, or the bound where no sample reached the limit.

        Raises
        ------
        InputError
            Before all values were told.
        """
        return self.below(0.0)

    def below(self, value: float) -> Estimate:
        """Return the probability that the limit state falls to a value or below; 0 is the limit itself."""
        return replace(self._below(value), warning=jump_warning(self.sharpest))

    def _below(self, value: float) -> Estimate:
        level = self.population(value)
        if not np.any(level.values <= value):
            return self._bound(level)
        if level is self.populations[0]:
            return crude_estimate(level.values - value)
        found, (low, high), variation = self.expect(np.ones(self.evaluations), value)
        return Estimate(found, (low, min(high, 1.0)), variation, self.evaluations)

    def _check_done(self) -> None:
        if not self.done:
            raise InputError("subset simulation: not all values were told; ask and tell until done")

    def _bound(self, level: Population) -> Estimate:
        """Bound the probability by that of the last level times what its independent ancestors can hide."""
        spread = max(level.spread, self._formula(level) if level.level < inf else 0.0)
        hidden = 1.0 - (0.5 * (1.0 - CONFIDENCE)) ** min(spread**2, 1.0)
        outer = lognormal_interval(level.reached, spread)[1] if level.level < inf else 1.0
        return bound(outer * hidden, self.evaluations, float(np.min(level.values)))


def _hidden(level: Population, here: Any) -> float:
    """Return the share of an event that particles of a level can hide at most, where none of them saw it.

    Notes
    -----
    The exact bound at none of n seen, with n = 1 / variation^2 of their families for the independent ones.
    """
    if not np.any(here):
        return 0.0
    variation = family_variation(level.families[here], np.ones(np.count_nonzero(here)))
    return 1.0 - (0.5 * (1.0 - CONFIDENCE)) ** (variation**2)
