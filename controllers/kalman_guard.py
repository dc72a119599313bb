"""Does the approaching blade bend otherwise than the one ahead of it did at the same place?"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import ClassVar

import numpy as np

from controllers.estimator import FlapModel, check_fit, kalman_gain
from controllers.guard import Guard
from controllers.parameters import parameter
from controllers.pulse import flap_damping
from controllers.rotor import servo_lag
from controllers.signals import FULL_TURN, age, row_starts, share_per_period, usable
from sim.interface import Array, Known, Readings, State

BINS = 24
"""Places on the way from blade to blade at which the state of the one ahead is remembered."""


@dataclass(frozen=True)
class KalmanGuard(Guard):
    """A guard that also estimates each blade's deflection and load, and compares it with the blade ahead.

    Notes
    -----
    1. A model of the flap mode, driven by the pitch that the logic added (as the servo lets it through),
       says how much the blade is relieved now; that is put back, so that what is estimated is the blade
       without the logic.
    2. A steady Kalman estimator (``estimator``) of deflection, rate and load for each blade, from its flap
       moment times the deflection per moment of the first mode.
    3. The blade ahead passed the same azimuth a third of a turn earlier, and how it went on from there is
       known by its pass. What the approaching blade's state differs by, carried on to the pass by the flap
       mode's motion with the difference in load held, is by how much nearer it will pass; ``own_weight`` of
       it is taken off the guard's forecast.

    The blade's own state helps late in the approach only: what it will meet low on the disc it has not met.

    Raises
    ------
    InputError
        ``flap_frequency_rad_s`` does not fit the turbine's blade, or the period is too coarse for it.

    References
    ----------
    Derived here; for the estimator see ``estimator``.
    """

    name: ClassVar[str] = "kalman-guard"

    own_weight: float = parameter(0.3, "-", 0.0, 1.5, "share of the blade's own difference that is expected")
    load_walk: float = parameter(
        2.0, "m/s^0.5", 0.01, 50.0, "how fast the load wanders, as settled deflection"
    )
    moment_noise_m: float = parameter(0.2, "m", 0.01, 5.0, "error of a measured deflection")
    flap_frequency_rad_s: float = parameter(
        0.0, "rad/s", 0.0, 60.0, "of the model's first flap mode; 0: the turbine's own"
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        import_module("control")  # now, as it takes a second, and the first call may be timed

    def models(self, known: Known) -> list[FlapModel]:
        """Return each lane's model of the flap mode, fit to its turbine."""
        damping = np.minimum(flap_damping(known), 0.9)
        return [
            FlapModel(
                check_fit(self.name, self.flap_frequency_rad_s, float(own), float(known.period)),
                float(ratio),
                self.load_walk,
                self.moment_noise_m,
            )
            for own, ratio in zip(known.blade_frequency[:, 0], damping, strict=True)
        ]

    def fits(self, known: Known) -> None:
        """Raise ``InputError`` where the estimator does not fit a turbine."""
        self.models(known)

    def init(self, known: Known, seen: Readings) -> State:
        """Design one estimator a lane; lanes of the same turbine share the work."""
        state, models = super().init(known, seen), self.models(known)
        period, gap = float(known.period), FULL_TURN / seen.pitch.shape[1]
        left = gap * (BINS - np.arange(BINS) - 0.5) / BINS
        none = np.zeros_like(state["speed"])
        a = np.array([model.transition(period) for model in models])
        late = servo_lag(known) + age(seen, "root_flap_moment")[:, 0]
        bent = state["towards"][:, None] * state["moment"]
        each = {f"a_{i}{j}": a[:, i, j][:, None] + 0.0 * bent for i in range(2) for j in range(2)}
        gain = np.array([kalman_gain(model, period) for model in models])
        return state | each | {
            **{f"gain_{name}": gain[:, n][:, None] + 0.0 * bent for n, name in enumerate("wvq")},
            "to_pass": np.array(
                [
                    [model.transition(angle / speed)[0] for angle in left]
                    for model, speed in zip(models, known.rated_rotor_speed, strict=True)
                ]
            ),
            "w": bent,
            "v": 0.0 * bent,
            "q": bent,
            "relieved": 0.0 * bent,
            "relieved_rate": 0.0 * bent,
            "arrived": 0.0 * bent,
            "arriving": share_per_period(state["period"], late)[:, None] + 0.0 * bent,
            "trace": np.zeros((len(none), 2 * BINS, 3)),
            "passed": np.zeros(len(none), np.int64),
        }  # fmt: skip

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Estimate every blade, and correct the guard's forecast by how the approaching one differs."""
        told = self.relieve(before, given[1])
        told |= self.estimate(before, seen, told["relieved"])
        gap = FULL_TURN / after["angle"].shape[1]
        angle = after["angle"]
        which = ((angle < 0.0) & (angle >= -gap)).argmax(axis=1)
        blade = which + row_starts(*angle.shape)
        place = ((angle.take(blade) + gap) * (BINS / gap)).astype(np.int64)
        place = np.minimum(np.maximum(place, 0), BINS - 1)
        passed = before["passed"] + (after["since_pass"] == 0.0)
        mine = row_starts(len(place), 2 * BINS) + place + BINS * (passed % 2)
        other = row_starts(len(place), 2 * BINS) + place + BINS * (1 - passed % 2)
        own = np.stack([told[name].take(blade) for name in "wvq"], axis=1)
        ahead = before["trace"].reshape(-1, 3)[other]
        trace = before["trace"].copy()
        trace.reshape(-1, 3)[mine] = own
        to_pass = before["to_pass"].reshape(-1, 3)[place + row_starts(len(place), BINS)]
        apart = to_pass * (own - ahead)
        nearer = (apart[:, 0] + apart[:, 1] + apart[:, 2]) * (passed > 1)
        told |= {"trace": trace, "passed": passed}
        return told, self.foresight.foresee(after, *given) - self.own_weight * nearer

    def relieve(self, state: State, per_pitch: Array) -> dict[str, Array]:
        """Return by how much the added pitch keeps each blade off the tower as the gauge now sees it."""
        arrived = state["arrived"] + state["arriving"] * (state["offset"] - state["arrived"])
        due = arrived * np.abs(per_pitch)[:, None]
        off, rate = state["relieved"] - due, state["relieved_rate"]
        return {
            "arrived": arrived,
            "relieved": due + state["a_00"] * off + state["a_01"] * rate,
            "relieved_rate": state["a_10"] * off + state["a_11"] * rate,
        }

    def estimate(self, state: State, seen: Readings, relieved: Array) -> dict[str, Array]:
        """Return the next estimate of deflection, rate and load without the logic."""
        towards = state["towards"][:, None]
        free = towards * seen.root_flap_moment + relieved
        wrong = np.where(usable(seen, "root_flap_moment"), free - state["w"], 0.0)
        off, rate = state["w"] - state["q"], state["v"]
        return {
            "w": state["q"] + state["a_00"] * off + state["a_01"] * rate + state["gain_w"] * wrong,
            "v": state["a_10"] * off + state["a_11"] * rate + state["gain_v"] * wrong,
            "q": state["q"] + state["gain_q"] * wrong,
        }
