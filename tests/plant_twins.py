"""Plain-Python twins of the structural equations: the energy they belong to, and a swarm of particles."""

from __future__ import annotations

import numpy as np

from sim.design import Turbine
from sim.kernels import layout as at
from sim.plant.blade import blade_modes

GRAVITY = 9.80665


def directions(azimuth, tilt: float, cone: float, side: float):
    """Unit vectors normal, motion, along of a blade in the ground frame; PHYSICS.md, Frames and signs."""
    shaft = np.array([np.cos(tilt), 0.0, side * np.sin(tilt)])
    up, right = np.array([-side * np.sin(tilt), 0.0, np.cos(tilt)]), np.array([0.0, -1.0, 0.0])
    radial = np.cos(azimuth) * up + np.sin(azimuth) * right
    motion = np.cross(shaft, radial)
    normal = np.cos(cone) * shaft - side * np.sin(cone) * radial
    along = np.cos(cone) * radial + side * np.sin(cone) * shaft
    return normal, motion, along


class Energies:
    """The truncated Lagrangian of ``sim.kernels.structure``, written from its docstring.

    Coordinates: amplitudes (blade, mode), tower fore-aft, side-side, azimuth.
    """

    def __init__(self, design: at.Design, pitch, tilt: float, gravity: float = GRAVITY):
        self.s, self.count = design.scalars[0], len(pitch)
        self.blades, self.vectors, self.matrices = design.blades[0], design.vectors[0], design.matrices[0]
        self.pitch = np.asarray(pitch) + self.blades[: self.count, at.PITCH_OFFSET]
        self.tilt, self.gravity = tilt, gravity
        self.side = self.s[at.SIDE]
        self.cone = np.arctan2(self.s[at.SIN_CONE], self.s[at.COS_CONE])

    def split(self, z):
        n = self.count * at.MODES
        return z[:n].reshape(self.count, at.MODES), z[n], z[n + 1], z[n + 2]

    def blade(self, b):
        """First moments normal, tangential; and the mass sums turned by the pitch."""
        cb, sb = np.cos(self.pitch[b]), np.sin(self.pitch[b])
        v, m = self.vectors[b][:, : at.MODES], self.matrices[b][:, : at.MODES, : at.MODES]
        fx, fy, jx, jy, pr, p1, px, py = v
        mass, mxy, myy = m[at.MAT_M], 0.5 * (m[at.MAT_SYMMETRIC] - m[at.MAT_SKEW]), m[at.MAT_YY]
        mxx = mass - myy
        mvv = sb**2 * mxx + sb * cb * (mxy + mxy.T) + cb**2 * myy
        return {
            "cb": cb, "sb": sb, "Fu": cb * fx - sb * fy, "Fv": sb * fx + cb * fy,
            "Ju": cb * jx - sb * jy, "Jv": sb * jx + cb * jy,
            # prebend lies along x: its part normal is p cos b, tangential p sin b
            "Pu": cb * (cb * px - sb * py), "Pv": sb * (sb * px + cb * py), "Py": py, "Pr": pr, "P1": p1,
            "M": mass, "Mvv": mvv, "Mxy": mxy, "Sr": m[at.MAT_SR], "S1": m[at.MAT_S1], "K": m[at.MAT_K],
        }  # fmt: skip

    def kinetic(self, z, zd):
        q, _, _, azimuth = self.split(z)
        qd, xd, yd, omega = self.split(zd)
        s, c, g, side = self.s, np.cos(self.cone), np.sin(self.cone), self.side
        total = 0.5 * (
            s[at.FA_MASS] * xd**2 + s[at.SS_MASS] * yd**2 + s[at.ROTOR_INERTIA] * omega**2
        )  # fmt: skip
        for b in range(self.count):
            k, (p0, p1, p2) = self.blade(b), self.blades[b][at.PREBEND_0 : at.PREBEND_2 + 1]
            cb, sb = k["cb"], k["sb"]
            j0 = c**2 * self.blades[b][at.SECOND] - 2 * side * g * c * cb * p1 + (g**2 * cb**2 + sb**2) * p2
            c1 = -(c**2) * k["Pr"] - side * g * c * k["Ju"] + g**2 * k["Pu"] + k["Pv"]
            c2 = -(c**2) * k["Sr"] + g**2 * k["M"] + c**2 * k["Mvv"]
            b0 = c * k["Jv"] - side * g * k["Py"]
            b1 = -side * g * (k["Mxy"].T - k["Mxy"])
            total += 0.5 * qd[b] @ k["M"] @ qd[b]
            total += omega * (b0 + b1 @ q[b]) @ qd[b]
            total += 0.5 * omega**2 * (j0 + 2 * c1 @ q[b] + q[b] @ c2 @ q[b])
            here = azimuth + 2 * np.pi * b / self.count
            n, t, a = directions(here, self.tilt, self.cone, side)
            radial = c * a - side * g * n
            out, inside = k["Fu"] @ q[b] + cb * p0, k["Fv"] @ q[b] + sb * p0
            turned = omega * (-side * g * t * out + c * t * self.blades[b][at.FIRST] - radial * inside)
            moved = n * (k["Fu"] @ qd[b]) + t * (k["Fv"] @ qd[b]) + turned
            total += s[at.FA_LEVER] * xd * moved[0] + s[at.SS_LEVER] * yd * moved[1]
            nod = np.cos(here) * (k["Ju"] @ qd[b]) + omega * np.sin(here) * (k["Ju"] @ q[b])
            total += s[at.FA_SLOPE] * xd * nod
        return total

    def potential(self, z):
        q, x, y, azimuth = self.split(z)
        s = self.s
        total = 0.5 * (s[at.FA_STIFFNESS] * x**2 + s[at.SS_STIFFNESS] * y**2) - s[at.FA_GRAVITY] * x
        for b in range(self.count):
            k, p0 = self.blade(b), self.blades[b][at.PREBEND_0]
            n, t, a = directions(azimuth + 2 * np.pi * b / self.count, self.tilt, self.cone, self.side)
            along = self.blades[b][at.FIRST] - k["P1"] @ q[b] - 0.5 * q[b] @ k["S1"] @ q[b]
            out, inside = k["Fu"] @ q[b] + k["cb"] * p0, k["Fv"] @ q[b] + k["sb"] * p0
            total += 0.5 * q[b] @ k["K"] @ q[b]
            total += self.gravity * (a[2] * along + n[2] * out + t[2] * inside)
        return total

    def accelerations(self, z, zd):
        """Lagrange's equations by complex steps in z and by differences, exact for squares, in zd."""
        n = len(z)

        def momenta(where):
            step = np.eye(n)
            return np.array([(self.kinetic(where, zd + e) - self.kinetic(where, zd - e)) / 2.0 for e in step])

        mass = np.array(
            [
                [
                    (
                        self.kinetic(z, d + e)
                        - self.kinetic(z, d)
                        - self.kinetic(z, e)
                        + self.kinetic(z, 0 * e)
                    )
                    for d in np.eye(n)
                ]
                for e in np.eye(n)
            ]
        )
        h = 1e-30
        gradient = np.array(
            [
                np.imag(self.kinetic(z + 1j * h * e, zd) - self.potential(z + 1j * h * e)) / h
                for e in np.eye(n)
            ]
        )
        drift = np.imag(momenta(z + 1j * h * zd)) / h
        return np.linalg.solve(mass, gradient - drift)


