"""How stable is a turbine under a stack of logic: poles, margins, and answers to small steps?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from controllers.registry import find, names
from scenarios.answer import Answer
from scenarios.provenance import versions
from scenarios.stack_order import fit_problems, order_problems
from scenarios.studies.loops_text import loops_text
from sim.design import Turbine
from sim.errors import InputError
from sim.keyfile import apply_overrides
from sim.linear.closed import ClosedLoop
from sim.linear.logic import linearise_stack, resting_layers
from sim.linear.loop import BAND_HZ, Delays, Loop
from sim.linear.margins import Margins, margins_of
from sim.linear.plant import INPUTS, OUTPUTS, linearise
from sim.linear.point import AZIMUTHS
from sim.linear.poles import AIR, Pole, poles_of
from sim.linear.settle import Settled, hold_turbine
from sim.plant.pack import longest_period
from sim.stack import Stack
from sim.turbine import load_turbine

_RPM = 60.0 / (2.0 * math.pi)
_HZ = 1.0 / (2.0 * math.pi)


@dataclass(frozen=True)
class Asked:
    """What is looked at, and under which conditions."""

    speeds: Sequence[float]  #: [m/s] at the hub
    stacks: Sequence[str]  #: layers from the lowest up, joined by "+"
    shear_exponent: float  #: of the mean wind's power law
    reading_delay: float  #: [s] age of every reading
    period: float  #: [s] of the controller


@dataclass(frozen=True)
class Look:
    """One stack at one wind speed."""

    name: str
    settled: Settled
    loop: Loop

    @cached_property
    def closed(self) -> ClosedLoop:
        """Plant and logic together."""
        return ClosedLoop.of(self.loop)

    @cached_property
    def open_poles(self) -> list[Pole]:
        """The plant's poles, commands held."""
        return poles_of(self.loop.plant.A, self.loop.plant.families)

    @cached_property
    def closed_poles(self) -> list[Pole]:
        """The poles of plant and logic together."""
        return poles_of(self.closed.A, self.closed.families, self.loop.logic.period)

    @property
    def is_stable(self) -> bool:
        """Whether all motions of the closed loop die out."""
        return all(pole.value.real < 0.0 for pole in self.closed_poles)

    @cached_property
    def margins(self) -> dict[str, Margins]:
        """The margins of every loop that the stack closes; none where the closed loop is unstable."""
        if not self.is_stable:
            return {}
        loop = self.loop
        return {
            name: margins_of(lambda w, name=name: loop.loop_response(name, w), loop.band)
            for name in loop.active
        }


def run(source: str, overrides: Sequence[tuple[str, Any]], asked: Asked, out: Path) -> Answer:
    """Return poles and margins, and write the page and the models.

    Parameters
    ----------
    source : name or file of a turbine
    overrides : keys of the turbine's file, or of a layer (``power.damping``), and values
    asked : Asked
    out : folder of page and models

    Raises
    ------
    InputError
        A speed, layer, order, delay or key is wrong, the rotor has not three blades, a layer's model does not
        fit the turbine, or a layer has no linear form.
    RunError
        The turbine does not settle under the stack.
    """
    from scenarios.answer import to_json
    from scenarios.report.loops_page import loops_page
    from scenarios.report.page import prepare, render, write

    layers = {label for stack in asked.stacks for label, _ in _specs(stack)}
    ours = [pair for pair in overrides if pair[0].partition(".")[0] in layers]
    strange = [
        f"--set: {key} = {value}; no stack has that layer"
        for key, value in overrides
        if key.partition(".")[0] in set(names()) - layers
    ]
    if strange:
        raise InputError(strange)
    turbine = load_turbine(source, [pair for pair in overrides if pair not in ours])
    _check(asked, turbine)
    stacks = {name: make_stack(name, apply_overrides({}, {}, ours)[0]) for name in asked.stacks}
    _check_fit(stacks, turbine, asked.period)
    prepare(out)
    looks = [look(turbine, stacks[name], speed, asked) for speed in asked.speeds for name in asked.stacks]
    name = f"loops-{Path(source).stem}"
    data = loops_data(turbine, asked, looks) | {"page": str(out / f"{name}.html"), "set": dict(overrides)}
    for row, found in zip(data["operation"], looks, strict=True):
        row["models"] = str(
            _keep(found, out / f"{name}-{found.settled.point.wind_speed:g}-{_plain(found)}.npz")
        )
    write(out / f"{name}.html", render(loops_page(turbine, looks, data)))
    write(out / f"{name}.json", to_json(data) + "\n")
    return Answer(data, loops_text(data))


def _specs(stack: str) -> list[tuple[str, str]]:
    """Return what each layer of a stack is called, and what the registry finds it by."""
    return [(spec.rpartition(":")[2], spec) for spec in stack.split("+")]


def _check(asked: Asked, turbine: Turbine) -> None:
    """Refuse what no stack can be asked for."""
    problems = [
        f"--stack {name}: is there twice" for k, name in enumerate(asked.stacks) if name in asked.stacks[:k]
    ]
    problems += [
        f"--speed {v:g}: is there twice" for k, v in enumerate(asked.speeds) if v in asked.speeds[:k]
    ]
    whole = round(asked.reading_delay / asked.period) * asked.period
    if abs(whole - asked.reading_delay) > 1e-9:
        near = whole or asked.period
        problems.append(
            f"--reading-delay {asked.reading_delay:g}: must be whole periods of {asked.period:g} s, like "
            f"{near:g}"
        )
    if asked.period > longest_period(turbine) * (1.0 + 1e-9):
        most = longest_period(turbine)
        problems.append(f"--period {asked.period:g}: must be at most {most:.4g} s for the stiffest mode")
    if problems:
        raise InputError(problems)


