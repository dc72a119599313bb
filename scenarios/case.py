"""What exactly is one case, and what is its name?

A case is a description: frozen, hashable, JSON. Its key is a hash of everything that decides its result and
of nothing else, so that a result is found again whatever the scenario, its order or the batch it ran in.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from enum import Enum
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.errors import InputError

if TYPE_CHECKING:
    from sim.faults import FaultSpec
    from sim.turbine import Turbine
    from sim.wind.field import WindSpec


@dataclass(frozen=True)
class TurbineSpec:
    """A turbine by file, overrides and content; the content alone is its identity."""

    source: str = field(compare=False)
    overrides: tuple[tuple[str, Any], ...] = field(compare=False)
    content: str  #: `Turbine.content_hash` with the overrides applied
    disc: tuple[float, float] = field(default=(0.0, 0.0), compare=False)  #: [m] hub height, rotor radius

    def load(self) -> Turbine:
        """Return the turbine.

        Raises
        ------
        InputError
            The file is wrong, or is no longer the one that the case was made from.
        """
        from sim.turbine import load_turbine

        turbine = load_turbine(self.source, self.overrides)
        if turbine.content_hash() != self.content:
            raise InputError(f"{self.source}: changed while the campaign was running; run it again")
        return turbine


@dataclass(frozen=True)
class LayerSpec:
    """One layer of logic; a foreign file is known by its bytes, not by where it lies."""

    name: str  #: of the registry, or of the class in a user's file
    parameters: tuple[tuple[str, Any], ...] = ()  #: all of them, defaults included
    source_hash: str = ""  #: sha256 of the file that the class stands in; empty for one of ours
    spec: str = field(default="", compare=False)  #: what the registry finds it by: name or ``path.py:Class``
    source: str = field(default="", compare=False)  #: the foreign file

    def load(self) -> Any:
        """Return the layer, ready to be stacked.

        Raises
        ------
        InputError
            It cannot be made, or its file is no longer the one that the case was made from.
        """
        from controllers.registry import find

        if self.source_hash and hash_file(Path(self.source)) != self.source_hash:
            raise InputError(f"{self.source}: changed while the campaign was running; run it again")
        return find(self.spec or self.name, dict(self.parameters))


@dataclass(frozen=True)
class SensorSpec:
    """How old and how noisy the readings are; fields by the names of `sim.interface.Readings`.

    ``delays`` [s] and ``noises`` (standard deviations, SI units) hold pairs of sensor and value; ``details``
    pairs of sensor and what else it does (fields of `sim.sensors.Sensor`), ``suite`` facts of single
    sensors (fields of `sim.sensors.SensorSuite`).
    """

    delays: tuple[tuple[str, float], ...] = ()
    noises: tuple[tuple[str, float], ...] = ()
    details: tuple[tuple[str, tuple[tuple[str, float], ...]], ...] = ()
    suite: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class RunSpec:
    """How long a case runs, at what period, and from what rotor position."""

    period: float  #: [s] controller period
    settle: float  #: [s] marched before judging starts
    duration: float  #: [s] judged
    azimuth: float = 0.0  #: [rad] of blade 0 at the start of the settling time
    meets_blade: int = 0  #: instead of a given azimuth: this blade, counted from 1, stands at the tower
    meets_s: float = 0.0  #: at this time [s] from the start of the lane
    at_rest: bool = False  #: the rotor is held at ``azimuth``, blades at feather, and no logic is asked


@dataclass(frozen=True)
class Case:
    """One lane to be: turbine, stack of logic, wind, sensors, clock.

    ``entry``, ``load_case``, ``fault`` and ``number`` say which question the case answers; they are no part
    of its key.
    """

    turbine: TurbineSpec
    stack: tuple[LayerSpec, ...]
    wind: WindSpec
    sensors: SensorSpec
    run: RunSpec
    blade_count: int
    required_share: float  #: of the clearance of `unloaded_of`, that must remain; layers know it
    seed: int  #: of the sensors' noise; the wind has its own
    faults: tuple[FaultSpec, ...] = ()  #: what breaks
    entry: str = field(default="", compare=False)
    load_case: str = field(default="", compare=False)
    number: int = field(default=0, compare=False)  #: of the seed or phase, from 1
    fault: str = field(default="", compare=False)  #: the name of what breaks; empty for nothing
    is_event: bool = field(default=False, compare=False)  #: a deterministic event, judged by its worst phase
    per_year: float | None = field(default=None, compare=False)  #: how often the event comes, over all phases

    @cached_property
    def key(self) -> str:
        """The sha256 of the canonical description."""
        return hashlib.sha256(canonical(self).encode()).hexdigest()

    @cached_property
    def wind_key(self) -> str:
        """The sha256 of the wind alone: equal for all controllers and turbines that meet it."""
        return hashlib.sha256(canonical(self.wind).encode()).hexdigest()

    @property
    def stack_key(self) -> str:
        """The canonical text of the stack alone."""
        return canonical(self.stack)

    @property
    def title(self) -> str:
        """One line that tells a reader which case this is."""
        what = ("position" if self.run.at_rest else "phase") if self.is_event else "seed"
        return f"{self.entry}: {self.load_case}, {self.wind.speed:g} m/s, {what} {self.number}"

    @property
    def is_sound_turbulence(self) -> bool:
        """Whether the rotor turns in turbulence and nothing breaks."""
        return not self.is_event and not self.faults and not self.run.at_rest

    @property
    def simulated_s(self) -> float:
        """What is marched, settling included [s]."""
        return self.run.settle + self.run.duration


def unloaded_of(case: Case, turbine: Turbine) -> float:
    """Return the unloaded clearance that a case is judged by [m]: at feather where its rotor rests."""
    from sim.plant.geometry import feathered_clearance, unloaded_clearance

    return feathered_clearance(turbine) if case.run.at_rest else unloaded_clearance(turbine)


def canonical(value: Any) -> str:
    """Return the one JSON text of a description.

    Notes
    -----
    Equal descriptions give equal text: keys sorted, whole numbers without a point (8.0 as 8, -0.0 as 0),
    every other float by its shortest exact decimal, tuples as lists, dataclasses by those of their fields
    that count in a comparison. Whole floats beyond 2**53 keep their exponent: they never meet an integer.

    Raises
    ------
    ValueError
        A number is nan or infinite.
    TypeError
        A value has no JSON form (a path, an object).
    """
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":"), allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, Enum):
        return _plain(value.value)
    if value is None or isinstance(value, (bool, str)):
        return value
    if isinstance(value, (np.generic, np.ndarray)):
        return _plain(value.tolist())
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        is_whole = math.isfinite(value) and value.is_integer() and abs(value) < 2**53
        return int(value) if is_whole else value
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value) if f.compare}
    raise TypeError(f"{type(value).__name__} has no place in a case's description")


def seed_of(base: int, label: str, speed: float, number: int) -> int:
    """Return the 63-bit seed of one wind, from what it is and never from its place in a list."""
    text = canonical([base, label, speed, number])
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big") >> 1


def hash_file(path: Path) -> str:
    """Return the sha256 of a file's bytes.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error
