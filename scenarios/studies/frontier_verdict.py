"""Which logic misses few enough demands for the least travel, and what would a permanent pulse travel?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.studies.frontier_points import Swept
from scenarios.studies.telling import interval_data
from sim.measures.statistics import Interval, cluster_bootstrap, ratio

Floats = NDArray[np.float64]
Row = Mapping[str, Any]
GOOD_ENOUGH = 0.01
"""Share of demands that may be missed [-]."""
REFERENCES = ("scheduled", "crude-guard")
"""Layers that the others are held against; no claim is made for them."""
FIFTH = 0.2
"""Of the permanent pulse's travel: what a logic that protects as well may travel at most [-]."""
NOT_KNOWN = Interval(math.nan, math.nan, math.nan, 0, "no permanent pulse in these winds")


@dataclass(frozen=True)
class AsWell:
    """The permanent pulse that misses no more than a given share of the demands."""

    amplitude: float  #: [deg] between two that were swept
    is_enough: bool  #: False: not even the largest that was swept misses so few
    travel: Mapping[str, float]  #: extra travel in each wind [deg], mean of the blades
    rate: float  #: extra travel [deg/h]


def as_well(pulses: Sequence[Swept], share: float) -> AsWell | None:
    """Return the permanent pulse that protects as well, between the amplitudes that were swept.

    Notes
    -----
    The first amplitude that misses no more than ``share``, or, where a smaller one misses more, the amplitude
    between the two at which a straight line over the share reaches it; travel likewise, never more than the
    swept amplitude's. Where even the largest misses more, it stands for one that would travel more still.
    """
    ordered = sorted(pulses, key=lambda found: found.point.value)
    if not ordered:
        return None
    shares = np.array([found.missed_share for found in ordered])
    enough = np.flatnonzero(shares <= share)
    at = int(enough[0]) if enough.size else len(ordered) - 1
    other = at - 1 if enough.size and at > 0 else at
    gap = shares[other] - shares[at]
    part = float((shares[other] - share) / gap) if gap > 0.0 else 1.0

    def between(low: float, high: float) -> float:
        return (1.0 - part) * low + part * high

    low, high = ordered[other], ordered[at]
    mine = dict(zip(low.winds, low.travel.tolist(), strict=True))
    travel = {
        wind: between(mine[wind], more)
        for wind, more in zip(high.winds, high.travel.tolist(), strict=True)
        if wind in mine
    }
    return AsWell(
        between(low.point.value, high.point.value),
        bool(enough.size),
        travel,
        between(low.travel_rate, high.travel_rate),
    )


def verdicts(judged: Sequence[Swept], rows: Sequence[Row], oracle: float) -> list[dict[str, Any]]:
    """Return for each layer the setting of least travel that misses few enough, against pulse and oracle.

    Notes
    -----
    ``few_enough`` by the estimate; ``surely`` by the upper end of the interval. None where no setting does.
    """
    pulses = [found for found in judged if found.point.is_pulse]
    told = []
    for layer in dict.fromkeys(row["layer"] for row in rows):
        mine = [n for n, row in enumerate(rows) if row["layer"] == layer]
        few = [n for n in mine if rows[n]["missed_share"] <= GOOD_ENOUGH]
        sure = [n for n in few if rows[n]["missed_interval"]["high"] <= GOOD_ENOUGH]
        least = {
            name: min(some, key=lambda n: rows[n]["extra_travel_deg_per_hour"]) if some else None
            for name, some in (("few_enough", few), ("surely", sure))
        }
        told.append(
            {"layer": layer}
            | {
                name: None if n is None else _held(judged[n], rows[n], pulses, oracle)
                for name, n in least.items()
            }
        )
    return told


def _held(found: Swept, row: Row, pulses: Sequence[Swept], oracle: float) -> dict[str, Any]:
    """Return one setting's numbers, and its travel over that of pulse and oracle."""
    pulse = as_well(pulses, row["missed_share"])
    extra = row["extra_travel_deg_per_hour"]
    over = NOT_KNOWN if pulse is None else _over_pulse(found, pulse)
    return dict(row) | {
        "setting": f"{row['parameter']} {row['value']:g}",
        "pulse_amplitude_deg": math.nan if pulse is None else pulse.amplitude,
        "pulse_is_enough": pulse is not None and pulse.is_enough,
        "pulse_extra_travel_deg_per_hour": math.nan if pulse is None else pulse.rate,
        "over_permanent_pulse": over.value,
        "over_permanent_pulse_interval": interval_data(over),
        "over_oracle": extra / oracle if oracle > 0.0 else math.nan,
    }


def _over_pulse(found: Swept, pulse: AsWell) -> Interval:
    """Return the extra travel over that of the pulse in the same winds, over seeds."""
    winds = [n for n, wind in enumerate(found.winds) if wind in pulse.travel]
    sums = np.array([[found.travel[n], pulse.travel[found.winds[n]]] for n in winds]).reshape(-1, 2)
    return cluster_bootstrap(ratio, sums, [found.groups[n] for n in winds])


def claim(verdict: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return which logic of ours needs the least of the pulse's travel, and whether that is little enough.

    ``by_estimate`` and ``surely``: each the layer, whether it holds, and its row; None where no layer misses
    so few.
    """
    found: dict[str, Any] = {"missed_share_at_most": GOOD_ENOUGH, "over_permanent_pulse_at_most": FIFTH}
    for name, key in (("by_estimate", "few_enough"), ("surely", "surely")):
        some = [row for row in verdict if row[key] is not None and row["layer"] not in REFERENCES]
        best = min(some, key=lambda row: row[key]["over_permanent_pulse"], default=None)
        end = (lambda row: row["over_permanent_pulse"]) if name == "by_estimate" else _upper
        found[name] = None if best is None else {
            "layer": best["layer"], "setting": best[key]["setting"], "holds": bool(end(best[key]) <= FIFTH)
        }  # fmt: skip
    return found


def _upper(row: Row) -> float:
    return row["over_permanent_pulse_interval"]["high"]
