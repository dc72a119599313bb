"""What do the kernels need to know of the turbines, and where does a lane begin?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.errors import InputError
from sim.kernels import layout as at
from sim.plant.blade import AtStations, BladeModes, blade_modes
from sim.plant.section import build_polars, stations
from sim.plant.tower import tower_modes
from sim.plant.trim import steady_table, storm_pitch

Array = NDArray[Any]
STOP_MARGIN = np.radians(2.0)
"""How far [rad] the lower mechanical stop lies below fine pitch: room for a servo's overshoot."""
LARGEST_DEFLECTION = 0.35
"""Share of the blade's length beyond which its first flap mode is no longer trusted [-]."""
ATTACHED = 184
"""Row of the section tables, 4 degrees, whose moment stands for all attached flow."""
GYRATION = 0.25
"""Radius of gyration of a section about its pitch axis over the chord [-]; invented."""
LARGEST_PHASE = 0.6
"""Largest product of a mode's angular frequency and the step [-]; beyond it a period is divided."""
MOST_PARTS = 4
"""Most steps in a controller period; a longer period would let a pass slip between two decisions."""


def pack_designs(turbines: Sequence[Turbine]) -> at.Design:
    """Pack turbines into the arrays of the kernels, one design each.

    Parameters
    ----------
    turbines : sequence of Turbine
        All with the same number of blades.

    Raises
    ------
    InputError
        If blade counts differ.
    """
    counts = {turbine.rotor.blade_count for turbine in turbines}
    if len(counts) != 1:
        raise InputError(
            f"turbines of {sorted(counts)} blades cannot march in one batch; give one batch each"
        )
    packed = [_pack_one(turbine) for turbine in turbines]
    return at.Design(*(np.ascontiguousarray(np.stack(parts)) for parts in zip(*packed, strict=True)))


def _pack_one(turbine: Turbine) -> tuple[Array, ...]:
    key = turbine.content_hash()
    if key not in _PACKED:
        if len(_PACKED) > 64:
            _PACKED.clear()
        _PACKED[key] = _pack_fresh(turbine)
    return _PACKED[key]


_PACKED: dict[str, tuple[Array, ...]] = {}


