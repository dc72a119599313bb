"""How do one blade's modes, the tower top and the rotor move together.

Lagrange's equations of a truncated energy, so that nothing is gained or lost by the truncation. With the
modal amplitudes q of a blade, its displacement out of plane u, in plane v, its shortening
z = r - P q - q S q / 2, cone c = cos, s = sin and side (-1 upwind, +1 downwind):

    2 T_blade = q' M q' + 2 omega B(q) q' + omega^2 J(q)
    J = J0 + 2 C1 q + q C2 q       C1 = -c^2 Pr - side s c Ju + s^2 Pu + Pv
    B = B0 + B1 q                  C2 = -c^2 Sr + s^2 M + c^2 Mvv
    B0 = c Jv - side s Py          B1_ij = -side s (Mxy_ji - Mxy_ij)

Pr, Sr hold the centrifugal stiffening and the straightening of prebend, Ju that of the cone; B couples the
modes to the rotor's acceleration, and its antisymmetric part is the Coriolis load through the cone. Left
out: Coriolis loads through the shortening (below 0.02 m at the tip), the inertia of pitching motion on a
bent blade (it shakes the edge mode, not the clearance), products of three small quantities. The tower top's
translation is exact for these displacements, its rotation enters to first order in tilt and cone.
"""

from __future__ import annotations

from numba import njit

from sim.kernels.aero import INLINE
from sim.kernels.layout import (
    COS_CONE,
    FIRST,
    MAT_C,
    MAT_K,
    MAT_M,
    MAT_S1,
    MAT_SKEW,
    MAT_SR,
    MAT_SYMMETRIC,
    MAT_YY,
    MODES,
    PREBEND_0,
    PREBEND_1,
    PREBEND_2,
    SECOND,
    SIDE,
    SIN_CONE,
    VEC_FX,
    VEC_FY,
    VEC_JX,
    VEC_JY,
    VEC_P1,
    VEC_PR,
    VEC_PX,
    VEC_PY,
)

GRAVITY = 9.80665  #: standard gravity [m/s2]

# Rows of `couple`, one blade's part in the shared equations: for each shape, then sums.
C_X, C_Y, C_O, RIGHT = range(4)
# Entries of `shared`, the sums over blades: symmetric 3 x 3 mass matrix and right-hand sides.
M_XX, M_YY, M_OO, M_XY, M_XO, M_YO, R_X, R_Y, R_O = range(9)


@njit(**INLINE)
def turned(cosine, sine, x, y):
    """Return (u, v), out of plane and in plane, of what has the parts (x, y) along the blade's own axes."""
    return cosine * x - sine * y, sine * x + cosine * y


@njit(**INLINE)
def blade_terms(
    couple, shared, q, qd, load, omega, tower_rate, frame, scalars, blade, vectors, matrices, shapes
):
    """Write one blade's equations and add its rigid part to the shared ones.

    Parameters
    ----------
    couple : (4, SHAPES) float64 - written: coupling of each shape with tower fore-aft (C_X), side-side
        (C_Y) and rotor (C_O), and the load that is left for its own acceleration (RIGHT) [N]
    shared : (9,) float64 - added to
    q, qd : (MODES,) float64 [m], [m/s]
    load : (SHAPES,) float64 [N] - generalised aerodynamic load
    omega : float64 [rad/s] - rotor speed
    tower_rate : float64 [m/s] - fore-aft rate of the tower top
    shapes : int - MODES, or SHAPES where the reactions of the hinges are wanted
    frame : (21,) float64 - the blade's directions and the tower's levers, see ``step.blade_frame``
    """
    cb, sb = frame[0], frame[1]
    sin_azimuth, cos_azimuth = frame[2], frame[3]
    nx, ny, nz = frame[4], frame[5], frame[6]
    tx, ty, tz = frame[7], frame[8], frame[9]
    az = frame[12]
    rx, ry, rz = frame[13], frame[14], frame[15]
    slope, lever_x, lever_y = frame[16], frame[17], frame[18]
    side, c, s = scalars[SIDE], scalars[COS_CONE], scalars[SIN_CONE]

    flap_q = flap_qd = nod_q = nod_qd = edge_q = edge_qd = 0.0
    shortening = inertia = slowing = 0.0
    for i in range(shapes):
        m_q = yy_q = symmetric_q = skew_q = skew_qd = radial_q = elastic = 0.0
        lift = vectors[VEC_P1, i]
        for j in range(MODES):
            m_q += matrices[MAT_M, i, j] * q[j]
            yy_q += matrices[MAT_YY, i, j] * q[j]
            symmetric_q += matrices[MAT_SYMMETRIC, i, j] * q[j]
            skew_q += matrices[MAT_SKEW, i, j] * q[j]
            skew_qd += matrices[MAT_SKEW, i, j] * qd[j]
            radial_q += matrices[MAT_SR, i, j] * q[j]
            lift += matrices[MAT_S1, i, j] * q[j]
            elastic += matrices[MAT_K, i, j] * q[j] + matrices[MAT_C, i, j] * qd[j]
        fu, fv = turned(cb, sb, vectors[VEC_FX, i], vectors[VEC_FY, i])
        ju, jv = turned(cb, sb, vectors[VEC_JX, i], vectors[VEC_JY, i])
        pu, pv = turned(cb, sb, vectors[VEC_PX, i], vectors[VEC_PY, i])
        inplane_q = sb * sb * (m_q - yy_q) + cb * sb * symmetric_q + cb * cb * yy_q
        c1 = -c * c * vectors[VEC_PR, i] - side * s * c * ju + s * s * cb * pu + sb * pv
        centrifugal = c1 - c * c * radial_q + s * s * m_q + c * c * inplane_q
        weight = GRAVITY * (nz * fu - az * lift + tz * fv)
        nod = -2.0 * slope * ju * omega * sin_azimuth * tower_rate
        couple[C_X, i] = lever_x * (nx * fu + tx * fv) + slope * cos_azimuth * ju
        couple[C_Y, i] = lever_y * (ny * fu + ty * fv)
        couple[C_O, i] = c * jv - side * s * (vectors[VEC_PY, i] + skew_q)
        coriolis = -2.0 * side * s * omega * skew_qd
        couple[RIGHT, i] = load[i] + omega * omega * centrifugal - coriolis - elastic - weight - nod
        if i < MODES:
            flap_q += fu * q[i]
            flap_qd += fu * qd[i]
            edge_q += fv * q[i]
            edge_qd += fv * qd[i]
            nod_q += ju * q[i]
            nod_qd += ju * qd[i]
            shortening += 0.5 * (lift + vectors[VEC_P1, i]) * q[i]
            inertia += (centrifugal + c1) * q[i]
            slowing += 2.0 * omega * centrifugal * qd[i]

    # The blade's first moments about the hub: out of plane, in plane, along the blade.
    out = flap_q + cb * blade[PREBEND_0]
    inside = edge_q + sb * blade[PREBEND_0]
    along = blade[FIRST]
    # d/d(azimuth): n -> -side s t, a -> c t, t -> -r; and once more.
    sx = lever_x * (-side * s * out * tx + c * along * tx - inside * rx)
    sy = lever_y * (-side * s * out * ty + c * along * ty - inside * ry)
    spin = omega * omega
    sxx = lever_x * (
        spin * (side * s * out * rx - c * along * rx - inside * tx)
        + 2.0 * omega * (-side * s * flap_qd * tx - edge_qd * rx)
    )
    syy = lever_y * (
        spin * (side * s * out * ry - c * along * ry - inside * ty)
        + 2.0 * omega * (-side * s * flap_qd * ty - edge_qd * ry)
    )
    shared[M_XO] += sx + slope * sin_azimuth * nod_q
    shared[M_YO] += sy
    shared[R_X] -= sxx + slope * spin * cos_azimuth * nod_q
    shared[R_Y] -= syy
    shared[M_OO] += inertia + (
        c * c * blade[SECOND]
        - 2.0 * side * s * c * cb * blade[PREBEND_1]
        + (s * s * cb * cb + sb * sb) * blade[PREBEND_2]
    )
    radial = c * (along - shortening) - side * s * out
    weight = GRAVITY * (-tz * radial + rz * inside)
    shared[R_O] += weight - slowing - 2.0 * slope * tower_rate * sin_azimuth * nod_qd


