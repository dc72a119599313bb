"""Will this blade pass too near, and how much pitch, given when, prevents it?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import radians
from typing import ClassVar

import numpy as np

from controllers import rotor
from controllers.foresight import Foresight, relief_per_pitch
from controllers.parameters import Parameters, parameter
from controllers.pulse import Pulse, entry, place
from controllers.signals import angle_to_tower, blade_mean, hold, smoothstep
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
    lag, so that its relief peaks at the tower.

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

    margin_m: float = parameter(1.2, "m", -5.0, 10.0, "spare clearance that the logic aims at")
    trend: float = parameter(0.25, "-", 0.0, 1.0, "share of the last change between passes expected again")
    pitch_weight: float = parameter(1.3, "-", 0.0, 3.0, "share of a pitch change's settled effect expected")
    gust_weight: float = parameter(2.0, "-", 0.0, 3.0, "share of the rotor's growing deflection expected")
    gust_from_m: float = parameter(
        1.0, "m", 0.0, 10.0, "growth of the rotor's mean deflection that is no gust"
    )
    half_width_deg: float = parameter(85.0, "deg", 20.0, 105.0, "azimuth from the pulse's centre to its end")
    lead_deg: float = parameter(10.0, "deg", -30.0, 30.0, "extra lead of the pulse")
    last_call_deg: float = parameter(25.0, "deg", 0.0, 90.0, "azimuth before the tower where deciding ends")
    max_amplitude_deg: float = parameter(6.0, "deg", 0.0, 15.0, "largest pitch that the logic may add")
    least_deg: float = parameter(0.2, "deg", 0.0, 5.0, "smallest amplitude worth beginning with")
    relief_factor: float = parameter(
        1.0, "-", 0.2, 3.0, "true relief over settled relief of the steady table"
    )
    rate_share: float = parameter(0.9, "-", 0.1, 1.0, "share of the servo's rate limit that a pulse may use")
    wait_s: float = parameter(0.8, "s", 0.1, 2.0, "longest wait for the reading of a pass")
    blind_deg: float = parameter(2.0, "deg", 0.0, 10.0, "pitch added all round without any azimuth")

    @cached_property
    def pulse(self) -> Pulse:
        """The pulse that the parameters ask for."""
        return Pulse(radians(self.half_width_deg), radians(self.lead_deg))

    @cached_property
    def foresight(self) -> Foresight:
        """The forecast that the parameters ask for."""
        return Foresight(self.trend, self.pitch_weight, self.gust_weight, self.gust_from_m, self.wait_s)

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no pulse under way."""
        nothing = np.zeros(seen.pitch.shape)
        turning, pulse = rotor.start(known, seen), self.pulse
        rate = (self.rate_share * known.pitch_rate_limit)[:, None]
        steepest = 2.0 * pulse.half_width * rate / (np.pi * 1.1 * known.rated_rotor_speed[:, None])
        pitch = blade_mean(hold(seen, "pitch", known.fine_pitch[:, None] + nothing))
        return {
            **turning,
            **self.foresight.start(known, seen, pitch),
            "angle": angle_to_tower(turning["azimuth"], seen.pitch.shape[1]),
            "aim": known.required_clearance + self.margin_m,
            "pitch_step": rate * turning["period"][:, None] + nothing,
            "largest": np.minimum(radians(self.max_amplitude_deg), steepest) + nothing,
            "centre": pulse.centre(known)[:, None] + nothing,
            "still": pulse.relief_table(known),
            "amplitude": nothing,
            "offset": nothing,
            "promised": nothing,
        }

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Add each blade's pulse to what is commanded below."""
        pitch = blade_mean(reference.pitch)
        after = state | rotor.follow(state, seen)
        after["angle"] = angle_to_tower(after["azimuth"], below.pitch.shape[1])
        passing = (state["angle"] < 0.0) & (after["angle"] >= 0.0)
        after |= self.foresight.note_passing(state, seen, passing, state["promised"], pitch)
        after |= self.foresight.hear(after, seen)
        per_pitch = self.relief_factor * relief_per_pitch(state, pitch)
        told, foreseen = self.foresee(state, after, seen, (pitch, per_pitch))
        after |= told
        after |= self.decide(after, foreseen, per_pitch)
        return after, Commands(self.pitch(after, below, per_pitch), below.torque, below.stop)

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Return what must be remembered of a forecast of one's own, and the clearance foreseen.

        Parameters
        ----------
        before, after : State
            Of the last tick, and of this one with rotor and witnesses brought up to date.
        given : two of (lane,) float64
            Pitch that power production commands [rad], and the relief per pitch there [m/rad].

        Returns
        -------
        changes : dict
        foreseen : (lane,) or (lane, blade) float64 [m]
            Of the blade that passes next, or of each blade at its own next pass, without the logic.
        """
        return {}, self.foresight.foresee(after, *given)

    def decide(self, state: State, foreseen: Array, per_pitch: Array) -> dict[str, Array]:
        """Let the pulses grow where the foreseen clearance falls short; return what changed.

        Parameters
        ----------
        foreseen : (lane,) or (lane, blade) float64 [m]
        per_pitch : (lane,) float64 [m/rad]
        """
        angle = state["angle"]
        shape = self.pulse.shape(angle, state["centre"])
        running = shape > 0.0
        amplitude, promised = state["amplitude"] * running, state["promised"] * running
        gain = np.maximum(entry(state["still"], place(angle)) * np.abs(per_pitch)[:, None], 1e-6)
        short = state["aim"] - foreseen if foreseen.ndim == 1 else state["aim"][:, None] - foreseen
        wanted = ((short[:, None] if foreseen.ndim == 1 else short) - promised) / gain
        room = (state["pitch_step"] + state["offset"] - amplitude * shape) / np.maximum(shape, 1e-6)
        growth = np.minimum(np.minimum(wanted, room), state["largest"] - amplitude)
        begun = (amplitude > 0.0) | (wanted >= radians(self.least_deg))
        deciding = running & begun & (angle < -radians(self.last_call_deg))
        growth = np.maximum(growth, 0.0) * deciding
        amplitude = amplitude + growth
        return {
            "amplitude": amplitude,
            "promised": promised + growth * gain,
            "offset": amplitude * shape,
        }

    def pitch(self, state: State, below: Commands, per_pitch: Array) -> Array:
        """Return the commanded pitch, (lane, blade) [rad], moved away from the tower."""
        blind = smoothstep(state["blind_turns"] - 1.0) * radians(self.blind_deg)
        offset = np.maximum(state["offset"], blind[:, None])
        return below.pitch + np.sign(per_pitch)[:, None] * offset
