"""What do blade roots, shaft, hub and tower carry at this instant: the channels whose cycles are counted?

The hub's moments are those that the blades' roots hand on: what the shear forces at the roots add over
the hub's own radius is left out, about that radius over the radius at which the load acts (4 % on the demo
turbine), alike with and without any logic.
"""

from __future__ import annotations

import math

from numba import njit

from sim.kernels import layout as at
from sim.kernels import structure
from sim.kernels.aero import INLINE


@njit(**INLINE)
def hub_part(out_of_plane, in_plane, sine, cosine, coned):
    """Return one blade's part (tilt, yaw) of the moment that the roots hand on to the hub [N m].

    Parameters
    ----------
    out_of_plane, in_plane : float64 [N m] - at the root, positive downwind and in the sense of rotation
    sine, cosine : float64 [-] - of the blade's azimuth
    coned : float64 [-] - side times the sine of the cone

    Notes
    -----
    Derived here. With radial r, shaft x and motion t, the root's moment is Mo (a x n) + Mi (a x t), where
    a x n = r x x and a x t = cos(cone) x - side sin(cone) r. Tilt is about the horizontal axis across the
    shaft, positive where the upper blade is pushed downwind; yaw is about the axis upwards and across,
    positive where the blade on the right, seen looking downwind, is pushed downwind.
    """
    return out_of_plane * cosine + coned * in_plane * sine, out_of_plane * sine - coned * in_plane * cosine


@njit(**INLINE)
def tower_top(moment, force, rise, weight, lift, acceleration):
    """Return the bending moment at the tower's top [N m] of what rides on it.

    Parameters
    ----------
    moment, force : float64 [N m], [N] - of the rotor at the hub, bending the tower the positive way
    rise : float64 [m] - of the hub above the top
    weight : float64 [N m] - of the load that stands ahead of or behind the tower's axis
    lift : float64 [kg m] - mass on top times its height above it
    acceleration : float64 [m/s2] - of the tower's top

    Notes
    -----
    Derived here: moments about the tower's top. The inertia of its rotation is left out (2 kN m on the demo
    turbine), and that of the blades' bending over the rise (some per cent).
    """
    return moment + rise * force + weight - lift * acceleration


@njit(**INLINE)
def gather_channels(channels, out, y, scalars, work, blade_count):
    """Write every channel of TURN_* (TURNING,) [N m], [rad] for the pitch angle.

    Parameters
    ----------
    channels : (TURNING,) float64 - written; those of a blade that is not there stay as they are
    out : (OUTPUTS,) float64 - as ``watch.put_out`` wrote it
    work : as ``step.evaluate`` left it
    """
    tilt = yaw = 0.0
    coned = scalars[at.SIDE] * scalars[at.SIN_CONE]
    for b in range(blade_count):
        frame = work.frames[b]
        flap, edge = out[at.OUT_FLAP + b], out[at.OUT_EDGE + b]
        out_of_plane, in_plane = structure.turned(frame[0], frame[1], flap, edge)
        part = hub_part(out_of_plane, in_plane, frame[2], frame[3], coned)
        tilt += part[0]
        yaw += part[1]
        channels[at.TURN_FLAP + b], channels[at.TURN_EDGE + b] = flap, edge
        channels[at.TURN_OUT_OF_PLANE + b], channels[at.TURN_IN_PLANE + b] = out_of_plane, in_plane
        channels[at.TURN_RESULTANT + b] = math.hypot(flap, edge)
        channels[at.TURN_PITCH + b] = out[at.OUT_PITCH + b]
    sine, cosine = work.frames[0, 2], work.frames[0, 3]
    channels[at.TURN_HUB_TILT], channels[at.TURN_HUB_YAW] = tilt, yaw
    channels[at.TURN_SHAFT_1] = tilt * cosine + yaw * sine
    channels[at.TURN_SHAFT_2] = yaw * cosine - tilt * sine
    channels[at.TURN_FA_BASE], channels[at.TURN_SS_BASE] = out[at.OUT_FA_BASE], out[at.OUT_SS_BASE]
    rise, lift = scalars[at.HUB_HEIGHT] - scalars[at.TOWER_HEIGHT], scalars[at.TOP_LIFT]
    ahead = scalars[at.FA_GRAVITY] / scalars[at.FA_SLOPE]
    fore, aside = out[at.OUT_FA_ACCELERATION], out[at.OUT_SS_ACCELERATION]
    channels[at.TURN_FA_TOP] = tower_top(tilt, work.total[0], rise, ahead, lift, fore)
    roll = scalars[at.SIDE] * math.sin(scalars[at.TILT]) * yaw - math.cos(scalars[at.TILT]) * y[at.TORQUE]
    channels[at.TURN_SS_TOP] = tower_top(roll, work.total[1], rise, 0.0, lift, aside)
