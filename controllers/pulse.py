"""What does a pitch pulse do to the blade that passes the tower: its shape, its timing, its relief?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from controllers.rotor import servo_lag
from controllers.signals import raised_cosine
from sim.interface import Array, Known

SPEEDS = 8
INSTANTS = 100
INSTANT = 0.05
SLOWEST, FASTEST = 0.5, 1.3


@dataclass(frozen=True)
class Pulse:
    """A raised cosine over azimuth whose flap response peaks at the tower.

    Parameters
    ----------
    half_width : float [rad]
    lead : float [rad]
        Added to the lead that the machine's own lag asks for; positive is earlier.
    """

    half_width: float
    lead: float

    def shape(self, angle: Array, speed: Array, lag: Array) -> Array:
        """Return the pulse, 0 to 1, at an angle past the tower [rad], for a rotor speed and a lag [s]."""
        return raised_cosine(angle, -speed * lag - self.lead, np.asarray(self.half_width))

    def relief_table(self, known: Known) -> Array:
        """Tabulate the relief at the pass that a unit pulse still gives if it begins only now.

        Returns
        -------
        relief : (lane, speed, instant) float64 [-]
            As share of the settled relief of constant unit pitch, for rotor speeds from 0.5 to 1.3 of
            rated and for 0 to 5 s left until the pass.

        Notes
        -----
        relief(t) = integral from 0 to t of shape(-speed s) h(s) ds with h the response of the tip to a
        pitch impulse s seconds ago. So an amplitude that grows by dA at the time t before the pass adds
        dA relief(t), and the sum over all growth is the relief at the pass. Midpoint rule, 0.05 s.
        Derived here.
        """
        left = (np.arange(INSTANTS) + 0.5) * INSTANT
        response = flap_impulse(known, left)[:, None, :]
        speeds = known.rated_rotor_speed[:, None] * np.linspace(SLOWEST, FASTEST, SPEEDS)
        lag = response_lag(known)[:, None, None]
        shape = self.shape(-speeds[:, :, None] * left, speeds[:, :, None], lag)
        growth = np.cumsum(shape * response * INSTANT, axis=2)
        return np.concatenate([np.zeros_like(growth[:, :, :1]), growth], axis=2)


def flap_impulse(known: Known, since: Array) -> Array:
    """Return the tip's response to a unit pitch impulse, (lane, instant) [1/s], settled relief = 1.

    Notes
    -----
    Servo: a pure lag of delay + 2 z/w. Flap: h = w/sqrt(1 - z^2) exp(-z w t) sin(w sqrt(1 - z^2) t), the
    first mode with structural and aerodynamic damping; z is capped at 0.95, where h hardly changes.
    """
    frequency = known.blade_frequency[:, 0][:, None]
    ratio = np.clip(flap_damping(known), 0.01, 0.95)[:, None]
    damped = frequency * np.sqrt(1.0 - ratio * ratio)
    time = np.maximum(since - servo_lag(known)[:, None], 0.0)
    return frequency * frequency / damped * np.exp(-ratio * frequency * time) * np.sin(damped * time)


def flap_damping(known: Known) -> Array:
    """Return the damping ratio of the first flap mode in operation, (lane,) [-]."""
    return known.blade_damping_ratio[:, 0] + known.flap_aerodynamic_damping_ratio


def response_lag(known: Known) -> Array:
    """Return the lag of the tip behind the pitch command on a ramp, (lane,) [s]: servo + flap 2 z/w."""
    return servo_lag(known) + 2.0 * np.minimum(flap_damping(known), 0.95) / known.blade_frequency[:, 0]


def still_to_gain(table: Array, speed_share: Array, left: Array) -> Array:
    """Look the relief table up, (lane, blade) [-].

    Parameters
    ----------
    table : (lane, speed, instant) float64 [-]
    speed_share : (lane,) float64 [-]
        Rotor speed over rated.
    left : (lane, blade) float64 [s]
        Time until the pass; 0 or less gives 0.
    """
    row = np.clip((speed_share - SLOWEST) / (FASTEST - SLOWEST), 0.0, 1.0) * (SPEEDS - 1)
    column = np.clip(left / INSTANT, 0.0, float(INSTANTS))
    low_row = np.minimum(row.astype(np.int64), SPEEDS - 2)
    low_column = np.minimum(column.astype(np.int64), INSTANTS - 1)
    part = (row - low_row)[:, None]
    lane = np.arange(table.shape[0])[:, None]
    slow = _between(table, lane, low_row[:, None], low_column, column - low_column)
    fast = _between(table, lane, low_row[:, None] + 1, low_column, column - low_column)
    return slow + part * (fast - slow)


def _between(table: Array, lane: Array, row: Array, column: Array, part: Array) -> Array:
    first, second = table[lane, row, column], table[lane, row, column + 1]
    return first + part * (second - first)
