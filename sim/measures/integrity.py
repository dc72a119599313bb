"""How seldom must the protective function fail, and which band of functional safety is that?

Orientation, not a certificate. A simulated miss rate is not a rate of hardware failures, and systematic
faults of software have no probability.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erfc, inf, log1p, sqrt

from sim.errors import InputError
from sim.measures.lifetime import HOURS_PER_YEAR

TARGET_BETA = 3.3
"""Target reliability index of one year (IEC 61400-1:2019, annex K; from memory)."""

HIGH, LOW = "high demand", "low demand"

LEVELS_PER_HOUR = (("SIL 4", 1e-9, 1e-8), ("SIL 3", 1e-8, 1e-7), ("SIL 2", 1e-7, 1e-6), ("SIL 1", 1e-6, 1e-5))
LEVELS_ON_DEMAND = (
    ("SIL 4", 1e-5, 1e-4),
    ("SIL 3", 1e-4, 1e-3),
    ("SIL 2", 1e-3, 1e-2),
    ("SIL 1", 1e-2, 1e-1),
)
"""IEC 61508-1:2010, tables 3 and 2 (from memory): from, and below."""
PERFORMANCE_LEVELS = (
    ("PL e", 1e-8, 1e-7),
    ("PL d", 1e-7, 1e-6),
    ("PL c", 1e-6, 3e-6),
    ("PL b", 3e-6, 1e-5),
    ("PL a", 1e-5, 1e-4),
)
"""ISO 13849-1:2015, table 2 (from memory): dangerous failures per hour, from and below."""


@dataclass(frozen=True)
class Demand:
    """What is asked of the function that keeps the blade off the tower.

    Parameters
    ----------
    regime : str
        `HIGH` or `LOW`.
    demands_per_year : float [1/a]
        Strikes without the function.
    tolerable_per_year : float [1/a]
        Strikes that may be, and ``residual_per_year`` those that happen although the function works.
    allowed : float
        Dangerous failures [1/h] in high demand, probability of failure on demand [-] in low demand; 0 or
        less: strikes in spite of the working function already use up what is tolerable.
    integrity_level, performance_level : str
        The band in which the allowed value lies.
    """

    regime: str
    demands_per_year: float
    tolerable_per_year: float
    residual_per_year: float
    allowed: float
    integrity_level: str
    performance_level: str


def tolerable_rate(beta: float = TARGET_BETA) -> float:
    """Return the rate of strikes per year that a target reliability index allows.

    Parameters
    ----------
    beta : float [-]
        Annual.

    Returns
    -------
    float [1/a]

    Notes
    -----
    -ln(1 - Phi(-beta)).

    References
    ----------
    IEC 61400-1:2019, annex K (informative): annual target 3.3, about 5e-4 (from memory).
    """
    if not 0.0 < beta < inf:
        raise InputError(f"beta = {beta}; must be > 0")
    return -log1p(-0.5 * erfc(beta / sqrt(2.0)))


def ask_of(demands_per_year: float, tolerable_per_year: float, residual_per_year: float = 0.0) -> Demand:
    """Return what the function may fail at most.

    Parameters
    ----------
    demands_per_year : float [1/a]
        How often the blade would strike the tower without the function.
    tolerable_per_year : float [1/a]
        Above 0.
    residual_per_year : float [1/a]
        Strikes in spite of the working function.

    Returns
    -------
    Demand

    Raises
    ------
    InputError
        Where the tolerable rate is zero: no function, and no machine, reaches it.

    Notes
    -----
    More than one demand a year is high demand: every dangerous failure is taken to meet a demand before it is
    found, so failures per hour <= (tolerable - residual) / hours of a year. Else low demand: probability of
    failure on demand <= (tolerable - residual) / demands, at most 1.

    References
    ----------
    IEC 61508-4:2010, 3.5.16 (modes of operation; from memory).
    """
    if not 0.0 < tolerable_per_year < inf:
        raise InputError(
            f"tolerable rate = {tolerable_per_year:g} strikes per year; must be > 0: nothing that can fail "
            f"reaches zero; the annual target of IEC 61400-1 is {tolerable_rate():.2g}"
        )
    for name, value in (("demands", demands_per_year), ("residual", residual_per_year)):
        if not 0.0 <= value < inf:
            raise InputError(f"{name} = {value:g} per year; must be >= 0")
    left = tolerable_per_year - residual_per_year
    if demands_per_year > 1.0:
        allowed = left / HOURS_PER_YEAR
        level, performance = integrity_level(allowed, HIGH), performance_level(allowed)
        return Demand(
            HIGH, demands_per_year, tolerable_per_year, residual_per_year, allowed, level, performance
        )
    allowed = min(left / demands_per_year, 1.0) if demands_per_year > 0.0 else (1.0 if left > 0.0 else 0.0)
    level = integrity_level(allowed, LOW)
    told = "not defined for low demand"
    return Demand(LOW, demands_per_year, tolerable_per_year, residual_per_year, allowed, level, told)


def integrity_level(value: float, regime: str) -> str:
    """Return the safety integrity level of IEC 61508 in whose band a value lies.

    Parameters
    ----------
    value : float
        Dangerous failures [1/h] for `HIGH`, probability of failure on demand [-] for `LOW`.
    regime : str

    Returns
    -------
    str
        "none asked" above the widest band, "beyond SIL 4" below the narrowest.
    """
    if regime not in (HIGH, LOW):
        raise InputError(f"regime = {regime!r}; allowed: '{HIGH}', '{LOW}'")
    return _band(value, LEVELS_PER_HOUR if regime == HIGH else LEVELS_ON_DEMAND)


def performance_level(failures_per_hour: float) -> str:
    """Return the performance level of ISO 13849-1 in whose band the dangerous failures per hour lie.

    Parameters
    ----------
    failures_per_hour : float [1/h]

    Returns
    -------
    str
        "none asked" above PL a, "beyond PL e" below PL e.
    """
    return _band(failures_per_hour, PERFORMANCE_LEVELS)


def _band(value: float, bands: tuple[tuple[str, float, float], ...]) -> str:
    for name, low, high in bands:
        if low <= value < high:
            return name
    return "none asked" if value >= bands[-1][2] else f"beyond {bands[0][0]}"
