"""How do the values of a checked turbine file become SI records?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from sim.design import Array, Blade, Machine, Nacelle, Pitch, Rotor, Section, Tower, Turbine
from sim.table import Table
from sim.turbine_file import AnySection, BladeKeys, LiftingSection, PitchKeys, RoundSection, TurbineKeys
from sim.units import bare, si, unit_of

_PARAMETER_KEYS = (
    "lift_slope_per_rad",
    "zero_lift_angle_deg",
    "max_lift",
    "min_lift",
    "min_drag",
    "moment",
)
_PARAMETERS = tuple(bare(key) for key in _PARAMETER_KEYS)


def to_si(path: Path, keys: TurbineKeys, table: Table, polars: Mapping[int, Table]) -> Turbine:
    """Return the turbine in SI units.

    Parameters
    ----------
    path : the turbine file
    keys : its values, checked
    table : the blade table
    polars : the polar table of each section that names one, by the section's place in the file
    """
    rotor = {bare(key): _value(keys.rotor, key) for key in ("hub_height_m", "hub_radius_m", "overhang_m")}
    sections = [_section(section, polars.get(index)) for index, section in enumerate(keys.sections)]
    return Turbine(
        name=keys.name,
        source=path,
        air_density=float(keys.air_density_kg_m3),
        rotor=Rotor(
            side=-1.0 if keys.rotor.side == "upwind" else 1.0,
            blade_count=keys.rotor.blade_count,
            tilt=_value(keys.rotor, "tilt_deg"),
            cone=_value(keys.rotor, "cone_deg"),
            **rotor,
        ),
        blade=_blade(keys.blade, keys.rotor.blade_count, table),
        sections=tuple(sorted(sections, key=lambda section: section.thickness_ratio)),
        tower=Tower(**_values(keys.tower)),
        nacelle=Nacelle(**_values(keys.nacelle)),
        machine=Machine(**_values(keys.machine)),
        pitch=_pitch(keys.pitch, keys.rotor.blade_count),
    )


def _value(keys: Any, key: str) -> float:
    return si(key, getattr(keys, key))


def _values(keys: Any) -> dict[str, float]:
    """Every value of one table of the file, under names without the unit."""
    return {bare(key): _value(keys, key) for key in type(keys).model_fields}


def _frozen(values: Any) -> Array:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def _blade(keys: BladeKeys, blade_count: int, table: Table) -> Blade:
    def column(name: str, factor: float = 1.0) -> Array:
        return _frozen(table[name] * (unit_of(name)[1] * factor))

    def per_blade(key: str, neutral: float) -> Array:
        given = getattr(keys.offsets, key)
        return _frozen([si(key, value) for value in given] or [neutral] * blade_count)

    structural = "structural_twist_deg" if "structural_twist_deg" in table else "twist_deg"
    torsion = None
    if "torsion_stiffness_N_m2" in table:
        torsion = column("torsion_stiffness_N_m2", keys.torsion_stiffness_factor)
    return Blade(
        r=column("r_m"),
        mass=column("mass_kg_per_m", keys.mass_factor),
        flap_stiffness=column("flap_stiffness_N_m2", keys.flap_stiffness_factor),
        edge_stiffness=column("edge_stiffness_N_m2", keys.edge_stiffness_factor),
        torsion_stiffness=torsion,
        structural_twist=column(structural),
        twist=column("twist_deg"),
        chord=column("chord_m"),
        thickness_ratio=column("thickness_ratio"),
        pitch_axis=column("pitch_axis"),
        prebend=column("prebend_m"),
        damping_ratio=_frozen(
            [keys.flap_1_damping_ratio, keys.flap_2_damping_ratio, keys.edge_1_damping_ratio]
        ),
        pitch_offset=per_blade("pitch_deg", 0.0),
        prebend_offset=per_blade("prebend_m", 0.0),
        stiffness_factor=per_blade("stiffness_factor", 1.0),
        mass_factor=per_blade("mass_factor", 1.0),
    )


def _pitch(keys: PitchKeys, blade_count: int) -> Pitch:
    told = {
        name: getattr(keys, name) for name in PitchKeys.model_fields if name not in ("offsets", "play_deg")
    }
    if keys.stop_rate_deg_s is None:
        told["stop_rate_deg_s"] = keys.rate_limit_deg_s
    if keys.bearing_diameter_m is None:
        told["bearing_diameter_m"] = 0.0
    values: dict[str, Any] = {bare(key): si(key, told[key]) for key in told}
    values |= {name: _frozen(given or [1.0] * blade_count) for name, given in keys.offsets}
    return Pitch(play=_value(keys, "play_deg"), **values)


def _section(keys: AnySection, polar: Table | None) -> Section:
    values = dict.fromkeys(_PARAMETERS, math.nan if polar is not None else 0.0)
    if isinstance(keys, LiftingSection):
        values = {bare(key): _value(keys, key) for key in _PARAMETER_KEYS}
    elif isinstance(keys, RoundSection):
        values["min_drag"] = float(keys.drag)
    return Section(
        name=keys.name,
        thickness_ratio=float(keys.thickness_ratio),
        is_round=isinstance(keys, RoundSection),
        polar=None if polar is None else _polar(polar),
        **values,
    )


def _polar(table: Table) -> Array:
    columns = [table["angle_deg"] * unit_of("angle_deg")[1], table["lift"], table["drag"], table["moment"]]
    return _frozen(np.stack(columns, axis=1))
