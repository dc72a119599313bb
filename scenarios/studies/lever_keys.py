"""What may a file of weights and bounds for the cheapest mix of levers say?"""

# ruff: noqa: N815 (keys end in their unit as it is written: kNm, MWh)

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import Field

from scenarios.studies.lever_design import LEVERS, Mix, bounds_of
from sim.errors import InputError
from sim.keyfile import FileModel, Lines, problem, read_toml, validate


def _weight(meaning: str, default: float) -> Any:
    return Field(description=meaning, default=default, ge=0.0, le=1e9)


class WeightKeys(FileModel):
    """``[weights]``: what a unit of each price costs, all in one unit of the user's."""

    energy_per_MWh: float = _weight("of a year, lost", 1.0)
    main_bearing_per_kNm: float = _weight("of mean bending", 0.01)
    main_bearing_extreme_per_kNm: float = _weight("of extreme bending", 0.005)
    bed_plate_per_kNm: float = _weight("of mean bending", 0.005)
    bed_plate_extreme_per_kNm: float = _weight("of extreme bending", 0.005)
    yaw_bearing_per_kNm: float = _weight("of the size of its steady moment", 0.01)
    root_per_kNm: float = _weight("of steady flap moment at the blade root", 0.01)
    blade_mass_per_t: float = _weight("of one blade", 20.0)
    envelope_per_m: float = _weight("of the box that a blade needs on the road and its mould", 20.0)
    tower_mass_per_t: float = _weight("of steel", 1.0)
    pitch_travel_per_deg_h: float = _weight("of travel of each blade", 0.01)


class BoundKeys(FileModel):
    """``[bounds]``: lowest and highest place of each lever."""

    overhang_m: list[float] | None = Field(default=None, description="low, high", min_length=2, max_length=2)
    tilt_deg: list[float] | None = Field(default=None, description="low, high", min_length=2, max_length=2)
    cone_deg: list[float] | None = Field(default=None, description="low, high", min_length=2, max_length=2)
    prebend_m: list[float] | None = Field(default=None, description="low, high", min_length=2, max_length=2)
    stiffness_factor: list[float] | None = Field(
        default=None, description="low, high", min_length=2, max_length=2
    )
    tower_thinner_m: list[float] | None = Field(
        default=None, description="low, high", min_length=2, max_length=2
    )
    thrust_cut: list[float] | None = Field(default=None, description="low, high", min_length=2, max_length=2)
    pulse_deg: list[float] | None = Field(default=None, description="low, high", min_length=2, max_length=2)


class CostKeys(FileModel):
    """The whole file."""

    weights: WeightKeys = Field(default_factory=WeightKeys)
    bounds: BoundKeys = Field(default_factory=BoundKeys)


ALLOWED = {
    "overhang_m": (0.5, 30.0),
    "tilt_deg": (-15.0, 15.0),
    "cone_deg": (-10.0, 15.0),
    "prebend_m": (-10.0, 15.0),
    "stiffness_factor": (0.3, 3.0),
    "tower_thinner_m": (-2.0, 1.0),
    "thrust_cut": (0.0, 0.4),
    "pulse_deg": (0.0, 10.0),
}
"""Beyond these no lever may be bounded."""


def read_costs(path: Path | None, mix: Mix) -> tuple[WeightKeys, dict[str, tuple[float, float]]]:
    """Return weights and bounds from a file; those of ours where none is given.

    Raises
    ------
    InputError
        A key is unknown, a weight negative, bounds are the wrong way round or beyond what is allowed.
    """
    if path is None:
        return WeightKeys(), bounds_of(mix)
    data, lines = read_toml(path)
    keys = validate(CostKeys, data, lines, path)
    problems = list(_bound_problems(keys.bounds, path, lines))
    if problems:
        raise InputError(problems)
    given = {
        lever.name: (pair[0], pair[1])
        for lever in LEVERS
        if (pair := getattr(keys.bounds, lever.name)) is not None
    }
    return keys.weights, bounds_of(mix, given)


def _bound_problems(keys: BoundKeys, path: Path, lines: Lines) -> Iterator[str]:
    for name, (least, most) in ALLOWED.items():
        pair = getattr(keys, name)
        if pair is None:
            continue
        key = f"bounds.{name}"
        if pair[0] > pair[1]:
            sentence = f"the wrong way round; must be [low, high]: [{pair[1]:g}, {pair[0]:g}]?"
            yield problem(path, lines, key, pair, sentence)
        elif pair[0] < least or pair[1] > most:
            yield problem(path, lines, key, pair, f"must lie within {least:g} and {most:g}")
