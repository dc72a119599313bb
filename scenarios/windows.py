"""What is the smallest clearance in sampled short windows, and what do the samplers make of it?"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, log1p, pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.case import Case, LayerSpec, canonical
from scenarios.heartbeat import beat
from scenarios.simulate import ACTED_ABOVE, required, sensor_suite
from scenarios.store import CaseResult
from scenarios.window_endings import Ending, ending_of
from scenarios.window_fields import Fields, whole
from scenarios.window_job import Stratum, WindowJob
from scenarios.window_result import sampled_result
from sim.flock import Flock, World, stand_still
from sim.interface import Commands, Readings
from sim.march import march
from sim.measures.rare import CrudeSampling, SubsetSimulation
from sim.plant.air import wind_arrays
from sim.plant.uncertain import varied
from sim.stack import Stack
from sim.wind.field import pack_winds
from sim.wind.standard import sigma_distribution

Floats = NDArray[Any]
Passes = tuple[Floats, Floats]
"""Times from the start of the lead [s], and clearances [m]."""

LANES = 128
"""Windows that are marched together: their fields are large."""


@dataclass
class Sampled:
    """One stratum on its way: its sampler, its fields, and what each evaluation saw."""

    stratum: Stratum
    sampler: SubsetSimulation | CrudeSampling
    fields: Fields
    depth: float  #: [m] how far inside the tower sampling ends
    passes: tuple[list[Passes], ...]  #: of each stack, of each evaluation
    smallest: list[list[float]]  #: [m] clearance in the judged part of each evaluation under each stack
    endings: tuple[list[Ending], ...]  #: what the plant or a layer ended early, under each stack

    @property
    def nearest(self) -> Floats:
        """The smallest clearance of each evaluation, whatever the stack, (evaluation,) [m]."""
        return np.min(np.array(self.smallest).reshape(-1, len(self.passes)), axis=1)

    def told(self, asked: int = 0) -> Floats:
        """Return the values of what the sampler asked for last, as far as they are known: above `depth`."""
        return self.nearest[asked:] + self.depth


@dataclass(frozen=True)
class Row:
    """One window that a sampler asked for."""

    item: Sampled
    number: int  #: of the evaluation
    normals: Floats
    parent: int
    length: float


def simulate(jobs: Sequence[WindowJob]) -> Sequence[CaseResult]:
    """Sample the strata of each job and return one flat result a job, in their order."""
    return [sample(job) for job in jobs]


def sample(job: WindowJob) -> CaseResult:
    """Ask all samplers of a job, march what they ask for together, and tell them, until they have enough.

    Notes
    -----
    The limit state is the smallest clearance in the judged part of a window, under whichever stack: how near
    logic lets a blade come says little of how hard the wind is, while it holds, and much of its noise; what
    would have been without it leads to the winds in which it may fail. What it lets strike, or makes strike,
    lies within the limit all the same. Sampling goes on inside the tower, as far behind its face as the
    requirement lies before it: where a blade strikes without logic, it need not with it.
    """
    marchers = [Marcher(job, layers) for layers in job.stacks]
    strata = [begin(job, stratum, marchers[0]) for stratum in job.strata]
    while any(not item.sampler.done for item in strata):
        asked = [(item, len(item.smallest)) for item in strata if not item.sampler.done]
        rows = [row for item, _ in asked for row in _rows(item)]
        for first in range(0, len(rows), LANES):
            part = rows[first : first + LANES]
            boxes = _boxes(part)
            for number, marcher in enumerate(marchers):
                _march(marcher, part, boxes, number)
            _remember(part, boxes, dict((id(item), at) for item, at in asked))
        for item, at in asked:
            item.sampler.tell(item.told(at))
            _forget(item, {}, np.empty(0))
    return sampled_result(job, strata, marchers[0].required)


def _rows(item: Sampled) -> list[Row]:
    """Return the windows that a sampler asks for."""
    points, first = item.sampler.ask(), len(item.smallest)
    parents, length = np.full(len(points), -1), 1.0
    if isinstance(item.sampler, SubsetSimulation):
        parents, length = item.sampler.parents, item.sampler.length
    return [Row(item, first + n, point, int(parents[n]), length) for n, point in enumerate(points)]


def _boxes(rows: Sequence[Row]) -> list[Floats]:
    """Make the fields of some windows."""
    boxes = []
    for row in rows:
        boxes.append(row.item.fields.move(row.number, row.parent, row.length))
        beat()
    return boxes


def _march(marcher: Marcher, rows: Sequence[Row], boxes: Sequence[Floats], number: int) -> None:
    """March some windows under one stack, and note what was seen."""
    lead = marcher.job.span.lead
    for row, (time, clearance, ended) in zip(rows, marcher.march(rows, boxes), strict=True):
        item = row.item
        item.passes[number].append((time, clearance))
        if ended is not None:
            item.endings[number].append(replace(ended, window=row.number))
        nearest = float(np.min(clearance[time >= lead], initial=np.inf))
        if number == 0:
            item.smallest.append([])
        item.smallest[row.number].append(nearest)


def _remember(rows: Sequence[Row], boxes: Sequence[Floats], asked: dict[int, int]) -> None:
    """Keep the fields of those windows that may be parents."""
    fresh: dict[int, tuple[Sampled, dict[int, Floats]]] = {}
    for row, box in zip(rows, boxes, strict=True):
        fresh.setdefault(id(row.item), (row.item, {}))[1][row.number] = box
    for name, (item, mine) in fresh.items():
        _forget(item, mine, item.told(asked[name]))


def _forget(item: Sampled, fresh: dict[int, Floats], untold: Floats) -> None:
    """Keep the fields of the present heads, and of what may become one as far as it is known."""
    sampler = item.sampler
    if not isinstance(sampler, SubsetSimulation) or sampler.done:
        item.fields.keep({}, set())
        return
    cutoff = sampler.cutoff
    if untold.size and sampler.levels:
        cutoff = sampler.levels[-1]
    elif untold.size > sampler.wanted:
        cutoff = float(np.sort(untold)[sampler.wanted])
    near = np.flatnonzero(item.told() <= cutoff)
    item.fields.keep(fresh, {*near.tolist(), *sampler.heads.tolist()})


def begin(job: WindowJob, stratum: Stratum, marcher: Marcher) -> Sampled:
    """Return a stratum before its first sample."""
    told = canonical([stratum, stratum.base.stack, stratum.base.wind, job.span, job.sampling])
    raw = hashlib.sha256(told.encode()).digest()
    sampling, count = job.sampling, len(stratum.normals)
    seed = int.from_bytes(raw[:7], "big")
    if sampling.method == "crude":
        sampler: Any = CrudeSampling(count, seed=seed, samples=sampling.samples, block=LANES)
    else:
        sampler = SubsetSimulation(
            count, seed=seed, samples_per_level=sampling.samples, smallest=sampling.smallest
        )
    radius = marcher.world.turbines[0].rotor_radius
    fields = Fields(raw.hex(), stratum.base.wind, radius, job.span.whole + 1.0)
    stacks = len(job.stacks)
    passes, endings = (tuple([] for _ in range(stacks)) for _ in range(2))
    return Sampled(stratum, sampler, fields, marcher.required, passes, [], endings)


class Marcher:
    """Marches windows of one job, each with a wind, a plant and noise of its own."""

    def __init__(self, job: WindowJob, layers: Sequence[LayerSpec]) -> None:
        self.job = job
        base = job.base
        turbine = base.turbine.load()
        still = replace(base.wind, sigma=0.0, transient_start=0.0)
        pack = pack_winds([still], turbine.rotor.hub_height, 2.0 * turbine.rotor_radius, job.span.whole)
        self.pack = pack
        wind = wind_arrays(pack, turbine.rotor.hub_height)
        suite = sensor_suite(base.sensors)
        self.world = World.make([turbine], wind, suite, base.run.period, ACTED_ABOVE)
        self.stack = Stack([layer.load() for layer in layers], [layer.name for layer in layers])
        self.required = required(base, turbine)

    def march(
        self, rows: Sequence[Row], boxes: Sequence[Floats]
    ) -> list[tuple[Floats, Floats, Ending | None]]:
        """Return times from the lead's start [s] and clearances [m] of the passes, and what ended early."""
        told = [drawn(row.item.stratum, row.normals) for row in rows]
        world = self._world(boxes, told)
        count, span = len(rows), self.job.span
        every = np.arange(count)
        flock = Flock.place(
            replace(world, design=self.world.design),
            self.stack,
            np.zeros(count, np.int64),
            every,
            np.array([row.item.fields.identities[row.number] for row in rows], np.uint64),
            np.array([item["phase"] for item in told]),
            np.full(count, self.required),
            [_started(row.item.stratum, span.lead) for row in rows],
            span.settle,
        )
        flock.world = world
        flock.lanes.design[:] = every
        stand_still(flock.lanes, world)
        record = march(flock, span.settle, span.lead + span.judged, forks=False, observe=_beat)
        lane = record.passes["lane"]
        order = [np.flatnonzero(lane == n) for n in range(count)]
        passes = record.passes
        return [
            (passes["time_s"][mine], passes["clearance_m"][mine], ending_of(record, n))
            for n, mine in enumerate(order)
        ]

    def _world(self, boxes: Sequence[Floats], told: Sequence[dict[str, float]]) -> World:
        """Return the world of these windows: one wind and one plant each."""
        column = {name: np.array([item[name] for item in told]) for name in told[0]}
        count = len(boxes)
        pack = self.pack
        mean = np.repeat(pack.mean, count, axis=0)
        mean[:, 0], mean[:, 4] = column["speed"], column["sigma"]
        nothing = np.full(count, -1, np.int64)
        profiles = list(pack.profiles) * count
        wind = wind_arrays(
            pack._replace(
                mean=mean, box=np.arange(count), transient=nothing, profiles=profiles,
                transient_start=np.zeros(count),
            ),
            self.world.turbines[0].rotor.hub_height,
        )._replace(boxes=whole(boxes))  # fmt: skip
        design = varied(self.world.design, column["aerodynamics"], column["stiffness"], column["damping"])
        induction = np.repeat(self.world.induction, count, axis=0)
        turning = np.zeros(count, bool)
        return replace(self.world, wind=wind, design=design, induction=induction, at_rest=turning)


