"""How do pitch servos and generator follow their commands, and what does a blade ask of its servo?

Scalar functions for one servo and one generator; SI units.
"""

from __future__ import annotations

from numba import njit

from sim.kernels import layout as at
from sim.kernels.aero import INLINE, LEAN
from sim.kernels.structure import GRAVITY

TILTING = 4.4  #: weight of the root moment in a slewing ring's friction


@njit(**INLINE)
def servo_acceleration(pitch, rate, command, frequency, damping, rate_limit, acceleration_limit):
    """Return the pitch acceleration [rad/s2] of a second-order servo with limits.

    Notes
    -----
    Within the limits  accel = omega^2 (command - pitch) - 2 zeta omega rate.  Written as a speed loop,
    accel = 2 zeta omega (wanted - rate) with wanted = omega (command - pitch) / (2 zeta) held within the
    rate limit and accel within the acceleration limit, so that the rate never passes its limit. A rate
    limit of 0 stops the servo and holds it where it stands.
    """
    gain = 2.0 * damping * frequency
    wanted = frequency * frequency * (command - pitch) / gain
    wanted = min(max(wanted, -rate_limit), rate_limit)
    return min(max(gain * (wanted - rate), -acceleration_limit), acceleration_limit)


@njit(**INLINE)
def torque_rate(torque, command, lag):
    """Return the rate [N m/s] of the generator torque, a first-order lag of its command."""
    return (command - torque) / lag


@njit(**INLINE)
def blade_pitch(held, servo, half_play):
    """Return where the blade stands [rad] whose servo has turned to ``servo``, and which stood at ``held``.

    Notes
    -----
    The play operator: the blade rests while the servo crosses its play and is carried along at either end.
    Without play the blade stands where the servo does, to the bit.

    References
    ----------
    Brokate and Sprekels, Hysteresis and Phase Transitions, Springer, 1996, section 2.3.
    """
    return min(max(held, servo - half_play), servo + half_play)


@njit(**INLINE)
def bearing_friction(rate, root_moment, pull, arm, radius):
    """Return the friction moment of the pitch bearing [N m], against the motion.

    Parameters
    ----------
    rate : float64 [rad/s]
    root_moment : float64 [N m] - size of the bending moment on the bearing
    pull : float64 [N] - radial force of the blade, along its axis
    arm : float64 [-] - half the coefficient of friction
    radius : float64 [m] - half the coefficient times the ring's diameter

    Notes
    -----
    M = mu/2 (4.4 M_k + F_a D), the makers' rule for slewing rings, its term of the shear force left out;
    below 0.2 mrad/s it fades to nothing, for a bearing at rest carries what it must.

    References
    ----------
    Catalogues of slewing bearings; value and form from memory.
    """
    turning = min(max(rate / 2e-4, -1.0), 1.0)
    return turning * (arm * TILTING * root_moment + radius * pull)


@njit(**LEAN)
def bent_sums(q, blade, vectors, matrices):
    """Return a bent blade's sums about its pitch axis: m x2, m y2, m x y, m x, m y, m r x, m r y."""
    xx, yy, xy = blade[at.PREBEND_2], 0.0, 0.0
    x, y, rx, ry = blade[at.PREBEND_0], 0.0, blade[at.PREBEND_1], 0.0
    for i in range(at.MODES):
        xx += 2.0 * vectors[at.VEC_PX, i] * q[i]
        xy += vectors[at.VEC_PY, i] * q[i]
        x += vectors[at.VEC_FX, i] * q[i]
        y += vectors[at.VEC_FY, i] * q[i]
        rx += vectors[at.VEC_JX, i] * q[i]
        ry += vectors[at.VEC_JY, i] * q[i]
        for j in range(at.MODES):
            both = q[i] * q[j]
            yy += matrices[at.MAT_YY, i, j] * both
            xx += (matrices[at.MAT_M, i, j] - matrices[at.MAT_YY, i, j]) * both
            xy += 0.5 * matrices[at.MAT_SYMMETRIC, i, j] * both
    return xx, yy, xy, x, y, rx, ry


@njit(**INLINE)
def weight_moment(x, y, frame):
    """Return the moment of the weight about the pitch axis [N m]; x and y are first moments [kg m]."""
    cb, sb = frame[0], frame[1]
    gx = -GRAVITY * (frame[6] * cb + frame[9] * sb)
    gy = -GRAVITY * (frame[9] * cb - frame[6] * sb)
    return x * gy - y * gx