def make_stack(name: str, parameters: Mapping[str, Any]) -> Stack:
    """Make a stack of layers joined by "+".

    Raises
    ------
    InputError
        A layer is unknown, a parameter is refused, or the order makes no sense.
    """
    specs = _specs(name)
    layers = [find(spec, parameters.get(label, {})) for label, spec in specs]
    labels = [label for label, _ in specs]
    wrong = [f"--stack {name}: {labels[place]}: {why}" for place, why in order_problems(labels, layers)]
    if wrong:
        raise InputError(wrong)
    return Stack(layers, labels)


def _check_fit(stacks: Mapping[str, Stack], turbine: Turbine, period: float) -> None:
    problems = [
        f"--stack {name}: {why}"
        for name, stack in stacks.items()
        for _, why in fit_problems(stack.layers, turbine, period)
    ]
    if problems:
        raise InputError(problems)


def look(turbine: Turbine, stack: Stack, speed: float, asked: Asked) -> Look:
    """Let a stack hold a turbine in a steady wind, and linearise both there."""
    settled = hold_turbine(turbine, stack, speed, asked.shear_exponent, asked.reading_delay, asked.period)
    logic, plant = linearise_stack(settled), linearise(turbine, settled.point)
    delays = Delays.of(settled.reading_delay, settled.command_delay, asked.period)
    return Look("+".join(stack.names), settled, Loop(plant, logic, delays))


def _plain(found: Look) -> str:
    return found.name.replace("+", "-")


def _keep(found: Look, path: Path) -> Path:
    """Write the models' matrices and names."""
    plant, logic, closed = found.loop.plant, found.loop.logic, found.closed
    told: dict[str, Any] = {"period_s": logic.period, "inputs": list(INPUTS), "outputs": list(OUTPUTS)}
    told |= {"plant_states": plant.states, "logic_states": logic.states, "closed_states": closed.states}
    told |= {"closed_outputs": closed.outputs}
    for name, system in (("plant", plant), ("logic", logic), ("closed", closed)):
        told |= {f"{name}_{matrix}": getattr(system, matrix) for matrix in "ABCD"}
    try:
        np.savez_compressed(path, **told)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror}); choose another with --out DIR"
        ) from error
    return path


def loops_data(turbine: Turbine, asked: Asked, looks: Sequence[Look]) -> dict[str, Any]:
    """Return everything for machines; units in the names, nan and infinity for what is not there."""
    return {
        "turbine": turbine.name,
        "content_hash": turbine.content_hash(),
        "versions": versions(),
        "shear_exponent": asked.shear_exponent,
        "period_s": asked.period,
        "reading_delay_s": asked.reading_delay,
        "pitch_delay_s": float(turbine.pitch.delay),
        "band_Hz": [BAND_HZ, 0.5 / asked.period],
        "azimuths": AZIMUTHS,
        "inputs": dict(INPUTS),
        "outputs": dict(OUTPUTS),
        "operation": [_row(found) for found in looks],
    }


def _row(found: Look) -> dict[str, Any]:
    point, plant, logic = found.settled.point, found.loop.plant, found.loop.logic
    return {
        "wind_speed_m_s": point.wind_speed,
        "stack": found.name,
        "rotor_speed_rpm": point.rotor_speed * _RPM,
        "pitch_deg": math.degrees(point.pitch[0]),
        "cyclic_pitch_deg": math.degrees(math.hypot(*point.pitch[1:])),
        "torque_kNm": point.torque / 1e3,
        "rotor_imbalance_rad_s2": plant.imbalance,
        "plant_states": len(plant.states),
        "logic_states": list(logic.states),
        "logic_spread_over_azimuth": logic.spread,
        "resting_layers": resting_layers(found.settled, logic),
        "stable": found.is_stable,
        "open_loop_poles": _poles(found.open_poles),
        "closed_loop_poles": _poles(found.closed_poles),
        "loops": [{"loop": name} | margins_data(margins) for name, margins in found.margins.items()],
    }


def _poles(poles: Sequence[Pole]) -> list[dict[str, Any]]:
    """Return the motions; what only lags in the air or in stores is counted at its slowest elsewhere."""
    return [
        {
            "motion": pole.name,
            "frequency_Hz": pole.frequency,
            "damping_ratio": pole.damping,
            "real_rad_s": pole.value.real,
            "imaginary_rad_s": pole.value.imag,
            "participation": pole.share,
        }
        for pole in poles
        if pole.family not in (*AIR, "delay") or pole.value.real >= 0.0
    ]


def margins_data(found: Margins) -> dict[str, float]:
    """Return one loop's margins."""
    return {
        "crossover_Hz": found.crossover * _HZ,
        "gain_margin": found.gain_up,
        "gain_margin_dB": _decibel(found.gain_up),
        "gain_margin_frequency_Hz": found.gain_frequency * _HZ,
        "gain_reduction_margin": found.gain_down,
        "phase_margin_deg": math.degrees(found.phase),
        "phase_margin_frequency_Hz": found.phase_frequency * _HZ,
        "delay_margin_s": found.delay,
        "delay_margin_frequency_Hz": found.delay_frequency * _HZ,
        "disc_margin": found.disc,
        "disc_gain_dB": _decibel(found.disc_gain),
        "disc_phase_deg": math.degrees(found.disc_phase),
        "disc_frequency_Hz": found.disc_frequency * _HZ,
        "peak_sensitivity": found.peak_sensitivity,
    }


def _decibel(factor: float) -> float:
    return 20.0 * math.log10(factor) if 0.0 < factor < math.inf else factor
