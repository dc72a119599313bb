"""How is the table of levers told to people?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from scenarios.answer import table
from scenarios.studies.amounts import number

COLUMNS: Mapping[str, tuple[str, str, float]] = {
    "energy_GWh": ("energy MWh/a", "+.1f", 1e3),
    "main_bearing_mean_kNm": ("bearing kNm", "+.0f", 1.0),
    "main_bearing_extreme_kNm": ("bearing extreme kNm", "+.0f", 1.0),
    "bed_plate_mean_kNm": ("bed plate kNm", "+.0f", 1.0),
    "bed_plate_extreme_kNm": ("bed plate extreme kNm", "+.0f", 1.0),
    "yaw_bearing_kNm": ("yaw bearing kNm", "+.0f", 1.0),
    "root_steady_kNm": ("root kNm", "+.0f", 1.0),
    "root_turning_kNm": ("root by turning kNm", "+.0f", 1.0),
    "blade_mass_t": ("blade t", "+.2f", 1.0),
    "envelope_m": ("envelope m", "+.2f", 1.0),
    "tower_mass_t": ("tower t", "+.1f", 1.0),
    "pitch_travel_deg_h": ("travel deg/h", "+.0f", 1.0),
}
"""Head, format and factor of each price."""

GAIN_HEAD = ["lever", "a unit", "unloaded m", "governing m", *(head for head, _, _ in COLUMNS.values())]
METRE_HEAD = ["lever", "takes", *(head for head, _, _ in COLUMNS.values())]


def price_cells(prices: Mapping[str, float]) -> list[str]:
    """Return prices as the cells of a table, a dash for none."""
    cells = []
    for name, (_, style, factor) in COLUMNS.items():
        value = factor * prices[name]
        told = number(value, style)
        cells.append("-" if told.strip("+-0.") == "" else told)
    return cells


def gain_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one lever's gains and prices for a unit of it."""
    gains = [f"{row['gain_unloaded_m']:+.2f}", f"{row['gain_governing_m']:+.2f}"]
    return [row["title"], row["unit"], *gains, *price_cells(row["prices"])]


def metre_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one lever's price of a metre of clearance in the governing wind."""
    unit, units = "x 10 %" if row["unit"] == "10 %" else row["unit"], row["units_for_one_metre"]
    return [
        row["title"],
        "out of reach" if math.isnan(units) else f"{units:.2f} {unit}",
        *price_cells(row["price_of_one_metre"]),
    ]


def turned(head: Sequence[str], lines: Iterable[Sequence[str]]) -> list[tuple[str, ...]]:
    """Return a table's lines with a column for each lever: the prices are too many for one line."""
    return list(zip(head, *lines, strict=True))


def where_text(data: Mapping[str, Any]) -> str:
    """Return under what the levers were looked at, in words."""
    site, assumed, base = data["site"], data["assumed"], data["as_it_is"]
    warned = ""
    if base["governing_m"] <= 0.0:
        warned = "The blade strikes the tower there as it is: gains and prices mean little. "
    if assumed["gust"] == "fall":
        warned += (
            "Behind the tower thrust bends the blade away from it, and least is left when little of it "
            "remains. The tower's wake and an emergency stop, both left out here, may leave less "
            "(`wideberth duel --sides`). "
        )
    return warned + (
        f"Governing wind: {base['governing_wind_m_s']:.1f} m/s steady, then a sudden {assumed['gust']} by "
        f"{assumed['gust_m_s']:.1f} m/s with pitch, rotor speed and induced velocity held. Energy: "
        f"Rayleigh's winds of mean {site['mean_wind_m_s']:.1f} m/s (class {site['wind_class']}). Extreme "
        f"bending: the standard's extreme shear, category {site['turbulence_category']}. The main bearing "
        f"stands {assumed['bearing_share']:g} of the overhang behind the hub centre, and a blade's mass "
        f"changes by {assumed['spar_share']:g} of the share that its flap stiffness does. Where a lower "
        "thrust limit raises extreme bending, a blade at fine pitch stalls in the shear's stronger wind, "
        "and a pitched one does not."
    )


def base_text(data: Mapping[str, Any]) -> str:
    """Return what the turbine has as it is."""
    base = data["as_it_is"]
    return (
        f"{data['turbine']} as it is: unloaded clearance {base['unloaded_m']:.2f} m, in the governing wind "
        f"{base['governing_m']:.2f} m; {base['energy_GWh']:.2f} GWh a year; main bearing "
        f"{base['main_bearing_mean_kNm']:.0f} kN m (extreme {base['main_bearing_extreme_kNm']:.0f}), bed "
        f"plate {base['bed_plate_mean_kNm']:.0f} ({base['bed_plate_extreme_kNm']:.0f}), yaw bearing "
        f"{base['yaw_bearing_kNm']:+.0f}, blade root {base['root_steady_kNm']:+.0f} kN m; blade "
        f"{base['blade_mass_t']:.2f} t, its box {base['envelope_m']:.2f} m deep; tower "
        f"{base['tower_mass_t']:.0f} t."
    )