def _pack_fresh(turbine: Turbine) -> tuple[Array, ...]:
    count, side = turbine.rotor.blade_count, turbine.rotor.side
    modes = [blade_modes(turbine, blade) for blade in range(count)]
    k = _station_constants(turbine, modes)
    table = build_polars(turbine).table
    polars = np.ascontiguousarray(table[:, :, :4])
    for b in range(count):
        k[at.MOMENT // at.WIDTH, b * at.STATIONS : (b + 1) * at.STATIONS] = table[:, ATTACHED, 4]
    blades = np.zeros((at.BLADES, at.BLADE_SCALARS))
    vectors = np.zeros((at.BLADES, 8, at.SHAPES))
    matrices = np.zeros((at.BLADES, at.MATRICES, at.SHAPES, at.SHAPES))
    inverse = np.zeros((at.BLADES, at.MODES, at.MODES))
    for b, m in enumerate(modes):
        blades[b] = (
            m.mass, m.first_moment, m.second_moment, side * m.prebend_moment0, side * m.prebend_moment1,
            m.prebend_moment2, turbine.blade.pitch_offset[b], *_servo(turbine, b),
        )  # fmt: skip
        vectors[b] = m.Fx, m.Fy, m.Jx, m.Jy, side * m.Pr, side * m.P1, side * m.Px, side * m.Py
        mass = m.Mxx + m.Myy
        matrices[b, : at.MAT_C] = mass, m.Myy, m.Mxy + m.Mxy.T, m.Mxy.T - m.Mxy, m.Sr, m.S1, m.K
        critical = 4.0 * np.pi * m.mode_frequency * np.diag(mass)[: at.MODES]
        matrices[b, at.MAT_C, : at.MODES, : at.MODES] = np.diag(m.damping * critical)
        inverse[b] = np.linalg.inv(mass[: at.MODES, : at.MODES])
    tower = tower_modes(turbine)
    heights = np.linspace(0.0, turbine.tower.height, 65)
    shape = np.stack([tower.fore_aft.shape(heights), tower.side_side.shape(heights)])
    return _scalars(turbine), k.ravel(), polars, blades, vectors, matrices, inverse, shape


def _servo(turbine: Turbine, b: int) -> tuple[float, ...]:
    """Return the scalars of one blade's servo, and the blade's inertia about an axis through its sections."""
    pitch, blade = turbine.pitch, turbine.blade
    section = blade.mass * blade.mass_factor[b] * (GYRATION * blade.chord) ** 2
    friction = 0.5 * pitch.bearing_friction
    return (
        pitch.natural_frequency * pitch.frequency_factor[b],
        pitch.rate_limit * pitch.rate_factor[b],
        pitch.acceleration_limit * pitch.acceleration_factor[b],
        pitch.stop_rate * pitch.rate_factor[b],
        0.5 * pitch.play,
        float(np.sum(0.5 * (section[1:] + section[:-1]) * np.diff(blade.r))),
        friction,
        friction * pitch.bearing_diameter,
    )


def _station_constants(turbine: Turbine, modes: Sequence[BladeModes]) -> Array:
    """Return the rows of station constants (STATION_ROWS, WIDTH); the tips stand from TIP_COLUMN on."""
    blade = turbine.blade
    _, centres, widths = stations(turbine)
    if len(centres) != at.STATIONS:
        raise ValueError(f"{len(centres)} stations where the kernels have {at.STATIONS}")
    k = np.zeros((at.STATION_ROWS, at.WIDTH))
    _row(k, at.R)[:] = _row(k, at.CHORD)[:] = 1.0
    for b, m in enumerate(modes):
        own = slice(b * at.STATIONS, (b + 1) * at.STATIONS)
        tip = slice(at.TIP_COLUMN + b, at.TIP_COLUMN + b + 1)
        for where, columns in ((centres, own), (blade.r[-1:], tip)):
            _planform(k[:, columns], turbine, where)
            _shapes(k[:, columns], m.at(where), turbine.rotor.side)
        _row(k, at.DR)[own] = widths
    r, tip_radius, root = _row(k, at.R), turbine.rotor_radius, turbine.rotor.hub_radius
    _row(k, at.OVER_CHORD)[:] = 1.0 / _row(k, at.CHORD)
    _row(k, at.TIP_GAP)[:] = np.maximum(tip_radius / r - 1.0, 0.0)
    _row(k, at.ROOT_GAP)[:] = np.maximum(r / root - 1.0, 0.0)
    _row(k, at.SOLIDITY)[:] = turbine.rotor.blade_count * _row(k, at.CHORD) / (2.0 * np.pi * r)
    _row(k, at.INFLOW_LAG)[:] = 1.0 / (0.39 - 0.26 * (r / tip_radius) ** 2)
    ahead = _row(k, at.MID) + 0.25 * _row(k, at.CHORD)
    _row(k, at.LIFT_X)[:] = -ahead * np.sin(_row(k, at.TWIST))
    _row(k, at.LIFT_Y)[:] = ahead * np.cos(_row(k, at.TWIST))
    return k


def _row(k: Array, offset: int, count: int = 1) -> Array:
    """Return the row (or rows) of constants that begin at ``offset`` of the packed array."""
    first = offset // at.WIDTH
    return k[first] if count == 1 else k[first : first + count]


def _planform(k: Array, turbine: Turbine, where: Array) -> None:
    """Write radius, chord, twist and outline of one blade's stations."""
    blade = turbine.blade
    chord, axis, ratio, twist = (
        np.interp(where, blade.r, column)
        for column in (blade.chord, blade.pitch_axis, blade.thickness_ratio, blade.twist)
    )
    _row(k, at.R)[:], _row(k, at.CHORD)[:], _row(k, at.TWIST)[:] = where, chord, twist
    _row(k, at.ARM)[:] = (0.75 - axis) * chord
    _row(k, at.MID)[:] = (axis - 0.5) * chord
    _row(k, at.THICK)[:] = ratio * chord


def _shapes(k: Array, basis: AtStations, side: float) -> None:
    """Write mode shapes, prebend and the terms of shortening of one blade's stations."""
    _row(k, at.PHI_X, at.SHAPES)[:] = basis.phi_x
    _row(k, at.PHI_Y, at.SHAPES)[:] = basis.phi_y
    _row(k, at.PREBEND)[:] = side * basis.prebend
    _row(k, at.LIFT_P, at.MODES)[:] = side * basis.P.T[: at.MODES]
    pairs = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    _row(k, at.LIFT_S, len(pairs))[:] = [basis.S[:, i, j] for i, j in pairs]


def _scalars(turbine: Turbine) -> Array:
    rotor, tower, machine, pitch = turbine.rotor, turbine.tower, turbine.machine, turbine.pitch
    modes = tower_modes(turbine)
    top = modes.top
    rise = rotor.hub_height - tower.height
    blades = float(np.sum([m.mass for m in (blade_modes(turbine, b) for b in range(rotor.blade_count))]))
    rotor_mass = turbine.nacelle.hub_mass + blades
    hub_x = rotor.side * rotor.overhang * np.cos(rotor.tilt)
    ahead = turbine.nacelle.mass * turbine.nacelle.centre_x + rotor_mass * hub_x
    s = np.zeros(at.SCALARS)
    s[at.SIDE], s[at.TILT] = rotor.side, rotor.tilt
    s[at.COS_CONE], s[at.SIN_CONE] = np.cos(rotor.cone), np.sin(rotor.cone)
    s[at.OVERHANG], s[at.HUB_HEIGHT], s[at.HUB_RADIUS] = rotor.overhang, rotor.hub_height, rotor.hub_radius
    s[at.TIP_RADIUS], s[at.DENSITY] = turbine.rotor_radius, turbine.air_density
    s[at.ROTOR_INERTIA] = turbine.nacelle.hub_inertia + machine.generator_inertia * machine.gear_ratio**2
    for first, mode, inertia in (
        (at.FA_MASS, modes.fore_aft, top.fore_aft_inertia),
        (at.SS_MASS, modes.side_side, top.side_side_inertia),
    ):
        mass = mode.mass + top.mass + 2.0 * mode.top_slope * top.lift + mode.top_slope**2 * inertia
        damping = 2.0 * mode.damping_ratio * np.sqrt(mode.stiffness * mass)
        s[first : first + 5] = mass, mode.stiffness, damping, mode.top_slope, 1.0 + mode.top_slope * rise
    s[at.FA_GRAVITY] = modes.fore_aft.top_slope * 9.80665 * ahead
    s[at.FA_BASE], s[at.SS_BASE] = (
        modes.fore_aft.base_moment_factor,
        modes.side_side.base_moment_factor,
    )
    s[at.TOWER_HEIGHT], s[at.TOWER_DRAG] = tower.height, tower.drag_coefficient
    s[at.TOWER_BASE_RADIUS], s[at.TOWER_TOP_RADIUS] = 0.5 * tower.base_diameter, 0.5 * tower.top_diameter
    s[at.PITCH_FREQUENCY], s[at.PITCH_DAMPING] = pitch.natural_frequency, pitch.damping_ratio
    s[at.PITCH_RATE_LIMIT], s[at.PITCH_ACCELERATION_LIMIT] = pitch.rate_limit, pitch.acceleration_limit
    s[at.PITCH_LOW], s[at.PITCH_HIGH] = pitch.fine - STOP_MARGIN, pitch.feather
    s[at.TORQUE_LAG], s[at.EFFICIENCY] = machine.torque_lag, machine.efficiency
    s[at.RATED_SPEED], s[at.TOP_LIFT] = machine.rated_rotor_speed, top.lift
    s[at.DEFLECTION_LIMIT] = LARGEST_DEFLECTION * (turbine.rotor_radius - rotor.hub_radius)
    return s


def stiffest_mode(turbine: Turbine) -> tuple[str, float]:
    """Return name and angular frequency [rad/s] of the fastest motion that the march follows in steps."""
    modes, tower = blade_modes(turbine), tower_modes(turbine)
    rates: dict[str, float] = dict(
        zip(("flap_1", "flap_2", "edge_1"), 2.0 * np.pi * modes.mode_frequency, strict=True)
    )
    rates["pitch servo"] = turbine.pitch.natural_frequency * float(turbine.pitch.frequency_factor.max())
    rates["tower fore-aft"] = 2.0 * np.pi * tower.fore_aft.frequency
    rates["tower side-side"] = 2.0 * np.pi * tower.side_side.frequency
    name = max(rates, key=lambda mode: rates[mode])
    return name, float(rates[name])


def longest_period(turbine: Turbine) -> float:
    """Return the longest controller period [s] that the march divides finely enough for the stiffest mode."""
    return MOST_PARTS * LARGEST_PHASE / stiffest_mode(turbine)[1]


def parts_of(turbines: Sequence[Turbine], period: float) -> int:
    """Return how many steps a period [s] must be divided into for the stiffest mode of any turbine.

    Raises
    ------
    InputError
        If that is more than MOST_PARTS.
    """
    parts = 1
    for turbine in turbines:
        name, rate = stiffest_mode(turbine)
        if period > longest_period(turbine) * (1.0 + 1e-9):
            raise InputError(
                f"period_s = {period:g}; must be at most {longest_period(turbine):.4g} s: {MOST_PARTS} steps "
                f"of {LARGEST_PHASE} rad of the stiffest mode, {name} at {rate / (2.0 * np.pi):.3g} Hz"
            )
        parts = max(parts, int(np.ceil(rate * period / LARGEST_PHASE - 1e-9)))
    return parts


def begin_state(turbine: Turbine, wind_speed: float, azimuth: float) -> Array:
    """Return the state of a lane at its start: the steady point of its mean wind.

    Parameters
    ----------
    wind_speed : float [m/s]
        Held within the steady table; above it only the pitch is that of the wind itself, or the rotor would
        run away at once.
    azimuth : float [rad]
        Of blade 0.

    Returns
    -------
    (STATE,) float64
    """
    table = steady_table(turbine)

    def look(column: Array) -> Any:
        flat = column.reshape(len(table.wind_speed), -1)
        return np.array([np.interp(wind_speed, table.wind_speed, flat[:, j]) for j in range(flat.shape[1])])

    count = turbine.rotor.blade_count
    y = np.zeros(at.STATE)
    y[at.AZIMUTH], y[at.SPEED] = azimuth, look(table.rotor_speed)[0]
    y[at.TORQUE] = look(table.torque)[0]
    scalars = _pack_one(turbine)[0]
    thrust = look(table.thrust)[0]
    y[at.TOWER] = (thrust * scalars[at.FA_LEVER] + scalars[at.FA_GRAVITY]) / scalars[at.FA_STIFFNESS]
    y[at.TOWER + 2] = -y[at.TORQUE] * scalars[at.SS_SLOPE] / scalars[at.SS_STIFFNESS]
    w, q = look(table.w), look(table.q)
    is_storm = wind_speed > table.wind_speed[-1]
    pitch = storm_pitch(turbine, wind_speed) if is_storm else look(table.pitch)[0]
    for b in range(count):
        y[at.Q + at.MODES * b : at.Q + at.MODES * (b + 1)] = q
        y[at.PITCH + b] = y[at.HELD + b] = pitch
        for row, value in ((at.ROW_W, w), (at.ROW_Z, 0.4 * w), (at.ROW_F, 1.0)):
            first = at.FLAT + row + b * at.STATIONS
            y[first : first + at.STATIONS] = value
    return y
