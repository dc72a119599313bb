"""What does a controls engineer know of the designs that are marched?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.design import Turbine
from sim.interface import Known, SteadyTable
from sim.kernels import layout as at
from sim.plant.blade import blade_modes
from sim.plant.geometry import unloaded_clearance
from sim.plant.pack import pack_designs
from sim.plant.trim import steady_table

Array = NDArray[Any]


def gather_known(
    turbines: Sequence[Turbine],
    design: Array,
    required: Array,
    period: float,
    preview_range: float = float("nan"),
) -> Known:
    """Collect what layers may know, one row a lane.

    Parameters
    ----------
    turbines : sequence of Turbine
    design : (lane,) int64 - index into ``turbines``
    required : (lane,) float64 [m] - clearance that must remain
    period : float [s]
    preview_range : float [m] - of the forward-looking sensor, nan without one
    """
    told = [_facts(turbine) for turbine in turbines]
    tables = [_table(turbine) for turbine in turbines]

    def pick(name: str) -> Array:
        return np.stack([fact[name] for fact in told])[design]

    columns = {name: _padded([table[name] for table in tables])[design] for name in tables[0]}
    return Known(
        period=period,
        blade_count=turbines[0].rotor.blade_count,
        steady=SteadyTable(**columns),
        required_clearance=np.asarray(required, float),
        preview_range=np.full(len(design), preview_range),
        **{name: pick(name) for name in told[0]},
    )


def _padded(rows: Sequence[Array]) -> Array:
    longest = max(len(row) for row in rows)
    return np.stack([np.pad(row, (0, longest - len(row)), mode="edge") for row in rows])


def _table(turbine: Turbine) -> dict[str, Array]:
    """Columns of the steady table that layers know."""
    steady = steady_table(turbine)
    names = (
        "wind_speed", "rotor_speed", "pitch", "torque", "thrust", "root_flap_moment", "tip_deflection",
        "torque_per_pitch", "deflection_per_pitch",
    )  # fmt: skip
    columns = {name: np.asarray(getattr(steady, name)) for name in names}
    lean = np.cos(turbine.rotor.tilt + turbine.rotor.cone)
    towards = -turbine.rotor.side * columns["tip_deflection"] * lean
    return columns | {"clearance": unloaded_clearance(turbine) - towards}


def _facts(turbine: Turbine) -> dict[str, Array]:
    """Everything of one turbine that is no table."""
    machine, pitch, modes = turbine.machine, turbine.pitch, blade_modes(turbine)
    steady = steady_table(turbine)
    rated = machine.rated_power / machine.efficiency / machine.rated_rotor_speed
    ratio, best = steady.optimal_tip_speed_ratio, steady.largest_power_coefficient
    radius = steady.rotor_radius
    gain = 0.5 * turbine.air_density * np.pi * radius**5 * best / ratio**3
    blades = sum(blade_modes(turbine, b).second_moment for b in range(turbine.rotor.blade_count))
    inertia = blades + turbine.nacelle.hub_inertia + machine.generator_inertia * machine.gear_ratio**2
    facts = {
        "rated_power": machine.rated_power,
        "rated_torque": rated,
        "rated_rotor_speed": machine.rated_rotor_speed,
        "minimum_rotor_speed": machine.minimum_rotor_speed,
        "efficiency": machine.efficiency,
        "rotor_inertia": inertia,
        "optimal_torque_gain": gain,
        "fine_pitch": pitch.fine,
        "feather_pitch": pitch.feather,
        "pitch_rate_limit": pitch.rate_limit,
        "pitch_acceleration_limit": pitch.acceleration_limit,
        "pitch_natural_frequency": pitch.natural_frequency,
        "pitch_damping_ratio": pitch.damping_ratio,
        "pitch_delay": pitch.delay,
        "blade_frequency": 2.0 * np.pi * modes.mode_frequency,
        "blade_damping_ratio": modes.damping,
        "flap_aerodynamic_damping_ratio": flap_damping(turbine),
        "deflection_per_moment": 1.0 / root_moment_per_deflection(turbine),
        "unloaded_clearance": unloaded_clearance(turbine),
        "rotor_radius": turbine.rotor_radius,
        "side": turbine.rotor.side,
    }
    return {name: np.asarray(value, float) for name, value in facts.items()}


def root_moment_per_deflection(turbine: Turbine) -> float:
    """Return the root flap moment over the tip deflection of the first flap mode, swinging freely [N].

    Notes
    -----
    A mode swinging at its frequency w loads its root with w^2 times the first moment of its inertia.
    """
    modes = blade_modes(turbine)
    omega = 2.0 * np.pi * modes.mode_frequency[0]
    return float(omega**2 * (modes.Mxx[3, 0] + modes.Myy[3, 0]))


def flap_damping(turbine: Turbine) -> float:
    """Return the aerodynamic damping ratio of the first flap mode at rated speed, attached flow [-].

    Notes
    -----
    Derived here: a section moving at speed v loses density/2 slope chord omega r v of lift; the work of that
    over a cycle, over twice the modal mass times the frequency. Lift slope 2 pi; the lag of the wake
    is left out.
    """
    packed = pack_designs([turbine]).stations[0]
    chord, r, shape, width = (packed[row : row + at.STATIONS] for row in (at.CHORD, at.R, at.PHI_X, at.DR))
    modes = blade_modes(turbine)
    lost = np.sum(chord * r * shape**2 * width)
    damping = 0.5 * turbine.air_density * 2.0 * np.pi * turbine.machine.rated_rotor_speed * lost
    mass = modes.Mxx[0, 0] + modes.Myy[0, 0]
    return float(damping / (2.0 * mass * 2.0 * np.pi * modes.mode_frequency[0]))
