"""Which keys does a turbine file have, in which units, and what may each hold?

Every physical input is required; only pure factors (1), offsets (0), and what a servo may have besides
(play, friction, a faster stop) have defaults.
"""

# ruff: noqa: N815 (keys end in their unit as it is written: kW, Hz, GPa)

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from sim.keyfile import FileModel
from sim.table import Column

BLADE_COLUMNS = (
    Column("r_m", "distance from the rotor axis", low=0.0, low_is_open=True, high=200.0),
    Column("mass_kg_per_m", "mass per length", low=0.0, low_is_open=True),
    Column("flap_stiffness_N_m2", "bending stiffness flapwise", low=0.0, low_is_open=True),
    Column("edge_stiffness_N_m2", "bending stiffness edgewise", low=0.0, low_is_open=True),
    Column("torsion_stiffness_N_m2", "torsional stiffness", low=0.0, low_is_open=True, required=False),
    Column(
        "structural_twist_deg",
        "angle of the principal axes; without the column they follow the chord",
        low=-45.0,
        high=45.0,
        required=False,
    ),
    Column("twist_deg", "angle of the chord to the plane of rotation", low=-20.0, high=45.0),
    Column("chord_m", "chord", low=0.0, low_is_open=True, high=20.0),
    Column("thickness_ratio", "thickness over chord", low=0.0, low_is_open=True, high=1.0),
    Column("pitch_axis", "from leading edge to pitch axis, of the chord", low=0.0, high=1.0),
    Column("prebend_m", "axis away from the tower, at rest", low=-5.0, high=20.0),
)

POLAR_COLUMNS = (
    Column("angle_deg", "angle of attack", low=-180.0, high=180.0),
    Column("lift", "lift coefficient", low=-5.0, high=5.0),
    Column("drag", "drag coefficient", low=0.0, high=5.0),
    Column("moment", "moment coefficient about the quarter chord, nose up", low=-2.0, high=2.0),
)


def _number(meaning: str, **bounds: Any) -> Any:
    return Field(description=meaning, **bounds)


def _factor(meaning: str) -> Any:
    return Field(default=1.0, gt=0.0, le=10.0, description=meaning)


Positive = Annotated[float, Field(gt=0.0)]
DampingRatio = Annotated[float, Field(ge=0.0, lt=0.5)]


class RotorKeys(FileModel):
    """``[rotor]``"""

    side: Literal["upwind", "downwind"] = _number("where the rotor is, seen from the tower")
    blade_count: int = _number("number of blades", ge=2, le=3)
    hub_height_m: float = _number("height of the hub centre above ground", gt=0.0, le=400.0)
    hub_radius_m: float = _number("distance from the rotor axis to the blade root", gt=0.0, le=10.0)
    overhang_m: float = _number("along the shaft, from tower axis to hub centre", gt=0.0, le=40.0)
    tilt_deg: float = _number("tilt of the shaft; lifts the rotor end", ge=-5.0, le=20.0)
    cone_deg: float = _number("cone of the unloaded rotor, away from the tower", ge=-15.0, le=20.0)


class OffsetKeys(FileModel):
    """``[blade.offsets]``: what sets single blades apart, one number for each blade."""

    pitch_deg: list[Annotated[float, Field(ge=-10.0, le=10.0)]] = Field(
        default_factory=list, description="error of the pitch zero, one for each blade; none given: 0"
    )
    prebend_m: list[Annotated[float, Field(ge=-5.0, le=5.0)]] = Field(
        default_factory=list,
        description="prebend added at the tip, quadratic from the root, one for each blade; none given: 0",
    )
    stiffness_factor: list[Positive] = Field(
        default_factory=list, description="on flap and edge stiffness, one for each blade; none given: 1"
    )
    mass_factor: list[Positive] = Field(
        default_factory=list, description="on the mass, one for each blade; none given: 1"
    )


class BladeKeys(FileModel):
    """``[blade]``"""

    table: str = _number("CSV file of the blade, beside the turbine file", min_length=1)
    mass_factor: float = _factor("on the table's mass")
    flap_stiffness_factor: float = _factor("on the table's flap stiffness")
    edge_stiffness_factor: float = _factor("on the table's edge stiffness")
    torsion_stiffness_factor: float = _factor("on the table's torsion stiffness, where it has one")
    flap_1_damping_ratio: DampingRatio = _number("structural damping of the first flap mode, of critical")
    flap_2_damping_ratio: DampingRatio = _number("structural damping of the second flap mode, of critical")
    edge_1_damping_ratio: DampingRatio = _number("structural damping of the first edge mode, of critical")
    offsets: OffsetKeys = Field(default_factory=OffsetKeys, description="what sets single blades apart")


class SectionKeys(FileModel):
    name: str = _number("for the reader only", min_length=1)
    thickness_ratio: float = _number("thickness over chord", gt=0.0, le=1.0)


class RoundSection(SectionKeys):
    """``[[sections]]`` of ``kind = "round"``: no lift."""

    kind: Literal["round"] = _number("a round root section")
    drag: float = _number("drag coefficient, referred to the chord", ge=0.0, le=2.0)


class LiftingSection(SectionKeys):
    """``[[sections]]`` of ``kind = "lifting"``: a polar made from parameters."""

    kind: Literal["lifting"] = _number("a section given by parameters")
    lift_slope_per_rad: float = _number("slope of the lift coefficient in attached flow", ge=2.0, le=8.0)
    zero_lift_angle_deg: float = _number("angle of attack without lift", ge=-15.0, le=15.0)
    max_lift: float = _number("largest lift coefficient before stall", gt=0.0, le=3.0)
    min_lift: float = _number("smallest lift coefficient before negative stall", ge=-3.0, lt=0.0)
    min_drag: float = _number("smallest drag coefficient", gt=0.0, le=0.5)
    moment: float = _number("moment coefficient about the quarter chord, nose up", ge=-0.5, le=0.5)


