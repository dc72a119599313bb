"""How does a blade bend, and what loads it, as far as a late and noisy flap moment tells?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module

import numpy as np

from sim.errors import InputError
from sim.interface import Array

MISFIT = 0.15
"""Share by which an estimator's flap frequency may differ from that of the blade that it serves."""
COARSE = 0.75
"""Flap frequency times the time between two estimates, beyond which there is no estimator [rad]."""


@dataclass(frozen=True)
class FlapModel:
    """One flap mode and the load on it, over one period.

    Notes
    -----
    Deflection w, its rate v, and the load q as the deflection that it would settle at:

        w' = v,  v' = W^2 (q - w) - 2 Z W v,  q' = noise.

    q is a random walk whose standard deviation grows by ``walk`` in the square root of a second; the measured
    deflection carries white noise of ``noise``. Discretised exactly for a load that is held over the
    period, as the closed form of a damped oscillator.
    """

    frequency: float  #: [rad/s] W
    damping: float  #: [-] Z, structural and aerodynamic, below 1
    walk: float  #: [m/s^0.5]
    noise: float  #: [m]

    def transition(self, time: float) -> Array:
        """Return the 3 x 3 matrix that carries (w, v, q) on by ``time`` [s]."""
        w, z = self.frequency, self.damping
        swing = w * np.sqrt(1.0 - z * z)
        fade, c, s = np.exp(-z * w * time), np.cos(swing * time), np.sin(swing * time)
        a = np.array(
            [
                [fade * (c + z * w / swing * s), fade * s / swing],
                [-fade * w * w / swing * s, fade * (c - z * w / swing * s)],
            ]
        )
        return np.block([[a, np.array([[1.0 - a[0, 0]], [-a[1, 0]]])], [np.zeros((1, 2)), np.ones((1, 1))]])


@lru_cache(maxsize=256)
def kalman_gain(model: FlapModel, period: float) -> tuple[float, float, float]:
    """Return the steady gain of the one-step predictor x+ = A x + L (y - w), designed with python-control.

    Raises
    ------
    InputError
        python-control finds no steady estimator for these numbers.

    References
    ----------
    R. E. Kalman, A new approach to linear filtering and prediction problems, J. Basic Eng. 82 (1960) 35-45.
    """
    control = import_module("control")
    a = model.transition(period)
    through = np.array([[0.0], [0.0], [1.0]])
    try:
        gain, _, _ = control.dlqe(
            a, through, np.array([[1.0, 0.0, 0.0]]), model.walk**2 * period, model.noise**2
        )
    except Exception as error:
        raise InputError(f"no steady estimator for {model} at a period of {period} s: {error}") from error
    return float(gain[0, 0]), float(gain[1, 0]), float(gain[2, 0])


def check_fit(layer: str, given: float, turbine: float, period: float) -> float:
    """Return the flap frequency to design for: that given, or the turbine's where 0 is given, all [rad/s].

    Raises
    ------
    InputError
        The frequency given is not that of this turbine's blade, or the period is too coarse for it.
    """
    if given > 0.0 and abs(given / turbine - 1.0) > MISFIT:
        raise InputError(
            f"layer {layer}: flap_frequency_rad_s = {given:g}, but the first flap mode of this turbine has "
            f"{turbine:.3g} rad/s; an estimator must fit its blade to {100 * MISFIT:g} %: give "
            f"{turbine:.3g}, or 0 to take the turbine's own"
        )
    frequency = given if given > 0.0 else turbine
    if not frequency * period < COARSE:
        raise InputError(
            f"layer {layer}: a controller period of {period:g} s is too coarse to estimate a flap mode of "
            f"{frequency:.3g} rad/s; use at most {COARSE / frequency:.2g} s"
        )
    return frequency
