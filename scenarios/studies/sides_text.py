"""How are both sides of the tower told to people?"""

from __future__ import annotations

import math
from typing import Any

from scenarios.answer import table
from scenarios.studies.amounts import number

ROOM_HEAD = ["", "unloaded m", "remains m", "interval", "needed m", "governing", "stop m", "same gust m"]
BILL_HEAD = ["", "flap kNm", "tower away kNm", "tower base kNm", "energy", "thump Pa", "passages a second"]


def room_cells(row: dict[str, Any]) -> list[str]:
    """Return what one side leaves, as the cells of a table; a gust has no seeds, and so no interval."""
    ends = row["characteristic_interval_m"]
    return [
        row["entry"],
        f"{row['unloaded_m']:.2f}",
        number(row["characteristic_m"]),
        "none" if math.isnan(ends["low"]) else f"{ends['low']:.2f}..{ends['high']:.2f}",
        f"{row['required_m']:.2f}",
        row["governing"],
        number(row["stop"]["smallest_clearance_m"]),
        number(row["stop"]["without_stop_m"]),
    ]


def bill_cells(row: dict[str, Any]) -> list[str]:
    """Return what one side costs, as the cells of a table."""
    return [
        row["entry"],
        number(row["flap_range_kNm"], ".0f"),
        number(row["flap_range_tower_away_kNm"], ".0f"),
        number(row["tower_base_range_kNm"], ".0f"),
        number(row["energy_ratio"], ".4f"),
        f"{row['thump_Pa']:.3f}",
        f"{row['thump_per_second']:.2f}",
    ]


def words(data: dict[str, Any]) -> list[str]:
    """Return what the sides come to, one sentence for each number of blades."""
    told = []
    for count in dict.fromkeys(row["blades"] for row in data["sides"]):
        rows = {row["side"]: row for row in data["sides"] if row["blades"] == count}
        up, down = rows["upwind"], rows["downwind"]
        worse = [side for side, row in rows.items() if row["stop"]["governs"]]
        flap, energy, thump = (down[key] / up[key] for key in ("flap_range_kNm", "energy_ratio", "thump_Pa"))
        stops = [row["stop"]["smallest_clearance_m"] for row in (up, down)]
        told.append(
            f"{count} blades: behind the tower {number(down['characteristic_m'])} m remain, before it "
            f"{number(up['characteristic_m'])} m, where {up['required_m']:.2f} m must; flap range "
            f"{number(flap)} times, energy {number(energy, '.3f')} times, thump {number(thump, '.1f')} "
            f"times that before it. The tower adds {_added(up)} to the flap range before and {_added(down)} "
            "behind it. The "
            f"emergency stop leaves {number(stops[0])} m before and {number(stops[1])} m behind the "
            f"tower; it governs {' and '.join(worse) or 'neither'}."
        )
    return told


def _added(row: dict[str, Any]) -> str:
    """Tell by how much the tower raises a flap range, with the interval over seeds."""
    if not math.isfinite(row["flap_tower_share"]):
        return "an unknown part"
    ends = row["flap_tower_share_interval"]
    return f"{row['flap_tower_share']:.1%} ({100.0 * ends['low']:.1f}..{100.0 * ends['high']:.1f})"


def how(data: dict[str, Any]) -> str:
    """Return how the sides were compared, in words."""
    met = data["shaft_to_wind_deg"]
    cubes = (math.cos(math.radians(met["downwind"])) / math.cos(math.radians(met["upwind"]))) ** 3
    return (
        f"The same rotor and winds for all, under {'+'.join(data['stack'])} alone; two-bladed rotors keep "
        "blade, machine and speed, redesigned in nothing. Tilt lifts the rotor on either side: the site's "
        f"wind meets its shaft at {met['upwind']:.1f} degrees before and {met['downwind']:.1f} behind the "
        f"tower, which by the cosine's cube is worth {cubes:.3f} times the power below rated wind. Flap and "
        "tower-base ranges are equivalent over a year of normal turbulence; 'tower away' is the same range "
        "beside a slender tower without drag. The thump is an index for comparison, no prediction of noise: "
        "the pressure pulse, from its lowest to "
        f"its highest, at {data['thump_distance_m']:g} m along the shaft of one blade's changing force in "
        f"{data['thump_wind_m_s']:g} m/s, a compact dipole (Curle 1955) whose sections answer at once."
    )


def sides_text(data: dict[str, Any]) -> str:
    """Return the comparison for people."""
    room = table(ROOM_HEAD, [room_cells(row) for row in data["sides"]])
    bill = table(BILL_HEAD, [bill_cells(row) for row in data["sides"]])
    return "\n\n".join([*words(data), room, bill, how(data), f"page: {data['page']}"])
