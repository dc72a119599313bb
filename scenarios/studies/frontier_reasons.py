"""Why does a tower-pass logic miss what it misses, and why does it travel for nothing?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.studies.frontier_points import Swept

Floats = NDArray[np.float64]
CAUSES = ("not_foreseen", "held_back", "relief_short", "aimed_too_low", "harmed", "unknown")
HARMED, UNKNOWN = 4, 5


def reasons(found: Swept) -> dict[str, Any]:
    """Return how good the forecasts were, and what each broken pass is due to.

    Notes
    -----
    Known of a pass: the clearance foreseen without the logic F, the relief promised P, the clearance that
    came C, and W without the logic (the pass's own where nothing acted, else a fork's). With the aim A,

        R - C = (F - W) + (A - F - P) + (P - (C - W)) + (R - A):

    what the clearance lacks of the requirement R is the sum of a forecast too hopeful (*not foreseen*), of
    a relief that was wanted and not set under way, by the limits of amplitude and servo or as it came too
    late (*held back*), of a relief that fell short of what was promised (*relief short*), and of a margin
    below nothing (*aimed too low*). A broken pass is put down to the largest of them; to the logic's
    *harm* where it would have held without it; *unknown* where no forecast is kept or no fork tells.
    Forecast errors count each pass by its fork's weight; a demand is one of W below what is required.
    Derived here.
    """
    passes = found.gathered.passes
    must = found.gathered.must[passes["case"]]
    without, clearance = passes["clearance_without_m"], passes["clearance_m"]
    early, late, promised = found.noted.T
    is_told = (passes["weight"] > 0.0) & np.isfinite(without)
    weight = np.where(is_told, passes["weight"], 0.0)
    demand = is_told & (without < must)
    hopeful = late - without
    return {
        "forecast_early_sd_m": spread(early - without, weight),
        "forecast_late_sd_m": spread(hopeful, weight),
        "demands_nearer_than_foreseen_m": mean(hopeful[demand], weight[demand]),
        "demands_nearer_at_worst_m": float(np.nanmax(hopeful[demand], initial=np.nan))
        if np.isfinite(hopeful[demand]).any()
        else float("nan"),
        "broken_because": causes(
            (must + _margin(found), late, promised), (clearance, without, must), is_told
        ),
    }


def causes(
    planned: tuple[Floats, Floats, Floats], came: tuple[Floats, Floats, Floats], is_told: NDArray[np.bool_]
) -> dict[str, int]:
    """Count what the broken passes are due to, by CAUSES.

    Parameters
    ----------
    planned : aim, clearance foreseen without the logic, relief promised - each (pass,) [m]
    came : clearance, clearance without the logic, clearance required - each (pass,) [m]
    is_told : (pass,) bool - whether it is known what would have been without the logic
    """
    (aim, foreseen, promised), (clearance, without, must) = planned, came
    broken = clearance < must
    relief = clearance - without
    parts = np.stack([foreseen - without, aim - foreseen - promised, promised - relief, must - aim])
    known = is_told & np.isfinite(parts).all(axis=0)
    main = np.where(known, np.argmax(np.where(np.isfinite(parts), parts, -np.inf), axis=0), UNKNOWN)
    main = np.where(is_told & (without >= must), HARMED, main)
    counts = np.bincount(main[broken], minlength=len(CAUSES))
    return dict(zip(CAUSES, counts.tolist(), strict=True))


def mean(values: Floats, weight: Floats) -> float:
    """Return the weighted mean of what is a number."""
    good = np.isfinite(values) & (weight > 0.0)
    return float(np.average(values[good], weights=weight[good])) if good.any() else float("nan")


def spread(values: Floats, weight: Floats) -> float:
    """Return the weighted standard deviation of what is a number."""
    centre = mean(values, weight)
    return float(np.sqrt(mean((values - centre) ** 2, weight)))


def _margin(found: Swept) -> float:
    return found.point.value if not found.point.is_pulse else float("nan")
