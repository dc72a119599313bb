"""What does IEC 61400-1 prescribe for a site: speeds, standard deviations, gust sizes?

All formulas are general; none is a table of results. They are given here from memory of the standard
(editions 2005 and 2019 agree on those below unless said).

References
----------
IEC 61400-1, Wind energy generation systems - Part 1: Design requirements, editions 2005 and 2019, clause 6.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.errors import InputError, closest

REFERENCE_SPEEDS = {"I": 50.0, "II": 42.5, "III": 37.5}
"""Vref [m/s] by class; class S states its own."""

REFERENCE_INTENSITIES = {"A+": 0.18, "A": 0.16, "B": 0.14, "C": 0.12}
"""Iref [-] at 15 m/s by category (A+ since 2019); a site of class S may state its own."""

NORMAL_SHEAR_EXPONENT = 0.2
EXTREME_SHEAR_EXPONENT = 0.11
GUST_PERIOD = 10.5  # [s] operating gust
DIRECTION_PERIOD = 6.0  # [s] direction change
COHERENT_PERIOD = 10.0  # [s] rise of the coherent gust
COHERENT_SPEED = 15.0  # [m/s] height of the coherent gust
SHEAR_PERIOD = 12.0  # [s] extreme shear

GUST_PEAK = 0.74
GUST_TROUGH = -0.37 * 2.4 * 0.45**1.5
"""Largest and smallest added speed of the operating gust over Vgust. Derived here: with u = sin(pi t/T) the
time function is -0.37 (6 u^3 - 8 u^5), extreme at u^2 = 0.45 and at u = 1."""


@dataclass(frozen=True)
class Site:
    """What the standard needs to know of a site and its turbine.

    Parameters
    ----------
    turbine_class : str
        "I", "II", "III", or "S" (then ``reference_speed`` must be given).
    category : str
        Turbulence category "A+", "A", "B", "C", or "S" (then ``reference_intensity`` must be given).
    hub_height, rotor_diameter : float [m]
    reference_speed : float [m/s], optional
        Vref of a class S site; refused with another class.
    average_speed : float [m/s], optional
        Vave; 0.2 Vref unless a class S site states its own.
    reference_intensity : float [-], optional
        Iref of a category S site; refused with another category.

    Raises
    ------
    InputError
        For an unknown class or category, a value that is not positive or beyond all reason, one that the
        class rules out, or a rotor that would reach into the ground.
    """

    turbine_class: str
    category: str
    hub_height: float
    rotor_diameter: float
    reference_speed: float | None = None
    average_speed: float | None = None
    reference_intensity: float | None = None

    def __post_init__(self) -> None:
        problems = _word_problems("turbine_class", self.turbine_class, REFERENCE_SPEEDS)
        problems += _word_problems("category", self.category, REFERENCE_INTENSITIES)
        special = self.turbine_class == "S"
        problems += _own_value_problems("reference_speed", self.reference_speed, special, "turbine_class")
        problems += _own_value_problems(
            "reference_intensity", self.reference_intensity, self.category == "S", "category"
        )
        if self.average_speed is not None and not special:
            problems.append("site: average_speed may be stated with turbine_class S only")
        for name in ("hub_height", "rotor_diameter", *_OWN_VALUES):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0.0):
                problems.append(f"site: {name} = {value!r}; must be a positive number")
            elif value is not None and value > _OWN_VALUES.get(name, (math.inf, ""))[0]:
                most, unit = _OWN_VALUES[name]
                problems.append(f"site: {name} = {value:g}; must be at most {most:g}{unit}")
        if not problems and self.hub_height <= 0.5 * self.rotor_diameter:
            low = self.hub_height - 0.5 * self.rotor_diameter
            problems.append(
                f"site: hub_height = {self.hub_height:g} m; the lower tip of a rotor of "
                f"{self.rotor_diameter:g} m would stand at {low:g} m, inside the ground; must be above "
                f"{0.5 * self.rotor_diameter:g} m"
            )
        if problems:
            raise InputError(problems)

    @property
    def vref(self) -> float:
        """Reference wind speed [m/s]: 10-minute mean at the hub, once in 50 years."""
        return self.reference_speed or REFERENCE_SPEEDS[self.turbine_class]

    @property
    def vave(self) -> float:
        """Annual mean wind speed at the hub [m/s]."""
        return self.average_speed or 0.2 * self.vref

    @property
    def iref(self) -> float:
        """Expected turbulence intensity at 15 m/s [-]."""
        return self.reference_intensity or REFERENCE_INTENSITIES[self.category]

    @property
    def scale(self) -> float:
        """Longitudinal turbulence scale Lambda1 at the hub [m]."""
        return turbulence_scale(self.hub_height)


_OWN_VALUES = {
    "reference_speed": (100.0, " m/s"),
    "average_speed": (30.0, " m/s"),
    "reference_intensity": (1.0, ", for it is a share: 16 % is 0.16"),
}
"""What a site of class or category S states, and the most that it may be."""


def _word_problems(key: str, word: str, known: dict[str, float]) -> list[str]:
    if word in known or word == "S":
        return []
    return [f"site: {key} = {word!r} is not known{closest(str(word), [*known, 'S'])}"]


def _own_value_problems(key: str, value: float | None, special: bool, chooser: str) -> list[str]:
    if special and value is None:
        return [f"site: {chooser} = 'S' needs {key}"]
    if value is not None and not special:
        return [f"site: {key} may be stated with {chooser} 'S' only"]
    return []


def turbulence_scale(height: float) -> float:
    """Return Lambda1 [m] at a height [m]: 0.7 z up to 60 m, 42 m above."""
    return 0.7 * min(height, 60.0)


def normal_sigma(site: Site, speed: float) -> float:
    """Return the longitudinal standard deviation [m/s] of normal turbulence (90 % quantile).

    Notes
    -----
    sigma1 = Iref (0.75 V + 5.6 m/s).
    """
    return site.iref * (0.75 * speed + 5.6)


def sigma_distribution(site: Site, speed: float) -> tuple[float, float]:
    """Return shape k [-] and scale C [m/s] of the Weibull distribution of normal turbulence's sigma1.

    Notes
    -----
    F(sigma1) = 1 - exp[-(sigma1/C)^k], k = 0.27 s/m V + 1.4, C = Iref (0.75 V + 3.3 m/s). Edition 2019, from
    memory; its 90 % quantile is that of `normal_sigma` within 3 % from 4 to 25 m/s.
    """
    return 0.27 * speed + 1.4, site.iref * (0.75 * speed + 3.3)


def sigma_at(site: Site, speed: float, probability: float) -> float:
    """Return the longitudinal standard deviation [m/s] that normal turbulence stays below with a probability.

    Notes
    -----
    C [-ln(1 - probability)]^(1/k), of `sigma_distribution`.
    """
    shape, scale = sigma_distribution(site, speed)
    return scale * (-math.log1p(-probability)) ** (1.0 / shape)


def extreme_sigma(site: Site, speed: float) -> float:
    """Return the longitudinal standard deviation [m/s] of extreme turbulence.

    Notes
    -----
    sigma1 = c Iref [0.072 (Vave/c + 3)(V/c - 4) + 10], c = 2 m/s.
    """
    c = 2.0
    return c * site.iref * (0.072 * (site.vave / c + 3.0) * (speed / c - 4.0) + 10.0)


def extreme_wind_sigma(speed: float) -> float:
    """Return sigma1 = 0.11 V [m/s] of the turbulent extreme wind (parked load cases)."""
    return 0.11 * speed


def extreme_speed_50(site: Site, height: float | None = None) -> float:
    """Return the 3-second gust [m/s] of a 50-year return period at a height [m], the hub unless said.

    Notes
    -----
    Ve50(z) = 1.4 Vref (z/zhub)^0.11.
    """
    ratio = 1.0 if height is None else height / site.hub_height
    return 1.4 * site.vref * ratio**EXTREME_SHEAR_EXPONENT


def extreme_speed_1(site: Site, height: float | None = None) -> float:
    """Return the 3-second gust [m/s] of a 1-year return period: Ve1 = 0.8 Ve50."""
    return 0.8 * extreme_speed_50(site, height)


def extreme_mean(site: Site, return_period: int) -> float:
    """Return the hub's ten-minute mean [m/s] of the turbulent extreme wind: Vref in 50 years, 0.8 Vref in 1.

    Raises
    ------
    InputError
        For a return period that the standard does not define.
    """
    return site.vref * _yearly_factor(return_period)


def extreme_gust(site: Site, return_period: int) -> float:
    """Return the steady extreme wind [m/s] at the hub, of a return period of 50 years or 1 year.

    Raises
    ------
    InputError
        For a return period that the standard does not define.
    """
    return extreme_speed_50(site) * _yearly_factor(return_period)


def _yearly_factor(return_period: int) -> float:
    if return_period not in (1, 50):
        raise InputError(f"wind: return_period_years = {return_period!r}; must be 1 or 50")
    return 1.0 if return_period == 50 else 0.8


def normal_profile(speed: float, height: float, hub_height: float, exponent: float) -> float:
    """Return V (z/zhub)^exponent [m/s]; the standard's normal exponent is 0.2; 0 at and below the ground."""
    return speed * (max(height, 0.0) / hub_height) ** exponent


