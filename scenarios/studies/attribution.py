"""What does a thousand actions of the logic cost, against the same turbine without it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.life import CHANNELS
from scenarios.store import CaseResult, Store
from scenarios.studies.amounts import number
from scenarios.studies.bearing import actions
from scenarios.studies.life_loads import LifeLoads
from scenarios.studies.recount import WATCHED, recount
from scenarios.studies.telling import interval_data
from sim.measures.energy import per_thousand_actions
from sim.measures.lifetime import split_hours
from sim.measures.statistics import Interval, cluster_bootstrap

Floats = NDArray[np.float64]

DEGREE, KILOWATT_HOUR = 180.0 / np.pi, 1.0 / 3.6e6
MOST = 5
"""Pairs of histories that are marched again, one for each wind speed, evenly over the speeds with actions."""


def plain_baseline(loads: Sequence[LifeLoads]) -> LifeLoads | None:
    """Return the loads of the entry that is the candidate without its tower-pass layers."""
    from scenarios.studies.featured import plain_twin

    twin = plain_twin([item.entry for item in loads])
    return next((item for item in loads if item.entry is twin), None)


def attribute(loads: Sequence[LifeLoads], store: Store | None) -> dict[str, Any]:
    """Return what a thousand actions of the last entry add, with the closure error of single actions.

    Parameters
    ----------
    loads : of all entries
    store : Store
        Of the histories that are recounted for the closure error; without it none is told.
    """
    mine, plain = loads[-1], plain_baseline(loads)
    if plain is None:
        return {"why_not": "no entry is its turbine and stack without its tower-pass logic"}
    acted = actions(mine.entry)
    pairs = _Pairs.of(mine, plain, acted)
    yearly = cluster_bootstrap(lambda sums: sums[:, 0], pairs.number[:, None], pairs.groups)
    if not yearly.value > 0.0:
        return {"why_not": f"{mine.entry.name} never acted in normal turbulence"}
    shares = {name: _damage_share(pairs, name) for name in CHANNELS}
    travel, energy = (
        _added(pairs, name, scale)
        for name, scale in (("pitch_travel_rad", DEGREE), ("energy_J", KILOWATT_HOUR))
    )
    found = {
        "entry": mine.entry.name,
        "baseline": plain.entry.name,
        "actions_per_year": yearly.value,
        "actions_per_year_interval": interval_data(yearly),
        "travel_deg": travel.value,
        "travel_interval_deg": interval_data(travel),
        "energy_kWh": energy.value,
        "energy_interval_kWh": interval_data(energy),
        "damage_share": {name: share.value for name, share in shares.items()},
        "damage_share_interval": {name: interval_data(share) for name, share in shares.items()},
    }
    if store is not None:
        found["closure"] = _closure(mine, plain, acted, store)
    return found | {"words": _words(found)}


def attribute_each(loads: Sequence[LifeLoads]) -> dict[str, dict[str, Any]]:
    """Return `attribute` of every entry with tower-pass logic, by name, without closure errors."""
    return {
        item.entry.name: attribute([*(other for other in loads if other is not item), item], None)
        for item in loads
        if item.entry.has_logic
    }


EACH_HEAD = ["entry", "against", "actions a year", "travel deg", "energy kWh", "flap damage %"]
EACH_HEAD += ["tower base damage %"]


def each_cells(name: str, found: Mapping[str, Any]) -> list[str]:
    """Return what a thousand actions of one entry add, as the cells of a table in the order of EACH_HEAD."""
    if "why_not" in found:
        return [name, found["why_not"], *["-"] * (len(EACH_HEAD) - 2)]
    shares, ends = found["damage_share"], found["damage_share_interval"]
    return [
        name,
        found["baseline"],
        f"{found['actions_per_year']:.0f}",
        _signed(found["travel_deg"], found["travel_interval_deg"]),
        _signed(found["energy_kWh"], found["energy_interval_kWh"]),
        *(
            _signed(100.0 * shares[channel], ends[channel], 100.0)
            for channel in ("blade_root_flap", "tower_base_fore_aft")
        ),
    ]


@dataclass(frozen=True)
class _Pairs:
    """The cases of normal turbulence that ran with the logic and without it.

    Parameters
    ----------
    rows : (pair,) int64
        Their rows.
    often : two of (pair,) float64 [-]
        How often a year each is lived through, with the logic and without.
    number : (pair,) float64 [-]
        Actions that each adds in a year.
    groups : (pair,) int64
        Bin of wind.
    """

    mine: LifeLoads
    plain: LifeLoads
    rows: NDArray[np.int64]
    often: tuple[Floats, Floats]
    number: Floats
    groups: NDArray[np.int64]

    @classmethod
    def of(cls, mine: LifeLoads, plain: LifeLoads, acted: Floats) -> _Pairs:
        """Pair the cases of two entries, with the actions (case,) of the first."""
        labels = mine.entry.gathered.labels
        hours = split_hours(labels, mine.hours, (mine.seconds > 0.0) & (plain.seconds > 0.0))
        rows = np.flatnonzero(hours > 0.0)
        one, two = (3600.0 * hours[rows] / item.seconds[rows] for item in (mine, plain))
        return cls(mine, plain, rows, (one, two), one * acted[rows], labels.bins()[0][rows])

    def columns(self, mine: Floats, plain: Floats) -> Floats:
        """Return what each pair adds in a year: (case, part) amounts of both entries, then actions."""
        one, two = (
            often[:, None] * part[self.rows] for often, part in zip(self.often, (mine, plain), strict=True)
        )
        return np.column_stack([one, two, self.number])


def _damage_share(pairs: _Pairs, channel: str) -> Interval:
    """Return by what share of a year's damage without logic a thousand actions change it, worst parts."""
    one, two = (item.rates[channel] * item.seconds[:, None] for item in (pairs.mine, pairs.plain))
    parts = one.shape[1]

    def statistic(sums: Floats) -> Floats:
        below = np.max(sums[:, parts : 2 * parts], axis=1)
        share = np.max(sums[:, :parts], axis=1) / np.where(below > 0.0, below, np.nan)
        return per_thousand_actions(share, 1.0, sums[:, -1])

    return cluster_bootstrap(statistic, pairs.columns(one, two), pairs.groups)


