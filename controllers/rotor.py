"""Where is each blade now, and how fast does it turn, as far as the sensors tell?"""

from __future__ import annotations

import numpy as np

from controllers.signals import FULL_TURN, age, hold, lane_period, smooth, usable, wrap
from sim.interface import Array, Known, Readings, State

NEEDS = ("azimuth", "rotor_speed")


def start(known: Known, seen: Readings) -> dict[str, Array]:
    """Return the memory of the rotor's position: rated speed and azimuth 0 where nothing is seen."""
    speed = hold(seen, "rotor_speed", known.rated_rotor_speed)
    return {
        "period": lane_period(known),
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
    azimuth it is carried on by dead reckoning, and ``blind_turns`` counts the turns since.
    """
    period = state["period"]
    raw = hold(seen, "rotor_speed", state["last_speed"])
    speed = smooth(state["speed"], raw, period, 0.5)
    reckoned = state["azimuth"] + speed * period
    ok = usable(seen, "azimuth")
    fresh = np.where(ok, seen.azimuth, 0.0) + speed * age(seen, "azimuth")
    turned = np.abs(speed) * period / FULL_TURN
    return {
        "period": period,
        "azimuth": np.mod(np.where(ok, fresh, reckoned), FULL_TURN),
        "speed": speed,
        "last_speed": raw,
        "blind_turns": np.where(ok, 0.0, state["blind_turns"] + turned),
    }


def crossed(before: Array, now: Array, mark: Array | float) -> Array:
    """Say which angles went forwards over ``mark`` between two ticks, never by the jump at the cut."""
    earlier, later = wrap(before - mark), wrap(now - mark)
    return (earlier < 0.0) & (later >= 0.0) & (later - earlier < np.pi)


def servo_lag(known: Known) -> Array:
    """Return delay plus ramp lag of the pitch servo, delay + 2 z / w, (lane,) [s]."""
    return known.pitch_delay + 2.0 * known.pitch_damping_ratio / known.pitch_natural_frequency
