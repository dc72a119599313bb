"""How is a frontier put into words: its settings, its verdict, and why some logics do worse?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from scenarios.answer import table
from scenarios.frontier_run import EARLY_DEG, LATE_DEG
from scenarios.studies.amounts import number
from scenarios.studies.frontier_verdict import FIFTH, GOOD_ENOUGH

Row = Mapping[str, Any]
NOTE = (
    "Extreme turbulence, {winds} winds. The required clearance is set to where {percent:g} % of the passes "
    "without logic break it ({required:.2f} m), so that misses can be counted: {demands} of {passes} passes. "
    "Missed is the share of passes that break with the logic, missed or harmed, over those that break "
    "without it in the same winds: both are counted, none is estimated. Its 95 % interval is over seeds, "
    "and heeds how many misses come together: {together}, by the settings that miss some. Settings that miss "
    "many in the first winds meet no others. Extra travel is that over the stack without tower-pass logic, "
    "per blade. The oracle is no logic: each pass of the run without logic is given just the relief that it "
    "turned out to lack, at the settled relief per degree, up and back."
)
HEAD = [
    "logic", "swept", "value", "demands", "broken", "of these harmed", "missed %", "95 % from", "to",
    "acts at %", "needless %", "extra travel deg/h", "deg per demand saved",
]  # fmt: skip
BECAUSE: Mapping[str, str] = {
    "not_foreseen": "foreseen too hopefully",
    "held_back": "more wanted than amplitude, servo and time allowed",
    "relief_short": "relieved by less than promised",
    "aimed_too_low": "aimed at less than is required",
    "harmed": "its own doing",
    "unknown": "not known",
}


def frontier_note(data: Row) -> str:
    """Say what is shown."""
    return NOTE.format(
        winds=data["winds"],
        percent=100.0 * data["share_of_passes_made_demands"],
        required=data["required_clearance_m"],
        demands=data["demands"],
        passes=data["passes_without_logic"],
        together=number(data["misses_together"], ".2f"),
    )


def frontier_cells(row: Row) -> list[str]:
    """Return one setting as the cells of a table, in the order of HEAD."""
    interval = row["missed_interval"]
    return [
        row["layer"],
        row["parameter"],
        f"{row['value']:g}",
        str(row["demands"]),
        str(row["broken_passes"]),
        str(row["harmed_passes"]),
        *(number(100.0 * value, ".1f") for value in (row["missed_share"], interval["low"], interval["high"])),
        number(100.0 * row["acted_share"], ".1f"),
        number(100.0 * row["needless_share_of_actions"], ".0f"),
        number(row["extra_travel_deg_per_hour"], ".0f"),
        number(row["travel_per_demand_saved_deg"], ".1f"),
    ]


def claim_sentence(data: Row) -> str:
    """Say whether a logic of ours misses few enough for little enough travel, and how sure that is."""
    claim, by_layer = data["claim"], {row["layer"]: row for row in data["verdict"]}
    asked = (
        f"at most {100.0 * GOOD_ENOUGH:g} % missed for at most {FIFTH:g} of the extra travel of a permanent "
        "pulse that protects as well"
    )
    best, sure = claim["by_estimate"], claim["surely"]
    if best is None:
        return f"Asked is {asked}: no logic misses so few."
    row = by_layer[best["layer"]]["few_enough"]
    words = "reaches it" if best["holds"] else "comes nearest and does not reach it"
    told = f"Asked is {asked}: {best['layer']} {words}, {_measured(row)}."
    if sure is None:
        return f"{told} The seeds do not suffice to show for any logic that it misses so few."
    row = by_layer[sure["layer"]]["surely"]
    words = "is shown" if sure["holds"] else "is not shown"
    return (
        f"{told} With both ends of 95 % intervals it {words}: {sure['layer']}, {_measured(row)} "
        f"(of the pulse's {_interval(row['over_permanent_pulse_interval'], 1.0, '.2f')}){_at_worst(row)}."
    )


def _at_worst(row: Row) -> str:
    """Say what seeds alone could rule out, where none is missed and bursts are known from other settings."""
    if row["broken_passes"]:
        return ""
    high = number(100.0 * row["missed_high_if_winds_fail_whole"], ".0f")
    return f"; were a wind's demands missed all or none, seeds could rule out no less than {high} %"


def _measured(row: Row) -> str:
    over, oracle = number(row["over_permanent_pulse"], ".2f"), number(row["over_oracle"], ".0f")
    return f"{row['setting']}: {_missed(row)}, at {over} of that travel, {oracle} times the oracle's"


def _missed(row: Row) -> str:
    return (
        f"{row['broken_passes']} of {row['demands']} demands missed, {100.0 * row['missed_share']:.1f} % "
        f"({_interval(row['missed_interval'], 100.0, '.1f')})"
    )


def _interval(ends: Row, factor: float, style: str) -> str:
    return f"{number(factor * ends['low'], style)}..{number(factor * ends['high'], style)}"


def verdict_lines(data: Row) -> list[str]:
    """Say for each layer what few enough misses cost it, against pulse and oracle."""
    lines = []
    for told in data["verdict"]:
        row = told["few_enough"]
        if row is None:
            lines.append(f"{told['layer']}: {_at_best(data['points'], told['layer'])}")
            continue
        travel = f"{row['extra_travel_deg_per_hour']:.0f} deg/h more"
        line = f"{told['layer']}, {row['setting']}: {_missed(row)}; {travel}"
        if row["parameter"] == "margin_m":
            line += f", {_over_pulse(row)}"
        lines.append(f"{line}; {number(row['over_oracle'], '.0f')} times the oracle's.")
    return lines


def _at_best(points: Sequence[Row], layer: str) -> str:
    some = [row for row in points if row["layer"] == layer and not math.isnan(row["missed_share"])]
    if not some:
        return "met no demand."
    best = min(some, key=lambda row: row["missed_share"])
    return (
        f"misses more than {100.0 * GOOD_ENOUGH:g} % at every setting; least at {best['parameter']} "
        f"{best['value']:g}: {_missed(best)} for {best['extra_travel_deg_per_hour']:.0f} deg/h more."
    )


def _over_pulse(row: Row) -> str:
    if math.isnan(row["over_permanent_pulse"]):
        return "no permanent pulse to hold it against"
    over = f"{row['over_permanent_pulse']:.2f}"
    ends = row["over_permanent_pulse_interval"]
    over += f" ({_interval(ends, 1.0, '.2f')})" if math.isfinite(ends["low"]) else ""
    pulse = f"{row['pulse_extra_travel_deg_per_hour']:.0f} deg/h"
    if row["pulse_is_enough"]:
        amplitude = f"{row['pulse_amplitude_deg']:.1f} deg"
        return f"{over} of the {pulse} of the permanent pulse that protects as well ({amplitude})"
    return (
        f"less than {over} of what a permanent pulse must travel to protect as well: not even that of "
        f"{row['pulse_amplitude_deg']:.1f} deg, {pulse}, does"
    )


def reason_lines(data: Row) -> list[str]:
    """Say for each layer what its misses and its travel are due to, at the setting of its verdict.

    A layer that misses too many everywhere is told of at the setting that misses least.
    """
    chosen = {told["layer"]: _chosen(data, told) for told in data["verdict"]}
    best = data["claim"]["by_estimate"]
    winner = None if best is None else chosen[best["layer"]]
    return [_reason(layer, row, winner) for layer, row in chosen.items() if row is not None]


def _chosen(data: Row, told: Row) -> Row | None:
    if told["few_enough"] is not None:
        return told["few_enough"]
    some = [row for row in data["points"] if row["layer"] == told["layer"] and row["demands"]]
    return min(some, key=lambda row: row["missed_share"], default=None)


def _reason(layer: str, row: Row, winner: Row | None) -> str:
    sentences = [
        f"{layer}, {row['parameter']} {row['value']:g}: acts at {100.0 * row['acted_share']:.1f} % of the "
        f"passes, {number(100.0 * row['needless_share_of_actions'], '.0f')} % of that needless, "
        f"{number(row['travel_per_action_deg'], '.1f')} deg each, "
        f"{number(row['travel_per_demand_saved_deg'], '.0f')} deg for each demand saved"
    ]
    if math.isfinite(row["forecast_late_sd_m"]):
        sentences.append(
            f"its forecast scatters by {row['forecast_early_sd_m']:.2f} m {EARLY_DEG:g} deg before the tower "
            f"and by {row['forecast_late_sd_m']:.2f} m {LATE_DEG:g} deg before; demands come "
            f"{row['demands_nearer_than_foreseen_m']:.2f} m nearer than foreseen, at worst "
            f"{row['demands_nearer_at_worst_m']:.2f} m"
        )
    due = [f"{count} {BECAUSE[name]}" for name, count in row["broken_because"].items() if count]
    if due and math.isfinite(row["forecast_late_sd_m"]):
        sentences.append(f"of the broken passes: {', '.join(due)}")
    if winner is not None and winner["layer"] != layer:
        sentences.append(_beside(row, winner))
    return "; ".join(sentences) + "."


def _beside(row: Row, winner: Row) -> str:
    """Split what a layer travels more than the best one into how often it acts and how far each time."""
    often = row["acted_share"] / winner["acted_share"]
    far = row["travel_per_action_deg"] / winner["travel_per_action_deg"]
    return (
        f"{row['extra_travel_deg_per_hour'] / winner['extra_travel_deg_per_hour']:.1f} times the travel of "
        f"{winner['layer']}: {often:.1f} times as often, {far:.1f} times as far"
    )


def frontier_text(data: Row) -> str:
    """Return the frontier for people."""
    rows = [frontier_cells(row) for row in data["points"]]
    oracle = data["oracle"]["extra_travel_deg_per_hour"]
    told = [
        frontier_note(data),
        table(HEAD, rows, left=2),
        f"oracle: 0 % missed for {oracle:.0f} deg/h more.",
    ]
    told += ["", "What missing few enough costs:", *verdict_lines(data)]
    told += ["", "Why:", *reason_lines(data), "", claim_sentence(data)]
    return "\n".join(told)
