"""Do the parts of a turbine fit together?

Each check yields pairs of key and sentence; the caller adds file and line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from sim.design import Turbine
from sim.plant.geometry import clearance_at, lowest_tip_height
from sim.table import Table
from sim.turbine_file import TurbineKeys

Fault = tuple[str, str]
_SAME_RADIUS = 1e-3


def key_faults(keys: TurbineKeys) -> Iterator[Fault]:
    """Yield what is wrong between keys of the turbine file itself."""
    machine, rotor, tower, pitch = keys.machine, keys.rotor, keys.tower, keys.pitch
    if machine.cut_in_m_s >= machine.cut_out_m_s:
        yield "machine.cut_in_m_s", f"must be below machine.cut_out_m_s = {machine.cut_out_m_s:g}"
    if machine.minimum_rotor_speed_rpm > machine.rated_rotor_speed_rpm:
        yield (
            "machine.minimum_rotor_speed_rpm",
            f"must not be above machine.rated_rotor_speed_rpm = {machine.rated_rotor_speed_rpm:g}",
        )
    if tower.height_m >= rotor.hub_height_m:
        yield "tower.height_m", f"must be below the hub centre, rotor.hub_height_m = {rotor.hub_height_m:g}"
    for end in ("base", "top"):
        diameter, wall = getattr(tower, f"{end}_diameter_m"), getattr(tower, f"{end}_wall_mm")
        if wall * 2e-3 >= diameter:
            yield f"tower.{end}_wall_mm", f"must be below the radius, tower.{end}_diameter_m = {diameter:g}"
    if pitch.fine_deg >= pitch.feather_deg:
        yield "pitch.fine_deg", f"must be below pitch.feather_deg = {pitch.feather_deg:g}"
    if pitch.bearing_friction > 0.0 and pitch.bearing_diameter_m is None:
        yield "pitch.bearing_friction", "needs pitch.bearing_diameter_m"
    yield from _list_faults(keys)


def _list_faults(keys: TurbineKeys) -> Iterator[Fault]:
    """What is wrong with lists: offsets of each blade, sections."""
    for table, offsets in (("blade", keys.blade.offsets), ("pitch", keys.pitch.offsets)):
        for name, given in offsets:
            if given and len(given) != keys.rotor.blade_count:
                yield (
                    f"{table}.offsets.{name}",
                    f"must have one number for each of {keys.rotor.blade_count} blades",
                )
    ratios = [section.thickness_ratio for section in keys.sections]
    for index, ratio in enumerate(ratios):
        if ratio in ratios[:index]:
            yield f"sections[{index}].thickness_ratio", "must differ from that of every other section"


def table_faults(keys: TurbineKeys, table: Table) -> Iterator[str]:
    """Yield whole lines on where the blade table does not fit the turbine file."""
    hub_radius = keys.rotor.hub_radius_m
    if abs(table["r_m"][0] - hub_radius) > _SAME_RADIUS:
        yield table.problem(0, "r_m", f"must equal rotor.hub_radius_m = {hub_radius:g}, the blade root")
    if abs(table["prebend_m"][0]) > _SAME_RADIUS:
        yield table.problem(
            0, "prebend_m", "must be 0 at the blade root; lean the whole blade by rotor.cone_deg"
        )
    ratios = [section.thickness_ratio for section in keys.sections]
    low, high = min(ratios), max(ratios)
    for row in np.flatnonzero((table["thickness_ratio"] < low) | (table["thickness_ratio"] > high)):
        yield table.problem(
            int(row), "thickness_ratio", f"must lie within the sections' range, {low:g} to {high:g}"
        )


def space_faults(turbine: Turbine) -> Iterator[Fault]:
    """Yield where the rotor at rest would touch the ground or its own tower."""
    lowest = lowest_tip_height(turbine)
    if lowest <= 0.0:
        yield "rotor.hub_height_m", f"must be larger: the lowest tip would be at {lowest:.2f} m"
        return
    blades = range(turbine.rotor.blade_count)
    room = np.stack([clearance_at(turbine, math.pi, turbine.pitch.fine, blade) for blade in blades])
    _, row = np.unravel_index(np.argmin(room), room.shape)
    if room.min() <= 0.0:
        yield (
            "rotor.overhang_m",
            f"the tower is wider than the blade's path: unloaded clearance {room.min():.2f} m at "
            f"{turbine.blade.r[row]:.1f} m from the rotor axis, must be > 0; "
            "a slimmer tower, or more overhang, tilt, cone or prebend, makes room",
        )
