"""How does the plant answer small commands and small changes of wind? Its linear model, standing frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.flock import empty_lanes, empty_log
from sim.kernels import layout as at
from sim.kernels import sensing
from sim.kernels.advance import advance
from sim.linear.coordinates import coordinates
from sim.linear.multiblade import BLADES, PARTS, to_blades, to_parts
from sim.linear.point import AZIMUTHS, OperatingPoint, linear_turbine, periodic_motion, wind_of
from sim.plant.pack import pack_designs
from sim.sensors import steady_inductions

Array = NDArray[Any]

COMMANDS = {f"pitch_demand_{part}": ("rad", 1e-5) for part in PARTS} | {"torque_demand": ("N m", 100.0)}
"""What the logic moves: unit, and the step of the difference."""
WINDS = {"wind_speed": ("m/s", 1e-3), "vertical_shear": ("1/s", 1e-5), "horizontal_shear": ("1/s", 1e-5)}
"""What disturbs: the wind everywhere, its slopes over height from the hub and over the way to the left."""
INPUTS = {name: unit for name, (unit, _) in (COMMANDS | WINDS).items()}

_OF_BLADES = {
    "pitch": (sensing.PITCH, "rad"),
    "root_flap_moment": (sensing.FLAP, "N m"),
    "root_edge_moment": (sensing.EDGE, "N m"),
}
_MEASURED = {
    "rotor_speed": (sensing.SPEED, "rad/s"),
    "fore_aft_acceleration": (sensing.FORE_AFT, "m/s2"),
    "side_side_acceleration": (sensing.SIDE_SIDE, "m/s2"),
    "nacelle_wind_speed": (sensing.WIND, "m/s"),
    "nacelle_wind_direction": (sensing.DIRECTION, "rad"),
    "power": (sensing.POWER, "W"),
}
_UNSEEN = {
    "thrust": (at.OUT_THRUST, "N"),
    "aerodynamic_torque": (at.OUT_TORQUE, "N m"),
    "fore_aft_displacement": (at.OUT_FA, "m"),
    "side_side_displacement": (at.OUT_SS, "m"),
}
OUTPUTS = (
    {f"{name}_{part}": unit for name, (_, unit) in _OF_BLADES.items() for part in PARTS}
    | {name: unit for name, (_, unit) in (_MEASURED | _UNSEEN).items()}
    | {f"tip_deflection_{part}": "m" for part in PARTS}
)
"""What the model tells, by name, with its unit; of the blades the three parts."""


@dataclass(frozen=True)
class PlantModel:
    """dx/dt = A x + B u, y = C x + D u: small deviations from the periodic motion, averaged over a turn.

    Attributes
    ----------
    point : OperatingPoint
    A, B, C, D : float64 - states, inputs and outputs ordered and named as below, SI units
    states, inputs, outputs : names
    families : what moves in each state, for people
    imbalance : float [rad/s2] - mean acceleration of the rotor that the point's torques leave
    """

    point: OperatingPoint
    A: Array
    B: Array
    C: Array
    D: Array
    states: tuple[str, ...]
    families: tuple[str, ...]
    imbalance: float
    inputs: tuple[str, ...] = tuple(INPUTS)
    outputs: tuple[str, ...] = tuple(OUTPUTS)

    @cached_property
    def state_space(self) -> Any:
        """The same as python-control's ``StateSpace``, inputs, outputs and states by their names."""
        import control

        return control.ss(
            self.A, self.B, self.C, self.D, inputs=self.inputs, outputs=self.outputs, states=self.states,
            name="plant",
        )  # fmt: skip

    def input(self, *names: str) -> list[int]:
        """Return the places of inputs."""
        return [self.inputs.index(name) for name in names]

    def output(self, *names: str) -> list[int]:
        """Return the places of outputs."""
        return [self.outputs.index(name) for name in names]


def linearise(turbine: Turbine, point: OperatingPoint, azimuths: int = AZIMUTHS) -> PlantModel:
    """Differentiate the compiled plant's own rates and outputs about its periodic motion.

    Raises
    ------
    InputError
        The rotor has fewer than three blades.

    Notes
    -----
    With x the coordinates at an azimuth a, x' = f(x, u, a). Central differences of f and of the outputs are
    taken at ``azimuths`` azimuths of the settled motion and averaged, after the transformation: averaging
    before it would lose the coupling of the blades to the tower. What varies with the azimuth in the standing
    frame (tower passage, weight and shear on a tilted rotor, at three times the turns) is lost.
    """
    turbine = linear_turbine(turbine)
    probe = _Probe(turbine, point)
    motion = periodic_motion(turbine, point, azimuths)
    jacobians, rates = zip(*(probe.differentiate(state) for state in motion), strict=True)
    whole, mean_rate = np.mean(jacobians, axis=0), np.mean(rates, axis=0)
    axes = coordinates()
    n = len(axes)
    return PlantModel(
        point=point,
        A=whole[:n, :n],
        B=whole[:n, n:],
        C=whole[n:, :n],
        D=whole[n:, n:],
        states=axes.names,
        families=axes.families,
        imbalance=float(mean_rate[axes.names.index("rotor_speed")]),
    )