def _added(pairs: _Pairs, name: str, scale: float) -> Interval:
    """Return what a thousand actions add to an amount of each case, mean of the blades."""
    columns = [item.entry.gathered.column(name) * scale for item in (pairs.mine, pairs.plain)]
    one, two = (np.mean(part.reshape(len(part), -1), axis=1)[:, None] for part in columns)
    return cluster_bootstrap(
        lambda sums: per_thousand_actions(sums[:, 0], sums[:, 1], sums[:, 2]),
        pairs.columns(one, two),
        pairs.groups,
    )


def _closure(mine: LifeLoads, plain: LifeLoads, acted: Floats, store: Store) -> dict[str, Any]:
    rows = _chosen(mine, plain, acted)
    cases, others = mine.entry.gathered.cases, plain.entry.gathered.cases
    laws = {name: (mine.life.exponent(name), mine.life.ultimate(name)) for name in WATCHED}
    results = recount([(cases[row], others[row]) for row in rows], laws, store)
    hours = np.array([mine.production[row] for row in rows])
    share = hours / np.sum(hours)
    found: dict[str, Any] = {
        "histories": [cases[row].title for row in rows],
        "actions": int(sum(int(result["actions"]) for result in results)),
    }
    for place, name in enumerate(WATCHED):
        found[name] = _closes(results, share, place, "")
        if laws[name][1] is not None:
            found[name]["without_goodman"] = _closes(results, share, place, "uncorrected_")
    return found


def _closes(results: Sequence[CaseResult], share: Floats, place: int, start: str) -> dict[str, Any]:
    whole, without, singles = (
        float(np.sum(share * np.array([result[start + key][place] for result in results])))
        for key in ("with", "without", "singles")
    )
    return {
        "whole_over_baseline": (whole - without) / without,
        "singles_over_baseline": singles / without,
        "closure_error": (singles - (whole - without)) / without,
    }


def _chosen(mine: LifeLoads, plain: LifeLoads, acted: Floats) -> list[int]:
    """Return a case of each of some wind speeds: the first seed in which the logic acted and both ran."""
    ran = [
        one is not None and two is not None
        for one, two in zip(mine.entry.gathered.results, plain.entry.gathered.results, strict=True)
    ]
    fit = np.flatnonzero((acted > 0.0) & (mine.production > 0.0) & np.array(ran))
    first = {float(mine.entry.gathered.labels.speed[row]): int(row) for row in fit[::-1]}
    rows = [first[speed] for speed in sorted(first)]
    return [rows[n] for n in sorted({round(n) for n in np.linspace(0, len(rows) - 1, min(MOST, len(rows)))})]


def _words(found: dict[str, Any]) -> list[str]:
    words = [
        f"{CHANNELS[name].title}: {_signed(100.0 * share, found['damage_share_interval'][name], 100.0)} % "
        "of a year's damage"
        for name, share in found["damage_share"].items()
        if np.isfinite(share)
    ]
    return words + (_closure_words(found["closure"]) if "closure" in found else [])


def _closure_words(closure: Mapping[str, Any]) -> list[str]:
    words = [
        f"closure, each of {closure['actions']} actions taken back alone in {len(closure['histories'])} "
        "histories, the damage recounted:"
    ]
    for name in WATCHED:
        row = closure[name]
        plain = row.get("without_goodman")
        told = f" ({100.0 * plain['closure_error']:+.1f} % without Goodman's correction)" if plain else ""
        words.append(
            f"  {CHANNELS[name].title}: single actions sum to {100.0 * row['singles_over_baseline']:+.1f} % "
            "of "
            f"the damage without logic, the whole is {100.0 * row['whole_over_baseline']:+.1f} %, closure "
            "error "
            f"{100.0 * row['closure_error']:+.1f} %{told}"
        )
    return words


def thousand_words(found: Mapping[str, Any]) -> str:
    """Say in one sentence what a thousand actions add in travel and energy, and how many a year holds."""
    yearly = found["actions_per_year_interval"]
    return (
        f"A thousand actions of {found['entry']} against {found['baseline']} "
        f"({found['actions_per_year']:.0f} a year, {number(yearly['low'], '.0f')}.."
        f"{number(yearly['high'], '.0f')}): "
        f"{_signed(found['travel_deg'], found['travel_interval_deg'])} deg of travel, "
        f"{_signed(found['energy_kWh'], found['energy_interval_kWh'])} kWh"
    )


def _signed(value: float, interval: Mapping[str, Any], scale: float = 1.0) -> str:
    ends = "..".join(number(scale * interval[end], "+.3g") for end in ("low", "high"))
    return f"{number(value, '+.3g')} ({ends})"
