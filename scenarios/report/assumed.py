"""What was assumed: requirement, winds, sensors, limits, versions?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from scenarios.case import LayerSpec
from scenarios.report.page import Lines, Row, Section, Table, Text
from scenarios.scenario import Scenario
from scenarios.scenario_file import ScenarioKeys
from scenarios.studies.gather import mean_wind
from scenarios.wind_keys import STEADY
from sim.units import unit_of

LIMITS = (
    "Three shapes for each blade and two for the tower; blade elements with dynamic inflow and unsteady "
    "sections.",
    "Left out: torsion of the blade, higher bending modes, yaw of the nacelle, soft foundations, ice, "
    "wakes of other turbines, dirt.",
    "Clearance is looked for over the outer fifth of each blade, horizontally from its outline to the wall "
    "of the moving tower.",
    "Winds above cut-out are marched with the rotor turning under its logic; a rotor at rest is not "
    "modelled.",
    "A share of passes from simulation is not a rate of dangerous failures; software's systematic faults "
    "have no probability.",
)


def assumed_section(scenario: Scenario, data: Mapping[str, Any]) -> Section:
    """Say what the results rest on."""
    return Section(
        "What was assumed",
        [
            Text(_rule_words(data)),
            _winds_table(scenario),
            Text(_site_words(scenario)),
            Text(
                "Sensors that the logic may read, with the age and the noise (standard deviation) of their "
                "readings:"
            ),
            _sensor_table(scenario),
            Text("Each entry's turbine differs from the file only as said here:"),
            Table(["entry", "set", "layers and parameters"], _entry_rows(scenario), left=3),
            Lines(LIMITS),
            Text(
                f"Seed {scenario.seed}. Configuration {data['configuration_hash']}. Versions: "
                + ", ".join(f"{name} {value}" for name, value in data["versions"].items())
                + "."
            ),
        ],
    )


def _rule_words(data: Mapping[str, Any]) -> str:
    asked = data["requirement"]
    return (
        f"Requirement: {asked['required_clearance_m']:.3f} m of clearance must remain in the governing case "
        f"({asked['words']}). One rule is used at a time: a share of the unloaded clearance under "
        "characteristic loads, as certification guidelines are commonly told, with the rotor at rest another "
        "share of that of the feathered blade; or the factored deflection of "
        "IEC 61400-1, with 1.35 for loads in normal and 1.1 in abnormal load cases (faults); or a distance "
        "of the user's own. The user's certification body decides which rule holds."
    )


def _site_words(scenario: Scenario) -> str:
    site = scenario.site
    density = scenario.reference.design.air_density
    return (
        f"Site: wind class {site['wind_class']}, turbulence category {site['turbulence_category']}, annual "
        f"mean {mean_wind(scenario):.2f} m/s{_life_words(scenario)}, air {density:g} kg/m³, shear exponent "
        f"{site['shear_exponent']:g}, upflow {site['upflow_deg']:g} deg, yaw error "
        f"{site['yaw_error_deg']:g} deg. Turbulence in the longitudinal component, by the spectrum and "
        "coherence of IEC 61400-1. All entries meet the same winds."
    )


def _life_words(scenario: Scenario) -> str:
    life = scenario.life
    if life is None:
        return " (Rayleigh)"
    own = "" if life.mean is None else f", for the life {life.mean:g} m/s"
    kind = "Rayleigh" if life.shape == 2.0 else f"Weibull of shape {life.shape:g}"
    return f"{own} ({kind}; {life.years:g} years, available {100.0 * life.availability:g} %)"


def _winds_table(scenario: Scenario) -> Table:
    rows = []
    cases = scenario.cases_of(scenario.reference)
    for label in dict.fromkeys(case.load_case for case in cases):
        mine = [case for case in cases if case.load_case == label]
        run = mine[0].run
        speeds = ", ".join(f"{speed:g}" for speed in dict.fromkeys(case.wind.speed for case in mine))
        count = max(case.number for case in mine)
        what = "rotor positions" if mine[0].is_event else "seeds"
        rests = run.at_rest
        each = "steady" if mine[0].wind.kind in STEADY and not rests else f"{count} {what}"
        kind = mine[0].wind.kind.replace("_", " ") + (", rotor at rest" if rests else "")
        times = [f"{run.duration:g}", f"{run.settle:g}"]
        rows.append(Row([label, kind, speeds, each, *times]))
    head = ["load case", "wind", "speeds [m/s]", "each", "judged [s]", "settled before [s]"]
    return Table(head, rows, left=4)


def _sensor_table(scenario: Scenario) -> Table:
    spec = scenario.cases[0].sensors
    noises, details = dict(spec.noises), dict(getattr(spec, "details", ()))
    rows = []
    for name, delay in spec.delays:
        unit, factor = _unit_of(name)
        more = ", ".join(f"{what.replace('_', ' ')} {value:.3g}" for what, value in details.get(name, ()))
        rows.append(Row([name.replace("_", " "), f"{delay:g}", f"{noises[name] / factor:.4g} {unit}", more]))
    if not details:
        return Table(["sensor", "age [s]", "noise"], [Row(row.cells[:3]) for row in rows])
    return Table(["sensor", "age [s]", "noise", "besides, in SI units"], rows)


def _unit_of(sensor: str) -> tuple[str, float]:
    """Return the unit of a sensor's noise and its factor to SI, as the scenario's key for it says."""
    fields = ScenarioKeys.model_fields["sensors"].annotation.model_fields  # type: ignore[union-attr]
    return unit_of(next(key for key in fields if key.startswith(f"{sensor}_noise_")))


def _entry_rows(scenario: Scenario) -> list[Row]:
    rows = []
    for entry in scenario.entries:
        told = ", ".join(f"{key} = {value}" for key, value in entry.turbine.overrides)
        layers = "; ".join(_layer_words(layer) for layer in entry.stack)
        rows.append(Row([entry.name, told or "nothing", layers]))
    return rows


def _layer_words(layer: LayerSpec) -> str:
    told = [
        f"{name} {value:g}" if isinstance(value, float) else f"{name} {value}"
        for name, value in layer.parameters
    ]
    return f"{layer.name} ({', '.join(told)})" if told else layer.name
