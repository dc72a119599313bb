"""What is sampled to tell the odds of a strike: strata of short windows, described in full?

A window is a short march: settling, a lead that is watched for events already under way, and a judged part.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from functools import cached_property

from scenarios.case import Case, LayerSpec, RunSpec, SensorSpec, TurbineSpec, canonical
from sim.faults import FaultSpec
from sim.wind.standard import Site


@dataclass(frozen=True)
class Span:
    """How long a window is, in seconds."""

    settle: float
    lead: float  #: also the quiet time before which no new cluster of events begins
    judged: float

    @property
    def whole(self) -> float:
        """All that is marched [s]."""
        return self.settle + self.lead + self.judged


@dataclass(frozen=True)
class Doubt:
    """Coefficients of variation of what the model may be wrong by; lognormal factors of mean 1."""

    aerodynamics: float = 0.0
    stiffness: float = 0.0
    damping: float = 0.0
    exposure: float = 0.0  #: on the standard deviation of the turbulence

    @property
    def names(self) -> tuple[str, ...]:
        """Which of them are drawn."""
        return tuple(
            name for name in ("aerodynamics", "stiffness", "damping", "exposure") if getattr(self, name)
        )


@dataclass(frozen=True)
class Stratum:
    """One kind of window: a bin of wind speed, with or without model uncertainty, whole or with a fault."""

    base: Case = field(compare=False)  #: wind of the bin's middle; its case gives stack, sensors and noise
    speeds: tuple[float, float]  #: [m/s] bin of the mean wind
    site: Site  #: annual mean wind and reference intensity
    doubt: Doubt
    faults: tuple[FaultSpec, ...] = ()  #: start when the lead ends
    name: str = field(default="", compare=False)

    @property
    def normals(self) -> tuple[str, ...]:
        """What each standard normal beside the field's stands for."""
        return ("phase", "intensity", "speed", *self.doubt.names)


@dataclass(frozen=True)
class Sampling:
    """How much is sampled."""

    method: str  #: "subset" or "crude"
    samples: int  #: in a level, or in all
    smallest: float  #: probability of a window below which a bound is given
    seed: int


@dataclass(frozen=True)
class WindowJob:
    """Strata of one stack, sampled side by side; the unit of work and of the store."""

    strata: tuple[Stratum, ...]
    span: Span
    sampling: Sampling
    entry: str = field(default="", compare=False)
    beside: tuple[LayerSpec, ...] = ()  #: another stack that meets the same windows

    @cached_property
    def key(self) -> str:
        """The sha256 of everything that decides the result."""
        told = [[stratum, stratum.base, self.base.stack] for stratum in self.strata]
        text = canonical(["windows side by side", told, self.span, self.sampling, list(self.beside)])
        return hashlib.sha256(text.encode()).hexdigest()

    @property
    def base(self) -> Case:
        """The first stratum's case; all have its turbine, stack, sensors and period."""
        return self.strata[0].base

    @property
    def title(self) -> str:
        """One line that tells a reader which job this is."""
        names = ", ".join(dict.fromkeys(stratum.name for stratum in self.strata))
        return f"{self.entry}: {self.sampling.method} sampling of {names}"

    @property
    def simulated_s(self) -> float:
        """About what is marched [s]."""
        levels = 5.0 if self.sampling.method == "subset" else 1.0
        return len(self.stacks) * len(self.strata) * self.sampling.samples * levels * self.span.whole

    @property
    def run(self) -> RunSpec:
        """Clock of the windows."""
        return RunSpec(self.base.run.period, self.span.settle, self.span.lead + self.span.judged)

    @property
    def stacks(self) -> tuple[tuple[LayerSpec, ...], ...]:
        """All stacks that meet the windows, the job's own first."""
        return (self.stack, self.beside) if self.beside else (self.stack,)

    @property
    def stack(self) -> tuple[LayerSpec, ...]:
        """The layers."""
        return self.base.stack

    @property
    def stack_key(self) -> str:
        """The canonical text of the stack."""
        return self.base.stack_key

    @property
    def turbine(self) -> TurbineSpec:
        """The turbine."""
        return self.base.turbine

    @property
    def sensors(self) -> SensorSpec:
        """The sensors."""
        return self.base.sensors

    @property
    def blade_count(self) -> int:
        """Blades of the rotor."""
        return self.base.blade_count

    @property
    def wind_key(self) -> str:
        """No job shares its wind with another."""
        return self.key

    @property
    def is_event(self) -> bool:
        """Its turbulence is not counted when batches are cut."""
        return True
