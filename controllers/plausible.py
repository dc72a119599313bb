"""Do the sensors contradict each other, and does the machine do what it is told?

Each check keeps its memory in entries of the supervisor's state and says where it doubts: bool by lane.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from controllers.multiblade import first_parts
from controllers.signals import ONE, blade_mean, hold, lane_of, number, put, usable, wrap
from sim.interface import Array, Readings, State

Told = tuple[dict[str, Array], Array]
"""What changed in the state, and where the check doubts, (lane,) bool."""
PASSES = ("reading", "guess", "count", "recent", "lasting", "moved", "due")
"""Columns of what is remembered of pass readings: the last four are means ..."""
REACH = np.array([[6.0], [150.0], [20.0], [20.0]])
"""... over as many readings."""
KNOWN_AFTER, A_LITTLE, HARDLY = number(12.0), number(0.5), number(0.3)
"""Pass readings before they can be doubted; change of them [m] that tells, and share of it that does not."""
NEVER = number(np.inf)


@dataclass(frozen=True)
class Limits:
    """Where a contradiction begins, in SI units."""

    slip: Array  #: [rad] of azimuth, against speed or gravity
    uneven: Array  #: [m] tip deflection of a blade against the mean of all
    strange: Array  #: [m] pass readings against the flap moments, recent against lasting
    frozen: Array  #: [s] without any change of a reading

    @cached_property
    def steepest(self) -> Array:
        """Tangent of ``slip`` [-]."""
        return number(float(np.tan(self.slip)))


def any_blade(per_blade: Array) -> Array:
    """Say where at least one blade is meant, (lane,) bool."""
    found = per_blade[:, 0]
    for blade in range(1, per_blade.shape[1]):
        found = found | per_blade[:, blade]
    return found


def azimuth_is_sound(state: State, seen: Readings, limits: Limits) -> Told:
    """Doubt an azimuth that jumps against the rotor speed, or that gravity contradicts.

    Notes
    -----
    The azimuth should move by speed times the time since the last check; a difference beyond ``slip`` is a
    jump, unless the check came late. What is not usable contradicts nothing, and is
    reckoned from the speed.

    A blade's weight bends it edgewise by M_0 sin psi: the multi-blade parts of the edge moments, low-passed
    over some turns, should be all sine. Their angle atan2(cosine part, sine part) is by how much the
    azimuth is wrong, and is beyond ``slip`` where |cosine part| > tan(slip) sine part; some degrees are
    normal, as the wind loads the blades edgewise too. The first three turns are not judged.
    """
    known_speed, known_azimuth = usable(seen, "rotor_speed"), usable(seen, "azimuth")
    speed = np.where(known_speed, seen.rotor_speed, state["speed"])
    pace, since = state["pace"], seen.time - state["checked"]
    due = state["azimuth"] + speed * since
    azimuth = np.where(known_azimuth, seen.azimuth, due)
    jump = (np.abs(wrap(azimuth - due)) > limits.slip) & (since < state["on_time"])
    moment = hold(seen, "root_edge_moment", state["edge"])
    along, across = first_parts(moment, azimuth)
    along = state["edge_along"] + state["turns_share"] * (along - state["edge_along"])
    across = state["edge_across"] + state["turns_share"] * (across - state["edge_across"])
    slipped = (np.abs(along) > limits.steepest * across) & (seen.time > state["ready_s"])
    return {
        "speed": speed,
        "azimuth": azimuth,
        "checked": seen.time,
        "edge": moment,
        "edge_along": along,
        "edge_across": across,
        "no_azimuth": (state["no_azimuth"] + pace) * ~known_azimuth,
        "no_speed": (state["no_speed"] + pace) * ~known_speed,
    }, jump | slipped


def flap_gauges_are_sound(state: State, seen: Readings, limits: Limits) -> Told:
    """Doubt a flap gauge that strays from those of the other blades, or stands still.

    Notes
    -----
    Over many turns all blades meet the same wind. The deflection that a gauge tells, less the mean of all,
    low-passed, stays within about 0.3 m in extreme turbulence on the demo turbine. A reading that is
    the same to the bit for ``frozen`` seconds is frozen, for its noise would show; one that is not
    usable counts as the same.
    """
    moment = hold(seen, "root_flap_moment", state["moment"])
    apart = moment - blade_mean(moment)[lane_of(*moment.shape)]
    uneven = state["uneven"] + state["even_share"] * (apart - state["uneven"])
    same = (state["same"] + state["each_pace"]) * (moment == state["moment"])
    doubt = (np.abs(uneven) > state["most_uneven"]) | (same > limits.frozen)
    return {"moment": moment, "uneven": uneven, "same": same}, any_blade(doubt)


def pass_readings_are_sound(state: State, seen: Readings, limits: Limits) -> Told:
    """Doubt pass readings that the flap moments contradict, or that do not come.

    Notes
    -----
    A reading is new where its age has fallen, in few lanes at a time; only these are computed. Its difference
    from unloaded clearance - deflection by the flap moment is kept as a recent mean (6 readings) and a
    lasting one (150): the difference depends on the wind, so only the change counts. A reading that hardly
    changes from pass to pass while the moments do is an echo of something else: its mean change (20
    readings) is less than 0.3 of theirs, and theirs above half a metre.
    """
    age = np.where(seen.valid["last_pass_clearance"], seen.age["last_pass_clearance"], NEVER)
    fresh = (age < state["pass_age"]) & np.isfinite(seen.last_pass_clearance)
    entry = fresh.ravel().nonzero()[0]
    lane = lane_of(*fresh.shape).ravel()[entry]
    reading = seen.last_pass_clearance.ravel()[entry]
    bent = state["towards"][lane] * state["moment"].ravel()[entry]
    guess = state["unloaded"][lane] - bent
    kept = state["passes"].take(lane, axis=0).T
    off = reading - guess
    found = np.array([off, off, np.abs(reading - kept[0]), np.abs(guess - kept[1])])
    kept[0], kept[1], kept[2] = reading, guess, kept[2] + ONE
    kept[3:] += (found - kept[3:]) / np.minimum(kept[2], REACH)
    recent, lasting, moved, due = kept[3:]
    strange = (np.abs(recent - lasting) > limits.strange) | ((moved < HARDLY * due) & (due > A_LITTLE))
    strange = put(state["pass_strange"], lane, strange & (kept[2] > KNOWN_AFTER))
    since = put(state["pass_since"] + state["pace"], lane, 0.0)
    return {
        "pass_age": age,
        "passes": put(state["passes"], lane, kept.T),
        "pass_strange": strange,
        "pass_since": since,
    }, strange | (since > state["longest_turn"])
