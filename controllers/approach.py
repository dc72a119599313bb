"""How does logic that foresees its passes go through one period: look, foresee, decide, command?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from controllers import rotor, slow_task
from controllers.foresight import Foresight, Witnesses, relief_line, relief_per_pitch
from controllers.parameters import Parameters, parameter
from controllers.signals import ONE, ZERO, blade_mean, hold, lane_of, spread_out, wrap
from sim.interface import Array, Commands, Known, Readings, State


@dataclass(frozen=True)
class Approach(Parameters):
    """Base of logic that foresees each pass and adds pitch to the approaching blade; decides nothing itself.

    Notes
    -----
    Each period: bring the rotor's position up to now (``rotor``), note which blade passes, look ahead, and
    let ``decide`` move each blade's ``offset``, which is added away from the tower. To look ahead is to
    hear of the passes before (``foresight``) and to foresee the clearance without the logic; logic that is
    ``slow`` does that as a slow task (``slow_task``). ``foreseen``, (lane, blade) [m], stays in the state, so
    that the forecast can be held against what came of it. ``stands`` is each blade's angle past the tower
    while blade 0 is up, ``angle`` that of now.

    Missing readings: azimuth is reckoned from the speed, and after one turn of that the offset grows
    into ``blind_deg`` all round; a missing pass reading is replaced by the flap moment's guess, never
    better than the last witness; a missing moment is held.
    """

    needs: ClassVar[tuple[str, ...]] = (*rotor.NEEDS, "pitch", "root_flap_moment", "last_pass_clearance")
    tower_pass: ClassVar[bool] = True
    slow: ClassVar[bool] = False

    margin_m: float = parameter(1.2, "m", -5.0, 10.0, "spare clearance that the logic aims at")
    max_amplitude_deg: float = parameter(6.0, "deg", 0.0, 15.0, "largest pitch that the logic may add")
    relief_factor: float = parameter(
        1.0, "-", 0.2, 3.0, "true relief over settled relief of the steady table"
    )
    rate_share: float = parameter(0.9, "-", 0.1, 1.0, "share of the servo's rate limit that may be used")
    wait_s: float = parameter(0.8, "s", 0.1, 2.0, "longest wait for the reading of a pass")
    blind_deg: float = parameter(2.0, "deg", 0.0, 10.0, "pitch added all round without any azimuth")

    @cached_property
    def foresight(self) -> Witnesses:
        """What hears of the passes."""
        return Witnesses(self.si.wait)

    def init(self, known: Known, seen: Readings) -> State:
        """Start with no pitch added."""
        nothing = np.zeros(seen.pitch.shape)
        turning, line = rotor.start(known, seen), relief_line(known)
        if self.slow:
            turning |= slow_task.start(known, seen, self.bears(known)) | {"since_look": nothing[:, 0].copy()}
        line |= {name: self.relief_factor * line[name] for name in ("relief_first", "relief_growth")}
        stands = spread_out(*seen.pitch.shape) - np.pi
        rate = (self.rate_share * known.pitch_rate_limit)[:, None]
        pitch = blade_mean(hold(seen, "pitch", known.fine_pitch[:, None] + nothing))
        return {
            **turning,
            **self.foresight.start(known, seen, pitch),
            **line,
            "stands": stands,
            "angle": wrap(turning["azimuth"][:, None] + stands),
            "aim": (known.required_clearance + self.margin_m)[:, None] + nothing,
            "pitch_step": rate * turning["period"][:, None] + nothing,
            "largest": self.si.max_amplitude + nothing,
            "offset": nothing,
            "promised": nothing,
            "foreseen": known.unloaded_clearance[:, None] + nothing,
            "relief": line["relief_first"][:, None] + nothing,
        }

    def step(
        self, state: State, seen: Readings, below: Commands, reference: Commands
    ) -> tuple[State, Commands]:
        """Add each blade's offset to what is commanded below."""
        pitch, each = blade_mean(reference.pitch), lane_of(*below.pitch.shape)
        per_pitch = relief_per_pitch(state, pitch)
        after = state | rotor.follow(state, seen)
        after["angle"] = wrap(after["azimuth"][each] + state["stands"])
        passing = (state["angle"] < ZERO) & (after["angle"] >= ZERO)
        after |= self.foresight.note_passing(state, seen, passing, state["promised"], pitch)
        if self.slow:
            after["turn"], due = slow_task.due(state, seen)
            slow_task.run(due, lambda now: self.look_ahead(state, now, seen, (pitch, per_pitch)), after)
        else:
            self.look_ahead(state, after, seen, (pitch, per_pitch))
        after["relief"] = per_pitch[each]
        after |= self.decide(after)
        return after, Commands(self.pitch(after, below), below.torque, below.stop)

    def bears(self, known: Known) -> Array | float:
        """Return the most periods from one look ahead to the next that logic that is ``slow`` bears."""
        return np.inf

    def look_ahead(self, before: State, now: State, seen: Readings, given: tuple[Array, Array]) -> None:
        """Hear of the last pass and foresee the next, and put both into the state of now; see ``foresee``."""
        now |= self.foresight.hear(now, seen)
        told, foreseen = self.foresee(before, now, seen, given)
        now |= told
        now["foreseen"] = foreseen[lane_of(*seen.pitch.shape)]
        if self.slow:
            now["since_look"] = now["since_pass"]

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Return what must be remembered of a forecast of one's own, and the clearance foreseen.

        Parameters
        ----------
        before, after : State
            Of the last period, and of this one with rotor and witnesses brought up to date.
        given : two of (lane,) float64
            Pitch that power production commands [rad], and the relief per pitch there [m/rad].

        Returns
        -------
        changes : dict
        foreseen : (lane,) float64 [m]
            Of the blade that passes next, without the logic: here, that it will be like the last.
        """
        return {}, after["newest"]

    def decide(self, state: State) -> dict[str, Array]:
        """Return the next ``offset`` [rad] and ``promised`` relief [m] of each blade, and what else changed.

        Parameters
        ----------
        state : State
            With what is ``foreseen`` [m], and the settled ``relief`` per pitch [m/rad], both (lane, blade).
        """
        raise NotImplementedError

    def pitch(self, state: State, below: Commands) -> Array:
        """Return the commanded pitch, (lane, blade) [rad], moved away from the tower."""
        offset, most = state["offset"], self.si.blind
        if np.count_nonzero(state["blind_turns"]):
            blind = np.minimum((state["blind_turns"] - ONE) * most, most)
            offset = np.maximum(offset, blind[lane_of(*offset.shape)])
        return below.pitch + np.copysign(offset, state["relief"])


def passed_meanwhile(before: State, after: State) -> Array:
    """Say where a blade has passed since the last look ahead of logic that is ``slow``, (lane,) bool."""
    return after["since_pass"] <= before["since_look"]


@dataclass(frozen=True)
class Foreseeing(Approach):
    """Base of logic that foresees from the latest passes and from what power production did since."""

    trend: float = parameter(0.25, "-", 0.0, 1.0, "share of the last change between passes expected again")
    pitch_weight: float = parameter(1.3, "-", 0.0, 3.0, "share of a pitch change's settled effect expected")
    gust_weight: float = parameter(2.0, "-", 0.0, 3.0, "share of the rotor's growing deflection expected")
    gust_from_m: float = parameter(
        1.0, "m", 0.0, 10.0, "growth of the rotor's mean deflection that is no gust"
    )

    @cached_property
    def foresight(self) -> Foresight:
        """The forecast that the parameters ask for."""
        si = self.si
        return Foresight(
            trend=si.trend,
            pitch_weight=si.pitch_weight,
            gust_weight=si.gust_weight,
            gust_from=si.gust_from,
            wait_s=si.wait,
        )

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Foresee by ``foresight``."""
        return {}, self.foresight.foresee(after, *given)
