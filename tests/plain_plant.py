"""The plant as an engineer would write it first: one lane, numpy, vectorised over blades and stations.

A twin of the compiled kernels, built from the turbine's own models and not from the packed arrays. It serves
as the slow side of the benchmark, and as a second opinion in the tests.
"""

from __future__ import annotations

import numpy as np

from sim.design import Turbine
from sim.kernels import layout as at
from sim.plant.blade import blade_modes
from sim.plant.section import build_polars
from sim.plant.tower import tower_modes

GRAVITY = 9.80665
M = at.MODES


class PlainPlant:
    """One lane: amplitudes 9, their rates 9, tower 4, azimuth, speed, torque, pitch 3, rate 3, air 5 x 60."""

    def __init__(self, turbine: Turbine, wind: at.Wind, index: int = 0):
        self.turbine, self.wind, self.index = turbine, wind, index
        rotor, blade = turbine.rotor, turbine.blade
        self.blades = B = rotor.blade_count
        polars = build_polars(turbine)
        self.table, self.r, self.width, self.chord = polars.table, polars.radius, polars.width, polars.chord
        self.twist = polars.twist
        axis = np.interp(self.r, blade.r, blade.pitch_axis)
        self.arm = (0.75 - axis) * self.chord
        self.tip_radius, self.root_radius = turbine.rotor_radius, rotor.hub_radius
        self.side, self.c, self.s = rotor.side, np.cos(rotor.cone), np.sin(rotor.cone)
        self._blade_constants([blade_modes(turbine, b) for b in range(B)])
        self._tower_constants(turbine)
        self.pitch_offset = blade.pitch_offset[:B]
        self.phase = 2.0 * np.pi * np.arange(B) / B
        self.pitch_command, self.torque_command = np.zeros(B), 0.0

    def _blade_constants(self, modes):
        side = self.side
        for name in ("Fx", "Fy", "Jx", "Jy"):
            setattr(self, name, np.array([getattr(m, name)[:M] for m in modes]))
        for name in ("Pr", "P1", "Px", "Py"):
            setattr(self, name, side * np.array([getattr(m, name)[:M] for m in modes]))
        for name in ("Mxx", "Mxy", "Myy", "Sr", "S1", "K"):
            setattr(self, name, np.array([getattr(m, name)[:M, :M] for m in modes]))
        self.mass = self.Mxx + self.Myy
        frequency = np.array([m.mode_frequency for m in modes])
        ratio = np.array([m.damping for m in modes])
        self.damping = 4.0 * np.pi * frequency * ratio * np.einsum("bii->bi", self.mass)
        self.first = np.array([m.first_moment for m in modes])
        self.second = np.array([m.second_moment for m in modes])
        self.p0 = side * np.array([m.prebend_moment0 for m in modes])
        self.p1 = side * np.array([m.prebend_moment1 for m in modes])
        self.p2 = np.array([m.prebend_moment2 for m in modes])
        basis = [m.at(self.r) for m in modes]
        self.phi_x = np.array([b.phi_x[:M] for b in basis])
        self.phi_y = np.array([b.phi_y[:M] for b in basis])
        self.short_1 = side * np.array([b.P[:, :M] for b in basis])
        self.short_2 = np.array([b.S[:, :M, :M] for b in basis])
        self.prebend = side * np.array([b.prebend for b in basis])

    def _tower_constants(self, turbine):
        rotor, tower, machine, modes = turbine.rotor, turbine.tower, turbine.machine, tower_modes(turbine)
        top, rise = modes.top, rotor.hub_height - tower.height
        self.sway = []
        for mode, inertia in (
            (modes.fore_aft, top.fore_aft_inertia),
            (modes.side_side, top.side_side_inertia),
        ):
            mass = mode.mass + top.mass + 2.0 * mode.top_slope * top.lift + mode.top_slope**2 * inertia
            damping = 2.0 * mode.damping_ratio * np.sqrt(mode.stiffness * mass)
            self.sway.append((mass, mode.stiffness, damping, mode.top_slope, 1.0 + mode.top_slope * rise))
        hub_x = rotor.side * rotor.overhang * np.cos(rotor.tilt)
        blades = sum(blade_modes(turbine, b).mass for b in range(rotor.blade_count))
        ahead = turbine.nacelle.mass * turbine.nacelle.centre_x
        ahead += (turbine.nacelle.hub_mass + blades) * hub_x
        self.lean_load = modes.fore_aft.top_slope * GRAVITY * ahead
        self.inertia = turbine.nacelle.hub_inertia + machine.generator_inertia * machine.gear_ratio**2

    # Wind -------------------------------------------------------------------------------------------------

    def plane(self, time):
        """Wind on the grid (component, nz, ny) in the ground frame."""
        w, k = self.wind, self.index
        nz, ny = w.points
        z = w.box_z0 + w.box_dz * np.arange(nz)[:, None] + np.zeros((nz, ny))
        y = w.box_y0 + w.box_dy * np.arange(ny)[None, :] + np.zeros((nz, ny))
        added = np.zeros(4)
        if w.transient[k] >= 0:
            table = w.transients[w.transient[k]]
            place = (time - w.transient_start[k]) / w.transient_step
            added = np.array([np.interp(place, np.arange(len(table)), column) for column in table.T])
        speed, exponent, upflow, yaw, sigma, veer = w.mean[k]
        hub = self.turbine.rotor.hub_height
        along = speed * (np.maximum(hub + z, 1.0) / hub) ** exponent + added[0] + added[2] * z + added[3] * y
        parts = np.stack([along, np.zeros((nz, ny)), np.zeros((nz, ny))])
        if w.box[k] >= 0:
            box, place = w.boxes[w.box[k]], time / w.box_step
            i, g = int(place), place - int(place)
            before, after = box[i % len(box)].astype(float), box[(i + 1) % len(box)].astype(float)
            parts = parts + (sigma * ((1.0 - g) * before + g * after)).reshape(3, nz, ny)
        heading = yaw + added[1] + veer * z
        forward = np.cos(upflow) * parts[0] - np.sin(upflow) * parts[2]
        return np.stack(
            [
                np.cos(heading) * forward + np.sin(heading) * parts[1],
                np.cos(heading) * parts[1] - np.sin(heading) * forward,
                np.sin(upflow) * parts[0] + np.cos(upflow) * parts[2],
            ]
        )

    def wind_at(self, time, position, low_blades):
        """Ground components of the wind at positions (3, blade, station), tower included."""
        w, (x, y, z) = self.wind, position
        plane = self.plane(time)
        nz, ny = w.points
        hub = self.turbine.rotor.hub_height
        column = np.clip((y - w.box_y0) / w.box_dy, 0.0, ny - 1.000001)
        row = np.clip((z - w.box_z0 - hub) / w.box_dz, 0.0, nz - 1.000001)
        i, j = column.astype(int), row.astype(int)
        g, h = column - i, row - j
        low = (1.0 - g) * plane[:, j, i] + g * plane[:, j, i + 1]
        high = (1.0 - g) * plane[:, j + 1, i] + g * plane[:, j + 1, i + 1]
        free = (1.0 - h) * low + h * high
        # as in the kernels, only blades below the horizontal feel the tower
        return np.where(low_blades[:, None], self.tower_air(free, x, y, z), free)

    def tower_air(self, free, x, y, z):
        """The wind (3, ...) near the tower, seen in the frame of the horizontal wind at each place."""
        tower = self.turbine.tower
        radius = 0.5 * (
            tower.base_diameter
            + (tower.top_diameter - tower.base_diameter) * np.minimum(z / tower.height, 1.0)
        )
        above = np.clip((z - tower.height) / (2.0 * radius), 0.0, 1.0)
        u, heading = np.hypot(free[0], free[1]), np.arctan2(free[1], free[0])
        share = (1.0 - above**2 * (3.0 - 2.0 * above)) * u
        px = x * np.cos(heading) + y * np.sin(heading)
        py = y * np.cos(heading) - x * np.sin(heading)
        if self.side < 0:
            square = np.maximum(px**2 + py**2, radius**2)
            along = u - share * radius**2 * (px**2 - py**2) / square**2
            across = -share * 2.0 * radius**2 * px * py / square**2
            return np.stack(
                [
                    along * np.cos(heading) - across * np.sin(heading),
                    along * np.sin(heading) + across * np.cos(heading),
                    free[2],
                ]
            )
        diameter = 2.0 * radius
        wide = diameter * (1.5 + 0.35 * np.sqrt(np.maximum(px, radius) / diameter))
        inside = np.maximum(1.0 - 3.0 * tower.drag_coefficient * diameter / wide, 0.0025)
        depth = np.minimum((1.0 - np.sqrt(inside)) / 1.5, 0.65)
        hit = (px > 0.0) & (np.abs(py) < 0.5 * wide)
        return free * (1.0 - np.where(hit, share / u * depth * np.cos(np.pi * py / wide) ** 2, 0.0))

    # Blade elements ---------------------------------------------------------------------------------------

    def section(self, alpha):
        """Attached lift, separation point, separated lift, drag (4, blade, station)."""
        place = np.degrees(alpha) % 360.0
        place = (place + 180.0) % 360.0
        j = np.minimum(place.astype(int), 359)
        g = (place - j)[..., None]
        station = np.arange(len(self.r))[None, :]
        values = (1.0 - g) * self.table[station, j, :4] + g * self.table[station, j + 1, :4]
        return np.moveaxis(values, -1, 0)

    def air_rates(self, air, speed, vn, phi, angle, three_quarter):
        """Loads normal and tangential [N/m], and the rates of the five air states."""
        z, w, x1, x2, f = air
        alpha = 0.5 * three_quarter + x1 + x2
        attached, f_static, separated, drag = self.section(alpha)
        lift = f * attached + (1.0 - f) * separated
        drag = drag + (angle - alpha) * lift
        cn, ct = lift * np.cos(phi) + drag * np.sin(phi), lift * np.sin(phi) - drag * np.cos(phi)
        head = 0.5 * self.turbine.air_density * speed**2 * self.chord
        B, r = self.blades, self.r
        sine = np.maximum(np.abs(np.sin(phi)), 0.02)
        tip = np.minimum(0.5 * B * (self.tip_radius - r) / r / sine, 12.0)
        root = np.minimum(0.5 * B * (r - self.root_radius) / self.root_radius / sine, 12.0)
        F = (2.0 / np.pi) ** 2 * np.arccos(np.exp(-tip)) * np.arccos(np.exp(-root))
        F = np.maximum(F, 1e-3)
        v0 = np.maximum(np.abs(vn), 0.5)
        load = B * self.chord * speed**2 * cn / (2.0 * np.pi * r * v0**2)
        slow = 0.5 * (1.0 - np.sqrt(np.maximum(1.0 - load / F, 0.04)))
        under = np.maximum(load * (50.0 - 36.0 * F) + 12.0 * F * (3.0 * F - 4.0), 0.0)
        fast = np.minimum((18.0 * F - 20.0 - 3.0 * np.sqrt(under)) / (36.0 * F - 50.0), 1.0)
        settled = np.where(load <= 0.96 * F, slow, fast) * v0
        a = np.clip(w / v0, 0.0, 0.5)
        tau1 = 1.1 / (1.0 - 1.3 * a) * self.tip_radius / v0
        tau2 = (0.39 - 0.26 * (r / self.tip_radius) ** 2) * tau1
        chords = np.minimum(speed / self.chord, 80.0)
        rates = np.stack(
            [
                (0.4 * settled - z) / tau1,
                (z + 0.6 * settled - w) / tau2,
                0.0455 * 2.0 * chords * (0.165 * three_quarter - x1),
                0.3 * 2.0 * chords * (0.335 * three_quarter - x2),
                (f_static - f) * chords / 4.0,
            ]
        )
        return head * cn, head * ct, rates

    # Everything -------------------------------------------------------------------------------------------

    def rate(self, time, state):
        """d(state)/dt with the commands held."""
        B, side, c, s = self.blades, self.side, self.c, self.s
        q, qd = state[: M * B].reshape(B, M), state[M * B : 2 * M * B].reshape(B, M)
        n = 2 * M * B
        x, xd, y, yd, azimuth, omega, torque = state[n : n + 7]
        pitch_state, pitch_rate = state[n + 7 : n + 7 + B], state[n + 7 + B : n + 7 + 2 * B]
        air = state[n + 7 + 2 * B :].reshape(5, B, len(self.r))
        pitch = pitch_state + self.pitch_offset
        (_, _, _, slope, lever_x), (_, _, _, _, lever_y) = self.sway
        tilt = self.turbine.rotor.tilt - side * slope * x
        directions = self.directions(azimuth + self.phase, tilt)
        normal, motion, along, _ = directions
        cb, sb = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
        # stations
        flap = self.prebend + np.einsum("bi,bis->bs", q, self.phi_x)
        edge = np.einsum("bi,bis->bs", q, self.phi_y)
        flap_rate = np.einsum("bi,bis->bs", qd, self.phi_x)
        edge_rate = np.einsum("bi,bis->bs", qd, self.phi_y)
        short = np.einsum("bsi,bi->bs", self.short_1, q) + 0.5 * np.einsum(
            "bsij,bi,bj->bs", self.short_2, q, q
        )
        reach, out, inside = self.r - short, flap * cb - edge * sb, flap * sb + edge * cb
        out_rate = flap_rate * cb - edge_rate * sb - pitch_rate[:, None] * inside
        inside_rate = flap_rate * sb + edge_rate * cb + pitch_rate[:, None] * out
        rotor = self.turbine.rotor
        hub = np.array(
            [side * rotor.overhang * np.cos(rotor.tilt) + lever_x * x, lever_y * y, rotor.hub_height]
        )
        place = hub[:, None, None] + (
            along[:, :, None] * reach + normal[:, :, None] * out + motion[:, :, None] * inside
        )
        distance = reach * c - side * s * out
        wind = self.wind_at(time, place, along[2] < 0.0)
        wind[0] -= xd * (lever_x + slope * along[2][:, None] * distance)
        wind[1] -= lever_y * yd
        vn = np.einsum("kb,kbs->bs", normal, wind)
        vt = omega * distance + inside_rate - np.einsum("kb,kbs->bs", motion, wind)
        induced = air[1]
        v0 = np.maximum(np.abs(vn), 0.5)
        a = np.clip(induced / v0, -0.5, 0.95)
        turning = omega * distance
        ratio = v0 / np.maximum(np.abs(turning), 0.1)
        swirl = 0.5 * (
            np.sqrt(np.maximum(1.0 + 4.0 * np.maximum(a * (1.0 - a), -0.05) * ratio**2, 0.0)) - 1.0
        )
        vt = vt + swirl * turning
        through = vn - out_rate - induced
        speed = np.sqrt(through**2 + vt**2 + 1e-6)
        phi = np.arctan2(through, vt)
        angle = phi - pitch[:, None] - self.twist
        three_quarter = angle - self.arm * pitch_rate[:, None] / speed
        pn, pt, air_rate = self.air_rates(air, speed, vn, phi, angle, three_quarter)
        pn, pt = pn * self.width, pt * self.width
        px, py = pn * cb + pt * sb, pt * cb - pn * sb
        load = np.einsum("bs,bis->bi", px, self.phi_x) + np.einsum("bs,bis->bi", py, self.phi_y)
        force = normal[:, :, None] * pn + motion[:, :, None] * pt
        nod = np.sum((place[2] - hub[2]) * force[0] - (place[0] - hub[0]) * force[2])
        torque_air = np.sum(distance * pt + side * s * inside * pn)
        totals = force[0].sum(), force[1].sum(), nod, torque_air
        accelerations = self.accelerate(
            (q, qd, x, xd, y, yd, azimuth, omega, torque, pitch), load, totals, directions
        )
        machine, servo = self.turbine.machine, self.turbine.pitch
        gain = 2.0 * servo.damping_ratio * servo.natural_frequency
        wanted = servo.natural_frequency**2 * (self.pitch_command - pitch_state) / gain
        wanted = np.clip(wanted, -servo.rate_limit, servo.rate_limit)
        pitch_acceleration = np.clip(
            gain * (wanted - pitch_rate), -servo.acceleration_limit, servo.acceleration_limit
        )
        return np.concatenate(
            [
                qd.ravel(), accelerations[: M * B], [xd, accelerations[-3], yd, accelerations[-2]],
                [omega, accelerations[-1], (self.torque_command - torque) / machine.torque_lag],
                pitch_rate, pitch_acceleration, air_rate.ravel(),
            ]
        )  # fmt: skip

    def directions(self, azimuth, tilt):
        """Unit vectors normal, motion, along, radial: each (3, blade)."""
        ca, sa, zero = np.cos(azimuth), np.sin(azimuth), np.zeros(self.blades)
        ct, st = np.cos(tilt), self.side * np.sin(tilt)
        radial = np.stack([-st * ca, -sa, ct * ca])
        motion = np.stack([st * sa, -ca, -ct * sa])
        shaft = np.stack([zero + ct, zero, zero + st])
        normal = self.c * shaft - self.side * self.s * radial
        along = self.c * radial + self.side * self.s * shaft
        return normal, motion, along, radial

    def accelerate(self, motion_state, load, totals, directions):
        """Solve blades, tower top and rotor together: 9 amplitudes, fore-aft, side-side, rotor."""
        q, qd, x, xd, y, yd, azimuth, omega, torque, pitch = motion_state
        normal, motion, along, radial = directions
        B, side, c, s = self.blades, self.side, self.c, self.s
        cb, sb = np.cos(pitch)[:, None], np.sin(pitch)[:, None]
        (mass_x, stiff_x, damp_x, slope, lever_x), (mass_y, stiff_y, damp_y, slope_y, lever_y) = self.sway
        fu, fv = cb * self.Fx - sb * self.Fy, sb * self.Fx + cb * self.Fy
        ju, jv = cb * self.Jx - sb * self.Jy, sb * self.Jx + cb * self.Jy
        pu, pv = cb * (cb * self.Px - sb * self.Py), sb * (sb * self.Px + cb * self.Py)
        c3, s3 = cb[:, :, None], sb[:, :, None]
        mvv = s3**2 * self.Mxx + s3 * c3 * (self.Mxy + self.Mxy.transpose(0, 2, 1)) + c3**2 * self.Myy
        C1 = -(c**2) * self.Pr - side * s * c * ju + s**2 * pu + pv
        C2 = -(c**2) * self.Sr + s**2 * self.mass + c**2 * mvv
        B1 = -side * s * (self.Mxy.transpose(0, 2, 1) - self.Mxy)
        turned = np.einsum("bij,bj->bi", C2, q)
        sink = np.einsum("bij,bj->bi", self.S1, q)
        ca, sa = np.cos(azimuth + self.phase)[:, None], np.sin(azimuth + self.phase)[:, None]
        right = (
            load
            + omega**2 * (C1 + turned)
            - 2.0 * omega * np.einsum("bij,bj->bi", B1, qd)
            - np.einsum("bij,bj->bi", self.K, q)
            - self.damping * qd
            - GRAVITY
            * (normal[2][:, None] * fu - along[2][:, None] * (self.P1 + sink) + motion[2][:, None] * fv)
            + 2.0 * slope * omega * xd * sa * ju
        )
        to_x = lever_x * (normal[0][:, None] * fu + motion[0][:, None] * fv) + slope * ca * ju
        to_y = lever_y * (normal[1][:, None] * fu + motion[1][:, None] * fv)
        to_o = c * jv - side * s * self.Py + np.einsum("bij,bj->bi", B1, q)
        out = np.sum(fu * q, axis=1) + cb[:, 0] * self.p0
        inside = np.sum(fv * q, axis=1) + sb[:, 0] * self.p0
        out_rate, inside_rate = np.sum(fu * qd, axis=1), np.sum(fv * qd, axis=1)
        nod, nod_rate = np.sum(ju * q, axis=1), np.sum(ju * qd, axis=1)
        first = motion * (c * self.first - side * s * out) - radial * inside
        second = omega**2 * (radial * (side * s * out - c * self.first) - motion * inside) + 2.0 * omega * (
            -side * s * out_rate * motion - inside_rate * radial
        )
        moment = (
            c**2 * self.second
            - 2.0 * side * s * c * cb[:, 0] * self.p1
            + (s**2 * cb[:, 0] ** 2 + sb[:, 0] ** 2) * self.p2
            + np.sum((2.0 * C1 + turned) * q, axis=1)
        )
        radius = c * (self.first - np.sum((self.P1 + 0.5 * sink) * q, axis=1)) - side * s * out
        n = M * B
        system, force = np.zeros((n + 3, n + 3)), np.zeros(n + 3)
        for b in range(B):
            system[M * b : M * b + M, M * b : M * b + M] = self.mass[b]
        for column, coupling in ((n, to_x), (n + 1, to_y), (n + 2, to_o)):
            system[:n, column] = system[column, :n] = coupling.ravel()
        system[n, n], system[n + 1, n + 1] = mass_x, mass_y
        system[n + 2, n + 2] = self.inertia + moment.sum()
        system[n, n + 2] = system[n + 2, n] = lever_x * first[0].sum() + slope * np.sum(sa[:, 0] * nod)
        system[n + 1, n + 2] = system[n + 2, n + 1] = lever_y * first[1].sum()
        force[:n] = right.ravel()
        force[n] = (
            lever_x * totals[0] + slope * totals[2] + self.lean_load - stiff_x * x - damp_x * xd
            - lever_x * second[0].sum() - slope * omega**2 * np.sum(ca[:, 0] * nod)
        )  # fmt: skip
        force[n + 1] = (
            lever_y * totals[1] - slope_y * torque - stiff_y * y - damp_y * yd - lever_y * second[1].sum()
        )
        force[n + 2] = (
            totals[3] - torque
            - 2.0 * omega * np.sum((C1 + turned) * qd)
            + GRAVITY * np.sum(-motion[2] * radius + radial[2] * inside)
            - 2.0 * slope * xd * np.sum(sa[:, 0] * nod_rate)
        )  # fmt: skip
        return np.linalg.solve(system, force)


def from_lane(y, blade_count: int) -> np.ndarray:
    """The plain state of a lane's packed one."""
    parts = [y[at.Q : at.Q + M * blade_count], y[at.QD : at.QD + M * blade_count]]
    parts += [y[at.TOWER : at.TOWER + 4], y[[at.AZIMUTH, at.SPEED, at.TORQUE]]]
    parts += [y[at.PITCH : at.PITCH + blade_count], y[at.RATE : at.RATE + blade_count]]
    rows = y[at.FLAT :].reshape(5, at.WIDTH)[:, : blade_count * at.STATIONS]
    return np.concatenate([*parts, rows.ravel()])
