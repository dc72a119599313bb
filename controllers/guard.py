"""Will this blade pass too near, and how much pitch, given when, prevents it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers import foresight, rotor
from controllers.parameters import Parameters, parameter
from controllers.pulse import Pulse, entry, flap_damping, place
from controllers.signals import age, angle_to_tower, hold, share_per_period, smoothstep
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
    half_width_deg: float = parameter(65.0, "deg", 20.0, 105.0, "azimuth from the pulse's centre to its end")
    lead_deg: float = parameter(0.0, "deg", -30.0, 30.0, "extra lead of the pulse")
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
        pulse = self.pulse()
        frequency, ratio = known.blade_frequency[:, 0][:, None], flap_damping(known)[:, None]
        period = turning["period"][:, None]
        rate = (self.rate_share * known.pitch_rate_limit)[:, None]
        steepest = 2.0 * pulse.half_width * rate / (np.pi * 1.1 * known.rated_rotor_speed[:, None])
        return {
            **turning,
            **foresight.start(known, seen, self.own_weight),
            "angle": angle_to_tower(turning["azimuth"], seen.pitch.shape[1]),
            "aim": known.required_clearance[:, None] + self.margin_m,
            "fine": known.fine_pitch[:, None],
            "feather": known.feather_pitch[:, None],
            "pitch_step": rate * period,
            "largest": np.minimum(np.deg2rad(self.max_amplitude_deg), steepest),
            "centre": pulse.centre(known)[:, None],
            "still": pulse.relief_table(known),
            "servo_share": share_per_period(period, rotor.servo_lag(known)[:, None]),
            "flap_pull": frequency * frequency * period,
            "flap_decay": 1.0 / (1.0 + 2.0 * ratio * frequency * period),
            "flap_period": period,
            "amplitude": nothing,
            "offset": nothing,
            "promised": nothing,
            "reached": nothing,
            "relief": nothing,
            "relief_rate": nothing,
        }

    def pulse(self) -> Pulse:
        """Return the pulse that the parameters ask for."""
        return Pulse(np.deg2rad(self.half_width_deg), np.deg2rad(self.lead_deg))

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Add each blade's pulse to what is commanded below."""
        turning = rotor.follow(state, seen)
        angle = angle_to_tower(turning["azimuth"], below.pitch.shape[1])
        per_pitch = self.relief_factor * foresight.relief_per_pitch(state, reference)
        response = self.relief_now(state, per_pitch)
        moment = hold(seen, "root_flap_moment", state["moment"])
        late = age(seen, "root_flap_moment") * response["relief_rate"]
        bent = state["towards"] * moment + response["relief"] - late
        excess, recorded = foresight.compare_and_record(state, angle, bent)
        before = state["angle"]
        passing = (before < 0.0) & (angle >= 0.0)
        wait = (turning["speed"] * self.pickup_s)[:, None]
        passed = {
            "given": np.where(passing, state["promised"], state["given"]),
            "bent_at_pass": np.where(passing, bent, state["bent_at_pass"]),
        }
        heard = foresight.hear_witnesses(state | passed, seen, (before < wait) & (angle >= wait))
        index = place(angle)
        foreseen = foresight.foresee(state | heard, index, excess, self.weights())
        pulses = self.decide(state, angle, index, foreseen, per_pitch)
        after = state | turning | response | passed | heard | pulses
        after |= {"angle": angle, "moment": moment, "recorded": recorded}
        return after, Commands(self.pitch(after, below, per_pitch), below.torque, below.stop)

    def weights(self) -> tuple[float, float, float]:
        """Return the weights of the witnesses, made to sum to 1."""
        given = (self.newest_weight, self.second_weight, self.third_weight)
        return given[0] / sum(given), given[1] / sum(given), given[2] / sum(given)

    def decide(
        self, state: State, angle: Array, index: Array, foreseen: Array, per_pitch: Array
    ) -> dict[str, Array]:
        """Let the pulses grow where the foreseen clearance falls short; return what changed."""
        shape = self.pulse().shape(angle, state["centre"])
        running = shape > 0.0
        amplitude, promised = state["amplitude"] * running, state["promised"] * running
        gain = np.maximum(np.abs(per_pitch) * entry(state["still"], index), 1e-6)
        shortfall = np.maximum(state["aim"] - foreseen - promised, 0.0)
        wanted = shortfall / gain
        room = state["pitch_step"] + state["offset"] - amplitude * shape
        growth = np.minimum(wanted, np.maximum(room, 0.0) / np.maximum(shape, 1e-6))
        growth = np.maximum(np.minimum(growth, state["largest"] - amplitude), 0.0)
        begun = (amplitude > 0.0) | (wanted >= np.deg2rad(self.least_deg))
        deciding = running & begun & (angle < -np.deg2rad(self.last_call_deg))
        growth = growth * deciding
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
        reached = state["reached"] + state["servo_share"] * (state["offset"] - state["reached"])
        pull = state["flap_pull"] * (np.abs(per_pitch) * reached - state["relief"])
        rate = (state["relief_rate"] + pull) * state["flap_decay"]
        relief = state["relief"] + state["flap_period"] * rate
        return {"reached": reached, "relief": relief, "relief_rate": rate}

    def pitch(self, state: State, below: Commands, per_pitch: Array) -> Array:
        """Return the commanded pitch, (lane, blade) [rad], away from the tower and within the stops."""
        blind = smoothstep(state["blind_turns"] - 1.0) * np.deg2rad(self.blind_deg)
        offset = np.maximum(state["offset"], blind[:, None])
        moved = below.pitch + np.sign(per_pitch) * offset
        lowest = np.minimum(state["fine"], below.pitch)
        return np.minimum(np.maximum(moved, lowest), np.maximum(state["feather"], below.pitch))
