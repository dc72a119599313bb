"""What breaks on the bench of the logic, and how often does it in a year?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scenarios.fault_keys import FaultKeys, fault_spec
from scenarios.load import library_scenarios
from scenarios.scenario import Scenario
from sim.faults import KINDS, FaultSpec
from sim.keyfile import read_toml, validate

BENCH = "bad-day"
"""The shipped scenario whose faults stand in where a scenario has none of its own."""

PAIRS = (
    ("azimuth late", "pass reading silent"),
    ("pass reading biased", "servo slow"),
    ("flap moment frozen", "pass reading silent"),
    ("computer late", "servo slow"),
)
"""Faults of the shipped bench that are also tried together: each hides, or slows the answer to, the other."""


@dataclass(frozen=True)
class Breakage:
    """One thing, or several at once, that breaks.

    Parameters
    ----------
    name : str
    specs : tuple of FaultSpec
    rate_per_year : float [1/a]
    lasts_s : float [s]
        How long it lasts where nobody mends it; infinite for most.
    """

    name: str
    specs: tuple[FaultSpec, ...]
    rate_per_year: float
    lasts_s: float

    @property
    def parts(self) -> tuple[str, ...]:
        """What is concerned: sensor, servo or machine."""
        return tuple(dict.fromkeys(KINDS[spec.kind].part for spec in self.specs))


def bench_of(scenario: Scenario) -> list[Breakage]:
    """Return the scenario's own faults, or those of the shipped bench that can happen to it."""
    own: Sequence[FaultKeys] = [FaultKeys(**table) for table in scenario.keys["faults"]]
    return _breakages(own or shipped(scenario), scenario.keys["reliability"])


def pairs_of(scenario: Scenario) -> list[Breakage]:
    """Return pairs of the bench's faults that break together."""
    single = {breakage.name: breakage for breakage in bench_of(scenario)}
    return [
        Breakage(
            f"{one} + {two}",
            single[one].specs + single[two].specs,
            0.0,
            min(single[one].lasts_s, single[two].lasts_s),
        )
        for one, two in PAIRS
        if one in single and two in single
    ]


def shipped(scenario: Scenario) -> list[FaultKeys]:
    """Return the shipped bench's faults without those of sensors that the scenario has not.

    What befalls a third blade befalls the last of a rotor with fewer: which one it is matters little.
    """
    path = library_scenarios()[BENCH]
    data, lines = read_toml(path)
    fitted = {name for name, _ in scenario.candidate_case.sensors.delays}
    blades = scenario.candidate.design.rotor.blade_count
    told = [validate(FaultKeys, table, lines, path) for table in data["faults"]]
    lacking = {keys.name for keys in told if keys.sensor and keys.sensor not in fitted}
    return [
        keys if keys.blade is None else keys.model_copy(update={"blade": min(keys.blade, blades)})
        for keys in told
        if keys.name not in lacking
    ]


def _breakages(faults: Sequence[FaultKeys], rates: Mapping[str, Any]) -> list[Breakage]:
    """Join what breaks together; the rate is that of its rarest part."""
    found = []
    for name in dict.fromkeys(keys.name for keys in faults):
        mine = [keys for keys in faults if keys.name == name]
        specs = tuple(fault_spec(keys) for keys in mine)
        each = [_rate(keys, spec, rates) for keys, spec in zip(mine, specs, strict=True)]
        lasts = [float("inf") if keys.duration_s is None else keys.duration_s for keys in mine]
        found.append(Breakage(name, specs, min(each), max(lasts)))
    return found


def _rate(keys: FaultKeys, spec: FaultSpec, rates: Mapping[str, Any]) -> float:
    if keys.rate_per_year is not None:
        return keys.rate_per_year
    return rates[f"{KINDS[spec.kind].part}_faults_per_year"]
