"""Do the sensors contradict each other, and does the machine do what it is told?

Each check keeps its memory in entries of the supervisor's state and says where it doubts: bool by lane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from controllers.multiblade import circle, to_fixed
from controllers.signals import blade_mean, row_starts, usable, wrap
from sim.interface import Array, Readings, State

Told = tuple[dict[str, Array], Array]
"""What changed in the state, and where the check doubts, (lane,) bool."""
MEANS = (6.0, 20.0, 150.0)
"""Readings over which the means of pass readings reach."""
KNOWN_AFTER = 12.0
"""Pass readings before they can be doubted."""


@dataclass(frozen=True)
class Limits:
    """Where a contradiction begins, in SI units."""

    slip: float  #: [rad] of azimuth, against speed or gravity
    uneven: float  #: [m] tip deflection of a blade against the mean of all
    strange: float  #: [m] pass readings against the flap moments, recent against lasting
    frozen: float  #: [s] without any change of a reading
    lost: float  #: [s] without any usable reading


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
    The azimuth should move by speed times the periods since the last call; a difference beyond ``slip`` in
    one call is a jump, unless the call came late. What is not usable contradicts nothing, and is
    reckoned from the speed.

    A blade's weight bends it edgewise by M_0 sin psi: the multi-blade parts of the edge moments, low-passed
    over some turns, should be all sine. Their angle atan2(cosine part, sine part) is by how much the
    azimuth is wrong; some degrees are normal, as the wind loads the blades edgewise too. The first three
    turns are not judged.
    """
    known_speed, known_azimuth = usable(seen, "rotor_speed"), usable(seen, "azimuth")
    speed = np.where(known_speed, seen.rotor_speed, state["speed"])
    ticks = seen.tick - state["tick"]
    due = state["azimuth"] + speed * (state["period"] * ticks)
    azimuth = np.where(known_azimuth, seen.azimuth, due)
    jump = (np.abs(wrap(azimuth - due)) > limits.slip) & (ticks <= 2)
    moment = np.where(usable(seen, "root_edge_moment"), seen.root_edge_moment, state["edge"])
    along, across = to_fixed(moment, *circle(azimuth, moment.shape[1]))
    along = state["edge_along"] + state["turns_share"] * (along - state["edge_along"])
    across = state["edge_across"] + state["turns_share"] * (across - state["edge_across"])
    period = state["period"]
    return {
        "speed": speed,
        "azimuth": wrap(azimuth),
        "tick": seen.tick,
        "edge": moment,
        "edge_along": along,
        "edge_across": across,
        "no_azimuth": np.where(known_azimuth, 0.0, state["no_azimuth"] + period),
        "no_speed": np.where(known_speed, 0.0, state["no_speed"] + period),
    }, jump | ((np.abs(np.arctan2(along, across)) > limits.slip) & (seen.time > state["ready_s"]))


def flap_gauges_are_sound(state: State, seen: Readings, limits: Limits) -> Told:
    """Doubt a flap gauge that strays from those of the other blades, or stands still.

    Notes
    -----
    Over many turns all blades meet the same wind. The deflection that a gauge tells, less the mean of all,
    low-passed, stays within about 0.3 m in extreme turbulence on the demo turbine. A reading that is
    the same to the bit for ``frozen`` seconds is frozen, for its noise would show; one that is not
    usable counts as the same.
    """
    moment = np.where(usable(seen, "root_flap_moment"), seen.root_flap_moment, state["moment"])
    apart = moment - blade_mean(moment)[:, None]
    uneven = state["uneven"] + state["even_share"] * (apart - state["uneven"])
    same = (state["same"] + state["each_period"]) * (moment == state["moment"])
    doubt = (np.abs(uneven) > limits.uneven * state["moment_per_metre"]) | (same > limits.frozen)
    return {"moment": moment, "uneven": uneven, "same": same}, any_blade(doubt)


def pass_readings_are_sound(state: State, seen: Readings, limits: Limits) -> Told:
    """Doubt pass readings that the flap moments contradict, or that do not come.

    Notes
    -----
    A reading is new where its age has fallen. Its difference from unloaded clearance - deflection by the flap
    moment is kept as a recent mean (6 readings) and a lasting one (150): the difference depends on the wind,
    so only the change counts. A reading that hardly changes from pass to pass while the moments do is
    an echo of something else: its mean change (20 readings) is less than 0.3 of theirs, and theirs above
    half a metre.
    """
    age = np.where(seen.valid["last_pass_clearance"], seen.age["last_pass_clearance"], np.inf)
    fresh = (age < state["pass_age"]) & np.isfinite(seen.last_pass_clearance)
    entry = fresh.argmax(axis=1) + row_starts(*fresh.shape)
    new = fresh.take(entry)
    old, before = state["pass_reading"], state["pass_guess"]
    reading = np.where(new, seen.last_pass_clearance.take(entry), old)
    guess = np.where(new, state["unloaded"] - state["towards"] * state["moment"].take(entry), before)
    count = state["pass_count"] + new
    seen_so_far = np.maximum(count, 1.0)
    share, middle, slow = (new / np.minimum(seen_so_far, most) for most in MEANS)
    off = reading - guess
    recent = state["pass_recent"] + share * (off - state["pass_recent"])
    lasting = state["pass_lasting"] + slow * (off - state["pass_lasting"])
    moved = state["pass_moved"] + middle * (np.abs(reading - old) - state["pass_moved"])
    due = state["pass_due"] + middle * (np.abs(guess - before) - state["pass_due"])
    since = (state["pass_since"] + state["period"]) * ~new
    contradicts = (np.abs(recent - lasting) > limits.strange) | ((moved < 0.3 * due) & (due > 0.5))
    return {
        "pass_age": age,
        "pass_reading": reading,
        "pass_guess": guess,
        "pass_recent": recent,
        "pass_lasting": lasting,
        "pass_moved": moved,
        "pass_due": due,
        "pass_count": count,
        "pass_since": since,
    }, (contradicts & (count > KNOWN_AFTER)) | (since > state["longest_turn"])
