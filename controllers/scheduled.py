"""What does it buy to feather every blade a little at every pass, wanted or not?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers import rotor
from controllers.parameters import Parameters, parameter
from controllers.signals import angle_to_tower, raised_cosine, smoothstep, wrap
from sim.interface import Array, Commands, Known, Readings, State


@dataclass(frozen=True)
class Scheduled(Parameters):
    """A permanent pitch pulse per blade, timed by azimuth alone.

    Notes
    -----
    Offset = amplitude * 1/2 (1 + cos(pi (azimuth - centre)/half width)) inside the half width. The azimuth is
    where the blade will be when the servo has followed: now, plus speed times (sensor age + servo delay
    + 2 z/w of the servo). Where that pulse would be steeper than ``rate_share`` of the servo's rate
    limit the half width grows (up to half a turn, then the amplitude shrinks): peak rate = amplitude pi
    speed / (2 half width).

    Without a usable azimuth the position is reckoned from the speed; from one turn to two turns of
    that the pulse grows into a constant offset of full amplitude, the safe side for the clearance.

    References
    ----------
    Derived here; the plain idea of pitching away at the tower is common practice, no source.
    """

    name: ClassVar[str] = "scheduled"
    needs: ClassVar[tuple[str, ...]] = rotor.NEEDS
    tower_pass: ClassVar[bool] = True

    amplitude_deg: float = parameter(3.0, "deg", 0.0, 15.0, "pitch added at the centre of the pulse")
    centre_deg: float = parameter(155.0, "deg", 60.0, 240.0, "azimuth of the centre; 180 is the tower")
    half_width_deg: float = parameter(60.0, "deg", 10.0, 180.0, "azimuth from the centre to the pulse's end")
    rate_share: float = parameter(0.9, "-", 0.1, 1.0, "share of the servo's rate limit the pulse may use")

    def init(self, known: Known, seen: Readings) -> State:
        """Start with the rotor where it is seen."""
        return rotor.start(known, seen) | {
            "servo_lag": rotor.servo_lag(known),
            "rate": self.rate_share * known.pitch_rate_limit,
        }

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Add the pulse to what is commanded below."""
        after = state | rotor.follow(state, seen)
        after["azimuth"] = wrap(after["azimuth"])
        offset = self.offset(after, below.pitch.shape[1])
        return after, Commands(below.pitch + offset, below.torque, below.stop)

    def offset(self, state: State, blade_count: int) -> Array:
        """Return the pitch to add, (lane, blade) [rad]."""
        speed = np.abs(state["speed"])
        ahead = state["azimuth"] + speed * state["servo_lag"]
        angle = angle_to_tower(ahead, blade_count)
        amplitude, asked = np.deg2rad(self.amplitude_deg), np.deg2rad(self.half_width_deg)
        gentle = 0.5 * np.pi * amplitude * speed / state["rate"]
        half_width = np.clip(gentle, asked, np.pi)
        amplitude = amplitude * np.minimum(1.0, half_width / np.maximum(gentle, 1e-9))
        shape = raised_cosine(angle, np.deg2rad(self.centre_deg) - np.pi, half_width[:, None])
        blind = smoothstep(state["blind_turns"] - 1.0)[:, None]
        return amplitude[:, None] * (shape + (1.0 - shape) * blind)
