"""What can be had from counted cycles that were kept as sums in cells of range, and not one by one?

The cells are those of `sim.kernels.tally`: an eighth of an octave of range each, so that a history of any
length takes the same memory. What closes no cycle is kept as turning points, and counts as half cycles.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.kernels import tally
from sim.measures.curve import StressCurve, check_exponent
from sim.measures.fatigue import count_points, goodman, turning_points

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spectrum:
    """The counted cycles of one history.

    Parameters
    ----------
    cells : (cell, 1 + SUMS) float64
        Number of the cell; sums over its cycles of count n, n S, n S^2, n u, n u^2, n S u, with range S and
        mean u. Cells without a cycle are left out.
    points : (point,) float64 [any]
        Turning points that close no cycle, first and last sample of the history among them.
    """

    cells: Floats
    points: Floats

    @property
    def is_empty(self) -> bool:
        """Whether there was no history at all."""
        return self.points.size == 0 and self.cells.size == 0

    def residue(self) -> tuple[Floats, Floats, Floats]:
        """Return ranges, means and counts of what the cells do not hold."""
        return count_points(self.points)

    def grouped(self) -> tuple[Floats, Floats, Floats]:
        """Return mean range, mean of means and count of each cell, then those of the residue.

        Returns
        -------
        ranges, means, counts : (cell + residue,) float64 [any, any, -]
        """
        count = self.cells[:, 1 + tally.COUNT]
        cells = (self.cells[:, 1 + tally.RANGE] / count, self.cells[:, 1 + tally.MEAN] / count, count)
        parts = zip(cells, self.residue(), strict=True)
        ranges, means, counts = (np.concatenate(pair) for pair in parts)
        return ranges, means, counts

    def sum_of(self, harm: Callable[[Floats, Floats], Floats]) -> float:
        """Return the sum over all cycles of a smooth function of range and mean.

        Parameters
        ----------
        harm : (ranges, means) -> (cycle,) float64 [any]

        Notes
        -----
        In each cell n [f + (f_SS var S + f_uu var u) / 2 + f_Su cov] about the mean point, derivatives by
        differences over one standard deviation. Derived here: Taylor's series to second order; as a cell is
        9 % wide, what is left is below 0.8 % of a sum of S^10, 0.08 % of its range, were all cycles
        at the ends of their cells, and a tenth of that for real loads. The residue is summed as it is.
        Infinite where the function is so at any of these points.
        """
        ranges, means, counts = self.residue()
        total = float(np.sum(counts * harm(ranges, means)))
        if self.cells.size == 0:
            return total
        with np.errstate(invalid="ignore"):
            found = total + self._sum_of_cells(harm)
        return found if np.isfinite(found) else np.inf

    def _sum_of_cells(self, harm: Callable[[Floats, Floats], Floats]) -> float:
        count = self.cells[:, 1 + tally.COUNT]
        span, square, mean, mean_square, product = (
            self.cells[:, 1 + n] / count for n in range(1, tally.SUMS)
        )
        step_s = np.sqrt(np.maximum(square - span**2, 0.0))
        step_u = np.sqrt(np.maximum(mean_square - mean**2, 0.0))
        cov = product - span * mean
        spread = step_s * step_u
        share = np.clip(np.where(spread > 0.0, cov / np.where(spread > 0.0, spread, 1.0), 0.0), -1.0, 1.0)
        middle = harm(span, mean)
        both = 0.5 * (harm(span + step_s, mean) + harm(np.maximum(span - step_s, 0.0), mean)) - middle
        aside = 0.5 * (harm(span, mean + step_u) + harm(span, mean - step_u)) - middle
        corners = harm(span + step_s, mean + step_u) + harm(np.maximum(span - step_s, 0.0), mean - step_u)
        corners = corners - harm(span + step_s, mean - step_u)
        corners = 0.25 * (corners - harm(np.maximum(span - step_s, 0.0), mean + step_u))
        return float(np.sum(count * (middle + both + aside + share * corners)))

    def power_sum(self, exponent: float, ultimate: float | None = None) -> float:
        """Return the sum of n S^m, with Goodman's correction where an ultimate load is given.

        Parameters
        ----------
        exponent : float [-]
            m, at least 1.
        ultimate : float [any], optional
            As in `sim.measures.fatigue.goodman`.

        Returns
        -------
        float [any^m]
            Infinite where the mean of a cycle reaches the ultimate load.

        Raises
        ------
        InputError
            Where the exponent is below 1 or the ultimate load is not positive.
        """
        check_exponent(exponent, "exponent")
        if ultimate is None:
            return self.sum_of(lambda span, _: span**exponent)
        return self.sum_of(lambda span, mean: goodman(span, mean, ultimate) ** exponent)

    def damage(self, curve: StressCurve) -> float:
        """Return the sum of n / N(S) after Palmgren and Miner; 1 is the end of life.

        Parameters
        ----------
        curve : StressCurve
        """
        return self.sum_of(lambda span, _: 1.0 / curve.cycles_to_failure(span))

    def cycles_above(self, edges: ArrayLike) -> Floats:
        """Return how many cycles have a range above each of several.

        Parameters
        ----------
        edges : (edge,) float64 [any]

        Returns
        -------
        (edge,) float64 [-]
            Half cycles as a half. A cell counts as a whole, at its mean range.

        Notes
        -----
        A movement that turns round only when the way back is longer than d does so twice for each cycle of a
        range above d (rainflow closes exactly those reversals in pairs).
        """
        ranges, _, counts = self.grouped()
        return np.array([np.sum(counts[ranges > edge]) for edge in np.asarray(edges, dtype=np.float64)])


#: What a case has that did not run.
NOTHING = Spectrum(np.zeros((0, 1 + tally.SUMS)), np.zeros(0))


def spectrum_of(series: ArrayLike, unit: float) -> Spectrum:
    """Count the cycles of a history into cells.

    Parameters
    ----------
    series : (sample,) float64 [any]
    unit : float [any]
        Ranges below it share a cell; above 0.

    Raises
    ------
    InputError
        Where a sample is not finite or the unit is not positive.
    """
    if not 0.0 < unit < np.inf:
        raise InputError(f"unit = {unit}; must be > 0")
    points = turning_points(series)
    cells = np.zeros((tally.CELLS, tally.SUMS))
    left = tally.close_all(points, points.size, cells, unit, points.size)
    used = np.flatnonzero(cells[:, tally.COUNT])
    return Spectrum(np.column_stack([used.astype(np.float64), cells[used]]), points[:left])


def range_mean_rows(spectra: Sequence[Spectrum], weights: ArrayLike) -> Floats:
    """Return the range-mean table of many histories, each counted with a weight.

    Parameters
    ----------
    spectra : sequence of Spectrum
    weights : (history,) float64 [-]
        Like hours over the length of the history.

    Returns
    -------
    (cell, 4) float64
        Mean range [any], mean of the means [any], their standard deviation [any], count [-]; rising range.
        The residues are not in it.
    """
    total = np.zeros((tally.CELLS, tally.SUMS))
    for spectrum, weight in zip(spectra, np.asarray(weights, dtype=np.float64), strict=True):
        np.add.at(total, spectrum.cells[:, 0].astype(np.int64), weight * spectrum.cells[:, 1:])
    total = total[total[:, tally.COUNT] > 0.0]
    count = total[:, tally.COUNT]
    mean = total[:, tally.MEAN] / count
    spread = np.sqrt(np.maximum(total[:, tally.MEAN_SQUARED] / count - mean**2, 0.0))
    return np.column_stack([total[:, tally.RANGE] / count, mean, spread, count])
