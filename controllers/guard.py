"""Will this blade pass too near, and how much pitch, given when, prevents it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers import foresight, rotor
from controllers.parameters import Parameters, parameter
from controllers.pulse import Pulse, flap_damping, response_lag, still_to_gain
from controllers.signals import angle_to_tower, smoothstep
from sim.interface import Array, Commands, Known, Readings, State


@dataclass(frozen=True)
class Guard(Parameters):
    """Foresee each blade's coming pass; where it would be too near, pitch that blade away as far as needed.

    Notes
    -----
    1. Foresee the clearance without the logic (``foresight``).
    2. Shortfall = required clearance + margin - foreseen clearance - relief already under way.
    3. While the blade approaches, let the amplitude of its pulse grow by shortfall / relief per rad, the
       relief per rad being what the rest of the pulse can still give (``pulse``). It never shrinks
       before the pass; after it the raised cosine releases smoothly.
    4. Growth is bounded by the servo: commanded rate at most ``rate_share`` of the limit.

    Delays: azimuth is brought up to now by its age; the pulse leads by servo delay, servo lag and flap
    lag, so that its relief peaks at the tower; its relief is taken out of the flap moment, as old as
    that is.

    Missing readings: azimuth is reckoned from the speed, and after one turn of that the offset grows
    into ``blind_deg`` all round; a missing pass reading is replaced by the flap moment's guess, never
    better than the last witness; a missing moment is held.

    References
    ----------
    Derived here.
    """

    name: ClassVar[str] = "guard"
    needs: ClassVar[tuple[str, ...]] = (*rotor.NEEDS, "root_flap_moment", "last_pass_clearance")
    tower_pass: ClassVar[bool] = True

    margin_m: float = parameter(0.9, "m", -5.0, 10.0, "spare clearance that the logic aims at")
    newest_weight: float = parameter(0.6, "-", 0.01, 1.0, "weight of the latest pass")
    second_weight: float = parameter(0.25, "-", 0.0, 1.0, "weight of the pass before it")
    third_weight: float = parameter(0.15, "-", 0.0, 1.0, "weight of the third latest pass")
    own_weight: float = parameter(
        0.6, "-", 0.0, 2.0, "weight of the blade's own flap deflection at the tower"
    )
    half_width_deg: float = parameter(65.0, "deg", 20.0, 150.0, "azimuth from the pulse's centre to its end")
    lead_deg: float = parameter(0.0, "deg", -60.0, 60.0, "extra lead of the pulse")
    last_call_deg: float = parameter(25.0, "deg", 0.0, 90.0, "azimuth before the tower where deciding ends")
    max_amplitude_deg: float = parameter(6.0, "deg", 0.0, 15.0, "largest pitch that the logic may add")
    least_deg: float = parameter(0.2, "deg", 0.0, 5.0, "smallest amplitude worth beginning with")
    relief_factor: float = parameter(
        1.0, "-", 0.2, 3.0, "true relief over settled relief of the steady table"
    )
    rate_share: float = parameter(0.8, "-", 0.1, 1.0, "share of the servo's rate limit that a pulse may use")
    pickup_s: float = parameter(0.3, "s", 0.0, 1.0, "wait after a pass until its reading is fetched")
    blind_deg: float = parameter(2.0, "deg", 0.0, 10.0, "pitch added all round without any azimuth")

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no pulse under way."""
        nothing = np.zeros(seen.pitch.shape)
        turning = rotor.start(known, seen)
        return (
            turning
            | foresight.start(known, seen)
            | {
                "angle": angle_to_tower(turning["azimuth"], seen.pitch.shape[1]),
                "required": known.required_clearance,
                "rated_speed": known.rated_rotor_speed,
                "feather": known.feather_pitch,
                "rate": self.rate_share * known.pitch_rate_limit,
                "lag": response_lag(known),
                "servo_lag": rotor.servo_lag(known),
                "flap_frequency": known.blade_frequency[:, 0],
                "flap_damping": np.clip(flap_damping(known), 0.01, 0.95),
                "gain_table": self.pulse().relief_table(known),
                "amplitude": nothing,
                "offset": nothing,
                "promised": nothing,
                "reached": nothing,
                "relief": nothing,
                "relief_rate": nothing,
            }
        )

    def pulse(self) -> Pulse:
        """Return the pulse that the parameters ask for."""
        return Pulse(np.deg2rad(self.half_width_deg), np.deg2rad(self.lead_deg))

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Add each blade's pulse to what is commanded below."""
        state = state | rotor.follow(state, seen)
        angle = angle_to_tower(state["azimuth"], below.pitch.shape[1])
        turned = (state["angle"], angle)
        point, per_pitch = foresight.relief_per_pitch(state, reference)
        per_pitch = self.relief_factor * per_pitch
        state = state | self.relief_now(state, per_pitch)
        relieved = state["relief"] - foresight.moment_age(seen) * state["relief_rate"]
        moment, bent = foresight.bent_freely(state, seen, relieved)
        passing = rotor.crossed(*turned, 0.0)
        state = state | {
            "point": point,
            "moment": moment,
            "given": np.where(passing, state["promised"], state["given"]),
            "bent_at_pass": np.where(passing, bent, state["bent_at_pass"]),
            "witness": foresight.hear_witnesses(state, seen, turned, self.pickup_s),
        }
        weights = np.array([self.newest_weight, self.second_weight, self.third_weight])
        foreseen = foresight.foresee(state, angle, bent, weights, self.own_weight)
        state = state | self.decide(state, angle, foreseen, per_pitch)
        state = state | {"angle": angle, "recorded": foresight.record(state, angle, bent)}
        return state, Commands(self.pitch(state, below, per_pitch), below.torque, below.stop)

    def decide(self, state: State, angle: Array, foreseen: Array, per_pitch: Array) -> dict[str, Array]:
        """Let the pulses grow where the foreseen clearance falls short; return what changed."""
        speed = np.abs(state["speed"])[:, None]
        shape = self.pulse().shape(angle, speed, state["lag"][:, None])
        share = still_to_gain(
            state["gain_table"], state["speed"] / state["rated_speed"], -angle / np.maximum(speed, 0.05)
        )
        running = shape > 0.0
        amplitude = np.where(running, state["amplitude"], 0.0)
        promised = np.where(running, state["promised"], 0.0)
        gain = np.maximum(np.abs(per_pitch)[:, None] * share, 1e-6)
        shortfall = state["required"][:, None] + self.margin_m - foreseen - promised
        wanted = np.maximum(shortfall, 0.0) / gain
        begun = (amplitude > 0.0) | (wanted >= np.deg2rad(self.least_deg))
        room = state["rate"][:, None] * state["period"][:, None] - (amplitude * shape - state["offset"])
        steepest = 2.0 * self.pulse().half_width * state["rate"][:, None] / (np.pi * np.maximum(speed, 0.05))
        largest = np.minimum(np.deg2rad(self.max_amplitude_deg), steepest)
        growth = np.minimum(wanted, np.maximum(room, 0.0) / np.maximum(shape, 1e-6))
        growth = np.clip(growth, 0.0, np.maximum(largest - amplitude, 0.0))
        deciding = running & begun & (angle < -np.deg2rad(self.last_call_deg))
        growth = np.where(deciding, growth, 0.0)
        amplitude = amplitude + growth
        return {
            "amplitude": amplitude,
            "promised": promised + growth * gain,
            "offset": amplitude * shape,
        }

    def relief_now(self, state: State, per_pitch: Array) -> dict[str, Array]:
        """Advance the model of the relief that the pulses give at this instant, (lane, blade) [m].

        Notes
        -----
        Servo as first-order lag, flap as second order, semi-implicit Euler: stable while frequency
        times period stays below 1.
        """
        period = state["period"][:, None]
        frequency, ratio = state["flap_frequency"][:, None], state["flap_damping"][:, None]
        reached = state["reached"] + (1.0 - np.exp(-period / state["servo_lag"][:, None])) * (
            state["offset"] - state["reached"]
        )
        pull = frequency**2 * (np.abs(per_pitch)[:, None] * reached - state["relief"])
        rate = (state["relief_rate"] + period * pull) / (1.0 + 2.0 * ratio * frequency * period)
        return {"reached": reached, "relief": state["relief"] + period * rate, "relief_rate": rate}

    def pitch(self, state: State, below: Commands, per_pitch: Array) -> Array:
        """Return the commanded pitch, (lane, blade) [rad], away from the tower and within the stops."""
        blind = smoothstep(state["blind_turns"] - 1.0)[:, None]
        offset = np.maximum(state["offset"], blind * np.deg2rad(self.blind_deg))
        moved = below.pitch + np.sign(per_pitch)[:, None] * offset
        lowest = np.minimum(state["fine"][:, None], below.pitch)
        return np.clip(moved, lowest, np.maximum(state["feather"][:, None], below.pitch))