def drawn(stratum: Stratum, normals: Floats) -> dict[str, float]:
    """Return what a sample's standard normals stand for.

    Notes
    -----
    Speed: Rayleigh within the bin. Intensity: sigma1 is Weibull of shape 0.27 V + 1.4 and scale
    Iref (0.75 V + 3.3) (edition 2019). Doubts: exp(s u - s^2/2) with s^2 = ln(1 + variation^2), of mean 1.
    """
    from scipy.special import log_ndtr, ndtr

    value = dict(zip(stratum.normals, normals.tolist(), strict=True))
    low, high = (exp(-0.25 * pi * (speed / stratum.site.vave) ** 2) for speed in stratum.speeds)
    beyond = low + (high - low) * float(ndtr(value["speed"]))
    speed = stratum.site.vave * sqrt(-4.0 / pi * np.log(beyond))
    factors = {name: 1.0 for name in ("aerodynamics", "stiffness", "damping", "exposure")}
    for name in stratum.doubt.names:
        spread = sqrt(log1p(getattr(stratum.doubt, name) ** 2))
        factors[name] = exp(spread * value[name] - 0.5 * spread**2)
    shape, scale = sigma_distribution(stratum.site, speed)
    sigma = scale * (-float(log_ndtr(-value["intensity"]))) ** (1.0 / shape)
    return factors | {
        "speed": speed,
        "sigma": sigma * factors["exposure"],
        "phase": 2.0 * pi * float(ndtr(value["phase"])),
    }


def _started(stratum: Stratum, lead: float) -> tuple[Any, ...]:
    return tuple(replace(fault, start=lead, duration=fault.duration) for fault in stratum.faults)


def _beat(flock: Flock, seen: Readings, commands: Commands, reference: Commands) -> None:
    beat()


def middle_case(case: Case, speed: float) -> Case:
    """Return the case of a bin's middle: its wind without the scenario's own seeds and settling."""
    wind = replace(case.wind, speed=speed, seed=0, sigma=0.0, transient_start=0.0)
    return replace(case, wind=wind, seed=0, faults=())
