"""How near will the coming passes be, if nothing is done about it?

The witness is the pass just before, of whichever blade, freed of the relief that the logic gave it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from controllers.signals import ZERO, blade_mean, choose, clip, hold, lane_of, put, row_starts
from sim.interface import Array, Known, Readings, State


@dataclass(frozen=True)
class Witnesses:
    """Hear of the latest two passes, each freed of the relief that the logic gave it.

    Parameters
    ----------
    wait_s : float [s]
        Longest wait for the reading of a pass.

    Notes
    -----
    A pass whose reading does not come, or is not usable, is judged by the blade's flap moment at the
    pass instead, clearance = unloaded - deflection, and never better than the last witness.
    """

    wait_s: float

    def start(self, known: Known, seen: Readings, pitch: Array) -> dict[str, Array]:
        """Return the memory before the first pass: as witness the tightest steady pass, at this pitch."""
        tightest = np.min(known.steady.clearance, axis=1)
        nothing, no = np.zeros_like(tightest), np.zeros(tightest.shape, bool)
        return {
            "towards": -known.side * known.deflection_per_moment,
            "unloaded": known.unloaded_clearance,
            "moment": hold(seen, "root_flap_moment", np.zeros(seen.pitch.shape)),
            "newest": tightest,
            "second": tightest,
            "passer": np.zeros(tightest.shape, np.int64),
            "bent_at_pass": nothing,
            "given": nothing,
            "since_pass": nothing,
            "awaited": no,
            "heard": no,
        }

    def note_passing(
        self, state: State, seen: Readings, passing: Array, promised: Array, pitch: Array
    ) -> dict[str, Array]:
        """Keep what must be known of a blade that passes at this instant, in the few lanes where one does.

        Parameters
        ----------
        passing : (lane, blade) bool
            At most one blade of a lane.
        promised : (lane, blade) float64 [m]
            Relief that the logic gives this pass.
        pitch : (lane,) float64 [rad]
            That power production commands.
        """
        moment = hold(seen, "root_flap_moment", state["moment"])
        entry = passing.ravel().nonzero()[0]
        lane = lane_of(*passing.shape).ravel()[entry]
        given = promised.ravel()[entry]
        bent = state["towards"][lane] * moment.ravel()[entry] + given
        blade = entry - row_starts(*passing.shape)[lane]
        return {
            "moment": moment,
            "passer": put(state["passer"], lane, blade),
            "given": put(state["given"], lane, given),
            "bent_at_pass": put(state["bent_at_pass"], lane, bent),
            "since_pass": put(state["since_pass"] + state["period"], lane, 0.0),
            "awaited": put(state["awaited"], lane, True),
            **self.more_of_passing(state, moment, pitch, lane),
        }

    def more_of_passing(self, state: State, moment: Array, pitch: Array, lane: Array) -> dict[str, Array]:
        """Return what else to keep of the pass that happens now in these lanes: here nothing."""
        return {}

    def hear(self, state: State, seen: Readings) -> dict[str, Array]:
        """Take in the reading of the last pass as soon as one comes that is younger than the pass itself."""
        since, newest = state["since_pass"], state["newest"]
        entry = state["passer"] + row_starts(*seen.last_pass_clearance.shape)
        reading = seen.last_pass_clearance.ravel()[entry]
        old = seen.age["last_pass_clearance"].ravel()[entry]
        come = seen.valid["last_pass_clearance"].ravel()[entry] & np.isfinite(reading) & (old < since)
        due = state["awaited"] & (come | (since > self.wait_s))
        guess = np.minimum(state["unloaded"] - state["bent_at_pass"], newest)
        clearance = choose(come, reading - state["given"], guess)
        return {
            "heard": due,
            "newest": choose(due, clearance, newest),
            "second": choose(due, newest, state["second"]),
            "awaited": state["awaited"] ^ due,  # due are only such as are awaited
            **self.more_of_hearing(state, due),
        }

    def more_of_hearing(self, state: State, due: Array) -> dict[str, Array]:
        """Return what else becomes of a pass that is heard of now, where it is due: here nothing."""
        return {}


@dataclass(frozen=True)
class Foresight(Witnesses):
    """Foresee a clearance from the latest passes and from what power production has done since.

    Parameters
    ----------
    trend : float [-]
        Share of the last change from pass to pass that is expected to happen again.
    pitch_weight : float [-]
        Share of the settled effect of a pitch change since the witness that is expected.
    gust_weight : float [-]
        Share that is expected of a growth of the rotor's mean deflection since the witness ...
    gust_from : float [m]
        ... beyond this.
    wait_s : float [s]
        See ``Witnesses``.

    Notes
    -----
    foreseen = c1 + trend (c1 - c2) + pitch_weight (relief per pitch) (pitch now - pitch then)
    - gust_weight max(0, mean deflection now - mean deflection then - gust_from),
    with c1 and c2 the latest two passes, "then" the instant of the first, and the deflection from the flap
    moments of all blades. Derived here, by regression on 12 000 passes of the demo turbine under power
    control alone in extreme turbulence: at equal misses of 1 %, the first three terms ask for half the
    relief that weights .6, .25, .15 of the last three passes ask for. Pitch counts for more than its settled
    effect, because it also tells that the gust is over, or is not. The blade's own flap deflection
    against that of the blade ahead at equal azimuth lowered the relief asked for by 0 to 6 %, and is
    left out. A gust over the whole disc has no witness; it shows in the mean of all blades, and growth
    beyond a metre is so rare in turbulence that the last term costs little there.
    """

    trend: float
    pitch_weight: float
    gust_weight: float
    gust_from: float

    def start(self, known: Known, seen: Readings, pitch: Array) -> dict[str, Array]:
        """Return the memory before the first pass; see ``Witnesses``."""
        memory = super().start(known, seen, pitch)
        mean = memory["towards"] * blade_mean(memory["moment"])
        return memory | {
            "mean": mean,
            "mean_at_pass": mean,
            "mean_then": mean,
            "pitch_at_pass": pitch,
            "pitch_then": pitch,
        }

    def more_of_passing(self, state: State, moment: Array, pitch: Array, lane: Array) -> dict[str, Array]:
        """Keep pitch and mean deflection at the instant of the pass."""
        mean = state["towards"] * blade_mean(moment)
        return {
            "mean": mean,
            "mean_at_pass": put(state["mean_at_pass"], lane, mean[lane]),
            "pitch_at_pass": put(state["pitch_at_pass"], lane, pitch[lane]),
        }

    def more_of_hearing(self, state: State, due: Array) -> dict[str, Array]:
        """Compare with pitch and mean deflection at the new witness from now on."""
        return {
            "mean_then": choose(due, state["mean_at_pass"], state["mean_then"]),
            "pitch_then": choose(due, state["pitch_at_pass"], state["pitch_then"]),
        }

    def foresee(self, state: State, pitch: Array, per_pitch: Array) -> Array:
        """Return the clearance without the logic of the pass that comes next, (lane,) [m]."""
        trend = self.trend * (state["newest"] - state["second"])
        pitched = self.pitch_weight * per_pitch * (pitch - state["pitch_then"])
        gust = np.maximum(state["mean"] - state["mean_then"] - self.gust_from, ZERO)
        return state["newest"] + trend + pitched - self.gust_weight * gust


def relief_line(known: Known) -> dict[str, Array]:
    """Return the settled relief of the clearance by pitch as a straight line over pitch, (lane,).

    Notes
    -----
    Through the steady table where its clearance is tightest and halfway from there to its last point in
    pitch, then level; in m/rad, positive where feathering moves the blade away from the tower.
    """
    steady = known.steady
    relief = -steady.deflection_per_pitch
    lane = np.arange(relief.shape[0])
    tight = np.argmin(steady.clearance, axis=1)
    low, high = steady.pitch[lane, tight], steady.pitch[:, -1]
    middle = np.argmax(steady.pitch >= 0.5 * (low + high)[:, None], axis=1)
    span = np.maximum(steady.pitch[lane, middle] - low, 1e-3)
    first = relief[lane, tight]
    return {
        "relief_first": first,
        "relief_growth": (relief[lane, middle] - first) / span,
        "relief_from": low,
        "relief_span": span,
    }


def relief_per_pitch(state: State, pitch: Array) -> Array:
    """Return the settled relief at the pitch that power production commands, (lane,) [m/rad]."""
    above = clip(pitch - state["relief_from"], ZERO, state["relief_span"])
    return state["relief_first"] + state["relief_growth"] * above
