"""What does a thousand actions of the logic cost, against the same turbine without it?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.life import CHANNELS
from scenarios.store import Store
from scenarios.studies.bearing import actions
from scenarios.studies.life_loads import LifeLoads
from scenarios.studies.recount import WATCHED, recount
from sim.measures.energy import per_thousand_actions

Floats = NDArray[np.float64]

MOST = 5
"""Pairs of histories that are marched again, one for each wind speed, evenly over the speeds with actions."""


def plain_baseline(loads: Sequence[LifeLoads]) -> LifeLoads | None:
    """Return the loads of the entry that is the candidate without its tower-pass layers."""
    from scenarios.studies.featured import plain_twin

    twin = plain_twin([item.entry for item in loads])
    return next((item for item in loads if item.entry is twin), None)


def attribute(loads: Sequence[LifeLoads], store: Store) -> dict[str, Any]:
    """Return what a thousand actions of the candidate add, with the closure error of single actions.

    Parameters
    ----------
    loads : of all entries, the candidate's last
    store : Store
    """
    mine, plain = loads[-1], plain_baseline(loads)
    if plain is None:
        return {"why_not": "no entry is the candidate's turbine and stack without its tower-pass logic"}
    number = actions(mine.entry)
    often = mine.weights()[0]
    yearly = float(np.sum(often * number))
    if yearly == 0.0:
        return {"why_not": f"{mine.entry.name} never acted in normal turbulence"}
    channels = {name: _damage_share(mine, plain, name, yearly) for name in CHANNELS}
    closure = _closure(mine, plain, number, store)
    found = {
        "entry": mine.entry.name,
        "baseline": plain.entry.name,
        "actions_per_year": yearly,
        "travel_deg": per_thousand_actions(*_sums(mine, plain, "pitch_travel_rad", 180.0 / np.pi), yearly),
        "energy_kWh": per_thousand_actions(*_sums(mine, plain, "energy_J", 1.0 / 3.6e6), yearly),
        "damage_share": channels,
        "closure": closure,
    }
    return found | {"words": _words(found)}


def _damage_share(mine: LifeLoads, plain: LifeLoads, channel: str, yearly: float) -> float:
    """Return by what share of a year's damage without logic a thousand actions change it, worst parts."""
    one, two = (float(np.max(item.yearly(channel)[0])) for item in (mine, plain))
    return per_thousand_actions(one / two, 1.0, yearly) if two > 0.0 else float("nan")


def _sums(mine: LifeLoads, plain: LifeLoads, name: str, scale: float) -> tuple[float, float]:
    found = []
    for item in (mine, plain):
        values = np.nan_to_num(item.entry.gathered.column(name)) * scale
        each = values if values.ndim == 1 else np.mean(values, axis=1)
        found.append(float(np.sum(item.weights()[0] * each)))
    return found[0], found[1]


def _closure(mine: LifeLoads, plain: LifeLoads, number: Floats, store: Store) -> dict[str, Any]:
    rows = _chosen(mine, plain, number)
    cases, others = mine.entry.gathered.cases, plain.entry.gathered.cases
    exponents = {name: mine.life.exponent(name) for name in WATCHED}
    results = recount([(cases[row], others[row]) for row in rows], exponents, store)
    hours = np.array([mine.production[row] for row in rows])
    share = hours / np.sum(hours)
    found: dict[str, Any] = {
        "histories": [cases[row].title for row in rows],
        "actions": int(sum(int(result["actions"]) for result in results)),
    }
    for place, name in enumerate(WATCHED):
        whole, without, singles = (
            float(np.sum(share * np.array([result[key][place] for result in results])))
            for key in ("with", "without", "singles")
        )
        found[name] = {
            "whole_over_baseline": (whole - without) / without,
            "singles_over_baseline": singles / without,
            "closure_error": (singles - (whole - without)) / without,
        }
    return found


def _chosen(mine: LifeLoads, plain: LifeLoads, number: Floats) -> list[int]:
    """Return a case of each of some wind speeds: the first seed in which the logic acted and both ran."""
    ran = [
        one is not None and two is not None
        for one, two in zip(mine.entry.gathered.results, plain.entry.gathered.results, strict=True)
    ]
    fit = np.flatnonzero((number > 0.0) & (mine.production > 0.0) & np.array(ran))
    first = {float(mine.entry.gathered.labels.speed[row]): int(row) for row in fit[::-1]}
    rows = [first[speed] for speed in sorted(first)]
    return [rows[n] for n in sorted({round(n) for n in np.linspace(0, len(rows) - 1, min(MOST, len(rows)))})]


def _words(found: dict[str, Any]) -> list[str]:
    closure = found["closure"]
    words = [
        f"{CHANNELS[name].title}: {100.0 * share:+.3g} % of a year's damage"
        for name, share in found["damage_share"].items()
        if np.isfinite(share)
    ]
    words.append(
        f"closure, each of {closure['actions']} actions taken back alone in {len(closure['histories'])} "
        "histories, the damage recounted:"
    )
    for name in WATCHED:
        row = closure[name]
        words.append(
            f"  {CHANNELS[name].title}: single actions sum to {100.0 * row['singles_over_baseline']:+.1f} % "
            "of "
            f"the damage without logic, the whole is {100.0 * row['whole_over_baseline']:+.1f} %, closure "
            "error "
            f"{100.0 * row['closure_error']:+.1f} %"
        )
    return words
