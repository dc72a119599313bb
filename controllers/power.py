"""Which generator torque and which collective pitch make power at this rotor speed?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers.parameters import Parameters, parameter
from controllers.signals import blade_mean, hold, interpolate, lane_period, smooth, smoothstep, usable
from sim.interface import Array, Commands, Known, Readings, State


@dataclass(frozen=True)
class Power(Parameters):
    """Power production: torque on rotor speed, collective pitch on its excess over rated.

    Notes
    -----
    Torque: optimal_torque_gain * rotor_speed^2, faded out towards the minimum speed and faded up to
    rated torque just below rated speed; **constant torque** above. Constant power would take torque
    away as the rotor speeds up, which undamps the speed loop; the power lost and gained by constant
    torque in turbulence nearly cancel.

    Pitch: u = kp e + integral of ki e, with e the filtered speed above rated and
    kp = 2 z w J / |dQ/db|, ki = w^2 J / |dQ/db|: the poles that a rotor of inertia J would have under
    dQ/db alone. dQ/db is read from the steady table at the present pitch. The integral stops while
    the command rests on a stop or on the rate limit and the error pushes further (anti-windup).
    Large excess speeds raise the gains by 1 + (e/e2)^2.

    Lowest pitch: the steady table's partial-load pitch at the present torque, at least fine.

    A rotor speed that is not usable is held at its last good value. After ``blind_s`` without one the
    pitch is driven towards feather at a quarter of the rate limit: an unknown speed is unsafe.

    References
    ----------
    E. A. Bossanyi, The design of closed loop controllers for wind turbines, Wind Energy 3 (2000)
    149-163: torque law, PI with gain schedule, anti-windup (value and form from memory).
    T. Burton, N. Jenkins, D. Sharpe, E. Bossanyi, Wind Energy Handbook, 2nd ed. (2011), chapter 8.
    """

    name: ClassVar[str] = "power"
    needs: ClassVar[tuple[str, ...]] = ("rotor_speed", "pitch")
    tower_pass: ClassVar[bool] = False
    power: ClassVar[bool] = True

    frequency_rad_s: float = parameter(0.6, "rad/s", 0.1, 2.0, "natural frequency of the speed loop")
    damping: float = parameter(1.0, "-", 0.3, 3.0, "damping ratio of the speed loop")
    filter_s: float = parameter(0.3, "s", 0.0001, 5.0, "time constant of the rotor speed filter")
    boost_share: float = parameter(
        0.08, "-", 0.01, 1.0, "excess speed, as share of rated, that doubles the gains"
    )
    gain_floor_deg: float = parameter(
        4.0, "deg", 0.0, 15.0, "pitch above fine below which gains stay constant"
    )
    ramp_start: float = parameter(
        0.92, "-", 0.7, 0.97, "share of rated speed where torque leaves the optimum"
    )
    ramp_end: float = parameter(0.99, "-", 0.98, 1.0, "share of rated speed where torque reaches rated")
    rate_share: float = parameter(0.8, "-", 0.1, 1.0, "share of the servo's rate limit that may be commanded")
    blind_s: float = parameter(
        1.0, "s", 0.1, 30.0, "time without rotor speed before the pitch goes to feather"
    )

    def init(self, known: Known, seen: Readings) -> State:
        """Start at the speed and pitch that are seen, at rated speed and fine pitch where nothing is."""
        steady = known.steady
        speed = hold(seen, "rotor_speed", known.rated_rotor_speed)
        fine = known.fine_pitch
        pitch = blade_mean(hold(seen, "pitch", np.broadcast_to(fine[:, None], seen.pitch.shape)))
        pitch = np.clip(pitch, fine, known.feather_pitch)
        partial = steady.torque < 0.99 * known.rated_torque[:, None]
        return {
            "period": lane_period(known),
            "speed": speed,
            "last_speed": speed,
            "blind": np.zeros_like(speed),
            "integral": pitch,
            "pitch": pitch,
            "rated_speed": known.rated_rotor_speed,
            "minimum_speed": known.minimum_rotor_speed,
            "rated_torque": known.rated_torque,
            "torque_gain": known.optimal_torque_gain,
            "inertia": known.rotor_inertia,
            "fine": fine,
            "feather": known.feather_pitch,
            "rate": self.rate_share * known.pitch_rate_limit,
            "table_pitch": np.maximum.accumulate(steady.pitch, axis=1),
            "table_sensitivity": steady.torque_per_pitch,
            "table_torque": np.maximum.accumulate(steady.torque, axis=1),
            "table_lowest": np.where(partial, np.maximum(steady.pitch, fine[:, None]), fine[:, None]),
        }

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Return torque and the same pitch for every blade; a stop asked for below is passed on."""
        period = state["period"]
        raw = hold(seen, "rotor_speed", state["last_speed"])
        speed = smooth(state["speed"], raw, period, self.filter_s)
        blind = np.where(usable(seen, "rotor_speed"), 0.0, state["blind"] + period)
        torque = self.torque(state, speed)
        integral, pitch = self.collective(state, speed, torque)
        lost = blind > self.blind_s
        to_feather = np.minimum(state["pitch"] + 0.25 * state["rate"] * period, state["feather"])
        pitch = np.where(lost, to_feather, pitch)
        integral = np.where(lost, to_feather, integral)
        after = state | {
            "speed": speed, "last_speed": raw, "blind": blind, "integral": integral, "pitch": pitch
        }  # fmt: skip
        every_blade = np.repeat(pitch[:, None], seen.pitch.shape[1], axis=1)
        return after, Commands(every_blade, torque, np.array(below.stop, dtype=bool))

    def torque(self, state: State, speed: Array) -> Array:
        """Return the generator torque [N m] at a filtered rotor speed [rad/s], (lane,)."""
        optimal = state["torque_gain"] * speed * speed
        share = speed / state["rated_speed"]
        up = smoothstep((share - self.ramp_start) / (self.ramp_end - self.ramp_start))
        start = speed / state["minimum_speed"]
        partial = optimal * smoothstep((start - 0.96) / 0.10)
        return np.minimum(partial + (state["rated_torque"] - partial) * up, state["rated_torque"])

    def collective(self, state: State, speed: Array, torque: Array) -> tuple[Array, Array]:
        """Return the next integral and collective pitch [rad], (lane,)."""
        period, last = state["period"], state["pitch"]
        error = speed - state["rated_speed"]
        at = np.maximum(last, state["fine"] + np.deg2rad(self.gain_floor_deg))
        slope = interpolate(at, state["table_pitch"], state["table_sensitivity"])
        slope = np.minimum(slope, -1.0 * state["rated_torque"])
        excess = np.maximum(error, 0.0) / (self.boost_share * state["rated_speed"])
        scale = (1.0 + np.minimum(excess * excess, 3.0)) * state["inertia"] / -slope
        proportional = 2.0 * self.damping * self.frequency_rad_s * scale * error
        added = self.frequency_rad_s**2 * scale * error * period
        lowest = interpolate(torque, state["table_torque"], state["table_lowest"])
        wanted = proportional + state["integral"] + added
        step = state["rate"] * period
        pitch = np.clip(np.clip(wanted, lowest, state["feather"]), last - step, last + step)
        pushing = ((wanted > pitch) & (error > 0.0)) | ((wanted < pitch) & (error < 0.0))
        integral = state["integral"] + np.where(pushing, 0.0, added)
        return np.clip(integral, lowest, state["feather"]), pitch
