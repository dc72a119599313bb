"""Which pitch, once or twice per revolution, evens out what tilt, shear and yaw do to the blades' loads?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from controllers import rotor
from controllers.foresight import relief_line, relief_per_pitch
from controllers.multiblade import circle, to_blades, to_fixed
from controllers.parameters import Parameters, parameter, written
from controllers.pulse import flap_damping
from controllers.ranges import read_ranges
from controllers.signals import age, blade_mean, share_per_period, smoothstep, usable
from sim.interface import Array, Commands, Known, Readings, State


@dataclass(frozen=True)
class Cyclic(Parameters):
    """Individual pitch in multi-blade coordinates: integrate the rotor's tilt and yaw moments away.

    It evens loads in every wind and cares for no tower, so it is part of power production, not
    tower-pass logic.

    Notes
    -----
    The blades' flap moments give a cosine and a sine part (``multiblade``). Each is integrated:
    d(pitch part)/dt = w (moment part) / |dM/db|, with w the ``bandwidth_rad_s`` and dM/db = (d deflection/d
    pitch) / (deflection per moment) of the steady table, as a straight line over the collective pitch
    (``foresight.relief_line``), times ``gain_by_pitch``. The moment falls by |dM/db| per
    unit of pitch, so either part decays as exp(-w t).

    Phase lead: the pitch parts go back to the blades at an azimuth further on by n times speed times (servo
    delay + servo lag + age of the moments) plus the phase of the flap mode at n times rated speed,
    atan2(2 z r, 1 - r^2) with r = n speed / w_flap.

    Limits: the two parts, as a vector, stay within ``max_amplitude_deg``, within what the collective pitch
    stands above fine (so the stop is never hit, and nothing happens in partial load), and within the
    amplitude whose rate n speed amplitude is ``rate_share`` of the servo's. The integrals themselves
    are held inside (anti-windup). Where a moment is missing they fade away, and likewise after a turn
    without azimuth.

    ``gain_by_pitch``: ranges of pitch above fine in degrees and a factor in each, as in "0..6: 1.0, 6..30:
    0.5". They may leave no gap.

    References
    ----------
    E. A. Bossanyi, Individual blade pitch control for load reduction, Wind Energy 6 (2003) 119-128, and
    Further load reductions with individual pitch control, Wind Energy 8 (2005) 481-485 (from memory).
    """

    name: ClassVar[str] = "cyclic"
    needs: ClassVar[tuple[str, ...]] = (*rotor.NEEDS, "root_flap_moment")
    tower_pass: ClassVar[bool] = False
    power: ClassVar[bool] = False

    bandwidth_rad_s: float = parameter(0.2, "rad/s", 0.01, 1.0, "frequency at which the loop gain is one")
    second_share: float = parameter(
        0.0, "-", 0.0, 1.0, "bandwidth of the loop at twice per revolution over that at once; 0: no such loop"
    )
    max_amplitude_deg: float = parameter(4.0, "deg", 0.0, 10.0, "largest amplitude of each harmonic")
    rate_share: float = parameter(0.5, "-", 0.1, 1.0, "share of the servo's rate limit a harmonic may use")
    lead_deg: float = parameter(0.0, "deg", -60.0, 60.0, "extra lead of each harmonic")
    fade_s: float = parameter(5.0, "s", 0.1, 60.0, "time constant of letting go where a moment is missing")
    gain_by_pitch: str = written(
        "0..90: 1", "factors on the bandwidth by pitch above fine [deg], as in '0..6: 1.0, 6..30: 0.5'"
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        read_ranges(self.name, "gain_by_pitch", self.gain_by_pitch)

    def harmonics(self) -> tuple[tuple[int, float], ...]:
        """List the harmonics that are integrated, and the bandwidth of each [rad/s]."""
        second = self.second_share * self.bandwidth_rad_s
        first = (1, self.bandwidth_rad_s)
        return (first, (2, second)) if second > 0.0 else (first,)

    def init(self, known: Known, seen: Readings) -> State:
        """Start without any cyclic pitch."""
        turning = rotor.start(known, seen)
        nothing = np.zeros_like(turning["speed"])
        state = turning | relief_line(known) | {
            "per_moment": known.deflection_per_moment,
            "servo_lag": rotor.servo_lag(known),
            "fine": known.fine_pitch,
            "rate": self.rate_share * known.pitch_rate_limit,
            "let_go": share_per_period(turning["period"], self.fade_s),
        }  # fmt: skip
        for n, _ in self.harmonics():
            share = n * known.rated_rotor_speed / known.blade_frequency[:, 0]
            phase = np.arctan2(2.0 * flap_damping(known) * share, 1.0 - share * share)
            state |= {
                f"lead_{n}": phase + np.deg2rad(self.lead_deg),
                f"cosine_{n}": nothing,
                f"sine_{n}": nothing,
            }
        return state

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Add the cyclic pitch to what is commanded below."""
        after = state | rotor.follow(state, seen)
        collective = blade_mean(below.pitch)
        above_fine = np.maximum(collective - state["fine"], 0.0)
        gain = read_ranges(self.name, "gain_by_pitch", self.gain_by_pitch).at(above_fine)
        relief = relief_per_pitch(state, collective)
        per_second = gain * np.sign(relief) * state["per_moment"] / np.maximum(np.abs(relief), 1e-3)
        pitch = below.pitch
        for n, bandwidth in self.harmonics():
            changed, added = self.harmonic(n, after, seen, (bandwidth * per_second, above_fine))
            after |= changed
            pitch = pitch + added
        return after, Commands(pitch, below.torque, below.stop)

    def harmonic(
        self, n: int, state: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Return one harmonic's integrals, and the pitch that it adds, (lane, blade) [rad].

        Parameters
        ----------
        n : int - cycles per revolution
        given : two of (lane,) float64 - pitch rate per moment [rad/(s N m)], pitch above fine [rad]
        """
        per_second, above_fine = given
        ok = usable(seen, "root_flap_moment")
        all_ok = ok[:, 0]
        for blade in range(1, ok.shape[1]):
            all_ok = all_ok & ok[:, blade]
        moment = np.where(all_ok[:, None], seen.root_flap_moment, 0.0)
        cosine, sine = circle(state["azimuth"], moment.shape[1], n)
        along, across = to_fixed(moment, cosine, sine)
        step = per_second * state["period"]
        kept = np.where(all_ok, 1.0, 1.0 - state["let_go"])
        a, b = kept * state[f"cosine_{n}"] + step * along, kept * state[f"sine_{n}"] + step * across
        speed = np.maximum(np.abs(state["speed"]), 1e-3)
        limit = np.minimum(
            np.minimum(above_fine, np.deg2rad(self.max_amplitude_deg)), state["rate"] / (n * speed)
        )
        shrink = np.minimum(1.0, limit / np.maximum(np.sqrt(a * a + b * b), 1e-12))
        a, b = a * shrink, b * shrink
        fade = 1.0 - smoothstep(state["blind_turns"] - 1.0)
        late = state["servo_lag"] + age(seen, "root_flap_moment")[:, 0]
        lead = state[f"lead_{n}"] + n * state["speed"] * late
        added = to_blades(a * fade, b * fade, cosine, sine, lead)
        return {f"cosine_{n}": a, f"sine_{n}": b}, added
