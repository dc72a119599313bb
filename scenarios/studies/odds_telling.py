"""How are the odds of a strike told, to machines and to people?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scenarios.answer import table
from scenarios.studies.odds import ALONE, FAULTY, UNSURE, WITH, WITHOUT, Odds, is_ended_by_layer
from scenarios.window_result import LIMITS
from sim.measures.jumps import SHARP
from sim.measures.statistics import Interval
from sim.measures.strata import probability_within

_JUDGED = ((WITH, FAULTY), (WITH, UNSURE), (WITHOUT, FAULTY), (WITHOUT, UNSURE))
"""What is held against the tolerable rate: the first of these that there is."""
MOST = 3
"""Faults that are named."""
UNSEEN = (
    "Unseen: what the windows that came near could still hide, were it as likely in any of them; none showed "
    "it, and more samples lower it. It counts in the upper end."
)
SEEN = 0.05
"""Share of the plain samples at which both samplings are compared."""


def odds_data(odds: Odds, tolerable: float) -> dict[str, Any]:
    """Return the odds for machines; units in the names."""
    strikes = [odds.yearly.get((stack, doubt, "strike")) for stack, doubt in _JUDGED]
    last = next((rate for rate in strikes if rate is not None), None)
    is_cut = any(is_ended_by_layer(row) for row in (*odds.strata, *odds.faults))
    return {
        "window_s": {"settle": odds.effort.span.settle, "lead": odds.effort.span.lead,
                     "judged": odds.effort.span.judged},
        "samples_per_level": {UNSURE: odds.effort.samples, ALONE: odds.effort.alone},
        "tolerable_strikes_per_year": tolerable,
        "yearly": [
            {
                "stack": stack, "uncertainty": doubt, "event": limit, **_yearly(rate),
                "per_year_high_as_seen": odds.seen[stack, doubt, limit].high,
                "nearest_m": _nearest(odds, stack, doubt),
            }
            for (stack, doubt, limit), rate in odds.yearly.items()
        ],
        "not_prevented": [
            {"uncertainty": doubt, **_yearly(rate), "winds": _left(odds, doubt)}
            for doubt, rate in odds.missed.items()
        ],
        "caused": [{"uncertainty": doubt, **_yearly(rate)} for doubt, rate in odds.caused.items()],
        "warnings": _warnings(odds),
        "faults_are_in": bool(odds.faults),
        "faults": [
            {
                "stack": row["stack"],
                "fault": row["fault"],
                "rate_per_year": row["rate_per_year"],
                "strikes_per_occurrence": _ends(row["each"]),
                "strikes_per_year": _ends(row["yearly"]),
            }
            for row in odds.faults
        ],
        "strata": list(odds.strata),
        "crude": list(odds.crude),
        "holds": last is not None and _counts(last) <= tolerable and not is_cut,
        "is_bound": last is not None and last.value == 0.0,
        "layers_ended_windows": is_cut,
        "upper_end_holds": last is not None and last.high <= tolerable and not is_cut,
    }  # fmt: skip


def _nearest(odds: Odds, stack: str, doubt: str) -> float:
    """Return the smallest clearance that any window showed [m]."""
    doubt = UNSURE if doubt == FAULTY else doubt
    rows = [row for row in odds.strata if (row["stack"], row["uncertainty"]) == (stack, doubt)]
    return min((row["nearest_m"] for row in rows), default=float("nan"))


def _left(odds: Odds, doubt: str) -> list[dict[str, Any]]:
    """Return, for each wind, what the logic left where a blade came nearest without it."""
    names = ("windows", "without_below_m", "least_m", "median_m")
    return [
        {"wind_speed_m_s": row["wind_speed_m_s"], **{name: row["beside"][name] for name in names}}
        for row in odds.strata
        if row["uncertainty"] == doubt and "beside" in row
    ]


def _warnings(odds: Odds) -> list[str]:
    """Return where windows ended early, and where sampling may miss a region because the clearance jumps."""
    places = [(f"{row['wind_speed_m_s']:g} m/s, {row['uncertainty']}", row) for row in odds.strata]
    cut = [
        f"{row['stack']} at {place}, {row['ended_early']} of {row['evaluations']} windows ended early: what "
        f"would have come after is not in the odds; the first: {row['ended_first']}"
        for place, row in [*places, *((row["fault"], row) for row in odds.faults)]
        if row["ended_early"]
    ]
    winds = dict.fromkeys(
        f"{row['wind_speed_m_s']:g} m/s {row['uncertainty']}"
        for row in odds.strata
        if row["sharpest_change"] > SHARP
    )
    jumps = (
        f"the clearance jumps between near windows ({', '.join(winds)}), as where a pass enters the window "
        "or logic acts by a hair: a region behind a jump may be missed; the intervals hold less often"
    )
    return [*cut, jumps] if winds else cut


def _ends(rate: Interval) -> dict[str, float]:
    return {"value": rate.value, "low": rate.low, "high": rate.high}


def _counts(rate: Interval) -> float:
    """Return an estimate, or its bound where nothing was seen: no sample is no proof."""
    return rate.value if rate.value > 0.0 else rate.high


def _yearly(rate: Interval) -> dict[str, Any]:
    probability = probability_within(rate)
    return {
        "per_year": rate.value,
        "per_year_low": rate.low,
        "per_year_high": rate.high,
        "probability_of_a_year": probability.value,
        "probability_of_a_year_low": probability.low,
        "probability_of_a_year_high": probability.high,
        "is_bound": rate.value == 0.0,
    }


def odds_text(data: Mapping[str, Any]) -> str:
    """Return the odds for people."""
    head = ["events a year, 95 %", "strike", "requirement broken"]
    told = {(row["stack"], row["uncertainty"], row["event"]): row for row in data["yearly"]}
    rows = []
    for stack in (WITHOUT, WITH):
        for doubt in (ALONE, UNSURE, FAULTY):
            cells = [told.get((stack, doubt, limit)) for limit in LIMITS]
            if any(cells):
                rows.append([f"{stack}, {doubt}", *(yearly_text(cell) for cell in cells)])
    lines = [table(head, rows), unseen_text(data)]
    lines.append(
        f"Tolerable: {data['tolerable_strikes_per_year']:.3g} strikes a year; "
        + ("held" if data["holds"] else "not shown to be held")
        + (", by the upper end too." if data["upper_end_holds"] else ", the upper end lies above it.")
    )
    lines += [left_text(item) for item in data["not_prevented"]]
    lines += [caused_text(item) for item in data["caused"]]
    lines.append(agreement(data))
    lines += [f"{item[0].upper()}{item[1:]}." for item in data["warnings"]]
    lines.append(faults_text(data))
    return "\n".join(line for line in lines if line)


def faults_text(data: Mapping[str, Any]) -> str:
    """Say which faults bring most strikes under each stack."""
    if not data["faults_are_in"]:
        return "Without faults (quick setting)."
    told = []
    for stack in dict.fromkeys(row["stack"] for row in data["faults"]):
        rates = {
            row["fault"]: row["strikes_per_year"]["value"] for row in data["faults"] if row["stack"] == stack
        }
        most = sorted((name for name in rates if rates[name] > 0.0), key=lambda name: -rates[name])[:MOST]
        words = ", ".join(f"{name} {rates[name]:.2g} a year" for name in most)
        told.append(f"{stack}: {words or 'none showed a strike'}")
    return f"Faults that bring most strikes, at their rates and until found: {'; '.join(told)}."


def yearly_text(row: Mapping[str, Any] | None) -> str:
    """Write a yearly rate with its interval; a bound where no sample came to the event."""
    if row is None:
        return "-"
    if row["is_bound"]:
        near = f"nearest {row['nearest_m']:.1f} m" if np.isfinite(row["nearest_m"]) else "no pass was seen"
        return f"< {row['per_year_high']:.2g} (bound: {near})"
    high = f"{row['per_year_high']:.1g}"
    if _hides_much(row):
        high = f"{row['per_year_high_as_seen']:.1g}; unseen < {high}"
    return f"{row['per_year']:.2g} ({row['per_year_low']:.1g}..{high})"


def _hides_much(row: Mapping[str, Any]) -> bool:
    return not row["is_bound"] and row["per_year_high"] > 2.0 * row["per_year_high_as_seen"]


def unseen_text(data: Mapping[str, Any]) -> str:
    """Say what "unseen" stands for where it is told."""
    return UNSEEN if any(_hides_much(row) for row in data["yearly"]) else ""


def left_text(told: Mapping[str, Any]) -> str:
    """Say what the logic leaves where blades come nearest without it, and what it does not prevent."""
    winds = "; ".join(_left_words(row) for row in told["winds"])
    return (
        f"Where a blade comes nearest without the logic, {told['uncertainty']}, it leaves {winds}. Strikes "
        f"that it does not prevent: {_rate_words(told)}."
    )


def _left_words(row: Mapping[str, Any]) -> str:
    if not np.isfinite(row["median_m"]):
        return f"at {row['wind_speed_m_s']:g} m/s nothing to tell: most windows ended before a pass"
    return (
        f"at {row['wind_speed_m_s']:g} m/s {row['least_m']:.1f} m at least, {row['median_m']:.1f} m in the "
        f"median of {row['windows']} windows below {row['without_below_m']:.1f} m"
    )


def caused_text(told: Mapping[str, Any]) -> str:
    """Say how often a blade strikes with the logic where it does not without it."""
    return f"Strikes that it causes, {told['uncertainty']}: {_rate_words(told)}."


def _rate_words(told: Mapping[str, Any]) -> str:
    if told["is_bound"]:
        return f"< {told['per_year_high']:.2g} a year (bound: none was seen)"
    return f"{told['per_year']:.2g} a year ({told['per_year_low']:.1g}..{told['per_year_high']:.1g})"


def _compared(subset: Mapping[str, Any], plain: Mapping[str, Any]) -> str:
    """Hold two samplings of the same windows against one another where plain sampling has seen enough.

    Notes
    -----
    At the clearance below which about a twentieth of the plain samples came; between the levels of a curve
    the logarithm of the probability is taken for linear. Below the lowest level that was seen its probability
    stands, which is too much there, if anything.
    """
    curve, mine = plain["curve"], subset["curve"]
    plainly_seen = np.array(curve["probability"])
    at = int(np.argmin(np.where(plainly_seen > 0.0, np.abs(plainly_seen - SEEN), np.inf)))
    level, ends = curve["m"][at], ("probability", "low", "high")
    seen = np.array(mine["probability"]) > 0.0
    if not seen.any():
        return f"below {level:.1f} m in a window: too few samples to hold against plain sampling"
    places = np.array(mine["m"])[seen]
    told = [float(np.exp(np.interp(level, places, np.log(np.array(mine[name])[seen])))) for name in ends]
    plainly = [curve[name][at] for name in ends]
    meet = told[1] <= plainly[2] and plainly[1] <= told[2]
    one, two = (f"{value:.2g} ({low:.1g}..{high:.1g})" for value, low, high in (told, plainly))
    return (
        f"below {level:.1f} m in a window: subset simulation {one}, plain sampling {two}: "
        f"{'they agree' if meet else 'THEY DISAGREE'}"
    )


def agreement(data: Mapping[str, Any]) -> str:
    """Say whether plain sampling agrees, where it can go, and what it would have cost where it cannot."""
    parts = []
    for crude in data["crude"]:
        if not any(crude["curve"]["probability"]):
            continue  # no window came to a pass
        twin = next(
            row for row in data["strata"]
            if all(row[key] == crude[key] for key in ("stack", "uncertainty", "wind_speed_m_s"))
        )  # fmt: skip
        parts.append(f"{crude['stack']} at {crude['wind_speed_m_s']:g} m/s, {_compared(twin, crude)}")
    saved = [
        row["strike"]["crude_over_simulated_s"]
        for row in data["strata"]
        if np.isfinite(row["strike"]["crude_over_simulated_s"])
    ]
    if saved:
        parts.append(f"plain sampling would take {max(saved):.2g} times as long for the rarest strike seen")
    return "; ".join(parts) + "." if parts else ""