def operating_gust_amplitude(site: Site, speed: float) -> float:
    """Return Vgust [m/s] of the extreme operating gust.

    Raises
    ------
    InputError
        If the speed is not below Ve1: the formula then turns the gust upside down.

    Notes
    -----
    Vgust = min{1.35 (Ve1 - V), 3.3 sigma1 / (1 + 0.1 D/Lambda1)}, sigma1 of normal turbulence.
    """
    ve1 = extreme_speed_1(site)
    if not speed < ve1:
        raise InputError(
            f"wind: speed = {speed!r} m/s; an operating gust needs less than Ve1 = {ve1:.4g} m/s"
        )
    size = 1.0 + 0.1 * site.rotor_diameter / site.scale
    return min(1.35 * (ve1 - speed), 3.3 * normal_sigma(site, speed) / size)


def direction_change_angle(site: Site, speed: float) -> float:
    """Return the size theta_e [rad] of the extreme direction change, at most pi.

    Notes
    -----
    theta_e = 4 arctan{sigma1 / [V (1 + 0.1 D/Lambda1)]}, at most 180 degrees; sigma1 of normal turbulence.
    """
    size = 1.0 + 0.1 * site.rotor_diameter / site.scale
    return min(4.0 * math.atan2(normal_sigma(site, speed), speed * size), math.pi)


def coherent_gust_angle(speed: float) -> float:
    """Return the turn [rad] that comes with the coherent gust: 180 deg below 4 m/s, else 720/V deg."""
    return math.radians(180.0 if speed < 4.0 else 720.0 / speed)


def shear_gradient(site: Site, speed: float) -> float:
    """Return the added gradient [1/s] of the extreme shear, before its time function 1 - cos(2 pi t/T).

    Notes
    -----
    [2.5 m/s + 0.2 beta sigma1 (D/Lambda1)^(1/4)] / D with beta 6.4; at half time the wind at the tip
    differs from the hub's by the bracket itself. The same for vertical and horizontal shear.
    """
    ratio = (site.rotor_diameter / site.scale) ** 0.25
    return (2.5 + 0.2 * 6.4 * normal_sigma(site, speed) * ratio) / site.rotor_diameter
