"""How do pitch servos and generator follow their commands.

Scalar functions for one servo and one generator; SI units.
"""

from __future__ import annotations

from numba import njit

from sim.kernels.aero import FLAGS


@njit(**FLAGS)
def servo_acceleration(pitch, rate, command, frequency, damping, rate_limit, acceleration_limit):
    """Return the pitch acceleration [rad/s2] of a second-order servo with limits.

    Notes
    -----
    Within the limits  accel = omega^2 (command - pitch) - 2 zeta omega rate.  Written as a speed loop,
    accel = 2 zeta omega (wanted - rate) with wanted = omega (command - pitch) / (2 zeta) held within the
    rate limit and accel within the acceleration limit, so that the rate never passes its limit.
    """
    gain = 2.0 * damping * frequency
    wanted = frequency * frequency * (command - pitch) / gain
    wanted = min(max(wanted, -rate_limit), rate_limit)
    return min(max(gain * (wanted - rate), -acceleration_limit), acceleration_limit)


@njit(**FLAGS)
def torque_rate(torque, command, lag):
    """Return the rate [N m/s] of the generator torque, a first-order lag of its command."""
    return (command - torque) / lag
