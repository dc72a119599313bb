"""What do the loads of an entry amount to over a life, and against a baseline in the same winds?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.life import CHANNELS, Life
from scenarios.studies.assess import Assessment
from scenarios.studies.telling import interval_data
from sim.counting import parts
from sim.measures.equivalent import cycle_rates
from sim.measures.lifetime import PairedRatio, paired_ratio, split_hours
from sim.measures.spectrum import Spectrum, range_mean_rows
from sim.measures.statistics import Interval, cluster_bootstrap

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LifeLoads:
    """The counted loads of one entry.

    Parameters
    ----------
    entry : Assessment
    life : Life
    hours : (case,) float64 [h]
        A year, of the bin of normal turbulence that each case belongs to; 0 for all others.
    per_year : (case,) float64 [-]
        How often a year each event comes that the scenario gives a rate.
    spectra : name of a channel to [part][case] Spectrum
    rates : name of a channel to (case, part) float64 [(N m)^m / s]
    """

    entry: Assessment
    life: Life
    hours: Floats
    per_year: Floats
    spectra: Mapping[str, list[list[Spectrum]]]
    rates: Mapping[str, Floats]

    @property
    def seconds(self) -> Floats:
        """Length of each case, (case,) float64 [s]."""
        return self.entry.gathered.column("judged_s")

    @property
    def production(self) -> Floats:
        """Seconds a year that each case stands for, shared out within its bin, (case,) float64 [s]."""
        ran = np.array([result is not None for result in self.entry.gathered.results])
        return 3600.0 * split_hours(self.entry.gathered.labels, self.hours, ran)

    def weights(self) -> tuple[Floats, Floats]:
        """Return how often a year each case is lived through, in production and as an event, (case,) each."""
        seconds = self.seconds
        ran = seconds > 0.0
        often = np.where(ran, self.production / np.where(ran, seconds, 1.0), 0.0)
        return often, np.where(ran, self.per_year, 0.0)

    def yearly(self, channel: str) -> tuple[Floats, Floats]:
        """Return the sums of n S^m of a year in production and in events, (part,) float64 each."""
        each = np.nan_to_num(self.rates[channel]) * np.nan_to_num(self.seconds)[:, None]
        often, events = self.weights()
        return np.sum(often[:, None] * each, axis=0), np.sum(events[:, None] * each, axis=0)

    def damage(self, channel: str) -> float:
        """Return the damage of the life by the user's curve, of the worst part; nan where none is given."""
        curve = self.life.curve(channel)
        line = None if curve is None else curve.stress_curve()
        if line is None:
            return float("nan")
        often = np.add(*self.weights())
        each = [
            sum(n * s.damage(line) for n, s in zip(often, part, strict=True) if n > 0.0)
            for part in self.spectra[channel]
        ]
        return self.life.years * max(each)

    def worst_part(self, channel: str) -> int:
        """Return the part (blade) with the largest sum of a year in production."""
        return int(np.argmax(self.yearly(channel)[0]))

    def range_mean(self, channel: str) -> Floats:
        """Return the range-mean table of a year of the worst part, as `range_mean_rows` gives it."""
        return range_mean_rows(self.spectra[channel][self.worst_part(channel)], np.add(*self.weights()))

    def largest(self, channel: str) -> float:
        """Return the largest magnitude over all cases with the rotor turning [N m]; nan for an angle."""
        record = CHANNELS[channel].record
        if record == "pitch":
            return float("nan")
        names = [record] if record != "shaft_bending" else parts(record, 3)
        values = np.concatenate([self.entry.gathered.turning(f"{name}_max_Nm").ravel() for name in names])
        return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")


def count_loads(entry: Assessment, life: Life, hours: Floats) -> LifeLoads:
    """Gather the counted cycles of an entry in every channel.

    Parameters
    ----------
    entry : Assessment
    life : Life
    hours : (case,) float64 [h]
    """
    gathered = entry.gathered
    blades, seconds = gathered.cases[0].blade_count, gathered.column("judged_s")
    spectra = {
        name: [gathered.spectra(part) for part in parts(channel.record, blades)]
        for name, channel in CHANNELS.items()
    }
    rates = {
        name: cycle_rates(found, seconds, life.exponent(name), life.ultimate(name))
        for name, found in spectra.items()
    }
    alike: dict[str, int] = {}
    for case in gathered.cases:
        alike[case.load_case] = alike.get(case.load_case, 0) + 1
    per_year = np.array([(case.per_year or 0.0) / alike[case.load_case] for case in gathered.cases])
    return LifeLoads(entry, life, hours, per_year, spectra, rates)


