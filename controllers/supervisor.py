"""Can the logic below still be trusted, and if not, to what does the machine fall back?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import radians
from typing import ClassVar

import numpy as np

from controllers import slow_task
from controllers.foresight import relief_line
from controllers.multiblade import first_parts
from controllers.parameters import Parameters, parameter
from controllers.plausible import (
    PASSES,
    Limits,
    any_blade,
    azimuth_is_sound,
    flap_gauges_are_sound,
    pass_readings_are_sound,
)
from controllers.rotor import servo_lag
from controllers.signals import blade_mean, clip, hold, lane_of, lane_period, number, share_per_period, usable
from sim.interface import Array, Commands, Known, Readings, State

TRUSTS, REFERENCE, DERATED, STOPPED = (np.array(mode) for mode in range(4))
"""Modes of a lane: what the machine has fallen back to."""
CAUSES = ("computer", "azimuth", "flap gauges", "pass readings", "silence", "duty", "pitch", "speed")
"""What bit n of ``cause`` stands for."""
LEVELS = (REFERENCE, DERATED, DERATED, DERATED, DERATED, DERATED, STOPPED, STOPPED)
LEVEL_OF = np.array(
    [max((LEVELS[n] for n in range(8) if bits >> n & 1), default=TRUSTS) for bits in range(256)]
)
"""The mode that any set of causes asks for."""
WORTH = number(radians(0.05))
"""Pitch from the reference that counts as moved [rad]."""
CHECKS = (azimuth_is_sound, flap_gauges_are_sound, pass_readings_are_sound)


@dataclass(frozen=True)
class Supervisor(Parameters):
    """Watch sensors, servos and the logic below; fall back where they are no longer to be trusted.

    Notes
    -----
    Commands are limited and composed in every period, and every call is checked for being late. All else is a
    slow task (``slow_task``), done at once where a call was late; what comes and goes between two runs of
    it is not seen.

    Checks (``plausible``): azimuth against speed and against gravity, flap gauges against each other,
    pass readings against flap moments, silence, pitch against command, rotor speed against its limit, a
    call that comes late. Limits: the logic may move a blade by at most ``authority_deg`` from what power
    production commands, and a blade may be moved for at most ``most_duty`` of the time.

    Modes, per lane; the highest that is asked for counts:
    0. trusts: what the layers below command, within their authority;
    1. reference: what power production alone commands, after a call that came late (the logic's picture of
       the approach is then stale);
    2. derated: the reference with all blades ``derate_deg`` higher, where that moves them off the tower, when
       a sensor that the logic needs is in doubt or silent, or the duty is spent: without logic the
       requirement may not be held, with less load it may;
    3. stopped: an emergency stop, when a blade does not follow its command, or the rotor is too fast or
       its speed unknown.

    A doubt counts when it lasts for ``confirm_s`` (a late call and a jump at once), and the mode is left for
    0 after ``recover_s`` without one; a stop stays. Between modes the command fades in ``fade_s``.

    State: ``mode``; ``mode_s``, time of its last change; ``cause``, the doubts of that change, as bits.

    References
    ----------
    Derived here. Gravity in the edge moment as witness of the azimuth, comparison of redundant gauges
    and limits of authority are common practice, no source.
    """

    name: ClassVar[str] = "supervisor"
    needs: ClassVar[tuple[str, ...]] = (
        "azimuth", "rotor_speed", "pitch", "root_flap_moment", "root_edge_moment", "last_pass_clearance",
    )  # fmt: skip
    tower_pass: ClassVar[bool] = True
    watches: ClassVar[bool] = True

    authority_deg: float = parameter(8.0, "deg", 0.0, 30.0, "most that the logic may move a blade")
    most_duty: float = parameter(0.6, "-", 0.01, 1.0, "share of the time that a blade may be moved")
    duty_s: float = parameter(60.0, "s", 5.0, 600.0, "time over which the duty is averaged")
    derate_deg: float = parameter(4.0, "deg", 0.0, 15.0, "pitch added to all blades when derated")
    slip_deg: float = parameter(28.0, "deg", 5.0, 90.0, "azimuth error in doubt")
    uneven_m: float = parameter(0.6, "m", 0.1, 10.0, "lasting difference of a flap gauge in doubt")
    strange_m: float = parameter(2.8, "m", 0.5, 20.0, "change of pass readings against moments in doubt")
    strays_deg: float = parameter(3.0, "deg", 0.2, 20.0, "pitch error in doubt")
    fastest: float = parameter(1.25, "-", 1.05, 2.0, "rotor speed over rated in doubt")
    frozen_s: float = parameter(1.5, "s", 0.1, 60.0, "time without change of a gauge in doubt")
    lost_s: float = parameter(3.0, "s", 0.1, 60.0, "time without usable reading in doubt")
    late_ticks: float = parameter(3.0, "-", 1.0, 100.0, "periods between two calls in doubt")
    confirm_s: float = parameter(1.0, "s", 0.0, 60.0, "time that a doubt must last")
    recover_s: float = parameter(60.0, "s", 1.0, 3600.0, "time without doubt until trust returns")
    fade_s: float = parameter(1.0, "s", 0.1, 30.0, "time from one mode's command to the next one's")

    @cached_property
    def limits(self) -> Limits:
        """Where a contradiction begins."""
        return Limits(self.si.slip, self.si.uneven, self.si.strange, self.si.frozen)

    @cached_property
    def confirm(self) -> Array:
        """For how long each doubt must last, (cause, 1) [s]; not those of computer and azimuth."""
        return np.array([[0.0], [0.0], *[[self.confirm_s]] * (len(CAUSES) - 2)])

    def init(self, known: Known, seen: Readings) -> State:
        """Start in trust."""
        shape = seen.pitch.shape
        period, slow = lane_period(known), slow_task.start(known, seen)
        pace = slow["pace"]
        each, none = np.zeros(shape), np.zeros(shape[0])
        pitch = hold(seen, "pitch", known.fine_pitch[:, None] + each)
        speed = known.rated_rotor_speed
        turn = 2.0 * np.pi / known.minimum_rotor_speed
        edge = hold(seen, "root_edge_moment", each)
        along, across = first_parts(edge, hold(seen, "azimuth", none))
        relief = relief_line(known)["relief_first"]
        return slow | {
            "tick": seen.tick - 1,
            "checked": seen.time - period,
            "speed": hold(seen, "rotor_speed", speed),
            "azimuth": hold(seen, "azimuth", none) - hold(seen, "rotor_speed", speed) * period,
            "on_time": pace + 1.5 * period,
            "fastest": self.fastest * speed,
            "turns_share": share_per_period(pace, turn),
            "even_share": share_per_period(pace, 3.0 * turn)[:, None] + each,
            "each_pace": pace[:, None] + each,
            "ready_s": seen.time + 3.0 * turn,
            "longest_turn": turn + self.lost_s,
            "edge": edge,
            "edge_along": along,
            "edge_across": across,
            "moment": hold(seen, "root_flap_moment", each),
            "most_uneven": (self.uneven_m / known.deflection_per_moment)[:, None] + each,
            "towards": -known.side * known.deflection_per_moment,
            "unloaded": known.unloaded_clearance,
            "uneven": each,
            "same": each,
            "pass_age": each + np.inf,
            "passes": np.zeros((shape[0], len(PASSES))),
            "pass_strange": np.zeros(shape[0], bool),
            "pass_since": none,
            "sent": pitch,
            "follow_share": share_per_period(period, 0.5 * servo_lag(known) + 0.1)[:, None] + each,
            "followed": pitch,
            "followed_twice": pitch,
            "fine": known.fine_pitch[:, None] + each,
            "feather": known.feather_pitch[:, None] + each,
            "no_azimuth": none,
            "no_speed": none,
            "duty": none,
            "duty_share": share_per_period(pace, self.duty_s),
            "doubt_s": np.zeros((shape[0], len(CAUSES))),
            "calm": none + self.recover_s,
            "mode": np.zeros(shape[0], np.int64),
            "mode_s": none,
            "cause": np.zeros(shape[0], np.uint8),
            "distrust": none,
            "derated": none,
            "derate_by": np.where(relief > 0.0, radians(self.derate_deg), 0.0),
            "fade": period * (1.0 / self.fade_s),
        }

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Pass on what is trusted, within its authority, and fall back where nothing is."""
        late = seen.tick - state["tick"] >= self.si.late_ticks
        turn, due = slow_task.due(state, seen)
        once, twice = self.delayed(state)
        after = state | {"tick": seen.tick, "turn": turn, "followed": once, "followed_twice": twice}
        slow_task.run(due | late, lambda now: self.supervise(now, seen, late, (below, reference)), after)
        return self.compose(after, below, reference)

    def supervise(self, now: State, seen: Readings, late: Array, given: tuple[Commands, Commands]) -> None:
        """Check everything and judge it, and put what comes of it into the state of now.

        Parameters
        ----------
        now, seen
        late : (lane,) bool - calls that came late
        given : two Commands - those of the layers below, and those of power production alone
        """
        doubts = [late]
        for check in CHECKS:
            told, doubt = check(now, seen, self.limits)
            now |= told
            doubts.append(doubt)
        now["duty"], busy = self.rests(now, *given)
        strays = np.abs(seen.pitch - now["followed_twice"]) > self.si.strays
        runaway = (now["no_speed"] > self.si.lost) | (now["speed"] > now["fastest"])
        doubts += [now["no_azimuth"] > self.si.lost, busy, any_blade(usable(seen, "pitch") & strays), runaway]
        now |= self.judge(now, doubts, seen)

    def rests(self, state: State, below: Commands, reference: Commands) -> tuple[Array, Array]:
        """Return the share of the time for which blades were moved, and where it is too large."""
        moved = blade_mean((np.abs(below.pitch - reference.pitch) > WORTH).astype(float))
        duty = state["duty"] + state["duty_share"] * (moved - state["duty"])
        return duty, duty > self.si.most_duty

    def delayed(self, state: State) -> tuple[Array, Array]:
        """Return the command as the servo delays it, and as servo and sensor do, (lane, blade) [rad]."""
        once = state["followed"] + state["follow_share"] * (state["sent"] - state["followed"])
        return once, state["followed_twice"] + state["follow_share"] * (once - state["followed_twice"])

    def judge(self, state: State, doubts: list[Array], seen: Readings) -> dict[str, Array]:
        """Return the mode that confirmed doubts ask for, and when and why it changed last.

        Parameters
        ----------
        doubts : one of (lane,) bool for each of CAUSES
        """
        lasting = (state["doubt_s"].T + state["pace"]) * np.array(doubts)
        causes = np.packbits(lasting > self.confirm, axis=0, bitorder="little")[0]
        asked, mode = LEVEL_OF.take(causes), state["mode"]
        calm = (state["calm"] + state["pace"]) * (asked == TRUSTS)
        kept = mode * ((calm < self.si.recover) | (mode == STOPPED))
        after = np.maximum(asked, kept)
        changed = after != mode
        return {
            "doubt_s": lasting.T,
            "calm": calm,
            "mode": after,
            "mode_s": np.where(changed, seen.time, state["mode_s"]),
            "cause": np.where(changed, causes, state["cause"]),
        }

    def compose(self, state: State, below: Commands, reference: Commands) -> tuple[State, Commands]:
        """Return the commands of each lane's mode, fading from those of the mode before."""
        mode, fade, most = state["mode"], state["fade"], self.si.authority
        trusts, each = mode == TRUSTS, lane_of(*below.pitch.shape)
        distrust = clip(~trusts, state["distrust"] - fade, state["distrust"] + fade)
        derated = clip(mode == DERATED, state["derated"] - fade, state["derated"] + fade)
        within = clip(below.pitch, reference.pitch - most, reference.pitch + most)
        fallen = within + distrust[each] * (reference.pitch - within)
        pitch = fallen + (derated * state["derate_by"])[each]
        torque = np.where(trusts, below.torque, reference.torque)
        after = {
            "distrust": distrust,
            "derated": derated,
            "sent": clip(pitch, state["fine"], state["feather"]),
        }
        return state | after, Commands(pitch, torque, below.stop | (mode == STOPPED))
