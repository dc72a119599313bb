"""What mean wind do surface, stability and the Earth's rotation give, height by height?

Profiles are `Profile` objects: speed and direction over height, read at any height inside them. Directions
are angles from the direction at the hub [rad], positive where the wind comes more from the left, seen looking
downwind; so veer (the wind turning clockwise with height, seen from above, as it does over most of the
northern hemisphere) is positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import InputError

STABLE_LIMIT = 1.0
UNSTABLE_LIMIT = -2.0
"""Range of height over Obukhov length in which the profile functions were measured."""


@dataclass(frozen=True)
class Profile:
    """Speed and direction over height, linear in the logarithm of height between the points.

    Parameters
    ----------
    heights : (n,) float64 [m]
        Rising, positive, at least two.
    speeds : (n,) float64 [m/s]
        Not negative.
    directions : (n,) float64 [rad]
        As the module says; from any fixed direction, not wrapped.

    Raises
    ------
    InputError
        If arrays differ in length, are too short, not finite, out of range, or heights do not rise.
    """

    heights: NDArray[Any]
    speeds: NDArray[Any]
    directions: NDArray[Any]

    def __post_init__(self) -> None:
        for name in ("heights", "speeds", "directions"):
            values = np.array(getattr(self, name), np.float64)
            values.flags.writeable = False
            object.__setattr__(self, name, values)
        if not self.heights.ndim == 1 or not self.heights.shape == self.speeds.shape == self.directions.shape:
            raise InputError("profile: heights, speeds and directions must be lists of equal length")
        if len(self.heights) < 2:
            raise InputError(f"profile: {len(self.heights)} heights; must be at least 2")
        if not all(np.isfinite(values).all() for values in (self.heights, self.speeds, self.directions)):
            raise InputError("profile: every height, speed and direction must be finite")
        if self.heights[0] <= 0.0 or (np.diff(self.heights) <= 0.0).any():
            raise InputError("profile: heights must be above 0 and rise from point to point")
        if (self.speeds < 0.0).any():
            raise InputError(f"profile: speed = {self.speeds.min():g} m/s; must be >= 0")

    def covers(self, low: float, high: float) -> None:
        """Check that the profile reaches from ``low`` to ``high`` [m].

        Raises
        ------
        InputError
            If it does not: wind beyond a profile is not guessed.
        """
        if low < self.heights[0] or high > self.heights[-1]:
            told = f"heights {self.heights[0]:g} to {self.heights[-1]:g} m"
            raise InputError(f"profile: {told}; must reach from {low:g} to {high:g} m, as the rotor does")

    def speed(self, height: ArrayLike) -> NDArray[Any]:
        """Return the speed (...) [m/s] at heights (...) [m]; beyond the ends the last value is held."""
        return np.interp(np.log(np.maximum(height, 1e-3)), np.log(self.heights), self.speeds)

    def direction(self, height: ArrayLike) -> NDArray[Any]:
        """Return the direction (...) [rad] at heights (...) [m]; beyond the ends the last value is held."""
        return np.interp(np.log(np.maximum(height, 1e-3)), np.log(self.heights), self.directions)

    def relative_to(self, hub_height: float, speed: float | None = None) -> Profile:
        """Return the profile with directions counted from the hub's, scaled to a hub speed [m/s] if given.

        Raises
        ------
        InputError
            If the profile does not reach the hub, or has no wind there to be scaled.
        """
        self.covers(hub_height, hub_height)
        at_hub = float(self.speed(hub_height))
        if speed is not None and at_hub <= 0.0:
            raise InputError(f"profile: no wind at the hub ({hub_height:g} m), so it cannot be scaled")
        factor = 1.0 if speed is None else speed / at_hub
        return Profile(self.heights, factor * self.speeds, self.directions - self.direction(hub_height))

    def veer(self, low: float, high: float) -> float:
        """Return the mean turn of direction between two heights [m], in [rad/m]."""
        return float(self.direction(high) - self.direction(low)) / (high - low)


def _grid(low: float, high: float) -> NDArray[Any]:
    return np.geomspace(low, high, 200)


def stability_gradient(ratio: float) -> float:
    """Return phi, the mean gradient over the one of neutral air, at a height over Obukhov length.

    Raises
    ------
    InputError
        Outside -2 to 1, where these functions were not measured.

    Notes
    -----
    Stable: 1 + 5 z/L. Unstable: (1 - 16 z/L)^(-1/4).

    References
    ----------
    Dyer, A. J., A review of flux-profile relationships, Boundary-Layer Meteorol. 7 (1974) 363-372.
    """
    _check_ratio(ratio)
    return 1.0 + 5.0 * ratio if ratio >= 0.0 else (1.0 - 16.0 * ratio) ** -0.25


def stability_shift(ratio: float) -> float:
    """Return psi, what stability takes from the logarithm: the integral of (1 - phi) over d ln z.

    Raises
    ------
    InputError
        Outside -2 to 1.

    Notes
    -----
    Stable: -5 z/L. Unstable: 2 ln((1 + x)/2) + ln((1 + x^2)/2) - 2 arctan x + pi/2, x = (1 - 16 z/L)^(1/4).

    References
    ----------
    Paulson, C. A., The mathematical representation of wind speed and temperature profiles in the unstable
    atmospheric surface layer, J. Appl. Meteorol. 9 (1970) 857-861, equation 12.
    """
    _check_ratio(ratio)
    if ratio >= 0.0:
        return -5.0 * ratio
    x = (1.0 - 16.0 * ratio) ** 0.25
    return (
        2.0 * math.log((1.0 + x) / 2.0) + math.log((1.0 + x * x) / 2.0) - 2.0 * math.atan(x) + math.pi / 2.0
    )


def _check_ratio(ratio: float) -> None:
    if not UNSTABLE_LIMIT <= ratio <= STABLE_LIMIT:
        told = f"height over Obukhov length = {ratio:.4g}"
        raise InputError(f"atmosphere: {told}; must be from {UNSTABLE_LIMIT:g} to {STABLE_LIMIT:g}")


def _inverse(length: float) -> float:
    if length == 0.0 or math.isnan(length):
        raise InputError(
            f"atmosphere: obukhov_length = {length!r} m; must not be 0 (infinite is neutral air)"
        )
    return 1.0 / length


def shear_exponent(height: float, roughness: float, obukhov_length: float = math.inf) -> float:
    """Return the exponent [-] of the power law that fits the surface layer's profile at a height.

    Parameters
    ----------
    height : float [m]
        Where speed and slope are to agree: the hub, or the geometric mean of the rotor's lowest and highest
        point.
    roughness : float [m]
        Roughness length of the surface.
    obukhov_length : float [m]
        Positive in stable air, negative in unstable air, infinite in neutral air.

    Raises
    ------
    InputError
        If the roughness is not between 0 and the height, or the stability beyond what was measured.

    Notes
    -----
    Derived here: d ln V / d ln z = phi(z/L) / [ln(z/z0) - psi(z/L)], phi of `stability_gradient` and psi of
    `stability_shift`.
    """
    if not 0.0 < roughness < height:
        raise InputError(f"atmosphere: roughness = {roughness!r} m; must be > 0 and < height {height:g} m")
    ratio = height * _inverse(obukhov_length)
    return stability_gradient(ratio) / (math.log(height / roughness) - stability_shift(ratio))


def surface_layer(
    speed: float, hub_height: float, top: float, roughness: float, obukhov_length: float = math.inf
) -> Profile:
    """Return the surface layer's logarithmic profile with its correction for stability.

    Parameters
    ----------
    speed : float [m/s]
        At the hub.
    hub_height, top : float [m]
        The profile reaches from 1 m (or twice the roughness) to ``top``.
    roughness, obukhov_length : float [m]
        As in `shear_exponent`.

    Raises
    ------
    InputError
        As `shear_exponent`, up to ``top``.

    Notes
    -----
    V(z) = V(hub) [ln(z/z0) - psi(z/L)] / [ln(hub/z0) - psi(hub/L)].
    """
    shear_exponent(hub_height, roughness, obukhov_length)
    heights = _grid(max(1.0, 2.0 * roughness), top)
    inverse = _inverse(obukhov_length)
    shape = [math.log(z / roughness) - stability_shift(z * inverse) for z in (hub_height, *heights)]
    return Profile(heights, speed * np.array(shape[1:]) / shape[0], np.zeros(len(heights)))


def low_level_jet(
    speed: float, hub_height: float, top: float, exponent: float, jet_speed: float, jet_height: float
) -> Profile:
    """Return a power law with a jet on it.

    Parameters
    ----------
    speed : float [m/s]
        At the hub, jet included.
    hub_height, top : float [m]
        The profile reaches from 1 m to ``top``.
    exponent : float [-]
        Of the power law under the jet.
    jet_speed : float [m/s]
        What the jet adds at its core.
    jet_height : float [m]
        Height of the core.

    Raises
    ------
    InputError
        If the jet alone is more than the wind at the hub, or its height is not positive.

    Notes
    -----
    Chosen here: the jet is jet_speed x exp[(1 - x^2)/2] with x = z / jet_height: nothing at the ground, the
    largest at its core, gone at three times its height. The power law carries the rest.
    """
    if not jet_height > 0.0:
        raise InputError(f"atmosphere: jet_height = {jet_height!r} m; must be > 0")

    def jet(height: Any) -> Any:
        x = height / jet_height
        return jet_speed * x * np.exp(0.5 * (1.0 - x * x))

    rest = speed - float(jet(hub_height))
    if rest < 0.0:
        raise InputError(
            f"atmosphere: the jet alone is {speed - rest:.4g} m/s at the hub; must be <= {speed:g} m/s"
        )
    heights = _grid(1.0, top)
    speeds = rest * (heights / hub_height) ** exponent + jet(heights)
    return Profile(heights, speeds, np.zeros(len(heights)))


def with_veer(profile: Profile, rate: float, hub_height: float) -> Profile:
    """Return a profile whose direction turns, in addition, by ``rate`` [rad/m] with height."""
    return Profile(
        profile.heights, profile.speeds, profile.directions + rate * (profile.heights - hub_height)
    )
