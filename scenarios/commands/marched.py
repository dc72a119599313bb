"""Which commands march a scenario?"""

from __future__ import annotations

from typing import Any

import click

from scenarios.answer import CAUTION, ExitCode
from scenarios.commands.group import aside, commands, run_study
from scenarios.commands.options import run_options


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def study(**given: Any) -> ExitCode:
    """Everything that SCENARIO asks, in one report with the verdict on top.

    SCENARIO is a shipped name (see `wideberth list`) or a TOML file.
    """
    return run_study("study", given)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def passes(**given: Any) -> ExitCode:
    """March SCENARIO and show its passes."""
    return run_study("passes", given)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def fatigue(**given: Any) -> ExitCode:
    """The fatigue bill of the control actions of SCENARIO over its life: loads, pitch bearings, energy."""
    return run_study("fatigue", given)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@click.option(
    "--stack",
    "stacks",
    multiple=True,
    metavar="A+B",
    help="Layers from the lowest up, like power+guard or power+my.py:Mine; first the reference, last the "
    "candidate.",
)
@click.option(
    "--sides",
    "is_of_sides",
    is_flag=True,
    help="Instead of stacks: the same rotor upwind and downwind, of three and of two blades.",
)
@run_options
def duel(stacks: tuple[str, ...], is_of_sides: bool, **given: Any) -> ExitCode:
    """Stacks of logic side by side, in the winds of SCENARIO and on its candidate's turbine."""
    if is_of_sides and stacks:
        raise click.UsageError("--sides compares sides of the tower, not stacks; give one of the two")
    with aside():
        if is_of_sides:
            from scenarios.studies.sides import sides_scenario

            scenario = sides_scenario(given["scenario"], given["overrides"], given["seed"])
        else:
            from scenarios.studies.duel import duel_scenario

            scenario = duel_scenario(given["scenario"], stacks, given["overrides"], given["seed"])
    return run_study("sides" if is_of_sides else "duel", given, scenario)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def softer(**given: Any) -> ExitCode:
    """How soft and light the blade of SCENARIO may become until it just holds, for each stack of logic."""
    return run_study("softer", given)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def results(**given: Any) -> ExitCode:
    """Write every case and pass of SCENARIO as one NetCDF file; what the store lacks is marched first."""
    return run_study("results", given)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@click.option("--quick", "is_quick", is_flag=True, help="Few samples: minutes instead of an hour.")
@click.option(
    "--only",
    type=click.Choice(["ledger", "faults", "room", "odds", "integrity"]),
    help="One part instead of all.",
)
@run_options
def reliability(is_quick: bool, only: str | None, **given: Any) -> ExitCode:
    """What the candidate's logic saves, misses, does needlessly and harms; what faults make of it; how likely
    a strike is in a year.

    SCENARIO is a shipped name (see `wideberth list`) or a TOML file; its [reliability] table states what is
    assumed. An hour on two cores, or minutes with --quick; what is finished is kept.
    """
    return run_study("reliability", given, how={"is_quick": is_quick, "only": only})
