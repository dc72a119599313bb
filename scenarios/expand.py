"""Which entries and which cases do a scenario's checked keys amount to?"""

from __future__ import annotations

import logging
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from scenarios.case import Case, LayerSpec, RunSpec, TurbineSpec, hash_file, unloaded_of
from scenarios.fault_keys import fault_problems, fault_spec
from scenarios.life_keys import make_life
from scenarios.requirement_keys import make_requirement
from scenarios.scenario import Entry, Scenario
from scenarios.scenario_file import EntryKeys, ScenarioKeys
from scenarios.sensing import clock_problems, sensor_spec
from scenarios.sensor_keys import USUAL
from scenarios.stack_order import fit_problems, order_problems
from scenarios.wind_keys import WindKeys, case_names
from scenarios.wind_making import Blown, WindMaker
from sim.design import Turbine
from sim.errors import InputError, closest
from sim.interface import SENSED
from sim.keyfile import Lines, place, problem
from sim.keyplace import FROM_OPTION
from sim.turbine import load_turbine

_log = logging.getLogger("wideberth")
_ROOT = Path(__file__).resolve().parent.parent


class Builder:
    """Turns checked keys into entries and cases; every fault that it meets gets the file's line."""

    def __init__(
        self, path: Path, lines: Lines, keys: ScenarioKeys, turbines: Sequence[tuple[str, Any]]
    ) -> None:
        self.path, self.lines, self.keys, self.turbines = path, lines, keys, turbines
        self.winds = WindMaker(path, lines, keys, self._beside)
        self.sensors = sensor_spec(keys.sensors)
        self.late: set[str] = set()  # faults that have been told of

    def build(self) -> Scenario:
        keys = self.keys
        entries = tuple(self._entry(index, entry) for index, entry in enumerate(keys.entries))
        self._check_parts({entry.design.rotor.blade_count for entry in entries})
        return Scenario(
            path=self.path,
            name=keys.name,
            title=keys.title,
            seed=keys.seed,
            questions=tuple(keys.questions),
            requirement=make_requirement(keys.requirement),
            life=make_life(keys.life),
            site=keys.site.model_dump(exclude_none=True),
            entries=entries,
            cases=tuple(case for entry in entries for case in self._cases(entry)),
            keys=keys.model_dump(exclude_none=True),
        )

    def _entry(self, index: int, entry: EntryKeys) -> Entry:
        at = f"entries[{index}]"
        design, spec = self._turbine(at, entry)
        self._check_period(design)
        stack = tuple(self._layer(at, entry, number) for number in range(len(entry.stack)))
        self._check_stack(at, entry, stack, design)
        names = {layer.name for layer in stack} | set(entry.stack)
        for name in entry.parameters:
            if name not in names:
                key = f"{at}.parameters.{name}"
                where = place(self.path, self.lines, key)
                raise InputError(f"{where}: {key}; no such layer in the stack{closest(name, names)}")
        return Entry(entry.name, design, spec, stack)

    def _check_stack(self, at: str, entry: EntryKeys, stack: Sequence[LayerSpec], design: Turbine) -> None:
        layers = [layer.load() for layer in stack]
        found = list(order_problems(entry.stack, layers))
        found = found or list(fit_problems(layers, design, self.keys.period_s))
        problems = [
            f"{problem(self.path, self.lines, f'{at}.stack[{number}]', entry.stack[number], why)} "
            f"(entry '{entry.name}': {' + '.join(entry.stack)})"
            for number, why in found
        ]
        if problems:
            raise InputError(problems)

    def _check_period(self, design: Turbine) -> None:
        from sim.plant.pack import parts_of

        try:
            parts_of([design], self.keys.period_s)
        except InputError as error:
            raise InputError(
                [f"{place(self.path, self.lines, 'period_s')}: {text}" for text in error.problems]
            ) from error

    def _turbine(self, at: str, entry: EntryKeys) -> tuple[Turbine, TurbineSpec]:
        source = self.keys.turbine
        if Path(source).suffix:
            beside = self._beside("turbine", source)
            source = str(beside)
            if not beside.is_file():
                raise InputError(problem(self.path, self.lines, "turbine", self.keys.turbine, "no such file"))
        density = self.keys.site.air_density_kg_m3
        site = [("air_density_kg_m3", density)] if density is not None else []
        overrides = (*site, *entry.set.items(), *self.turbines)
        try:
            design = load_turbine(source, overrides)
        except InputError as error:
            raise InputError([self._retold(text, at, entry) for text in error.problems]) from error
        disc = (design.rotor.hub_height, design.rotor_radius)
        return design, TurbineSpec(source, overrides, design.content_hash(), disc)

    def _retold(self, text: str, at: str, entry: EntryKeys) -> str:
        """Give a fault that the turbine file blames on ``--set`` the place in this file where it was set."""
        said = text.removeprefix("--set: ")
        is_ours = said != text and any(said.startswith(key) for key in entry.set)
        if is_ours and not any(said.startswith(key) for key, _ in self.turbines):
            return f"{place(self.path, self.lines, f'{at}.set')}: {at}.set: {said}"
        if text.startswith("turbine "):
            return f"{place(self.path, self.lines, 'turbine')}: {text}"
        return text

    def _layer(self, at: str, entry: EntryKeys, number: int) -> LayerSpec:
        from controllers.registry import find, find_class

        told, key = entry.stack[number], f"{at}.stack[{number}]"
        spec = self._spec(key, told)
        name = spec.rsplit(":", 1)[-1]
        given = {**entry.parameters.get(told, {}), **entry.parameters.get(name, {})}
        blamed = key
        try:
            made = find_class(spec)
            blamed = f"{at}.parameters.{name}" if given else key
            layer = find(spec, given)
        except InputError as error:
            where = place(self.path, self.lines, blamed)
            raise InputError([f"{where}: {blamed}: {text}" for text in error.problems]) from error
        self._check(layer, told, key)
        source = _foreign_file(made)
        declared = fields(layer) if is_dataclass(layer) else ()
        parameters = {f.name: getattr(layer, f.name) for f in declared if f.init} | given
        return LayerSpec(
            name=name,
            parameters=tuple(sorted(parameters.items())),
            source_hash=hash_file(source) if source else "",
            spec=spec,
            source=str(source or ""),
        )

    def _spec(self, key: str, told: str) -> str:
        path, colon, name = told.rpartition(":")
        return f"{self._beside(key, path)}:{name}" if colon and path.endswith(".py") else told

    def _beside(self, key: str, path: str) -> Path:
        """Return a path relative to the file that names it, or to the working directory for ``--set``."""
        folder = Path.cwd() if self.lines.get(key) == FROM_OPTION else self.path.parent
        return (folder / path).resolve()

    def _check(self, layer: Any, told: str, key: str) -> None:
        fitted = {sensor for sensor, _ in self.sensors.delays}
        for sensor in layer.needs:
            if sensor not in fitted:
                give = f"; give sensors.{sensor}_noise_{USUAL[sensor].unit}" if sensor in USUAL else ""
                known = give or closest(sensor, SENSED)
                reason = f"it reads '{sensor}', which no sensor gives{known}"
                raise InputError(problem(self.path, self.lines, key, told, reason))

    def _check_parts(self, blade_counts: set[int]) -> None:
        fitted = [sensor for sensor, _ in self.sensors.delays]
        period, where = self.keys.period_s, (self.path, self.lines)
        problems = list(fault_problems(self.keys.faults, min(blade_counts), fitted, period, *where))
        problems += clock_problems(self.keys.sensors, period, *where)
        names = {fault.name for fault in self.keys.faults}
        asked = set()
        for index, wind in enumerate(self.keys.winds):
            for position, name in enumerate(wind.faults):
                asked.add(name)
                if name not in names:
                    key = f"winds[{index}].faults[{position}]"
                    sentence = f"no fault has that name{closest(name, names)}"
                    problems.append(problem(self.path, self.lines, key, name, sentence))
        for index, fault in enumerate(self.keys.faults):
            if fault.name not in asked:
                key = f"faults[{index}].name"
                sentence = "no wind asks for it; name it in winds.faults"
                problems.append(problem(self.path, self.lines, key, fault.name, sentence))
        if problems:
            raise InputError(problems)

    def _cases(self, entry: Entry) -> Iterator[Case]:
        names, owners = case_names(self.keys.winds), dict[Any, int]()
        for index, wind in enumerate(self.keys.winds):
            for blown in self.winds.winds(index, entry.design):
                sound = self._case(entry, wind, blown, names[index])
                for case in self._broken(entry, sound, wind) if wind.faults else [sound]:
                    told = case.load_case, case.wind.speed, case.number
                    if owners.setdefault(told, index) != index:
                        sentence = f"winds[{owners[told]}] has this label and speed too; reports need another"
                        key = f"winds[{index}].label"
                        raise InputError(problem(self.path, self.lines, key, wind.label, sentence))
                    yield case

    def _broken(self, entry: Entry, sound: Case, wind: WindKeys) -> Iterator[Case]:
        """Yield a case once for each fault that its wind names."""
        for name in wind.faults:
            faults = tuple(fault_spec(keys) for keys in self.keys.faults if keys.name == name)
            self._warn(name, max(fault.start for fault in faults), sound)
            told = f"{sound.load_case}: {name}"
            yield self._judged(entry, wind, replace(sound, faults=faults, fault=name, load_case=told))

    def _warn(self, name: str, start: float, case: Case) -> None:
        """Tell of a fault that never comes: the winds may have been shortened for a first look."""
        if start >= case.run.duration and name not in self.late:
            self.late.add(name)
            end = f"'{case.load_case}' ends at {case.run.duration:g} s"
            _log.warning("fault '%s': starts at %g s and never comes: %s", name, start, end)

    def _judged(self, entry: Entry, wind: WindKeys, case: Case) -> Case:
        """Return a case with the share of its unloaded clearance that must remain."""
        rule, unloaded = make_requirement(self.keys.requirement), unloaded_of(case, entry.design)
        factor = rule.load_factor(bool(case.faults), wind.load_factor)
        try:
            return replace(case, required_share=rule.share_of(unloaded, factor, case.run.at_rest))
        except InputError as error:
            where = place(self.path, self.lines, "requirement")
            raise InputError(
                [f"{where}: {text} (entry '{entry.name}')" for text in error.problems]
            ) from error

    def _case(self, entry: Entry, wind: WindKeys, blown: Blown, name: str) -> Case:
        case = Case(
            turbine=entry.turbine,
            stack=() if wind.at_rest else entry.stack,
            wind=blown.spec,
            sensors=self.sensors,
            run=self._run(entry.design, wind, blown),
            blade_count=entry.design.rotor.blade_count,
            required_share=0.0,
            seed=blown.seed,
            entry=entry.name,
            load_case=name,
            number=blown.number,
            is_event=wind.is_event,
            per_year=wind.per_year,
        )
        return self._judged(entry, wind, case)

    def _run(self, design: Turbine, wind: WindKeys, blown: Blown) -> RunSpec:
        """Return a case's clock and rotor position."""
        clock = self.keys.period_s, self.keys.settle_s, blown.duration
        if wind.at_rest:
            return RunSpec(*clock, _rest_azimuth(design, blown), at_rest=True)
        return RunSpec(*clock, _sweep(design) * blown.phase, blown.meets_blade, blown.meets_s)