def interaction_lines(data: Mapping[str, Any]) -> list[str]:
    """Return what levers do to each other, one sentence each."""
    told = [
        f"{' and '.join(row['levers'])}, a unit each: {row['together_m']:+.2f} m together, "
        f"{row['apart_m']:+.2f} m apart"
        for row in data["interactions"]
    ]
    left, exponent = data["straightened"], data["cosine_exponents"]
    return [
        *told,
        f"rotation straightens the blade: of a metre of prebend {left['prebend_m_per_m']:.2f} m is left "
        f"in no wind at rated speed, of a degree of cone {left['cone_m_per_deg']:.2f} m",
        f"5 degrees of tilt cost {exponent['tilt_year_loss_percent']:.2f} % of the year's energy: power "
        f"falls with the cosine to the power {exponent['tilt_below_rated']:.2f} below rated wind, for the "
        f"wind along the shaft counts, and not at all above: {exponent['tilt_over_year']:.2f} over the year",
        f"2.5 degrees of cone cost {exponent['cone_year_loss_percent']:.2f} %: exponent "
        f"{exponent['cone_below_rated']:.2f} below rated, two of it swept area, one the momentum's balance "
        f"along the blade's own normal, {exponent['cone_below_rated'] - 3.0:+.2f} the bend and prebend that "
        f"cone moves across the shaft: {exponent['cone_over_year']:.2f} over the year",
    ]


def levers_text(data: Mapping[str, Any]) -> str:
    """Return the table for people."""
    gains, metres = (
        table(list(lines[0]), [list(cells) for cells in lines[1:]])
        for lines in (
            turned(GAIN_HEAD, map(gain_cells, data["levers"])),
            turned(METRE_HEAD, map(metre_cells, data["levers"])),
        )
    )
    parts = [
        base_text(data),
        where_text(data),
        f"What a unit of each lever buys, and what it changes:\n{gains}",
        "The price of one metre in the governing wind, by each lever alone, moved as far as that takes:\n"
        + metres,
        "Together:\n" + "\n".join(f"  {line}" for line in interaction_lines(data)),
    ]
    if "mix" in data:
        parts.append(mix_text(data["mix"]))
    return "\n\n".join([*parts, f"page: {data['page']}"])


MIX_HEAD = ["lever", "as it is", "cheapest", "bounds", "cost of the bound, per unit"]


def mix_rows(mix: Mapping[str, Any]) -> list[list[str]]:
    """Return where the cheapest mix puts each lever."""
    return [
        [
            row["title"],
            f"{row['from']:.3f}",
            f"{row['to']:.3f}",
            f"{row['bounds'][0]:.2f}..{row['bounds'][1]:.2f}",
            f"{row['shadow_price']:.3g} ({row['binds']})" if row["binds"] else "",
        ]
        for row in mix["levers"]
    ]


def mix_words(mix: Mapping[str, Any]) -> str:
    """Return what the cheapest mix keeps, and what the last metre of it costs."""
    shadow = (
        f"another metre would cost {mix['shadow_price_per_m']:.3g}"
        if mix["need_binds"]
        else "the need does not bind: more room than that is free"
    )
    return (
        f"The cheapest mix that keeps {mix['need_m']:g} m in the governing wind leaves "
        f"{mix['governing_m']:.2f} m (unloaded {mix['unloaded_m']:.2f} m) and costs {abs(mix['cost']):.4g} "
        f"{'less' if mix['cost'] < 0.0 else 'more'} than the turbine as it is, in the weights' own unit; "
        f"{shadow}."
    )


def weight_words(mix: Mapping[str, Any]) -> str:
    """Return the weights in words."""
    told = ", ".join(f"{name} {value:g}" for name, value in mix["weights"].items())
    return f"Weights ({mix['weights_from']}): {told}."


def warning_words(mix: Mapping[str, Any]) -> str:
    """Return where the frequencies of the mix's blade meet multiples of rotor speed."""
    return f"Its blade: {'; '.join(mix['warnings']) or 'no frequency meets 1P, 2P, 3P or 6P'}."


def mix_text(mix: Mapping[str, Any]) -> str:
    """Return the cheapest mix for people."""
    return f"{mix_words(mix)}\n{table(MIX_HEAD, mix_rows(mix))}\n{warning_words(mix)}\n{weight_words(mix)}"
