"""How near does a blade come to the tower once in fifty years, and do the seeds carry that claim?

Only normal turbulence, weighted by its hours, says how rare something is. No tail is fitted across the
trigger of a logic, which bends it: at wind speeds where the logic acts at some passes and not at others,
blocks are counted and their chance is bounded instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import table
from scenarios.scenario import Scenario
from scenarios.studies.amounts import number
from scenarios.studies.assess import Assessment
from scenarios.studies.gather import life_wind, yearly_hours
from sim.errors import InputError
from sim.measures.extremes import exceedance_bound, fit_gumbel, long_term_level
from sim.measures.levels import ReturnLevel
from sim.measures.lifetime import HOURS_PER_YEAR
from sim.measures.long_term import long_term_peaks, separate_peaks

Floats = NDArray[np.float64]

RAYLEIGH = 2.0
"""Weibull shape of the site's winds where the scenario has no life, as in IEC 61400-1."""
APART_S = 20.0
"""Stretch of time that gives one peak: passes nearer to each other resemble each other [s]."""
SEEDS = 3
"""Fewest seeds at a wind speed from which a tail is fitted at all."""
NEVER, ALWAYS = 0.01, 0.99
"""Share of passes acted on beyond which a logic has no trigger at a wind speed."""


def extreme_data(scenario: Scenario, entries: Sequence[Assessment]) -> list[dict[str, Any]]:
    """Return the 50-year levels of every entry, or what can be said instead; for machines."""
    hours = yearly_hours(scenario, entries[0].gathered)
    winds = {
        "mean_wind_speed_m_s": life_wind(scenario),
        "weibull_shape": RAYLEIGH if scenario.life is None else scenario.life.shape,
    }
    return [_entry_data(entry, hours) | winds for entry in entries]


def _entry_data(entry: Assessment, hours: Floats) -> dict[str, Any]:
    found: dict[str, Any] = {"entry": entry.name}
    bins = bins_of(entry, hours)
    if not bins:
        return found | {"why_not": "no normal turbulence"}
    least = min(rows.size for rows, _ in bins)
    found |= {"seeds": least, "block_s": float(entry.gathered.column("judged_s")[bins[0][0][0]])}
    found |= {"blocks": sum(rows.size for rows, _ in bins), "counts": _counts(entry, bins)}
    bent = [float(entry.gathered.labels.speed[rows[0]]) for rows, _ in bins if _is_bent(entry, rows)]
    if bent:
        speeds = ", ".join(f"{speed:g}" for speed in bent)
        why = f"the logic's trigger bends the tail at {speeds} m/s: counted and bounded, not fitted"
        return found | {"why_not": why, "bent_at_m_s": bent}
    if least < SEEDS:
        return found | {"why_not": f"{least} seeds at a wind speed; a tail needs at least {SEEDS}"}
    return found | _levels(entry, bins, found["block_s"])


def bins_of(entry: Assessment, hours: Floats) -> list[tuple[NDArray[np.int64], float]]:
    """Return rows of the cases that ran, and hours a year, of each wind speed of normal turbulence."""
    labels = entry.gathered.labels
    group, names = labels.bins()
    ran = np.isfinite(entry.gathered.column("smallest_clearance_m"))
    found = []
    for index in range(len(names)):
        rows = np.flatnonzero((group == index) & (hours > 0.0) & ran)
        if rows.size:
            found.append((rows, float(hours[rows[0]])))
    return found


def _is_bent(entry: Assessment, rows: NDArray[np.int64]) -> bool:
    if not entry.has_logic:
        return False
    passes = entry.gathered.passes
    inside = np.isin(passes["case"], rows)
    share = float(np.mean(passes["acted"][inside])) if inside.any() else 0.0
    return NEVER < share < ALWAYS


def _levels(entry: Assessment, bins: Sequence[tuple[NDArray, float]], block: float) -> dict[str, Any]:
    hours = [item[1] for item in bins]
    clearance = entry.gathered.column("smallest_clearance_m")
    deflection = entry.gathered.column("tip_deflection_max_m")
    try:
        near = long_term_level([-clearance[rows] for rows, _ in bins], hours, block)
        far = long_term_level([deflection[rows] for rows, _ in bins], hours, block)
    except InputError as error:
        return {"why_not": "; ".join(error.problems)}
    found = {
        "exceedance": near.exceedance,
        "clearance_by_blocks_m": _turned(near),
        "deflection_by_blocks_m": _level(far),
        "by_wind_speed": [_of_speed(entry, rows, share) for rows, share in bins],
        "convergence": _convergence(entry, bins, block),
    }
    try:
        peaks = long_term_peaks([_peaks(entry, rows) for rows, _ in bins], hours, block)
    except InputError as error:
        return found | {"clearance_by_peaks_m": {"why_not": "; ".join(error.problems)}}
    return found | {"clearance_by_peaks_m": _turned(peaks)}


