"""What does a turbine file amount to?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from scenarios.answer import Answer, table
from scenarios.provenance import versions
from scenarios.studies.waterfall import waterfall
from sim.design import Turbine
from sim.plant.blade import blade_modes
from sim.plant.geometry import feathered_clearance, unloaded_clearance, unloaded_clearance_axis
from sim.plant.tower import tower_modes
from sim.plant.trim import Steady, steady_table

MULTIPLES = (1, 2, 3, 6, 9)
"""Of the rotor's turns, that a frequency should keep clear of."""

SIGNS = (
    "upwind or downwind alike, positive tilt lifts the rotor's end of the shaft, and positive cone and "
    "prebend lean the blades away from the tower: all three add clearance"
)
"""What the signs of a rotor's angles mean."""

_SPEEDS = 12
_RPM = 60.0 / (2.0 * math.pi)


def run(turbine: Turbine) -> Answer:
    """Return what a turbine amounts to.

    Raises
    ------
    InputError, RunError
        The blade folds, or has no steady state at some wind speed.
    """
    data = card(turbine)
    return Answer(data, card_text(data))


def card(turbine: Turbine) -> dict[str, Any]:
    """Return masses, frequencies, clearances and the steady table, units in the names.

    Notes
    -----
    ``blade_first_moment_kg_m`` is about the blade root. All of the blade is that of blade 1, its own offsets
    included; the steady table is that of blades that do not differ.
    """
    modes, steady = blade_modes(turbine), steady_table(turbine)
    tower = tower_modes(turbine)
    clearance = unloaded_clearance(turbine)
    return {
        "turbine": turbine.name,
        "content_hash": turbine.content_hash(),
        "versions": versions(),
        "rated_power_kW": turbine.machine.rated_power / 1e3,
        "rotor_diameter_m": 2.0 * steady.rotor_radius,
        "hub_height_m": turbine.rotor.hub_height,
        "rotor_side": "upwind" if turbine.rotor.side < 0.0 else "downwind",
        "tilt_deg": math.degrees(turbine.rotor.tilt),
        "cone_deg": math.degrees(turbine.rotor.cone),
        "signs": SIGNS,
        "rated_wind_speed_m_s": steady.rated_wind_speed,
        "blade_mass_kg": modes.mass,
        "blade_first_moment_kg_m": modes.first_moment - turbine.rotor.hub_radius * modes.mass,
        "tower_top_mass_kg": tower.top.mass,
        "unloaded_clearance_m": clearance,
        "unloaded_clearance_axis_m": unloaded_clearance_axis(turbine),
        "feathered_clearance_m": feathered_clearance(turbine),
        "feathered_clearance_axis_m": unloaded_clearance_axis(turbine, turbine.pitch.feather),
        "frequencies_Hz": _frequencies(turbine),
        "tower_frequencies_Hz": {
            "fore_aft": tower.fore_aft.frequency,
            "side_side": tower.side_side.frequency,
        },
        "steady": _steady_rows(steady),
        "waterfall": waterfall(turbine),
    }


def _frequencies(turbine: Turbine) -> list[dict[str, float]]:
    """Return the blade's frequencies from standstill to a tenth above rated speed, at fine pitch."""
    modes = blade_modes(turbine)
    speeds = np.linspace(0.0, 1.1, _SPEEDS) * turbine.machine.rated_rotor_speed
    return [
        {"rotor_speed_rpm": speed * _RPM}
        | modes.frequencies(speed, turbine.pitch.fine)
        | {f"multiple_{number}": number * speed / (2.0 * math.pi) for number in MULTIPLES}
        for speed in speeds.tolist()
    ]


def _steady_rows(steady: Steady) -> list[dict[str, float]]:
    columns = {
        "wind_speed_m_s": steady.wind_speed,
        "rotor_speed_rpm": steady.rotor_speed * _RPM,
        "pitch_deg": np.degrees(steady.pitch),
        "power_kW": steady.power / 1e3,
        "thrust_kN": steady.thrust / 1e3,
        "tip_deflection_m": steady.tip_deflection,
        "power_coefficient": steady.power_coefficient,
        "thrust_coefficient": steady.thrust_coefficient,
    }
    return [
        dict(zip(columns, row, strict=True))
        for row in zip(*(column.tolist() for column in columns.values()), strict=True)
    ]


def card_text(data: dict[str, Any]) -> str:
    """Return the card for people."""
    parts = [
        f"{data['turbine']}: {data['rated_power_kW']:.0f} kW, rotor {data['rotor_diameter_m']:.1f} m, "
        f"hub {data['hub_height_m']:.1f} m, rated wind {data['rated_wind_speed_m_s']:.1f} m/s",
        f"blade {data['blade_mass_kg']:.0f} kg, first moment about the root "
        f"{data['blade_first_moment_kg_m']:.4g} kg m; tower top {data['tower_top_mass_kg'] / 1e3:.0f} t",
        f"rotor {data['rotor_side']} of the tower, tilt {data['tilt_deg']:+.2f} deg, cone "
        f"{data['cone_deg']:+.2f} deg ({SIGNS})",
        f"unloaded clearance, rotor turning, {data['unloaded_clearance_m']:.2f} m "
        f"(reference line alone {data['unloaded_clearance_axis_m']:.2f} m); at rest, blades at feather, "
        f"{data['feathered_clearance_m']:.2f} m (reference line {data['feathered_clearance_axis_m']:.2f} m)",
        "From the unloaded clearance to what remains in steady wind, the blade down:\n" + _fall_text(data),
        "Frequencies [Hz] against multiples of the rotor speed (tower fore-aft "
        f"{data['tower_frequencies_Hz']['fore_aft']:.3f}, side-side "
        f"{data['tower_frequencies_Hz']['side_side']:.3f}):\n" + _frequency_text(data),
        "Steady operation, axisymmetric (no shear, tilt or tower):\n" + _steady_text(data),
    ]
    return "\n\n".join(parts)


def _fall_text(data: dict[str, Any]) -> str:
    rows = [[s["step"], f"{s['change_m']:+.2f}", f"{s['clearance_m']:.2f}"] for s in data["waterfall"]]
    share = data["waterfall"][-1]["clearance_m"] / data["unloaded_clearance_m"]
    return table(["", "change m", "left m"], rows) + f"\nthat is {share:.0%} of the unloaded clearance"


def _frequency_text(data: dict[str, Any]) -> str:
    names = ["rotor_speed_rpm", "flap_1", "edge_1", "flap_2"]
    multiples = [f"multiple_{number}" for number in MULTIPLES]
    head = ["rpm", "flap 1", "edge 1", "flap 2", *(f"x{number}" for number in MULTIPLES)]
    rows = [
        [f"{row['rotor_speed_rpm']:.1f}", *(f"{row[name]:.3f}" for name in [*names[1:], *multiples])]
        for row in data["frequencies_Hz"]
    ]
    return table(head, rows)


def _steady_text(data: dict[str, Any]) -> str:
    head = ["wind m/s", "rpm", "pitch deg", "power kW", "thrust kN", "tip m", "power coeff", "thrust coeff"]
    formats = (".1f", ".2f", ".2f", ".0f", ".0f", ".2f", ".3f", ".3f")
    rows = [
        [format(value, style) for value, style in zip(row.values(), formats, strict=True)]
        for row in data["steady"]
    ]
    return table(head, rows)
