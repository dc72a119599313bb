"""Where are blade and tower while nothing bends, and how far apart?

Ground frame: x downwind, y left when looking downwind, z up, origin at the tower base. The shaft's unit
vector points downwind; tilt lifts the rotor's end of it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine

Array = NDArray[np.float64]


def tower_radius(turbine: Turbine, z: float | Array) -> Array:
    """Outer radius of the tower.

    Parameters
    ----------
    z : (any) float64 [m] - height above ground; beyond the tower's ends the end's radius holds

    Returns
    -------
    (any) float64 [m]

    Notes
    -----
    The diameter falls linearly from base to top.
    """
    tower = turbine.tower
    share = np.clip(np.asarray(z, dtype=np.float64) / tower.height, 0.0, 1.0)
    return 0.5 * (tower.base_diameter + (tower.top_diameter - tower.base_diameter) * share)


def shaft_direction(turbine: Turbine) -> Array:
    """Unit vector along the shaft, downwind: (3,) float64 [-]."""
    rotor = turbine.rotor
    return np.array([math.cos(rotor.tilt), 0.0, rotor.side * math.sin(rotor.tilt)])


def hub_position(turbine: Turbine) -> Array:
    """Hub centre: (3,) float64 [m].

    Notes
    -----
    The hub height is that of the hub centre, so overhang and tilt move the point where shaft and tower axis
    meet, not the hub.
    """
    rotor = turbine.rotor
    return np.array([rotor.side * rotor.overhang * math.cos(rotor.tilt), 0.0, rotor.hub_height])


def blade_directions(turbine: Turbine, azimuth: float) -> tuple[Array, Array, Array]:
    """Unit vectors of a coned blade: along it, across it downwind, and in the direction of motion.

    Parameters
    ----------
    azimuth : [rad] 0 = up, growing clockwise as seen from upwind

    Returns
    -------
    along, normal, motion : (3,) float64 [-]
    """
    rotor = turbine.rotor
    shaft = shaft_direction(turbine)
    up = np.array([-rotor.side * math.sin(rotor.tilt), 0.0, math.cos(rotor.tilt)])
    radial = math.cos(azimuth) * up + math.sin(azimuth) * np.array([0.0, -1.0, 0.0])
    motion = np.cross(shaft, radial)
    along = radial * math.cos(rotor.cone) + rotor.side * shaft * math.sin(rotor.cone)
    normal = shaft * math.cos(rotor.cone) - rotor.side * radial * math.sin(rotor.cone)
    return along, normal, motion


def axis_position(turbine: Turbine, azimuth: float, pitch: float, blade: int = 0) -> Array:
    """Reference line of an unloaded blade: (row, 3) float64 [m], one point for each row of the table.

    Parameters
    ----------
    azimuth : [rad]
    pitch : [rad] as commanded; the blade's own offset is added
    blade : whose offsets count

    Notes
    -----
    Pitch turns the prebend about the blade axis: at feather it lies in the rotor plane.
    """
    table = turbine.blade
    along, normal, motion = blade_directions(turbine, azimuth)
    turned = pitch + table.pitch_offset[blade]
    flapwise = normal * math.cos(turned) + motion * math.sin(turned)
    prebend = turbine.rotor.side * prebend_line(turbine, blade)
    return hub_position(turbine) + table.r[:, None] * along + prebend[:, None] * flapwise


def prebend_line(turbine: Turbine, blade: int = 0) -> Array:
    """Prebend of one blade with its own offset: (row,) float64 [m], away from the tower.

    Notes
    -----
    The offset is given at the tip and grows with the square of the distance from the root.
    """
    table = turbine.blade
    share = (table.r - table.r[0]) / (table.r[-1] - table.r[0])
    return table.prebend + table.prebend_offset[blade] * share**2


def lowest_tip_height(turbine: Turbine) -> float:
    """Height of the lowest tip above ground, blade down at fine pitch [m]."""
    return min(
        float(axis_position(turbine, math.pi, turbine.pitch.fine, blade)[-1, 2])
        for blade in range(turbine.rotor.blade_count)
    )


def unloaded_clearance_axis(turbine: Turbine, pitch: float = 0.0) -> float:
    """Unloaded clearance of the tip's reference line, in closed form: the smallest over azimuth [m].

    Parameters
    ----------
    pitch : [rad] of all blades; zero is fine pitch, and the turbine's feather that of a rotor at rest

    Notes
    -----
    Without the blades' offsets. With overhang L, tip radius R, prebend p and pitch b the tip stands
    ``e = R sin(cone) + p cos(cone) cos(b)`` from the rotor's plane and
    ``rho = hypot(R cos(cone) - p sin(cone) cos(b), p sin(b))`` from the shaft, and is nearest where it is
    lowest: ``(L + e) cos(tilt) + rho sin(tilt)`` from the tower's axis, at the height ``hub_height - rho
    cos(tilt) + e sin(tilt)``, less the tower's radius there. At zero pitch that is ``L cos(tilt) + R
    sin(tilt + cone) + p cos(tilt + cone)``. The section's outline is left out; it counts in
    `unloaded_clearance` and `feathered_clearance`.

    References
    ----------
    Derived here: pitch turns the prebend about the blade axis, from the cone's outside into the plane. Turned
    away from the tower by an angle d, the tip loses about rho x d^2 sin(tilt) / (2 x) of the distance x and
    gains rho^2 d^2 / (2 x): it is nearest at d = 0 while rho > x sin(tilt).
    """
    rotor = turbine.rotor
    radius, prebend = turbine.rotor_radius, float(turbine.blade.prebend[-1])
    ahead, aside = prebend * math.cos(pitch), prebend * math.sin(pitch)
    out = radius * math.sin(rotor.cone) + ahead * math.cos(rotor.cone)
    rho = math.hypot(radius * math.cos(rotor.cone) - ahead * math.sin(rotor.cone), aside)
    reach = (rotor.overhang + out) * math.cos(rotor.tilt) + rho * math.sin(rotor.tilt)
    height = rotor.hub_height - rho * math.cos(rotor.tilt) + out * math.sin(rotor.tilt)
    return reach - float(tower_radius(turbine, height))


def lowest_azimuth(turbine: Turbine, pitch: float, blade: int = 0) -> float:
    """Azimuth of a blade [rad] at which the reference line of its unloaded tip is lowest.

    Notes
    -----
    Pitch b turns the prebend p into the plane, ``atan2(side p sin(b), R cos(cone) - p sin(cone) cos(b))``
    ahead of the blade's root in the sense of rotation; the root stands back by as much.
    """
    rotor = turbine.rotor
    prebend = float(prebend_line(turbine, blade)[-1])
    turned = pitch + float(turbine.blade.pitch_offset[blade])
    level = turbine.rotor_radius * math.cos(rotor.cone) - prebend * math.sin(rotor.cone) * math.cos(turned)
    return math.pi - math.atan2(rotor.side * prebend * math.sin(turned), level)


def outline_reach(
    chord: Array, thickness: Array, pitch_axis: Array, angle: Array, across: Array, along_motion: Array
) -> Array:
    """How far a section's outline reaches beyond its pitch axis in a given direction.

    Parameters
    ----------
    chord, thickness : (station,) float64 [m] axes of the ellipse
    pitch_axis : (station,) float64 [-] of the chord, from the leading edge
    angle : (station,) float64 [rad] pitch + twist; turns the leading edge upwind (towards -normal)
    across, along_motion : (station,) float64 [-] the direction's parts along the blade's
        normal and its motion

    Returns
    -------
    (station,) float64 [m]

    Notes
    -----
    The outline is an ellipse of half axes c/2 along the chord and t/2 across it, its centre
    ``(pitch_axis - 1/2) c`` from the pitch axis towards the leading edge. Towards a unit vector with parts
    (u, v) along chord and thickness it reaches ``centre u + sqrt((c u / 2)^2 + (t v / 2)^2)``. At zero angle
    the chord lies in the direction of motion.

    References
    ----------
    Support function of an ellipse; derived here: maximise a u cos s + b v sin s over s.
    """
    cosine, sine = np.cos(angle), np.sin(angle)
    towards_leading_edge = along_motion * cosine - across * sine
    towards_thickness = across * cosine + along_motion * sine
    centre = (pitch_axis - 0.5) * chord
    half = np.hypot(0.5 * chord * towards_leading_edge, 0.5 * thickness * towards_thickness)
    return centre * towards_leading_edge + half


def clearance_at(turbine: Turbine, azimuth: float, pitch: float, blade: int = 0) -> Array:
    """Horizontal distance between each station's outline and the tower's wall, one unloaded blade.

    Returns
    -------
    (row,) float64 [m]
        inf for stations above the tower top.

    Notes
    -----
    Each station's outline is met by the horizontal line from the tower axis to its pitch axis (the tower is
    round, so that is the direction of the wall's nearest point; the error is second order in chord over
    distance). A station on the wrong side of the tower's axis has its distance counted negative.
    """
    table = turbine.blade
    points = axis_position(turbine, azimuth, pitch, blade)
    _, normal, motion = blade_directions(turbine, azimuth)
    distance = np.hypot(points[:, 0], points[:, 1])
    towards = -points[:, :2] / distance[:, None]
    reach = outline_reach(
        table.chord,
        table.chord * table.thickness_ratio,
        table.pitch_axis,
        pitch + table.pitch_offset[blade] + table.twist,
        towards[:, 0] * normal[0] + towards[:, 1] * normal[1],
        towards[:, 0] * motion[0] + towards[:, 1] * motion[1],
    )
    signed = np.copysign(distance, turbine.rotor.side * points[:, 0])
    clearance = signed - reach - tower_radius(turbine, points[:, 2])
    return np.where(points[:, 2] < turbine.tower.height, clearance, np.inf)


def unloaded_clearance(turbine: Turbine, pitch: float | None = None) -> float:
    """Unloaded clearance of the turbine: tip outline to wall, blade down, the worst blade [m].

    Parameters
    ----------
    pitch : [rad] fine pitch unless said; at feather the prebend lies in the plane and less room remains

    Notes
    -----
    It is stated at the tip. An unloaded blade leans away from the tower, so that its inner stations are
    nearer to the wall than the tip is; bent until clearance matters, it comes nearest with its tip. A
    requirement drawn from the tip's larger number is the stricter one.
    """
    turned = turbine.pitch.fine if pitch is None else pitch
    blades = range(turbine.rotor.blade_count)
    return min(float(clearance_at(turbine, math.pi, turned, blade)[-1]) for blade in blades)


def feathered_clearance(turbine: Turbine) -> float:
    """Unloaded clearance at rest: tip outline to wall at feather, the worst blade and azimuth [m].

    Notes
    -----
    As `unloaded_clearance` it is stated at the tip. Stations further in are nearer to the wall, by 2.4 m on
    the demo turbine where its outer fifth begins. A blade at rest hardly bends towards the tower, so the
    smallest distance of a march is theirs, and what is drawn from the tip asks for more than it need.

    The reference line gives the azimuth to begin with (`lowest_azimuth`); two parabolas through three
    neighbours find the outline's own smallest distance.
    """
    return min(_nearest(turbine, turbine.pitch.feather, b) for b in range(turbine.rotor.blade_count))


def _nearest(turbine: Turbine, pitch: float, blade: int) -> float:
    azimuth = lowest_azimuth(turbine, pitch, blade)
    least = math.nan
    for step in (2e-2, 2e-3):
        before, least, after = (
            float(clearance_at(turbine, azimuth + n * step, pitch, blade)[-1]) for n in (-1, 0, 1)
        )
        bend = before - 2.0 * least + after
        if bend > 0.0:
            azimuth += 0.5 * (before - after) / bend * step
            least -= 0.125 * (before - after) ** 2 / bend
    return least
