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
    required=True,
    metavar="A+B",
    help="Layers from the lowest up, like power+guard or power+my.py:Mine; first the reference, last the "
    "candidate.",
)
@run_options
def duel(stacks: tuple[str, ...], **given: Any) -> ExitCode:
    """Stacks of logic side by side, in the winds of SCENARIO and on its candidate's turbine."""
    from scenarios.studies.duel import duel_scenario

    with aside():
        scenario = duel_scenario(given["scenario"], stacks, given["overrides"], given["seed"])
    return run_study("duel", given, scenario)


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
