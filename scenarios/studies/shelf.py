"""What does each stack hold, save, miss and cost, all in one line?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.answer import table
from scenarios.studies.assess import CHANNELS, Assessment
from scenarios.studies.telling import held, number

HEAD = [
    "entry", "stack", "holds", "left m", "margin m", "saved", "missed", "needless", "harmed", "pitch deg/h",
    "flap range", "edge range", "tower range", "largest flap MNm", "largest tower MNm", "energy", "us a call",
    "yardsticks",
]  # fmt: skip
NOTE = (
    "Every stack in the same winds. Clearance and ledger over all of them, passes as marched; travel, ranges "
    "and energy in normal turbulence, ranges and energy over those of the first entry; calls timed on this "
    "machine, of the whole stack with the checks of what its layers return (`wideberth vet` times one layer)."
)


def shelf_rows(entries: Sequence[Assessment], cost: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return one line for each entry; units in the names.

    Parameters
    ----------
    entries : sequence of Assessment
    cost : mapping of entries to what `scenarios.studies.cost.StackCost.data` gives
    """
    rows = []
    for entry in entries:
        governing, bill = entry.verdict.governing, entry.bill
        timed = cost.get(entry.name, {})
        rows.append(
            {
                "name": entry.name,
                "stack": entry.stack,
                "holds": held(entry.verdict),
                "characteristic_clearance_m": governing.characteristic,
                "margin_m": governing.margin,
                **entry.ledger.total(),
                "pitch_travel_deg_per_hour": bill.travel.value,
                **{f"{name}_range_ratio": bill.equivalent[name].ratio.value for name in CHANNELS},
                "largest_flap_kNm": entry.largest["blade_root_flap_kNm"],
                "largest_tower_kNm": entry.largest["tower_base_fore_aft_kNm"],
                "energy_ratio": bill.energy.ratio.value,
                "call_us": timed.get("logic_us", float("nan")),
                "call_yardsticks": timed.get("yardsticks", float("nan")),
            }
        )
    return rows


def shelf_cells(row: Mapping[str, Any]) -> list[str]:
    """Return one line as the cells of a table, in the order of HEAD."""
    return [
        row["name"],
        " + ".join(row["stack"]),
        row["holds"],
        number(row["characteristic_clearance_m"]),
        number(row["margin_m"], "+.2f"),
        *(number(row[word], ".0f") for word in ("saved", "missed", "needless", "harmed")),
        number(row["pitch_travel_deg_per_hour"], ".0f"),
        *(number(row[f"{name}_range_ratio"], ".3f") for name in CHANNELS),
        number(row["largest_flap_kNm"] / 1e3, ".1f"),
        number(row["largest_tower_kNm"] / 1e3, ".1f"),
        number(row["energy_ratio"], ".4f"),
        number(row["call_us"], ".0f"),
        number(row["call_yardsticks"], ".1f"),
    ]


def shelf_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the table for people."""
    return f"{NOTE}\n{table(HEAD, [shelf_cells(row) for row in rows], left=3)}"
