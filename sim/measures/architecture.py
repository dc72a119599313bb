"""How often does an arrangement of channels fail dangerously: one of one, one of two, two of three?"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1

from sim.errors import InputError, closest

NAMES = ("1oo1", "1oo2", "2oo3")
"""How many of how many channels must work for the function to act."""


@dataclass(frozen=True)
class Channel:
    """One channel: sensor, logic and actuator, or a part of it.

    Parameters
    ----------
    dangerous_per_hour : float [1/h]
        Rate of dangerous failures, found or not.
    diagnostic_coverage : float [-]
        Share of them that diagnosis finds at once.
    test_interval_h : float [h]
        Between tests that find the rest.
    repair_h : float [h]
        From finding to working again.
    common_cause, common_cause_found : float [-]
        Share of undetected and of detected failures that take all channels at once (beta, beta D).

    Raises
    ------
    InputError
        Where a value is out of range.
    """

    dangerous_per_hour: float
    diagnostic_coverage: float
    test_interval_h: float
    repair_h: float
    common_cause: float
    common_cause_found: float

    def __post_init__(self) -> None:
        problems = []
        for name in ("dangerous_per_hour", "test_interval_h"):
            if not 0.0 < getattr(self, name) < float("inf"):
                problems.append(f"channel: {name} = {getattr(self, name)}; must be > 0")
        if not 0.0 <= self.repair_h < float("inf"):
            problems.append(f"channel: repair_h = {self.repair_h}; must be >= 0")
        for name in ("diagnostic_coverage", "common_cause", "common_cause_found"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                problems.append(f"channel: {name} = {getattr(self, name)}; must be from 0 to 1")
        if problems:
            raise InputError(problems)

    @property
    def undetected(self) -> float:
        """Rate of dangerous failures that only a test finds [1/h]."""
        return self.dangerous_per_hour * (1.0 - self.diagnostic_coverage)

    @property
    def detected(self) -> float:
        """Rate of dangerous failures that diagnosis finds [1/h]."""
        return self.dangerous_per_hour * self.diagnostic_coverage

    def down_h(self, parts: int) -> float:
        """Return the mean time that a channel (parts 2) or a group of two (parts 3) is down [h]."""
        hidden = self.undetected * (self.test_interval_h / parts + self.repair_h)
        return (hidden + self.detected * self.repair_h) / self.dangerous_per_hour

    @property
    def independent(self) -> float:
        """Rate of dangerous failures of one channel alone [1/h]."""
        return (1.0 - self.common_cause_found) * self.detected + (1.0 - self.common_cause) * self.undetected


def probability_on_demand(name: str, channel: Channel) -> float:
    """Return the mean probability that an arrangement does not act when it is needed.

    Parameters
    ----------
    name : str
        One of `NAMES`.
    channel : Channel
        All channels alike.

    Returns
    -------
    float [-]

    Notes
    -----
    1oo1: the time average of 1 - exp(-l t) over the test interval, 1 - (1 - e^-x) / x with x = l T, plus
    repair. 1oo2 and 2oo3: k (independent rate)^2 tCE tGE with k = 2 and 6, plus common causes at half the
    interval and repair; first order, a little above the exact average.

    References
    ----------
    IEC 61508-6:2010, annex B.3.2.2 (closed forms; from memory).
    """
    _check(name)
    if name == "1oo1":
        x = channel.undetected * channel.test_interval_h
        hidden = 1.0 + expm1(-x) / x if x > 1e-5 else 0.5 * x
        return hidden + channel.dangerous_per_hour * channel.repair_h
    half = channel.test_interval_h / 2.0 + channel.repair_h
    common = channel.common_cause_found * channel.detected * channel.repair_h
    common += channel.common_cause * channel.undetected * half
    factor = 2.0 if name == "1oo2" else 6.0
    return factor * channel.independent**2 * channel.down_h(2) * channel.down_h(3) + common


def failures_per_hour(name: str, channel: Channel) -> float:
    """Return the mean rate of dangerous failures of an arrangement under high demand.

    Parameters
    ----------
    name : str
    channel : Channel

    Returns
    -------
    float [1/h]

    Notes
    -----
    1oo1: the undetected rate; what diagnosis finds brings the machine to its safe state. 1oo2 and 2oo3:
    k (independent rate) (1 - beta) (undetected rate) tCE with k = 2 and 6, plus beta (undetected rate).

    References
    ----------
    IEC 61508-6:2010, annex B.3.3.2 (closed forms; from memory).
    """
    _check(name)
    if name == "1oo1":
        return channel.undetected
    factor = 2.0 if name == "1oo2" else 6.0
    alone = (1.0 - channel.common_cause) * channel.undetected
    return (
        factor * channel.independent * alone * channel.down_h(2) + channel.common_cause * channel.undetected
    )


def _check(name: str) -> None:
    if name not in NAMES:
        raise InputError(f"arrangement {name!r} is not known{closest(name, NAMES)}")
