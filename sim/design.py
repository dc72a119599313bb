"""What is a turbine, in SI units and radians, once its file has been read and found sound?

Nothing here checks or converts: `sim.turbine.load_turbine` does, and hands out these frozen records, whose
arrays are read-only.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rotor:
    """Where the rotor is and how its shaft and blades lean."""

    side: float  #: -1 upwind, +1 downwind of the tower
    blade_count: int
    hub_height: float  #: [m] of the hub centre above ground
    hub_radius: float  #: [m] from the rotor axis to the blade root
    overhang: float  #: [m] along the shaft from tower axis to hub centre
    tilt: float  #: [rad] lifts the rotor end of the shaft
    cone: float  #: [rad] away from the tower


@dataclass(frozen=True)
class Blade:
    """The blade's table, factors applied; every array ``(row,)`` unless said."""

    r: Array  #: [m] from the rotor axis along the unloaded blade axis, rising
    mass: Array  #: [kg/m]
    flap_stiffness: Array  #: [N m2] about the chordwise principal axis
    edge_stiffness: Array  #: [N m2]
    torsion_stiffness: Array | None  #: [N m2], None where the table gives none
    structural_twist: Array  #: [rad] of the principal axes
    twist: Array  #: [rad] of the chord
    chord: Array  #: [m]
    thickness_ratio: Array  #: [-] thickness over chord
    pitch_axis: Array  #: [-] of the chord, from the leading edge to the pitch axis
    prebend: Array  #: [m] away from the tower
    damping_ratio: Array  #: (3,) [-] of flap 1, flap 2, edge 1; structural, of critical
    pitch_offset: Array  #: (blade,) [rad]
    prebend_offset: Array  #: (blade,) [m] at the tip, quadratic in r from the root
    stiffness_factor: Array  #: (blade,) [-] on flap and edge stiffness
    mass_factor: Array  #: (blade,) [-]


@dataclass(frozen=True)
class Section:
    """One section's aerodynamics: a polar table, or parameters, or drag alone where it is round."""

    name: str
    thickness_ratio: float  #: [-]
    is_round: bool
    lift_slope: float  #: [1/rad] of attached flow; nan for a table
    zero_lift_angle: float  #: [rad]
    max_lift: float  #: [-] at positive stall
    min_lift: float  #: [-] at negative stall
    min_drag: float  #: [-]; of a round section its drag, referred to the chord
    moment: float  #: [-] about the quarter chord, nose-up positive, at zero lift
    polar: Array | None  #: (row, 4) angle [rad], lift, drag, moment [-]; None for parameters


@dataclass(frozen=True)
class Tower:
    """A tapered steel tube; diameter and wall vary linearly from base to top."""

    height: float  #: [m] of the tower top (yaw bearing) above ground
    base_diameter: float  #: [m] outside
    top_diameter: float  #: [m] outside
    base_wall: float  #: [m] thickness
    top_wall: float  #: [m] thickness
    youngs_modulus: float  #: [Pa]
    density: float  #: [kg/m3] effective, fittings included
    damping_ratio: float  #: [-] structural, of critical, fore-aft and side-side
    drag_coefficient: float  #: [-] for the wake behind the tower


@dataclass(frozen=True)
class Nacelle:
    """What sits on the tower top, the hub told apart."""

    mass: float  #: [kg] without hub and blades
    centre_x: float  #: [m] downwind of the tower axis
    centre_z: float  #: [m] above the tower top
    hub_mass: float  #: [kg]
    hub_inertia: float  #: [kg m2] about the shaft


@dataclass(frozen=True)
class Machine:
    """Drivetrain, generator, and the range in which they run."""

    rated_power: float  #: [W] electrical
    rated_rotor_speed: float  #: [rad/s]
    minimum_rotor_speed: float  #: [rad/s]
    gear_ratio: float  #: [-]
    generator_inertia: float  #: [kg m2] at the generator's own shaft
    torque_lag: float  #: [s] first-order lag of the generator torque
    efficiency: float  #: [-] electrical power over shaft power
    cut_in: float  #: [m/s]
    cut_out: float  #: [m/s]
    torque_limit_factor: float  #: [-] largest over rated torque
    torque_rate_limit: float  #: [1/s] as a share of rated torque

    @property
    def rated_torque(self) -> float:
        """Torque at the rotor shaft at rated power and speed [N m]."""
        return self.rated_power / (self.efficiency * self.rated_rotor_speed)


@dataclass(frozen=True)
class Pitch:
    """The pitch servo of each blade: second order, delayed, with limits and stops."""

    fine: float  #: [rad] smallest pitch, of power production below rated wind
    feather: float  #: [rad]
    natural_frequency: float  #: [rad/s]
    damping_ratio: float  #: [-]
    delay: float  #: [s]
    rate_limit: float  #: [rad/s]
    acceleration_limit: float  #: [rad/s2]
    stop_rate: float  #: [rad/s] of an emergency stop
    play: float  #: [rad] backlash between servo and blade
    bearing_friction: float  #: [-] coefficient of the pitch bearings; 0 where no friction is reported
    bearing_diameter: float  #: [m] of the pitch bearings
    rate_factor: Array  #: (blade,) on the rates of each servo [-]
    acceleration_factor: Array  #: (blade,) on its acceleration limit [-]
    frequency_factor: Array  #: (blade,) on its natural frequency [-]


@dataclass(frozen=True)
class Turbine:
    """One whole turbine."""

    name: str
    source: Path
    air_density: float  #: [kg/m3]
    rotor: Rotor
    blade: Blade
    sections: tuple[Section, ...]  #: from thin to thick
    tower: Tower
    nacelle: Nacelle
    machine: Machine
    pitch: Pitch

    @property
    def rotor_radius(self) -> float:
        """Distance from the rotor axis to the tip along the unloaded blade axis [m]."""
        return float(self.blade.r[-1])

    def content_hash(self) -> str:
        """Return the turbine's identity: a hash of its SI values, names and paths left out.

        Two files that say the same in other words (8 or 8.0, a factor or the table multiplied) are equal.
        """
        return self._hash

    @cached_property
    def _hash(self) -> str:
        told = {
            f.name: _plain(getattr(self, f.name)) for f in fields(self) if f.name not in ("name", "source")
        }
        text = json.dumps(told, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    """A value as JSON has it: numbers as floats, -0.0 as 0.0, nan as null, a section's name left out."""
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value) if f.name != "name"}
    if isinstance(value, np.ndarray | list | tuple):
        return [_plain(inner) for inner in value]
    if value is None or value != value:
        return None
    return float(value) + 0.0
