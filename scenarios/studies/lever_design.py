"""Which levers does a designer have on the clearance, and what turbine does a mix of them make?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from sim.design import Turbine

SPAR_SHARE = 0.4
"""Share of a blade's mass that its spar caps have (order of magnitude; common practice, no source)."""


@dataclass(frozen=True)
class Lever:
    """One thing that can be changed.

    ``unit`` is what a gain is told per; ``step`` what derivatives are taken with, of one way a whole unit,
    for its cost grows faster than itself; ``low`` and ``high`` how far it is moved from the turbine as it is,
    unless bounds are given. ``ways``: -1 and +1, or one way.
    """

    name: str
    title: str
    unit: str
    step: float
    low: float
    high: float
    ways: tuple[float, float] = (-1.0, 1.0)


LEVERS = (
    Lever("overhang_m", "overhang", "m", 0.1, -1.0, 1.5),
    Lever("tilt_deg", "tilt", "deg", 0.2, -3.0, 2.0),
    Lever("cone_deg", "cone", "deg", 0.2, -2.5, 2.0),
    Lever("prebend_m", "prebend at the tip", "m", 0.1, -2.0, 2.0),
    Lever("stiffness_factor", "flap stiffness", "10 %", 0.02, -0.3, 0.3),
    Lever("tower_thinner_m", "tower thinner where the tip passes", "m", 0.05, -0.3, 0.3),
    Lever("thrust_cut", "thrust limit lowered", "10 %", 0.1, 0.0, 0.2, (0.0, 1.0)),
    Lever("pulse_deg", "pitched away at each pass", "deg", 1.0, 0.0, 4.0, (0.0, 1.0)),
)
"""In the order of every table; a lever of the unit 10 % counts in shares, so a unit of it is 0.1."""


def size_of(lever: Lever) -> float:
    """Return how much of a lever its unit is: 0.1 for one that is told in tenths, else 1."""
    return 0.1 if lever.unit == "10 %" else 1.0


@dataclass(frozen=True)
class Mix:
    """Where every lever stands.

    Attributes
    ----------
    overhang_m, tilt_deg, cone_deg, prebend_m : float
        As of the turbine file; the prebend that of the tip.
    stiffness_factor : float [-]
        On flap stiffness, 1 as it is.
    tower_thinner_m : float [m]
        By how much the tower's diameter shrinks.
    thrust_cut : float [-]
        Share of the peak thrust that is shaved.
    pulse_deg : float [deg]
        Pitch added as each blade passes.
    """

    overhang_m: float
    tilt_deg: float
    cone_deg: float
    prebend_m: float
    stiffness_factor: float = 1.0
    tower_thinner_m: float = 0.0
    thrust_cut: float = 0.0
    pulse_deg: float = 0.0

    def moved(self, name: str, by: float) -> Mix:
        """Return the mix with one lever moved."""
        return replace(self, **{name: getattr(self, name) + by})

    def values(self) -> list[float]:
        """Return the levers' places in the order of LEVERS."""
        return [getattr(self, lever.name) for lever in LEVERS]

    def told(self) -> dict[str, float]:
        """Return the levers' places by name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def mix_of(turbine: Turbine) -> Mix:
    """Return where the levers of a turbine stand as it is."""
    rotor = turbine.rotor
    return Mix(
        rotor.overhang,
        math.degrees(rotor.tilt),
        math.degrees(rotor.cone),
        float(turbine.blade.prebend[-1]),
    )


def made(turbine: Turbine, mix: Mix, spar_share: float = SPAR_SHARE) -> Turbine:
    """Return the turbine with its levers moved; thrust limit and pulse are control, no part of it.

    Parameters
    ----------
    turbine : Turbine
    mix : Mix
    spar_share : float [-]

    Notes
    -----
    Prebend is added with the square of the distance from the root. A blade whose flap stiffness changes by
    the factor s has its spar caps thickened alike, and so the mass 1 + spar_share (s - 1). A tower made
    thinner keeps its bending stiffness D^3 t, and so its wall grows.

    References
    ----------
    Derived here: at a given outline the stiffness of thin caps is proportional to their thickness.
    """
    blade, tower = turbine.blade, turbine.tower
    share = (blade.r - blade.r[0]) / (blade.r[-1] - blade.r[0])
    by = mix.prebend_m - float(blade.prebend[-1])
    base, top = tower.base_diameter - mix.tower_thinner_m, tower.top_diameter - mix.tower_thinner_m
    return replace(
        turbine,
        rotor=replace(
            turbine.rotor,
            overhang=mix.overhang_m,
            tilt=math.radians(mix.tilt_deg),
            cone=math.radians(mix.cone_deg),
        ),
        blade=replace(
            blade,
            prebend=blade.prebend + by * share**2,
            flap_stiffness=blade.flap_stiffness * mix.stiffness_factor,
            mass=blade.mass * mass_factor(mix.stiffness_factor, spar_share),
        ),
        tower=replace(
            tower,
            base_diameter=base,
            top_diameter=top,
            base_wall=tower.base_wall * (tower.base_diameter / base) ** 3,
            top_wall=tower.top_wall * (tower.top_diameter / top) ** 3,
        ),
    )


def mass_factor(stiffness_factor: float, spar_share: float = SPAR_SHARE) -> float:
    """Return a blade's mass over that at the stiffness factor 1: 1 + spar_share (stiffness_factor - 1)."""
    return 1.0 + spar_share * (stiffness_factor - 1.0)


def bounds_of(
    mix: Mix, given: Mapping[str, tuple[float, float]] | None = None
) -> dict[str, tuple[float, float]]:
    """Return within what every lever may stand: as given, else around where it stands.

    Notes
    -----
    Cone and tilt are not taken below zero, nor the prebend, unless they stand there already.
    """
    found = {}
    for lever in LEVERS:
        at = getattr(mix, lever.name)
        low, high = at + lever.low, at + lever.high
        if lever.name in ("tilt_deg", "cone_deg", "prebend_m"):
            low = max(low, min(0.0, at))
        found[lever.name] = (low, high)
    return found | dict(given or {})


def is_at(value: float, bound: float, bounds: tuple[float, float]) -> bool:
    """Say whether a lever stands at a bound, within a thousandth of its range."""
    return bool(np.abs(value - bound) <= 1e-3 * (bounds[1] - bounds[0]))