def _of_speed(entry: Assessment, rows: NDArray, hours: float) -> dict[str, Any]:
    """Return what the extremes of one wind speed are like: Gumbel's distribution of each block's smallest."""
    location, scale = fit_gumbel(-entry.gathered.column("smallest_clearance_m")[rows])
    return {
        "wind_speed_m_s": float(entry.gathered.labels.speed[rows[0]]),
        "hours_per_year": hours,
        "seeds": int(rows.size),
        "most_likely_smallest_clearance_m": -float(location),
        "gumbel_scale_m": float(scale),
    }


def _peaks(entry: Assessment, rows: NDArray) -> list[Floats]:
    passes = entry.gathered.passes
    found = []
    for row in rows:
        mine = passes["case"] == row
        found.append(separate_peaks(passes["time_s"][mine], -passes["clearance_m"][mine], APART_S))
    return found


def _convergence(
    entry: Assessment, bins: Sequence[tuple[NDArray, float]], block: float
) -> list[dict[str, Any]]:
    """Return the level from the first seeds of each wind speed, ever more of them."""
    clearance = entry.gathered.column("smallest_clearance_m")
    least = min(rows.size for rows, _ in bins)
    numbers = sorted({n for n in (3, 4, 6, 9, 12, 18, 24, 36, 48) if n < least} | {least})
    rows = []
    for count in numbers:
        found = long_term_level([-clearance[rows[:count]] for rows, _ in bins], [h for _, h in bins], block)
        rows.append({"seeds": count} | _turned(found))
    return rows


def _counts(entry: Assessment, bins: Sequence[tuple[NDArray, float]]) -> dict[str, Any]:
    """Return how many blocks broke the requirement, and bounds of their chance over the winds' hours."""
    clearance, must = entry.gathered.column("smallest_clearance_m"), entry.gathered.must
    broken, low, high = 0, 0.0, 0.0
    for rows, hours in bins:
        spare = must[rows[0]] - clearance[rows]
        ends = exceedance_bound(spare, 0.0)
        broken += int(np.count_nonzero(spare > 0.0))
        low, high = low + hours * ends[0] / HOURS_PER_YEAR, high + hours * ends[1] / HOURS_PER_YEAR
    return {"broken_blocks": broken, "chance_of_a_block_low": low, "chance_of_a_block_high": high}


def _level(found: ReturnLevel) -> dict[str, Any]:
    return {
        "level": found.level,
        "low": found.low,
        "high": found.high,
        "samples": found.samples,
        "method": found.method,
        "warning": found.warning,
    }


def _turned(found: ReturnLevel) -> dict[str, Any]:
    """Return the level of a clearance that was looked for with its sign turned."""
    return _level(found) | {"level": -found.level, "low": -found.high, "high": -found.low}


def extreme_text(found: Sequence[dict[str, Any]]) -> str:
    """Return the 50-year levels for people."""
    head = ["entry", "clearance, blocks m", "interval", "by peaks m", "interval", "deflection m", "interval"]
    rows, remarks = [], []
    for item in found:
        cells = [item["entry"]]
        for key in ("clearance_by_blocks_m", "clearance_by_peaks_m", "deflection_by_blocks_m"):
            level = item.get(key, {})
            ends = [number(level.get(end, float("nan"))) for end in ("level", "low", "high")]
            mark = " ?" if level.get("warning") else ""
            cells += [ends[0] + mark, f"{ends[1]}..{ends[2]}" if ends[1] != "-" else "-"]
        rows.append(cells)
        remarks += [f"  {item['entry']}: {line}" for line in remarks_of(item)]
    note = (
        f"Once in 50 years in normal turbulence by its hours{_winds_words(found)} "
        "(load factor 1.25 goes with extrapolated loads); "
        "95 % intervals; ? where the seeds do not carry the claim:"
    )
    return "\n".join([note, table(head, rows), *remarks])


def _winds_words(found: Sequence[dict[str, Any]]) -> str:
    """Say by which distribution of the wind the hours are."""
    return "".join(
        f" in winds of {item['mean_wind_speed_m_s']:.2f} m/s annual mean, Weibull shape "
        f"{item['weibull_shape']:g}"
        for item in found[:1]
    )


def remarks_of(item: dict[str, Any]) -> list[str]:
    """Return what must be known of an entry's levels before they are believed."""
    if "why_not" not in item:
        return [w] if (w := item["clearance_by_blocks_m"]["warning"]) else []
    if "counts" not in item:
        return [item["why_not"]]
    counts = item["counts"]
    return [
        f"{item['why_not']}; {counts['broken_blocks']} of {item['blocks']} blocks broke the requirement, "
        "chance "
        f"of one {counts['chance_of_a_block_low']:.2g} to {counts['chance_of_a_block_high']:.2g}"
    ]