def channel_data(mine: LifeLoads, other: LifeLoads, channel: str) -> dict[str, Any]:
    """Return one channel of the bill of an entry against a baseline, for machines."""
    life = mine.life
    exponent = life.exponent(channel)
    ratio = paired_ratio(
        (mine.rates[channel], other.rates[channel]),
        mine.entry.gathered.labels,
        mine.hours,
        exponent,
        life.reference_frequency,
    )
    production, events = (part.max() for part in mine.yearly(channel))
    both = _with_events(mine, other, channel)
    unit, scale = ("deg", 180.0 / np.pi) if CHANNELS[channel].record == "pitch" else ("kNm", 1e-3)
    return {
        "title": CHANNELS[channel].title,
        "ratio": ratio.ratio.value,
        "interval": interval_data(ratio.ratio),
        "exponent": exponent,
        "damage_ratio": ratio.damage_ratio,
        "unit": unit,
        "value": scale * ratio.value,
        "baseline_value": scale * ratio.reference,
        "reference_frequency_Hz": life.reference_frequency,
        "reference_count": life.reference_frequency * float(np.sum(mine.production)) * life.years,
        "worst_part": ratio.part + 1,
        "cases_lost": ratio.cases_lost,
        "ratio_with_events": both.value,
        "ratio_with_events_interval": interval_data(both),
        "share_of_events": events / (production + events) if production + events > 0.0 else float("nan"),
        "goodman_ultimate_kNm": None if (u := life.ultimate(channel)) is None else u / 1e3,
        "damage_of_life": mine.damage(channel),
        "baseline_damage_of_life": other.damage(channel),
        "largest_kNm": mine.largest(channel) / 1e3,
        "baseline_largest_kNm": other.largest(channel) / 1e3,
    } | _no_cycles(ratio)


def _with_events(mine: LifeLoads, other: LifeLoads, channel: str) -> Interval:
    """Return the ratio of ranges of a life, events included, of the worst part of each.

    Notes
    -----
    The interval is over seeds of production within each bin of wind. The events' rotor positions are swept,
    not drawn: their sums are held.
    """
    labels = mine.entry.gathered.labels
    hours = split_hours(labels, mine.hours, (mine.seconds > 0.0) & (other.seconds > 0.0))
    rows = np.flatnonzero(hours > 0.0)
    sums = [3600.0 * hours[rows, None] * loads.rates[channel][rows] for loads in (mine, other)]
    events = [loads.yearly(channel)[1] for loads in (mine, other)]
    parts = events[0].size

    def statistic(drawn: Floats) -> Floats:
        one, two = np.max(drawn[:, :parts] + events[0], axis=1), np.max(drawn[:, parts:] + events[1], axis=1)
        return np.where(two > 0.0, one / np.where(two > 0.0, two, 1.0), np.nan) ** (
            1.0 / mine.life.exponent(channel)
        )

    return cluster_bootstrap(statistic, np.column_stack(sums), labels.bins()[0][rows])


def ultimates_reached(loads: LifeLoads) -> list[str]:
    """Return one line for each ultimate moment of the user's that the mean of a cycle reaches."""
    found = []
    for name, rates in loads.rates.items():
        reached = np.isinf(rates).any(axis=1) & ~loads.entry.gathered.at_rest
        ultimate, rows = loads.life.ultimate(name), np.flatnonzero(reached)
        if ultimate is not None and rows.size:
            case = loads.entry.gathered.cases[int(rows[0])].title
            found.append(
                f"life.curves: ultimate_kNm = {ultimate / 1e3:g} of {name}; must be above the mean of every "
                f"cycle, and is not in {case}"
            )
    return found


def _no_cycles(ratio: PairedRatio) -> dict[str, Any]:
    if ratio.ratio.method.startswith("undefined"):
        return {"problem": f"ratio {ratio.ratio.method.replace('reference', 'baseline')}"}
    return {}
