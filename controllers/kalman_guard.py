"""Does the approaching blade bend otherwise than the one ahead of it did at the same place?"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import ClassVar

import numpy as np

from controllers.approach import passed_meanwhile
from controllers.estimator import COARSE, FlapModel, check_fit, kalman_gain
from controllers.guard import Guard
from controllers.parameters import parameter
from controllers.pulse import flap_damping
from controllers.rotor import servo_lag
from controllers.signals import FULL_TURN, HALF, ZERO, age, clip, number, row_starts, share_per_period, usable
from sim.interface import Array, Known, Readings, State

BINS = 24
"""Most places on the way from blade to blade at which is remembered what the one ahead was to come to."""
FASTEST = 1.2
"""Rotor speed over rated up to which no place is left out."""
ONE_BIT = np.array(1)


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
       known by its pass. Each blade's state is carried on to its pass by the flap mode's motion with its load
       held; by what that comes to more than it did for the blade ahead, at the same place, the approaching
       one will pass nearer; ``own_weight`` of it is taken off the guard's forecast.

    All this is a slow task (``slow_task``), at most so slow that the flap mode turns by ``COARSE`` meanwhile;
    the estimator is designed for that pace, and a place is at least as wide as what the blade moves in it.

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
    slow: ClassVar[bool] = True

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

    def bears(self, known: Known) -> Array:
        """Return the most periods from one estimate to the next, (lane,)."""
        return np.array([np.floor(COARSE / (model.frequency * known.period)) for model in self.models(known)])

    def init(self, known: Known, seen: Readings) -> State:
        """Design one estimator a lane; lanes of the same turbine share the work."""
        state, models = super().init(known, seen), self.models(known)
        a = np.array([model.transition(pace) for model, pace in zip(models, state["pace"], strict=True)])
        gain = np.array(
            [kalman_gain(model, float(pace)) for model, pace in zip(models, state["pace"], strict=True)]
        )
        late = servo_lag(known) + age(seen, "root_flap_moment")[:, 0]
        nothing = state["offset"]
        each = {f"a_{i}{j}": a[:, i, j][:, None] + nothing for i in range(2) for j in range(2)}
        each |= {f"gain_{name}": gain[:, n][:, None] + nothing for n, name in enumerate("wvq")}
        each_towards = state["towards"][:, None] + nothing
        bent = each_towards * state["moment"]
        return state | each | self.way(known, models, state["pace"], nothing.shape[1]) | {
            "each_towards": each_towards,
            "w": bent,
            "v": nothing,
            "q": bent,
            "relieved": nothing,
            "relieved_rate": nothing,
            "added": nothing,
            "arrived": nothing,
            "arriving": share_per_period(state["pace"], late)[:, None] + nothing,
            "trace": np.zeros((len(a), 2 * BINS)),
            "passed": np.zeros(len(a), np.int64),
        }  # fmt: skip

    def way(self, known: Known, models: list[FlapModel], pace: Array, blades: int) -> dict[str, Array]:
        """Return the places from blade to blade, and how a state at each is carried on to the pass."""
        gap, speed = FULL_TURN / blades, known.rated_rotor_speed
        places = np.clip(np.floor(gap / (FASTEST * speed * pace)), 1.0, BINS)[:, None]
        left = np.maximum(gap * (1.0 - (np.arange(BINS) + 0.5) / places), 0.0) / speed[:, None]
        to_pass = np.array(
            [[model.transition(time)[0] for time in times] for model, times in zip(models, left, strict=True)]
        )
        return {
            "places_per_angle": places[:, 0] / gap,
            "last_place": places[:, 0] - 1.0,
            "to_pass_off": to_pass[:, :, 0].copy(),
            "to_pass_rate": to_pass[:, :, 1].copy(),
        }

    def foresee(
        self, before: State, after: State, seen: Readings, given: tuple[Array, Array]
    ) -> tuple[dict[str, Array], Array]:
        """Estimate every blade, and correct the guard's forecast by how the approaching one differs."""
        told = self.relieve(before)
        told |= self.estimate(before, seen, told["relieved"])
        angle = after["angle"]
        lanes, blades = angle.shape
        way = angle + number(FULL_TURN / blades)  # since the blade ahead passed
        blade = ((angle < ZERO) & (way >= ZERO)).argmax(axis=1) + row_starts(lanes, blades)
        place = clip(way.ravel()[blade] * before["places_per_angle"], ZERO, before["last_place"])
        at = place.astype(np.int64) + row_starts(lanes, BINS)
        load = told["q"].ravel()[blade]
        off = before["to_pass_off"].ravel()[at] * (told["w"].ravel()[blade] - load)
        coming = load + off + before["to_pass_rate"].ravel()[at] * told["v"].ravel()[blade]
        passed = before["passed"] + passed_meanwhile(before, after)
        mine = at + at + (passed & ONE_BIT)  # each place holds two: of the even passes, and of the odd ones
        nearer = (coming - before["trace"].ravel()[mine ^ ONE_BIT]) * (passed > ONE_BIT)
        trace = before["trace"].copy()
        trace.reshape(-1)[mine] = coming
        told |= {"trace": trace, "passed": passed}
        return told, self.foresight.foresee(after, *given) - self.si.own_weight * nearer

    def relieve(self, state: State) -> dict[str, Array]:
        """Return by how much the added pitch keeps each blade off the tower as the gauge now sees it.

        Notes
        -----
        From one estimate to the next both the pitch and what the servo let through of it count with the mean
        of what they were then and are now.
        """
        added, before = state["offset"], state["arrived"]
        arrived = before + state["arriving"] * (HALF * (added + state["added"]) - before)
        due = HALF * (arrived + before) * np.abs(state["relief"])
        off, rate = state["relieved"] - due, state["relieved_rate"]
        return {
            "added": added,
            "arrived": arrived,
            "relieved": due + state["a_00"] * off + state["a_01"] * rate,
            "relieved_rate": state["a_10"] * off + state["a_11"] * rate,
        }

    def estimate(self, state: State, seen: Readings, relieved: Array) -> dict[str, Array]:
        """Return the next estimate of deflection, rate and load without the logic."""
        w, v, q = state["w"], state["v"], state["q"]
        free = state["each_towards"] * seen.root_flap_moment + relieved
        wrong = np.where(usable(seen, "root_flap_moment"), free - w, ZERO)
        off = w - q
        return {
            "w": q + state["a_00"] * off + state["a_01"] * v + state["gain_w"] * wrong,
            "v": state["a_10"] * off + state["a_11"] * v + state["gain_v"] * wrong,
            "q": q + state["gain_q"] * wrong,
        }
