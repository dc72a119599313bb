"""Which faults may a scenario name, in which units, and where exactly is one wrong?"""

# ruff: noqa: N815 (keys end in their unit as it is written: kW, kNm)

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import Field

from scenarios.sensor_keys import USUAL, not_whole
from sim.errors import closest
from sim.keyfile import FileModel, Lines, place, problem
from sim.units import unit_of

if TYPE_CHECKING:
    from sim.faults import FaultSpec

_SHARE = "share"


def _size(what: str) -> Any:
    return Field(default=None, description=f"size of a fault of {what}; see the fault's kind")


class FaultKeys(FileModel):
    """``[[faults]]``: something that breaks; faults of one name break together."""

    name: str = Field(min_length=1, description="what `winds.faults` and reports call it")
    kind: str = Field(min_length=1, description="what happens; `wideberth list --faults` names all kinds")
    start_s: float = Field(ge=0.0, le=3600.0, description="from the start of the judged time")
    duration_s: float | None = Field(
        default=None, gt=0.0, le=3600.0, description="how long it lasts; none given: to the end"
    )
    blade: int | None = Field(
        default=None, ge=1, description="of a sensor or servo, 1 is the azimuth's; none given: all"
    )
    sensor: str | None = Field(default=None, description="which sensor, by the name of its reading")
    by_m: float | None = _size("a distance")
    by_deg: float | None = _size("an angle")
    by_rpm: float | None = _size("the rotor speed")
    by_kNm: float | None = _size("a moment")
    by_m_s: float | None = _size("a wind speed")
    by_m_s2: float | None = _size("the tower-top acceleration")
    by_kW: float | None = _size("the power")
    by_s: float | None = Field(
        default=None, gt=0.0, le=10.0, description="delay of a late sensor or computer"
    )
    rate_per_year: float | None = Field(
        default=None,
        ge=0.0,
        le=1e4,
        description="how often it happens, for `reliability`; none given: that of [reliability]",
    )
    share: float | None = Field(
        default=None, gt=0.0, le=1.0, description="of its rate limit that a slow or weak servo keeps"
    )


_SIZES = tuple(name for name in FaultKeys.model_fields if name.startswith("by_") or name == _SHARE)


def size_key(keys: FaultKeys) -> str:
    """Return the key that tells the size of a fault of this kind and sensor, empty where it has none."""
    from sim.faults import KINDS

    kind = KINDS.get(keys.kind)
    size = kind.size if kind else ""
    if size == "reading":
        usual = USUAL.get(keys.sensor or "")
        return f"by_{usual.unit}" if usual else ""
    return {"": "", "s": "by_s", "-": _SHARE}[size]


def fault_spec(keys: FaultKeys) -> FaultSpec:
    """Return one fault in SI units, with blades counted from 0."""
    from sim.faults import FaultSpec

    key = size_key(keys)
    value = getattr(keys, key) if key else None
    return FaultSpec(
        kind=keys.kind,
        start=keys.start_s,
        duration=keys.duration_s,
        blade=None if keys.blade is None else keys.blade - 1,
        sensor=keys.sensor or "",
        size=0.0 if value is None else value * unit_of(key)[1],
    )


def fault_problems(
    faults: Sequence[FaultKeys],
    blade_count: int,
    fitted: Sequence[str],
    period: float,
    path: Path,
    lines: Lines,
) -> Iterator[str]:
    """Yield what is wrong with the faults of a scenario, each with its line.

    Parameters
    ----------
    faults : as the file has them
    blade_count : of the turbine
    fitted : names of the sensors that the scenario fits
    period : of the controller [s]
    path, lines : of the file
    """
    for index, keys in enumerate(faults):
        at = f"faults[{index}]"
        told = list(fault_spec(keys).problems(blade_count))
        if keys.sensor is not None and keys.sensor in USUAL and keys.sensor not in fitted:
            told.append(("sensor", f"the scenario fits no such sensor{closest(keys.sensor, fitted)}"))
        if keys.duration_s is not None and keys.kind == "emergency_stop":
            told.append(("duration_s", "an emergency_stop is for good; leave it out"))
        elif keys.duration_s is not None and keys.duration_s < period - 1e-9:
            told.append(("duration_s", f"must be at least a period of {period:g} s"))
        for field, sentence in told:
            value = getattr(keys, field)
            if value is None:
                yield f"{place(path, lines, at)}: {at}.{field} is missing: {sentence}"
            else:
                yield problem(path, lines, f"{at}.{field}", value, sentence)
        if not told:
            yield from _size_problems(keys, at, period, path, lines)


def _size_problems(keys: FaultKeys, at: str, period: float, path: Path, lines: Lines) -> Iterator[str]:
    wanted = size_key(keys)
    kind = f"{'an' if keys.kind[0] in 'aeiou' else 'a'} {keys.kind}"
    for name in _SIZES:
        value = getattr(keys, name)
        if name == wanted and value is None:
            yield f"{place(path, lines, at)}: {at}.{name} is missing; {kind} needs it"
        elif name != wanted and value is not None:
            instead = f"has {wanted} instead" if wanted else "has no size"
            yield problem(path, lines, f"{at}.{name}", value, f"{kind} {instead}")
        elif value is not None and keys.kind == "sensor_noisy" and value <= 0.0:
            yield problem(path, lines, f"{at}.{name}", value, "must be > 0: the noise's standard deviation")
        elif value is not None and name == "by_s":
            wrong = not_whole(value, period)
            if wrong:
                yield problem(path, lines, f"{at}.{name}", value, wrong)