class _Probe:
    """Evaluates rates and outputs of many slightly different plants at once."""

    def __init__(self, turbine: Turbine, point: OperatingPoint) -> None:
        self.design = pack_designs([turbine])
        self.induction = steady_inductions([turbine])
        self.wind = _disturbed(wind_of(turbine, point))
        self.commands = np.array([*point.pitch, point.torque])
        steps = [step for _, step in (COMMANDS | WINDS).values()]
        self.steps = np.concatenate([coordinates().steps, steps])

    def differentiate(self, state: Array) -> tuple[Array, Array]:
        """Return (rates and outputs, coordinates and inputs) of differences, and the rates themselves."""
        axes, azimuth = coordinates(), float(state[at.AZIMUTH])
        n, count = len(axes), len(self.steps)
        x = np.repeat(axes.of(state[None], azimuth), 2 * count + 1, axis=0)
        commands = np.repeat(self.commands[None], 2 * count + 1, axis=0)
        wind = np.zeros(2 * count + 1, np.int64)
        for k, step in enumerate(self.steps):
            for row, move in ((k, step), (count + k, -step)):
                if k < n:
                    x[row, k] += move
                elif k < n + len(COMMANDS):
                    commands[row, k - n] += move
                else:
                    wind[row] = 1 + 2 * (k - n - len(COMMANDS)) + (move < 0.0)
        found = self.evaluate(state, x, commands, wind)
        jacobian = (found[:count] - found[count:-1]) / (2.0 * self.steps[:, None])
        return jacobian.T, found[-1, :n]

    def evaluate(self, state: Array, x: Array, commands: Array, wind: Array) -> Array:
        """Return rates and outputs, (lane, coordinate + output)."""
        axes, azimuth, count = coordinates(), float(state[at.AZIMUTH]), len(x)
        y = np.repeat(state[None], count, axis=0)
        axes.write(y, x, azimuth)
        lanes = empty_lanes(y, np.zeros(count), wind)
        log = empty_log(count, 2**40, 0, turning=False, period=1.0)
        pitch = to_blades(commands[:, :BLADES], azimuth)
        advance(
            lanes, log, self.design, self.wind, pitch, commands[:, BLADES].copy(), pitch > np.inf, 1.0, 0,
            BLADES,
        )  # fmt: skip
        rates = axes.rates(lanes.y, lanes.dy, azimuth)
        return np.concatenate([rates, self.outputs(lanes, azimuth)], axis=1)

    def outputs(self, lanes: at.Lanes, azimuth: float) -> Array:
        """Return the outputs, (lane, output), in the order of OUTPUTS."""
        count = len(lanes.y)
        rows = np.empty((count, sensing.CHANNELS))
        sensing.measure(
            rows, lanes.out, lanes.last_pass, lanes.design, self.design.scalars, self.induction,
            np.ones(sensing.CHANNELS, bool), 0.35, np.inf, 1.0, BLADES,
        )  # fmt: skip
        first = [to_parts(rows[:, k : k + BLADES], azimuth) for k, _ in _OF_BLADES.values()]
        tip = to_parts(lanes.out[:, at.OUT_TIP : at.OUT_TIP + BLADES], azimuth)
        measured = rows[:, [k for k, _ in _MEASURED.values()]]
        unseen = lanes.out[:, [k for k, _ in _UNSEEN.values()]]
        return np.concatenate([*first, measured, unseen, tip], axis=1)


def _disturbed(wind: at.Wind) -> at.Wind:
    """Return the wind and its disturbed copies: each of WINDS up, then down."""
    beside, above = (wind.grid[row : row + at.POINTS] for row in (at.BESIDE, at.ABOVE))
    ground = [wind.ground[0]]
    for shape, (_, step) in zip((np.ones(at.POINTS), above, beside), WINDS.values(), strict=True):
        for sign in (1.0, -1.0):
            moved = wind.ground[0].copy()
            moved[at.PROFILE : at.PROFILE + at.POINTS] += sign * step * shape
            ground.append(moved)
    each = ("mean", "tilt", "box", "transient", "transient_start")
    copies = {name: np.repeat(getattr(wind, name), len(ground), axis=0) for name in each}
    return wind._replace(ground=np.stack(ground), **copies)
