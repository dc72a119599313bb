"""How much room remains between blade and tower, by the rules for characteristic values?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError
from sim.measures.labels import Labels

Floats = NDArray[np.float64]

#: Cases that a characteristic value needs at each wind speed (common practice, no source, for the phases).
#: A steady wind has neither seeds nor phases.
NEEDED = MappingProxyType({"turbulence": 6, "fault": 12, "event": 12, "steady": 1})
ONLY_STEADY = (
    "only steady winds were marched; no characteristic clearance of turbulence or a gust stands behind it"
)


@dataclass(frozen=True)
class BinClearance:
    """The characteristic clearance of one condition at one wind speed.

    Parameters
    ----------
    kind, condition : str
    speed : float [m/s]
    cases : int
        Seeds or phases that ran.
    characteristic, smallest, required : float [m]
    enough : bool
        As many cases as the rule needs, none failed.
    problem : str
        Why it is not enough; empty otherwise.
    """

    kind: str
    condition: str
    speed: float
    cases: int
    characteristic: float
    smallest: float
    required: float
    enough: bool
    problem: str

    @property
    def margin(self) -> float:
        """Characteristic less required clearance [m]."""
        return self.characteristic - self.required


@dataclass(frozen=True)
class Verdict:
    """What remains over all conditions, and whether it is enough.

    Parameters
    ----------
    bins : tuple of BinClearance
        In the order of the cases.
    governing : BinClearance
        The one with the smallest margin; the first of equals.
    smallest_clearance : float [m]
        Of every pass of every case; it worsens with every added seed and decides nothing.
    smallest_case : int
        Row of the case that holds it.
    holds : bool
        Every margin is at least zero, every bin has enough cases, and not every wind is steady.
    problems : tuple of str
        Why a bin is not enough, and `ONLY_STEADY` where that is so.
    """

    bins: tuple[BinClearance, ...]
    governing: BinClearance
    smallest_clearance: float
    smallest_case: int
    holds: bool
    problems: tuple[str, ...]

    def per_condition(self) -> dict[str, BinClearance]:
        """Return the governing bin of each condition."""
        table: dict[str, BinClearance] = {}
        for item in self.bins:
            held = table.get(item.condition)
            if held is None or _urgency(item) < _urgency(held):
                table[item.condition] = item
        return table


def characteristic_value(kind: str, smallest: ArrayLike) -> float:
    """Return the characteristic clearance of one condition at one wind speed.

    Parameters
    ----------
    kind : str
        "turbulence", "fault", "event" or "steady".
    smallest : (case,) float64 [m]
        The smallest clearance of each seed or phase; at least one.

    Returns
    -------
    float [m]

    Raises
    ------
    InputError
        Where the kind is unknown or there is no case.

    Notes
    -----
    Turbulence: the mean over seeds. Fault in turbulence: the mean of the worse half; the middle one of an
    odd number is left out, which is the safe side. Event: the worst phase. Steady: its smallest pass.

    References
    ----------
    IEC 61400-1:2019, "Wind energy generation systems - Part 1: Design requirements", 7.5 and 7.6 (rules from
    memory).
    """
    values = np.sort(np.asarray(smallest, dtype=np.float64))
    if values.size == 0:
        raise InputError("characteristic clearance: no case; needs at least one")
    if kind == "turbulence":
        return float(np.mean(values))
    if kind == "fault":
        return float(np.mean(values[: max(1, values.size // 2)]))
    if kind in ("event", "steady"):
        return float(values[0])
    raise InputError(f"kind = {kind}; allowed: {', '.join(NEEDED)}")


def judge(
    labels: Labels, smallest: ArrayLike, required: ArrayLike, needed: Mapping[str, int] = NEEDED
) -> Verdict:
    """Judge the clearances of all cases of one entry against what must remain.

    Parameters
    ----------
    labels : Labels
    smallest : (case,) float64 [m]
        The smallest clearance of each case; not a number where the case failed.
    required : () or (case,) float64 [m]
        What must remain under characteristic loads. Every rule comes down to this: `required_by_share`,
        `required_by_factors`, or a distance of the user's own.
    needed : mapping of kind to int
        Cases that each kind needs at each wind speed.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError
        Where there is no case, lengths differ, or one bin has several requirements.
    """
    values = np.asarray(smallest, dtype=np.float64)
    if values.shape != (labels.size,) or labels.size == 0:
        raise InputError(f"smallest: shape {values.shape}; must be ({labels.size},) and hold a case")
    must = np.broadcast_to(np.asarray(required, dtype=np.float64), values.shape)
    group, names = labels.bins()
    bins = []
    for index, name in enumerate(names):
        inside = group == index
        if np.ptp(must[inside]) > 0.0:
            raise InputError(f"required: several values within {name[1]} at {name[2]:g} m/s; must be one")
        bins.append(_judge_bin(name, values[inside], float(must[inside][0]), needed))
    ran = np.isfinite(values)
    worst = int(np.argmin(np.where(ran, values, np.inf)))
    is_calm = all(item.kind == "steady" for item in bins)
    problems = tuple(item.problem for item in bins if item.problem) + ((ONLY_STEADY,) if is_calm else ())
    return Verdict(
        bins=tuple(bins),
        governing=min(bins, key=_urgency),
        smallest_clearance=float(values[worst]),
        smallest_case=worst,
        holds=not is_calm and all(item.enough and item.margin >= 0.0 for item in bins),
        problems=problems,
    )


def required_by_share(unloaded: float, share: float = 0.3) -> float:
    """Return the clearance that must remain by the share rule, load factor 1.

    Parameters
    ----------
    unloaded : float [m]
        Unloaded clearance, above 0.
    share : float [-]
        0.3 with the rotor turning, 0.05 at rest (certification guidelines, from memory, clause unverified).

    Returns
    -------
    float [m]
    """
    _check_unloaded(unloaded)
    if not 0.0 <= share < 1.0:
        raise InputError(f"share = {share}; must lie between 0 and 1")
    return share * unloaded


def required_by_factors(unloaded: float, load: float, material: float, consequence: float) -> float:
    """Return the clearance that must remain by the rule of the factored deflection.

    Parameters
    ----------
    unloaded : float [m]
        Unloaded clearance, above 0.
    load, material, consequence : float [-]
        Partial factors gamma_f (1.35 normal, 1.1 abnormal, 1.25 extrapolated), gamma_m, gamma_n; product at
        least 1.

    Returns
    -------
    float [m]

    Notes
    -----
    With deflection d = unloaded less characteristic clearance, the rule gamma d <= unloaded is the same as
    clearance >= unloaded (1 - 1/gamma). Derived here.

    References
    ----------
    IEC 61400-1:2019, "Wind energy generation systems - Part 1: Design requirements", 7.6.5 critical
    deflection analysis (from memory).
    """
    _check_unloaded(unloaded)
    combined = load * material * consequence
    if not 1.0 <= combined < np.inf:
        raise InputError(f"partial factors: product = {combined:g}; must be >= 1")
    return unloaded * (1.0 - 1.0 / combined)


def broken_passes(clearance: ArrayLike, required: ArrayLike) -> int:
    """Count the passes that left less than what must remain.

    Parameters
    ----------
    clearance, required : (pass,) or () float64 [m]

    Returns
    -------
    int
    """
    return int(np.count_nonzero(np.asarray(clearance) < np.asarray(required)))


def strikes(clearance: ArrayLike) -> int:
    """Count the passes in which the blade met the tower: a clearance of zero or less.

    Parameters
    ----------
    clearance : (pass,) float64 [m]

    Returns
    -------
    int
    """
    return int(np.count_nonzero(np.asarray(clearance) <= 0.0))


def _judge_bin(
    name: tuple[str, str, float], values: Floats, required: float, needed: Mapping[str, int]
) -> BinClearance:
    kind, condition, speed = name
    ran = values[np.isfinite(values)]
    lost = values.size - ran.size
    problem = ""
    if lost:
        problem = f"{condition} at {speed:g} m/s: {lost} of {values.size} cases failed"
    elif ran.size < needed[kind]:
        unit = ("phase" if kind == "event" else "seed") + ("s" if ran.size > 1 else "")
        problem = f"{condition} at {speed:g} m/s: {ran.size} {unit}; the rule needs {needed[kind]}"
    characteristic = characteristic_value(kind, ran) if ran.size else np.nan
    least = float(np.min(ran)) if ran.size else np.nan
    return BinClearance(
        kind, condition, speed, int(ran.size), characteristic, least, required, not problem, problem
    )


def _urgency(item: BinClearance) -> float:
    """Order by margin; a bin of which nothing is known comes after every known one."""
    return np.inf if np.isnan(item.margin) else item.margin


def _check_unloaded(unloaded: float) -> None:
    if not 0.0 < unloaded < np.inf:
        raise InputError(f"unloaded clearance = {unloaded:g} m; must be > 0")
