"""Which generator torque and which collective pitch make power at this rotor speed?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from controllers.parameters import Parameters, parameter
from controllers.signals import (
    blade_mean,
    clip,
    hold,
    interpolate,
    lane_period,
    look_up,
    resample,
    share_per_period,
    smoothstep,
    usable,
)
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
    dQ/db alone, scheduled over the present pitch (``schedule``). The integral stops while
    the command rests on a stop or on the rate limit and the error pushes further (anti-windup).
    Large excess speeds raise the gains by 1 + (e/e2)^2.

    Lowest pitch: the steady table's partial-load pitch at the present torque, at least fine. Where a layer
    above holds all blades higher (their lowest reading stands more than half a degree above what the
    servos make of this layer's own command), the integral is kept up there, so that the loop takes
    over at once when the rotor speeds up. Pulses of single blades do not count.

    Derating: ``derate_share`` lowers the rated torque and leaves the rated speed, so that the pitch takes
    over at a lower wind and stands higher above it: less thrust, and more clearance, for less energy.

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

    frequency_rad_s: float = parameter(0.35, "rad/s", 0.1, 2.0, "natural frequency of the speed loop")
    damping: float = parameter(0.7, "-", 0.3, 3.0, "damping ratio of the speed loop")
    filter_s: float = parameter(0.4, "s", 0.0001, 5.0, "time constant of the rotor speed filter")
    boost_share: float = parameter(
        0.15, "-", 0.01, 1.0, "excess speed, as share of rated, that doubles the gains"
    )
    gain_floor_deg: float = parameter(
        7.0, "deg", 0.0, 15.0, "pitch above fine below which gains stay constant"
    )
    ramp_start: float = parameter(
        0.92, "-", 0.7, 0.97, "share of rated speed where torque leaves the optimum"
    )
    ramp_end: float = parameter(0.99, "-", 0.98, 1.0, "share of rated speed where torque reaches rated")
    rate_share: float = parameter(0.8, "-", 0.1, 1.0, "share of the servo's rate limit that may be commanded")
    blind_s: float = parameter(
        1.0, "s", 0.1, 30.0, "time without rotor speed before the pitch goes to feather"
    )
    derate_share: float = parameter(1.0, "-", 0.2, 1.0, "power that may be made, as share of the rated")

    def init(self, known: Known, seen: Readings) -> State:
        """Start at the speed and pitch that are seen, at rated speed and fine pitch where nothing is."""
        known = replace(known, rated_torque=self.derate_share * known.rated_torque)
        speed = hold(seen, "rotor_speed", known.rated_rotor_speed)
        fine = known.fine_pitch
        pitch = blade_mean(hold(seen, "pitch", np.broadcast_to(fine[:, None], seen.pitch.shape)))
        pitch = clip(pitch, fine, known.feather_pitch)
        period = lane_period(known)
        step = self.rate_share * known.pitch_rate_limit * period
        return {
            "period": period,
            "speed_share": share_per_period(period, self.filter_s),
            "speed": speed,
            "last_speed": speed,
            "blind": np.zeros_like(speed),
            "integral": pitch,
            "pitch": pitch,
            "seen_pitch": pitch,
            "followed": pitch,
            "follow_share": share_per_period(period, known.pitch_delay + 0.35),
            "rated_speed": known.rated_rotor_speed,
            "minimum_speed": known.minimum_rotor_speed,
            "rated_torque": known.rated_torque,
            "torque_gain": known.optimal_torque_gain,
            "inertia": known.rotor_inertia,
            "fine": fine,
            "feather": known.feather_pitch,
            "pitch_step": step,
            "table_lowest": lowest_pitch(known),
        } | self.schedule(known)

    def schedule(self, known: Known) -> dict[str, Array]:
        """Return |dQ/db| as a straight line over pitch: its value and place at the floor, and its slope.

        Notes
        -----
        Through the steady table's values at ``gain_floor_deg`` above fine and at its last point; steeper
        pitch takes more torque off, roughly in proportion, which is the classical gain schedule. It is
        never less than rated torque per radian, whatever the table says.
        """
        steady = known.steady
        floor = known.fine_pitch + np.deg2rad(self.gain_floor_deg)
        pitch = np.maximum.accumulate(steady.pitch, axis=1)
        first = np.maximum(-interpolate(floor, pitch, steady.torque_per_pitch), known.rated_torque)
        last = np.maximum(-steady.torque_per_pitch[:, -1], first)
        span = np.maximum(pitch[:, -1] - floor, np.deg2rad(1.0))
        return {"gain_floor": floor, "slope_at_floor": first, "slope_growth": (last - first) / span}

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Return torque and the same pitch for every blade; a stop asked for below is passed on."""
        ok = usable(seen, "rotor_speed")
        raw = np.where(ok, seen.rotor_speed, state["last_speed"])
        speed = state["speed"] + state["speed_share"] * (raw - state["speed"])
        blind = np.where(ok, 0.0, state["blind"] + state["period"])
        torque = self.torque(state, speed)
        held_up = self.held_up(state, seen)
        integral, pitch = self.collective(state, speed, torque, held_up["floor"])
        lost = blind > self.blind_s
        to_feather = np.minimum(state["pitch"] + 0.25 * state["pitch_step"], state["feather"])
        pitch = np.where(lost, to_feather, pitch)
        after = state | {
            "seen_pitch": held_up["seen_pitch"],
            "followed": held_up["followed"],
            "speed": speed,
            "last_speed": raw,
            "blind": blind,
            "integral": np.where(lost, to_feather, integral),
            "pitch": pitch,
        }
        every_blade = pitch[:, None] + np.zeros(seen.pitch.shape)
        return after, Commands(every_blade, torque, below.stop)

    def torque(self, state: State, speed: Array) -> Array:
        """Return the generator torque [N m] at a filtered rotor speed [rad/s], (lane,)."""
        rated = state["rated_torque"]
        share = speed / state["rated_speed"]
        up = smoothstep((share - self.ramp_start) / (self.ramp_end - self.ramp_start))
        start = smoothstep(speed / state["minimum_speed"] * 10.0 - 9.6)
        partial = state["torque_gain"] * speed * speed * start
        return np.minimum(partial + (rated - partial) * up, rated)

    def held_up(self, state: State, seen: Readings) -> dict[str, Array]:
        """Say to which pitch other layers hold all blades up, (lane,) [rad]; fine if they do not."""
        lowest = seen.pitch[:, 0]
        for blade in range(1, seen.pitch.shape[1]):
            lowest = np.minimum(lowest, seen.pitch[:, blade])
        lowest = np.where(np.isfinite(lowest), lowest, state["seen_pitch"])
        followed = state["followed"] + state["follow_share"] * (state["pitch"] - state["followed"])
        floor = np.where(lowest > followed + np.deg2rad(0.5), lowest, state["fine"])
        return {"seen_pitch": lowest, "followed": followed, "floor": floor}

    def collective(self, state: State, speed: Array, torque: Array, floor: Array) -> tuple[Array, Array]:
        """Return the next integral, at least ``floor``, and the collective pitch [rad], (lane,)."""
        last, step, rated_speed = state["pitch"], state["pitch_step"], state["rated_speed"]
        error = speed - rated_speed
        above_floor = np.maximum(last - state["gain_floor"], 0.0)
        slope = state["slope_at_floor"] + state["slope_growth"] * above_floor
        excess = np.maximum(error, 0.0) / (self.boost_share * rated_speed)
        boost = 1.0 + np.minimum(excess * excess, 3.0)
        drive = self.frequency_rad_s * boost * error * state["inertia"] / slope
        added = self.frequency_rad_s * drive * state["period"]
        lowest = look_up(state["table_lowest"], torque / state["rated_torque"])
        wanted = 2.0 * self.damping * drive + state["integral"] + added
        within = clip(wanted, lowest, state["feather"])
        pitch = clip(within, last - step, last + step)
        pushing = (wanted - pitch) * error > 0.0
        integral = state["integral"] + np.where(pushing, 0.0, added)
        return clip(integral, np.maximum(lowest, floor), state["feather"]), pitch


def lowest_pitch(known: Known) -> Array:
    """Tabulate the steady table's partial-load pitch over torque from 0 to rated, (lane, 33) [rad]."""
    steady, fine, rated = known.steady, known.fine_pitch[:, None], known.rated_torque
    partial = steady.torque < 0.99 * rated[:, None]
    pitch = np.where(partial, np.maximum(steady.pitch, fine), fine)
    torque = np.maximum.accumulate(steady.torque, axis=1)
    return resample(torque, pitch, np.zeros_like(rated), rated, 33)
