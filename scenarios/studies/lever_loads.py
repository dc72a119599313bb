"""What do a rotor's weight, rotation and thrust do to blade root, shaft, bed plate and yaw bearing?"""

from __future__ import annotations

import math

import numpy as np

from sim.design import Turbine
from sim.plant.tower import GRAVITY, top_body, tower_beam

BEARING_SHARE = 0.5
"""Where the main bearing stands: its distance from the hub centre, as a share of the overhang. An assumption:
the turbine file does not tell."""


def rotor_weight(turbine: Turbine) -> float:
    """Return the weight of hub and blades [N]."""
    return GRAVITY * (top_body(turbine).mass - turbine.nacelle.mass)


def overhung_bending(turbine: Turbine, share: float = 1.0) -> float:
    """Return the bending of a horizontal-ish shaft by the rotor's weight [N m].

    Parameters
    ----------
    turbine : Turbine
    share : [-] how far from the hub centre, as a share of the overhang; 1 is the tower's axis: the bed plate

    Notes
    -----
    W share L cos(tilt): a cantilever with a weight on its end.
    """
    rotor = turbine.rotor
    return rotor_weight(turbine) * share * rotor.overhang * math.cos(rotor.tilt)


def yaw_bearing_bending(turbine: Turbine, thrust: float) -> float:
    """Return the fore-aft moment at the tower top, positive where it tips the top downwind [N m].

    Parameters
    ----------
    turbine : Turbine
    thrust : [N] along the shaft

    Notes
    -----
    T cos(tilt) h + W x + W_n x_n: h the height of the shaft above the tower top on the tower's axis,
    ``hub_height - height - L sin(tilt)``, x of the hub and x_n of the nacelle downwind of it.

    References
    ----------
    Derived here: moments about the tower top of a force along the shaft and of two weights.
    """
    rotor, nacelle = turbine.rotor, turbine.nacelle
    lever = rotor.hub_height - turbine.tower.height - rotor.overhang * math.sin(rotor.tilt)
    hub = rotor.side * rotor.overhang * math.cos(rotor.tilt)
    weights = rotor_weight(turbine) * hub + GRAVITY * nacelle.mass * nacelle.centre_x
    return thrust * math.cos(rotor.tilt) * lever + weights


def root_bending(turbine: Turbine, rotor_speed: float) -> tuple[float, float]:
    """Return the mean flap moments at the blade root by rotation and by weight, positive downwind [N m].

    Parameters
    ----------
    turbine : Turbine
    rotor_speed : [rad/s]

    Notes
    -----
    Rotation: -side Omega^2 integral m d ((r - r0) sin(cone) + p cos(cone)), d = r cos(cone) - p sin(cone)
    the distance from the shaft: it pulls cone and prebend into the plane. Weight, the mean over a turn:
    -side g sin(tilt) cos(cone) integral m (r - r0). Blade unbent, at fine pitch zero.

    References
    ----------
    Derived here: moments about the root of a radial force and of the weight's part along the blade's normal.
    """
    rotor, blade = turbine.rotor, turbine.blade
    sine, cosine = math.sin(rotor.cone), math.cos(rotor.cone)
    out = blade.r - blade.r[0]
    distance = blade.r * cosine - blade.prebend * sine
    pulled = float(np.trapezoid(blade.mass * distance * (out * sine + blade.prebend * cosine), blade.r))
    first = float(np.trapezoid(blade.mass * out, blade.r))
    return (
        -rotor.side * rotor_speed**2 * pulled,
        -rotor.side * GRAVITY * math.sin(rotor.tilt) * cosine * first,
    )


def hub_bending(blade_count: int, amplitude: float) -> float:
    """Return the largest moment on the hub from blades whose flap moment swings once a turn [N m].

    Notes
    -----
    Of three blades and more B/2 times the amplitude, at every azimuth; of two twice, as they stand upright.
    """
    return (0.5 * blade_count if blade_count > 2 else 2.0) * amplitude


def blade_mass(turbine: Turbine) -> float:
    """Return the mass of one blade, its own offsets left out [kg]."""
    return float(np.trapezoid(turbine.blade.mass, turbine.blade.r))


def tower_mass(turbine: Turbine) -> float:
    """Return the mass of the tower [kg]."""
    beam = tower_beam(turbine)
    return float(beam.grid.integrate(beam.mass))


def blade_envelope(turbine: Turbine) -> float:
    """Return the depth of the straight box that a blade needs on the road and its mould, flapwise [m].

    Notes
    -----
    From the lowest to the highest point of all sections, each an ellipse at its twist, the prebend along the
    box's depth: max(p + h) - min(p - h), h = sqrt((c/2 sin twist)^2 + (t/2 cos twist)^2). The box's length is
    that of the blade.
    """
    blade = turbine.blade
    thick = blade.chord * blade.thickness_ratio
    half = np.hypot(0.5 * blade.chord * np.sin(blade.twist), 0.5 * thick * np.cos(blade.twist))
    return float(np.max(blade.prebend + half) - np.min(blade.prebend - half))