def coordinates(y, blade_count: int):
    """(coordinates, rates) of a lane's state."""
    n = blade_count * at.MODES
    z = np.concatenate([y[at.Q : at.Q + n], y[[at.TOWER, at.TOWER + 2, at.AZIMUTH]]])
    zd = np.concatenate([y[at.QD : at.QD + n], y[[at.TOWER + 1, at.TOWER + 3, at.SPEED]]])
    return z, zd


class Particles:
    """A blade as particles on its table, displaced as its shapes say, carried by tower top and shaft.

    Nothing here is expanded or truncated but the shortening, which is that of the shapes.
    """

    def __init__(self, machine: Turbine, points: int = 6):
        self.machine, self.side = machine, machine.rotor.side
        nodes, weights = np.polynomial.legendre.leggauss(points)
        r = machine.blade.r
        half, middle = 0.5 * np.diff(r)[:, None], 0.5 * (r[1:] + r[:-1])[:, None]
        self.r = (middle + half * nodes).ravel()
        self.root = r[0]
        self.mass, self.basis = [], []
        for b in range(machine.rotor.blade_count):
            line = np.interp(self.r, r, machine.blade.mass) * machine.blade.mass_factor[b]
            self.mass.append(line * (half * weights).ravel())
            self.basis.append(blade_modes(machine, b).at(self.r))

    def places(self, b: int, z, pitch: float, scalars):
        """Ground positions (particle, 3) of blade b; ``pitch`` with its offset; z as ``Energies`` has it."""
        rotor, basis = self.machine.rotor, self.basis[b]
        count = rotor.blade_count
        q = z[at.MODES * b : at.MODES * (b + 1)]
        x, y, azimuth = z[count * at.MODES], z[count * at.MODES + 1], z[count * at.MODES + 2]
        shape_x, shape_y = basis.phi_x[: at.MODES], basis.phi_y[: at.MODES]
        flap, edge = self.side * basis.prebend + q @ shape_x, q @ shape_y
        short = self.side * basis.P[:, : at.MODES] @ q
        short = short + 0.5 * np.einsum("i,sij,j->s", q, basis.S[:, : at.MODES, : at.MODES], q)
        n, t, a = directions(azimuth + 2 * np.pi * b / count, rotor.tilt, rotor.cone, self.side)
        cb, sb = np.cos(pitch), np.sin(pitch)
        out, inside = flap * cb - edge * sb, flap * sb + edge * cb
        ahead = (
            self.side * rotor.overhang * np.array([np.cos(rotor.tilt), 0.0, self.side * np.sin(rotor.tilt)])
        )
        rise = rotor.hub_height - self.machine.tower.height
        local = (
            np.multiply.outer(self.r - short, a) + np.multiply.outer(out, n) + np.multiply.outer(inside, t)
        )
        local = local + np.array([ahead[0], 0.0, rise])
        nod, roll = scalars[at.FA_SLOPE] * x, scalars[at.SS_SLOPE] * y
        # rotations about the tower top: +y axis for fore-aft, -x axis for side-side
        turned = np.stack(
            [
                local[:, 0] * np.cos(nod) + local[:, 2] * np.sin(nod),
                local[:, 1],
                -local[:, 0] * np.sin(nod) + local[:, 2] * np.cos(nod),
            ],
            axis=1,
        )
        rolled = np.stack(
            [
                turned[:, 0],
                turned[:, 1] * np.cos(roll) + turned[:, 2] * np.sin(roll),
                -turned[:, 1] * np.sin(roll) + turned[:, 2] * np.cos(roll),
            ],
            axis=1,
        )
        return rolled + np.array([1.0, 0.0, 0.0]) * x + np.array([0.0, 1.0, 0.0]) * y
