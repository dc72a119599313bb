"""What do the results of a campaign amount to for each entry: room, ledger, bill?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scenarios.scenario import Scenario
from scenarios.store import CaseResult
from scenarios.studies.gather import Gathered, gather, yearly_hours
from sim.counting import parts
from sim.measures.clearance import Verdict, broken_passes, judge, strikes
from sim.measures.energy import energy_ratio, travel_per_hour
from sim.measures.equivalent import cycle_rates
from sim.measures.lifetime import PairedRatio, paired_ratio, split_hours
from sim.measures.logic import Ledger, make_ledger
from sim.measures.rates import StratumRates, rates_per_stratum
from sim.measures.statistics import Interval

REFERENCE_FREQUENCY_HZ = 1.0
COMPOSITE, STEEL = 10.0, 4.0
"""Exponents of the stress curves: composites about 10, welded steel 3 to 4 (common practice, no source)."""

CHANNELS: Mapping[str, tuple[str, float]] = {
    "blade_root_flap_kNm": ("root_flap_moment", COMPOSITE),
    "blade_root_edge_kNm": ("root_edge_moment", COMPOSITE),
    "tower_base_fore_aft_kNm": ("tower_base_fore_aft", STEEL),
}
"""Channels of the bill: the turning points that they are counted from, and the exponent."""


@dataclass(frozen=True)
class Bill:
    """What an entry costs against the first one, in the same winds of normal turbulence.

    ``equivalent`` [N m] by the names of CHANNELS; ``energy`` [W], mean power; ``travel`` [deg/h].
    """

    equivalent: Mapping[str, PairedRatio]
    energy: PairedRatio
    travel: Interval


@dataclass(frozen=True)
class Assessment:
    """Everything that a study says of one entry."""

    gathered: Gathered
    verdict: Verdict
    ledger: Ledger
    rates: Sequence[StratumRates]
    bill: Bill
    largest: Mapping[str, float]  #: largest moments, rotor turning [kNm], by the names of CHANNELS

    @property
    def name(self) -> str:
        """The entry's name."""
        return self.gathered.entry.name

    @property
    def stack(self) -> list[str]:
        """The layers, from the lowest up."""
        return [layer.name for layer in self.gathered.entry.stack]

    @property
    def has_logic(self) -> bool:
        """Whether the stack holds a layer that acts for the sake of the tower passage."""
        return any(layer.load().tower_pass for layer in self.gathered.entry.stack)

    @property
    def pass_count(self) -> int:
        """Passes of all cases that ran."""
        return int(self.gathered.passes["case"].size)

    @property
    def broken(self) -> int:
        """Passes that left less than what must remain."""
        passes = self.gathered.passes
        return broken_passes(passes["clearance_m"], self.gathered.must[passes["case"]])

    @property
    def strikes(self) -> int:
        """Passes in which the blade met the tower."""
        return strikes(self.gathered.passes["clearance_m"])


def assess(scenario: Scenario, results: Mapping[str, CaseResult]) -> list[Assessment]:
    """Judge every entry of a scenario.

    Parameters
    ----------
    scenario : Scenario
    results : mapping of a case's key to its result
        A case that is missing counts as failed.

    Returns
    -------
    list of Assessment
        In the order of the entries.
    """
    gathered = [gather(scenario, entry, results) for entry in scenario.entries]
    hours = yearly_hours(scenario, gathered[0])
    rates = [_cycle_rates(item, hours) for item in gathered]
    return [
        _assess(item, gathered[0], hours, (mine, rates[0]))
        for item, mine in zip(gathered, rates, strict=True)
    ]


def _assess(
    mine: Gathered, reference: Gathered, hours: np.ndarray, rates: tuple[dict[str, Any], dict[str, Any]]
) -> Assessment:
    smallest = mine.column("smallest_clearance_m")
    ledger = make_ledger(mine.judged_passes, mine.labels)
    ran = np.array([result is not None for result in mine.results])
    weight = np.where(mine.normal, split_hours(mine.labels, hours, ran), 1.0)
    strata = rates_per_stratum(ledger, mine.labels, weight)
    turning = {name for name, rests in zip(mine.labels.strata(), mine.at_rest, strict=True) if not rests}
    return Assessment(
        gathered=mine,
        verdict=judge(mine.labels, smallest, mine.must),
        ledger=ledger,
        rates=[rates for rates in strata if rates.stratum in turning],
        bill=_bill(mine, reference, hours, rates),
        largest=_largest(mine),
    )


def _bill(
    mine: Gathered, reference: Gathered, hours: np.ndarray, rates: tuple[dict[str, Any], dict[str, Any]]
) -> Bill:
    equivalent = {
        name: paired_ratio(
            (rates[0][name], rates[1][name]), mine.labels, hours, exponent, REFERENCE_FREQUENCY_HZ
        )
        for name, (_, exponent) in CHANNELS.items()
    }
    judged = (mine.column("judged_s"), reference.column("judged_s"))
    energy = energy_ratio((mine.column("energy_J"), reference.column("energy_J")), judged, mine.labels, hours)
    travel = travel_per_hour(_by_blade(mine), judged[0], mine.labels, hours)
    return Bill(equivalent, energy, travel)


def _cycle_rates(gathered: Gathered, hours: np.ndarray) -> dict[str, np.ndarray]:
    """Count the cycles of each channel: (case, part) sums of n S^m per second, nan where no hours are."""
    judged = np.where(hours > 0.0, gathered.column("judged_s"), np.nan)
    rates = {}
    for name, (channel, exponent) in CHANNELS.items():
        each = parts(channel, gathered.cases[0].blade_count)
        rates[name] = cycle_rates([gathered.spectra(part) for part in each], judged, exponent)
    return rates


def _by_blade(gathered: Gathered) -> np.ndarray:
    travel = gathered.column("pitch_travel_rad")
    return travel if travel.ndim == 2 else travel[:, None]


def _largest(gathered: Gathered) -> dict[str, float]:
    """Return the largest moment of each channel over all cases with the rotor turning, gusts too [kNm]."""
    found = {}
    for name, (channel, _) in CHANNELS.items():
        values = gathered.turning(f"{channel}_max_Nm")
        found[name] = float(np.nanmax(values)) / 1e3 if np.isfinite(values).any() else float("nan")
    return found
