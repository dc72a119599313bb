"""At which stiffness does a margin that grows with it just reach zero, in as few trials as possible?

Ask and tell: the margins are computed elsewhere, those of several stacks together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

FIRST = (0.8, 1.0)
"""Factors that are tried first."""
LOWEST, HIGHEST = 0.4, 1.6
"""Beyond these no softness is looked for."""
CLOSE = 0.01
"""Width of the bracket at which the search ends [-]."""
NEAR = 0.05
"""Margin [m] above zero at which a factor counts as just holding."""
_SAFE = 0.25  # of CLOSE, that a guess lies above the root of the chord
_MOST = 9  # trials


@dataclass
class Search:
    """One bisection, sped up by chords.

    Attributes
    ----------
    margins : mapping of factor [-] to margin [m]
    """

    margins: dict[float, float] = field(default_factory=dict)

    def ask(self) -> list[float]:
        """Return the factors to try next; empty when the search is over.

        Notes
        -----
        The bracket is the largest factor that breaks below the smallest that holds. Next comes the root of
        the chord, a little above it and within the bracket, and every third time its middle; without a
        bracket a wider factor.
        """
        if not self.margins:
            return list(FIRST)
        if self.is_over:
            return []
        low, high = self.breaks, self.holds
        if math.isnan(high):
            return [min(HIGHEST, 1.25 * max(self.margins))]
        if math.isnan(low):
            return [max(LOWEST, 0.85 * min(self.margins))]
        if len(self.margins) % 3 == 2:
            return [round(0.5 * (low + high), 4)]
        there, here = self.margins[low], self.margins[high]
        root = low - there * (high - low) / (here - there) + _SAFE * CLOSE
        edge = 0.25 * CLOSE
        return [round(min(max(root, low + edge), high - edge), 4)]

    def tell(self, factor: float, margin: float) -> None:
        """Take a margin; not a number counts as broken."""
        self.margins[factor] = -math.inf if math.isnan(margin) else margin

    @property
    def holds(self) -> float:
        """The smallest factor that holds and above which none breaks [-]; nan where none does."""
        held = [f for f, m in self.margins.items() if m >= 0.0 and not self._breaks_above(f)]
        return min(held, default=math.nan)

    @property
    def breaks(self) -> float:
        """The largest factor that breaks [-]; nan where none does."""
        return max((f for f, m in self.margins.items() if m < 0.0), default=math.nan)

    @property
    def slope(self) -> float:
        """Gain of margin with the factor about the root [m]; nan where it is not known."""
        finite = [(f, m) for f, m in self.margins.items() if math.isfinite(m)]
        about = sorted(finite, key=lambda pair: abs(pair[1]))
        for other in about[1:]:
            if abs(other[0] - about[0][0]) > 2.0 * CLOSE:
                return (other[1] - about[0][1]) / (other[0] - about[0][0])
        return math.nan

    @property
    def is_over(self) -> bool:
        """Whether the bracket is narrow, the margin just above zero, an end reached, or trials used up."""
        low, high = self.breaks, self.holds
        if len(self.margins) >= _MOST:
            return True
        if math.isnan(high):
            return max(self.margins) >= HIGHEST
        if 0.0 <= self.margins[high] < NEAR:
            return True
        return min(self.margins) <= LOWEST if math.isnan(low) else high - low <= CLOSE

    def _breaks_above(self, factor: float) -> bool:
        return any(m < 0.0 and f > factor for f, m in self.margins.items())