@njit(**INLINE)
def eliminate_blade(shared, couple, inverse):
    """Fold one blade's modes into the shared equations (Schur's complement)."""
    for i in range(MODES):
        gx = gy = go = gr = 0.0
        for j in range(MODES):
            gx += inverse[i, j] * couple[C_X, j]
            gy += inverse[i, j] * couple[C_Y, j]
            go += inverse[i, j] * couple[C_O, j]
            gr += inverse[i, j] * couple[RIGHT, j]
        shared[M_XX] -= couple[C_X, i] * gx
        shared[M_YY] -= couple[C_Y, i] * gy
        shared[M_OO] -= couple[C_O, i] * go
        shared[M_XY] -= couple[C_X, i] * gy
        shared[M_XO] -= couple[C_X, i] * go
        shared[M_YO] -= couple[C_Y, i] * go
        shared[R_X] -= couple[C_X, i] * gr
        shared[R_Y] -= couple[C_Y, i] * gr
        shared[R_O] -= couple[C_O, i] * gr


@njit(**INLINE)
def solve_shared(accelerations, shared):
    """Solve the symmetric 3 x 3 system for the tower top's and the rotor's accelerations."""
    a, b, c = shared[M_XX], shared[M_YY], shared[M_OO]
    d, e, f = shared[M_XY], shared[M_XO], shared[M_YO]
    x, y, z = shared[R_X], shared[R_Y], shared[R_O]
    k1, k2, k3 = b * c - f * f, e * f - d * c, d * f - b * e
    det = a * k1 + d * k2 + e * k3
    accelerations[0] = (k1 * x + k2 * y + k3 * z) / det
    accelerations[1] = (k2 * x + (a * c - e * e) * y + (d * e - a * f) * z) / det
    accelerations[2] = (k3 * x + (d * e - a * f) * y + (a * b - d * d) * z) / det


@njit(**INLINE)
def own_acceleration(i, couple, inverse, accelerations):
    """Return the acceleration of mode ``i`` [m/s2] once the shared ones are known."""
    total = 0.0
    for j in range(MODES):
        total += inverse[i, j] * (
            couple[RIGHT, j]
            - couple[C_X, j] * accelerations[0]
            - couple[C_Y, j] * accelerations[1]
            - couple[C_O, j] * accelerations[2]
        )
    return total


@njit(**INLINE)
def reaction(i, couple, matrices, mode_accelerations, accelerations):
    """Return the reaction [N m] of hinge shape ``i``: what the root carries of load and inertia."""
    total = (
        couple[RIGHT, i]
        - couple[C_X, i] * accelerations[0]
        - couple[C_Y, i] * accelerations[1]
        - couple[C_O, i] * accelerations[2]
    )
    for j in range(MODES):
        total -= matrices[MAT_M, i, j] * mode_accelerations[j]
    return total
