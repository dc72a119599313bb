"""Where is each blade now, and how fast does it turn, as far as the sensors tell?"""

from __future__ import annotations

import numpy as np

from controllers.signals import PER_TURN, ZERO, age, choose, hold, lane_period, share_per_period, usable
from sim.interface import Array, Known, Readings, State

NEEDS = ("azimuth", "rotor_speed")


def start(known: Known, seen: Readings) -> dict[str, Array]:
    """Return the memory of the rotor's position: rated speed and azimuth 0 where nothing is seen."""
    period = lane_period(known)
    speed = hold(seen, "rotor_speed", known.rated_rotor_speed)
    return {
        "period": period,
        "rotor_share": share_per_period(period, 0.5),
        "azimuth": hold(seen, "azimuth", np.zeros_like(speed)),
        "speed": speed,
        "last_speed": speed,
        "blind_turns": np.zeros_like(speed),
    }


def follow(state: State, seen: Readings) -> dict[str, Array]:
    """Advance the memory by one period.

    Notes
    -----
    The azimuth is brought up to now by the reading's age times the filtered speed. Without a usable
    azimuth it is carried on by dead reckoning, and ``blind_turns`` counts the turns since. It is not
    wrapped to one turn.
    """
    raw = hold(seen, "rotor_speed", state["last_speed"])
    speed = state["speed"] + state["rotor_share"] * (raw - state["speed"])
    told = {"speed": speed, "last_speed": raw}
    ok = usable(seen, "azimuth")
    fresh = seen.azimuth + speed * age(seen, "azimuth")
    if np.count_nonzero(ok) == len(ok):  # as usual
        return told | {"azimuth": fresh, "blind_turns": np.zeros(fresh.shape)}
    turned = speed * state["period"]
    return told | {
        "azimuth": choose(ok, fresh, state["azimuth"] + turned),
        "blind_turns": choose(ok, ZERO, state["blind_turns"] + np.abs(turned) * PER_TURN),
    }


def servo_lag(known: Known) -> Array:
    """Return delay plus ramp lag of the pitch servo, delay + 2 z / w, (lane,) [s]."""
    return known.pitch_delay + 2.0 * known.pitch_damping_ratio / known.pitch_natural_frequency