@njit(**INLINE)
def spin_moment(sums, omega, frame, scalars):
    """Return the moment of the centrifugal forces about the pitch axis [N m].

    Notes
    -----
    Derived here: with u out of plane and v in plane, a mass at r is pulled outwards from the shaft by
    omega^2 m ((r c - side s u) radially, v along the motion); about the pitch axis that is
    omega^2 m (c^2 u v + side s c r v), c and s of the cone.
    """
    xx, yy, xy, _, _, rx, ry = sums
    cb, sb = frame[0], frame[1]
    uv = (xx - yy) * sb * cb + xy * (cb * cb - sb * sb)
    rv = rx * sb + ry * cb
    c, lean = scalars[at.COS_CONE], scalars[at.SIDE] * scalars[at.SIN_CONE]
    return omega * omega * c * (c * uv + lean * rv)


@njit(**LEAN)
def shaking_moment(q, accelerations, vectors, matrices):
    """Return the inertia of the modes' own acceleration about the pitch axis, m (x y'' - y x'') [N m]."""
    total = 0.0
    for j in range(at.MODES):
        lever = vectors[at.VEC_PY, j]
        for i in range(at.MODES):
            lever -= matrices[at.MAT_SKEW, i, j] * q[i]
        total += lever * accelerations[j]
    return total


@njit(**LEAN)
def air_moment(s, k, first, q, frame, density):
    """Return the moment of the air about the pitch axis [N m]: lift and drag on the bent blade, and sections.

    Parameters
    ----------
    s, k : rows of scratch and constants as ``layout`` names them
    first : int - the blade's first station
    """
    cb, sb = frame[0], frame[1]
    q0, q1, q2 = q[0], q[1], q[2]
    total = 0.0
    s, k = s[first:], k[first:]
    for i in range(at.STATIONS):
        x = k[at.PREBEND + i] + k[at.LIFT_X + i] + k[at.PHI_X + i] * q0
        x += k[at.PHI_X + at.WIDTH + i] * q1 + k[at.PHI_X + 2 * at.WIDTH + i] * q2
        y = k[at.LIFT_Y + i] + k[at.PHI_Y + i] * q0
        y += k[at.PHI_Y + at.WIDTH + i] * q1 + k[at.PHI_Y + 2 * at.WIDTH + i] * q2
        fx, fy = s[at.PN + i] * cb + s[at.PT + i] * sb, s[at.PT + i] * cb - s[at.PN + i] * sb
        chord = k[at.CHORD + i]
        nose_up = 0.5 * density * s[at.SPEED2 + i] * chord * chord * k[at.MOMENT + i]
        total += k[at.DR + i] * (x * fy - y * fx - nose_up)
    return total


@njit(**INLINE)
def servo_torque(b, y, dy, d, design, work, root_moment):
    """Return the torque of blade ``b``'s servo about the pitch axis [N m], positive towards feather.

    Parameters
    ----------
    y, dy : (STATE,) float64 - state and rate of the lane
    work : as ``step.evaluate`` left it
    root_moment : float64 [N m] - size of the bending moment at the root

    Notes
    -----
    What the servo must give so that the blade turns as it does: inertia of the bent blade and of its
    shaking modes, less weight, centrifugal forces and air, plus friction. Reported only: the servo is
    taken to be strong enough. Left out: Coriolis forces of pitching and bending together.
    """
    q = y[at.Q + at.MODES * b : at.Q + at.MODES * (b + 1)]
    bending = dy[at.QD + at.MODES * b : at.QD + at.MODES * (b + 1)]
    blade, vectors, matrices = design.blades[d, b], design.vectors[d, b], design.matrices[d, b]
    frame, omega = work.frames[b], y[at.SPEED]
    sums = bent_sums(q, blade, vectors, matrices)
    inertia = (blade[at.PITCH_INERTIA] + sums[0] + sums[1]) * dy[at.RATE + b]
    inertia += shaking_moment(q, bending, vectors, matrices)
    given = weight_moment(sums[3], sums[4], frame) + spin_moment(sums, omega, frame, design.scalars[d])
    given += air_moment(
        work.scratch, design.stations[d], b * at.STATIONS, q, frame, design.scalars[d, at.DENSITY]
    )
    pull = omega * omega * blade[at.FIRST]
    friction = bearing_friction(
        y[at.RATE + b], root_moment, pull, blade[at.FRICTION_ARM], blade[at.FRICTION_RADIUS]
    )
    return inertia - given + friction
