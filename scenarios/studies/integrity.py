"""What may the logic fail at most, which band of functional safety is that, and which channels reach it?"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from scenarios.scenario import Scenario
from scenarios.studies.odds import UNSURE, WITH, WITHOUT, Odds, is_ended_by_layer
from sim.measures.architecture import NAMES, Channel, failures_per_hour, probability_on_demand
from sim.measures.integrity import HIGH, Demand, ask_of, tolerable_rate
from sim.measures.lifetime import HOURS_PER_YEAR
from sim.measures.statistics import Interval

SAID = (
    "A simulated miss rate is not a rate of hardware failures; systematic faults of software have no "
    "probability; the bands are orientation, not a certificate."
)


def tolerable_of(scenario: Scenario) -> float:
    """Return the strikes per year that the scenario tolerates [1/a]."""
    keys = scenario.keys["reliability"]
    stated = keys.get("tolerable_strikes_per_year")
    return tolerable_rate(keys["target_beta_per_year"]) if stated is None else stated


def integrity_data(scenario: Scenario, odds: Odds) -> dict[str, Any]:
    """Return what the function may fail at most, at the estimates and at the upper ends of the odds."""
    demands = odds.yearly.get((WITHOUT, UNSURE, "strike"))
    residual = odds.yearly.get((WITH, UNSURE, "strike"))
    told: dict[str, Any] = {
        "tolerable_strikes_per_year": tolerable_of(scenario),
        "said": SAID,
        "channel": asdict(channel_of(scenario)),
        "architectures": [],
    }
    if demands is None:
        return told | {"problem": "no odds of a strike without the logic: they were not sampled, or failed"}
    if any(is_ended_by_layer(row) for row in odds.strata):
        return told | {"problem": "a layer of the stack ended sampled windows: what it leaves was not seen"}
    if residual is None and odds.failed:
        return told | {"problem": "no odds of a strike with the logic: sampling them failed"}
    if residual is None:
        residual = Interval(0.0, 0.0, 0.0, 0, "no logic")
    best = ask_of(_value(demands), tolerable_of(scenario), residual.value)
    worst = ask_of(demands.high, tolerable_of(scenario), residual.high)
    told |= {
        "demands_are_bound": demands.value == 0.0,
        "residual_is_bound": residual.value == 0.0 and residual.high > 0.0,
        "at_the_estimate": asdict(best),
        "at_the_upper_ends": asdict(worst),
    }
    told["architectures"] = [_architecture(name, channel_of(scenario), best) for name in NAMES]
    return told


def channel_of(scenario: Scenario) -> Channel:
    """Return one channel as the scenario states it."""
    keys = scenario.keys["reliability"]
    return Channel(
        dangerous_per_hour=keys["channel_failures_per_year"] / HOURS_PER_YEAR,
        diagnostic_coverage=keys["channel_diagnosed_share"],
        test_interval_h=keys["channel_test_interval_h"],
        repair_h=keys["channel_repair_h"],
        common_cause=keys["common_cause_share"],
        common_cause_found=0.5 * keys["common_cause_share"],
    )


def _value(rate: Interval) -> float:
    """Return a rate, or its bound where nothing was seen."""
    return rate.value if rate.value > 0.0 else rate.high


def _architecture(name: str, channel: Channel, demand: Demand) -> dict[str, Any]:
    per_hour, on_demand = failures_per_hour(name, channel), probability_on_demand(name, channel)
    counts = per_hour if demand.regime == HIGH else on_demand
    return {
        "name": name,
        "dangerous_failures_per_hour": per_hour,
        "probability_on_demand": on_demand,
        "reaches": bool(counts <= demand.allowed),
    }


def integrity_text(data: dict[str, Any]) -> str:
    """Return the integrity for people."""
    lines = [f"Tolerable: {data['tolerable_strikes_per_year']:.3g} strikes a year."]
    if "problem" in data:
        return "\n".join([*lines, data["problem"] + ".", data["said"]])
    for title, key in (("At the estimates", "at_the_estimate"), ("At their upper ends", "at_the_upper_ends")):
        lines.append(f"{title}: {_demand_words(data[key])}")
    if data["residual_is_bound"]:
        bound = data["at_the_upper_ends"]["residual_per_year"]
        lines.append(
            "No sample came to a strike with the working logic: the estimate takes none, the upper end its "
            f"bound of {bound:.2g} a year. What the hardware may fail holds only if more samples bring that "
            "bound below what is tolerable."
        )
    if data["demands_are_bound"]:
        lines.append("No sample came to a strike without the logic: its bound stands for the demands.")
    reached = [item["name"] for item in data["architectures"] if item["reaches"]]
    named = ", ".join(
        f"{item['name']} {item['dangerous_failures_per_hour']:.2g}/h, "
        f"{item['probability_on_demand']:.2g} on demand"
        for item in data["architectures"]
    )
    lines.append(f"Channels as stated: {named}. Enough: {', '.join(reached) or 'none of them'}.")
    return "\n".join([*lines, data["said"]])


def _demand_words(told: dict[str, Any]) -> str:
    counted = (
        f"{told['demands_per_year']:.3g} demands a year ({told['regime']}), "
        f"{told['residual_per_year']:.3g} strikes a year in spite of the working logic"
    )
    if told["allowed"] <= 0.0:
        return f"{counted}: such a number alone would be more than is tolerable, whatever the hardware."
    unit = "dangerous failures an hour" if told["regime"] == HIGH else "of failing on demand"
    levels = told["integrity_level"]
    if told["regime"] == HIGH:
        levels += f", {told['performance_level']}"
    return f"{counted}; at most {told['allowed']:.2g} {unit}: {levels}."
