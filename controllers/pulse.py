"""What does a pitch pulse do to the blade that passes the tower: its shape, its timing, its relief?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from controllers.rotor import servo_lag
from controllers.signals import FULL_TURN, HALF, PI, entry_starts, number
from sim.interface import Array, Known

INSTANT = 0.01  # of the integral over the response [s]
ANGLES = 180  # entries of a table over the whole turn; one more is for the angle pi itself
PER_ANGLE = number(ANGLES / FULL_TURN)


@dataclass(frozen=True)
class Pulse:
    """A raised cosine over azimuth whose flap response peaks at the tower at rated speed.

    Parameters
    ----------
    half_width : float [rad]
    lead : float [rad]
        Added to the lead that the machine's own lag asks for; positive is earlier.
    """

    half_width: float
    lead: float

    @cached_property
    def steepness(self) -> Array:
        """Phase of the cosine per angle, pi/half width [-]."""
        return number(np.pi / self.half_width)

    def centre(self, known: Known) -> Array:
        """Return the angle past the tower at which the pulse is largest, (lane,) [rad]."""
        return -known.rated_rotor_speed * response_lag(known) - self.lead

    def shape(self, angle: Array, centre: Array) -> Array:
        """Return 1/2 (1 + cos(pi (angle - centre)/half width)) inside the half width, else 0.

        Angles are past the tower, in [-pi, pi]; the pulse must not reach across that cut.
        """
        phase = np.abs(angle - centre)
        phase *= self.steepness
        cosine = np.cos(np.minimum(phase, PI, out=phase), out=phase)
        cosine *= HALF
        cosine += HALF
        return cosine

    def relief_table(self, known: Known) -> Array:
        """Tabulate the relief at the pass that a unit pulse still gives if it begins only now.

        Returns
        -------
        relief : (lane, 181) float64 [-]
            Over the angle past the tower (see ``place``), at rated speed, as share of the settled relief
            of constant unit pitch. Nothing after the tower.

        Notes
        -----
        relief(t) = integral from 0 to t of shape(-speed s) h(s) ds with h the response of the tip to a
        pitch impulse s seconds ago. So an amplitude that grows by dA at the time t before the pass adds
        dA relief(t), and the sum over all growth is the relief at the pass. Midpoint rule, 0.01 s.
        Half a turn at rated speed must last less than 10 s. Derived here.
        """
        since = (np.arange(1000) + 0.5) * INSTANT
        speed, centre = known.rated_rotor_speed[:, None], self.centre(known)[:, None]
        response = flap_impulse(known, since)
        growth = np.cumsum(self.shape(-speed * since, centre) * response * INSTANT, axis=1)
        return _over_angle(known, growth)


def held_relief_table(known: Known) -> Array:
    """Tabulate the relief at the pass of a unit pitch that is held from an angle to the pass.

    Returns
    -------
    relief : (lane, 181) float64 [-]
        Over the angle past the tower (see ``place``), at rated speed, as share of the settled relief: the
        step response at the time that is left. Nothing after the tower.
    """
    since = (np.arange(1000) + 0.5) * INSTANT
    return _over_angle(known, np.cumsum(flap_impulse(known, since) * INSTANT, axis=1))


def _over_angle(known: Known, growth: Array) -> Array:
    """Read a response over time, (lane, 1000) by INSTANT, at what is left to the tower at each angle."""
    left = -angles()[None, :] / known.rated_rotor_speed[:, None]
    index = np.minimum(left / INSTANT, 999.0).astype(np.int64)
    return np.where(left > 0.0, np.take_along_axis(growth, np.maximum(index, 0), axis=1), 0.0)


def flap_impulse(known: Known, since: Array) -> Array:
    """Return the tip's response to a unit pitch impulse, (lane, instant) [1/s], settled relief = 1.

    Notes
    -----
    Servo: a pure lag of delay + 2 z/w. Flap: h = w/sqrt(1 - z^2) exp(-z w t) sin(w sqrt(1 - z^2) t), the
    first mode with structural and aerodynamic damping; z is capped at 0.95, where h hardly changes.
    """
    frequency, ratio = known.blade_frequency[:, 0][:, None], flap_damping(known)[:, None]
    damped = frequency * np.sqrt(1.0 - ratio * ratio)
    time = np.maximum(since - servo_lag(known)[:, None], 0.0)
    return frequency * frequency / damped * np.exp(-ratio * frequency * time) * np.sin(damped * time)


def flap_damping(known: Known) -> Array:
    """Return the damping ratio of the first flap mode in operation, from 0.01 to 0.95, (lane,) [-]."""
    total = known.blade_damping_ratio[:, 0] + known.flap_aerodynamic_damping_ratio
    return np.clip(total, 0.01, 0.95)


def response_lag(known: Known) -> Array:
    """Return the lag of the tip behind the pitch command on a ramp, (lane,) [s]: servo + flap 2 z/w."""
    return servo_lag(known) + 2.0 * flap_damping(known) / known.blade_frequency[:, 0]


def angles() -> Array:
    """Return the angles past the tower in the middle of a table's entries, (181,) [rad]."""
    return -np.pi + (np.arange(ANGLES + 1) + 0.5) * (FULL_TURN / ANGLES)


def place(angle: Array) -> Array:
    """Return the entry of a table over the whole turn in which an angle in [-pi, pi] lies."""
    turned = angle + PI
    turned *= PER_ANGLE
    return turned.astype(np.int64)


def entry(table: Array, index: Array) -> Array:
    """Take each lane's own entries of a (lane, entries) table, (lane, blade)."""
    return table.ravel()[index + entry_starts(*table.shape, index.shape[1])]