def _rest_azimuth(design: Turbine, blown: Blown) -> float:
    """Return where blade 0 of a rotor at rest stands [rad]; blades that differ take turns."""
    from sim.rest import azimuth_at_rest

    count = design.rotor.blade_count
    if blown.meets_blade:
        return azimuth_at_rest(blown.meets_blade - 1, count, 0.5)
    place = blown.phase * (1 if _are_alike(design) else count)
    return azimuth_at_rest(int(place), count, place % 1.0)


def _sweep(design: Turbine) -> float:
    """Return the angle over which rotor phases are spread: between two blades where all are alike [rad]."""
    return 2.0 * math.pi / (design.rotor.blade_count if _are_alike(design) else 1)


def _are_alike(design: Turbine) -> bool:
    blade = design.blade
    each: Iterable[np.ndarray] = (
        blade.pitch_offset,
        blade.prebend_offset,
        blade.stiffness_factor,
        blade.mass_factor,
    )
    return all(np.ptp(offsets) == 0.0 for offsets in each)


def _foreign_file(layer_class: type) -> Path | None:
    """Return the file that a layer's class stands in, None where it is one of ours."""
    import inspect

    found = Path(inspect.getfile(layer_class)).resolve()
    return None if found.is_relative_to(_ROOT / "controllers") else found