class TabledSection(SectionKeys):
    """``[[sections]]`` of ``kind = "table"``: a polar measured or computed elsewhere."""

    kind: Literal["table"] = _number("a section given by a polar table")
    table: str = _number("CSV file of the polar, beside the turbine file", min_length=1)


AnySection = Annotated[RoundSection | LiftingSection | TabledSection, Field(discriminator="kind")]


class TowerKeys(FileModel):
    """``[tower]``"""

    height_m: float = _number("height of the tower top (yaw bearing) above ground", gt=0.0, le=400.0)
    base_diameter_m: float = _number("outer diameter at the ground", gt=0.0, le=30.0)
    top_diameter_m: float = _number("outer diameter at the top", gt=0.0, le=30.0)
    base_wall_mm: float = _number("wall thickness at the ground", gt=0.0, le=500.0)
    top_wall_mm: float = _number("wall thickness at the top", gt=0.0, le=500.0)
    youngs_modulus_GPa: float = _number("Young's modulus", gt=0.0, le=1000.0)
    density_kg_m3: float = _number("effective density, with flanges, ladders and paint", gt=0.0, le=20000.0)
    damping_ratio: DampingRatio = _number("structural damping of the first bending modes, of critical")
    drag_coefficient: float = _number("sets the wake that a downwind blade meets", ge=0.0, le=2.0)


class NacelleKeys(FileModel):
    """``[nacelle]``"""

    mass_t: float = _number("nacelle without hub and blades", gt=0.0, le=3000.0)
    centre_x_m: float = _number("its centre of mass, downwind of the tower axis", ge=-20.0, le=20.0)
    centre_z_m: float = _number("its centre of mass, above the tower top", ge=-5.0, le=20.0)
    hub_mass_t: float = _number("hub with pitch bearings and servos, without blades", gt=0.0, le=1000.0)
    hub_inertia_kg_m2: float = _number("inertia of the hub about the shaft", ge=0.0)


class MachineKeys(FileModel):
    """``[machine]``"""

    rated_power_kW: float = _number("rated electrical power", gt=0.0, le=50000.0)
    rated_rotor_speed_rpm: float = _number("rotor speed at rated power", gt=0.0, le=100.0)
    minimum_rotor_speed_rpm: float = _number("smallest rotor speed in power production", gt=0.0, le=100.0)
    gear_ratio: float = _number("generator speed over rotor speed; 1 without a gearbox", ge=1.0, le=500.0)
    generator_inertia_kg_m2: float = _number("inertia of the generator about its own shaft", ge=0.0)
    torque_lag_s: float = _number("first-order lag of the generator torque", ge=0.0, le=5.0)
    efficiency: float = _number("electrical power over shaft power", gt=0.0, le=1.0)
    cut_in_m_s: float = _number("wind speed at which production starts", gt=0.0, le=50.0)
    cut_out_m_s: float = _number("wind speed at which production ends", gt=0.0, le=50.0)
    torque_limit_factor: float = _number("largest generator torque over rated torque", ge=1.0, le=3.0)
    torque_rate_limit_per_s: float = _number("fastest change of torque, in rated torques a second", gt=0.0)


def _servo_factor(meaning: str) -> Any:
    return Field(default_factory=list, description=f"{meaning}, one for each blade; none given: 1")


class ServoOffsetKeys(FileModel):
    """``[pitch.offsets]``: what sets single servos apart, one number for each blade."""

    rate_factor: list[Positive] = _servo_factor("on the rates of normal running and of a stop")
    acceleration_factor: list[Positive] = _servo_factor("on the acceleration limit")
    frequency_factor: list[Positive] = _servo_factor("on the natural frequency")


class PitchKeys(FileModel):
    """``[pitch]``"""

    fine_deg: float = _number("smallest pitch, of production below rated wind", ge=-10.0, le=20.0)
    feather_deg: float = _number("pitch at which the blade is feathered", ge=45.0, le=100.0)
    natural_frequency_Hz: float = _number("natural frequency of the servo", gt=0.0, le=20.0)
    damping_ratio: float = _number("damping of the servo, of critical", gt=0.0, le=2.0)
    delay_s: float = _number("from command to servo", ge=0.0, le=1.0)
    rate_limit_deg_s: float = _number("fastest pitch rate", gt=0.0, le=50.0)
    acceleration_limit_deg_s2: float = _number("largest pitch acceleration", gt=0.0, le=500.0)
    stop_rate_deg_s: float | None = _number(
        "pitch rate of an emergency stop; none given: rate_limit_deg_s", default=None, gt=0.0, le=50.0
    )
    play_deg: float = _number("backlash between servo and blade", default=0.0, ge=0.0, le=2.0)
    bearing_friction: float = _number(
        "coefficient of friction of the pitch bearings; none given: no friction in the servos' torque",
        default=0.0,
        ge=0.0,
        le=0.1,
    )
    bearing_diameter_m: float | None = _number(
        "of the pitch bearings' rows; needed where they have friction",
        default=None,
        gt=0.0,
        le=15.0,
    )
    offsets: ServoOffsetKeys = Field(default_factory=ServoOffsetKeys, description="what sets servos apart")


class TurbineKeys(FileModel):
    """A whole turbine file."""

    name: str = _number("what reports call the turbine", min_length=1)
    air_density_kg_m3: float = _number("air density at the hub", gt=0.5, le=1.6)
    rotor: RotorKeys
    blade: BladeKeys
    sections: list[AnySection] = Field(min_length=2, description="from the root's round to the thinnest")
    tower: TowerKeys
    nacelle: NacelleKeys
    machine: MachineKeys
    pitch: PitchKeys
