"""Which study does a command line ask for, and how does it end?

Thin: parse, call one study, print. Everything heavy is imported by the command that needs it.
"""

from __future__ import annotations

import logging
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from scenarios.answer import CAUTION, Answer, ExitCode, Options, to_json
from sim.errors import InputError, SimError, closest

Function = TypeVar("Function", bound=Callable[..., Any])


class _Commands(click.Group):
    """A group that suggests the nearest command."""

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        if args and self.get_command(ctx, args[0]) is None and not args[0].startswith("-"):
            raise click.UsageError(f"no command '{args[0]}'{closest(args[0], self.commands)}", ctx)
        return super().resolve_command(ctx, args)


def _pairs(context: click.Context, option: click.Parameter, given: Sequence[str]) -> list[tuple[str, str]]:
    """Part each ``key=value``."""
    pairs = [text.partition("=") for text in given]
    for key, mark, value in pairs:
        if not key or not mark or not value:
            raise click.BadParameter(f"'{key}{mark}{value}' is not key=value", context, option)
    return [(key.strip(), value.strip()) for key, _, value in pairs]


def _stacked(*decorators: Callable[[Any], Any]) -> Callable[[Function], Function]:
    def decorate(function: Function) -> Function:
        for decorator in reversed(decorators):
            function = decorator(function)
        return function

    return decorate


output_options = _stacked(
    click.option("--json", "as_json", is_flag=True, help="Print one JSON object."),
    click.option("--quiet", "is_quiet", is_flag=True, help="No progress, no warnings."),
    click.option("--debug", is_flag=True, help="Show where a fault of ours arose."),
)
set_option = click.option(
    "--set",
    "overrides",
    multiple=True,
    metavar="KEY=VALUE",
    callback=_pairs,
    help="Set any key of the turbine or scenario file; may be repeated.",
)
out_option = click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("wideberth-out"),
    show_default=True,
    metavar="DIR",
    help="Where pages, pictures and their data go.",
)
run_options = _stacked(
    set_option,
    click.option("--seed", type=click.IntRange(0, 2**31), help="Instead of the scenario's."),
    out_option,
    click.option(
        "--store",
        type=click.Path(path_type=Path),
        metavar="DIR",
        help="Where results are kept; a cache by default.",
    ),
    click.option("--jobs", type=click.IntRange(0, 1024), help="Worker processes; 0 runs in this process."),
    output_options,
)


@click.group(cls=_Commands, epilog=CAUTION, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="wideberth", prog_name="wideberth")
def commands() -> None:
    """Will a rotor blade ever come too close to its tower? Can pitch logic prevent it, what does it cost, and
    can it be trusted?"""


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def study(**given: Any) -> ExitCode:
    """Everything that SCENARIO asks, in one report with the verdict on top.

    SCENARIO is a shipped name (see `wideberth list`) or a TOML file.
    """
    return _run_study("study", given)


@commands.command(epilog=CAUTION)
@click.argument("scenario")
@run_options
def passes(**given: Any) -> ExitCode:
    """March SCENARIO and show its passes."""
    return _run_study("passes", given)


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

    scenario = duel_scenario(given["scenario"], stacks, given["overrides"], given["seed"])
    return _run_study("duel", given, scenario)


@commands.command(epilog=CAUTION)
@click.argument("layer")
@output_options
def vet(layer: str, as_json: bool, **_: Any) -> ExitCode:
    """The contract check of LAYER, clause by clause; ends with 1 where one is broken.

    LAYER is the name of one at hand (see `wideberth list`) or path/to/logic.py:Class.
    """
    from scenarios.studies.vet import run

    return _print(run(layer), as_json)


@commands.command(epilog=CAUTION)
@click.argument("turbine", required=False)
@click.option("--keys", is_flag=True, help="List every key of a turbine file instead.")
@set_option
@output_options
def card(
    turbine: str | None, keys: bool, overrides: list[tuple[str, str]], as_json: bool, **_: Any
) -> ExitCode:
    """What the turbine file TURBINE amounts to.

    TURBINE is a shipped name (see `wideberth list`) or a TOML file.
    """
    if keys:
        from scenarios.studies.listing import turbine_keys

        return _print(turbine_keys(), as_json)
    if turbine is None:
        raise click.UsageError("Missing argument 'TURBINE'; `wideberth list` names those at hand.")
    from scenarios.studies.card import run
    from sim.turbine import load_turbine

    return _print(run(load_turbine(turbine, overrides)), as_json)


@commands.command(epilog=CAUTION)
@click.option("--class", "turbine_class", required=True, metavar="I|II|III|S", help="Wind turbine class.")
@click.option("--category", required=True, metavar="A+|A|B|C|S", help="Turbulence category.")
@click.option("--hub-height", type=float, required=True, metavar="M", help="Of the hub's centre [m].")
@click.option(
    "--diameter", "rotor_diameter", type=float, required=True, metavar="M", help="Of the rotor [m]."
)
@click.option("--speed", type=float, required=True, metavar="M/S", help="Ten-minute mean at the hub [m/s].")
@click.option("--reference-speed", type=float, metavar="M/S", help="Vref of class S [m/s].")
@click.option("--average-speed", type=float, metavar="M/S", help="Annual mean of class S [m/s].")
@click.option("--reference-intensity", type=float, metavar="SHARE", help="Iref of category S.")
@out_option
@output_options
def winds(speed: float, out: Path, as_json: bool, is_quiet: bool, debug: bool, **site: Any) -> ExitCode:
    """A site's standard wind conditions (IEC 61400-1), as a table and a picture of each event in time."""
    from scenarios.studies.winds import make_site, run

    return _print(run(make_site(site), speed, out), as_json)


@commands.command("list", epilog=CAUTION)
@click.option("--keys", is_flag=True, help="List every key of a scenario file instead.")
@click.option("--layer", metavar="NAME", help="List the parameters of one layer instead.")
@click.option("--faults", is_flag=True, help="List every kind of fault instead.")
@output_options
def list_(keys: bool, layer: str | None, faults: bool, as_json: bool, **_: Any) -> ExitCode:
    """Turbines, scenarios and layers of logic at hand."""
    from scenarios.studies import listing

    if faults:
        return _print(listing.fault_kinds(), as_json)
    if keys:
        return _print(listing.scenario_keys(), as_json)
    return _print(listing.run_layer(layer) if layer else listing.run(), as_json)


@commands.command(epilog=CAUTION)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@output_options
def store(folder: Path | None, as_json: bool, **_: Any) -> ExitCode:
    """What the result store FOLDER holds; the per-user store if none is given."""
    from scenarios.studies.holdings import run

    return _print(run(folder), as_json)


def _run_study(name: str, given: dict[str, Any], scenario: Any = None) -> ExitCode:
    """Load the scenario where none is given, run one study of it, and print its answer."""
    from importlib import import_module

    from scenarios.load import load_scenario

    if scenario is None:
        scenario = load_scenario(given["scenario"], given["overrides"], given["seed"])
    options = Options(
        out=given["out"],
        store=given["store"],
        jobs=given["jobs"],
        is_quiet=given["is_quiet"],
        as_json=given["as_json"],
    )
    run = import_module(f"scenarios.studies.{name}").run
    return _print(run(scenario, options), given["as_json"])


def _print(answer: Answer, as_json: bool) -> ExitCode:
    try:
        click.echo(to_json(answer.data) if as_json else f"{answer.text}\n\n{CAUTION}")
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader left early; its code is not ours to change, and Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return answer.code


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code (see `scenarios.answer.ExitCode`)."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    _set_up_log(given)
    try:
        ended = commands.main(args=given, prog_name="wideberth", standalone_mode=False)
        return int(ended or ExitCode.HOLDS)
    except click.exceptions.Exit as left:
        return left.exit_code
    except click.ClickException as error:
        error.show()
        return ExitCode.INPUT
    except (click.Abort, KeyboardInterrupt):
        return _tell("interrupted; what was finished is in the store", ExitCode.INTERRUPTED)
    except InputError as error:
        return _tell(str(error), ExitCode.INPUT)
    except SimError as error:
        return _tell(str(error), ExitCode.PARTLY_FAILED)
    except Exception as error:
        if "--debug" in given:
            traceback.print_exc()
        hint = "" if "--debug" in given else "; --debug shows where"
        return _tell(f"a fault of wideberth itself: {type(error).__name__}: {error}{hint}", ExitCode.FAULT)


def _tell(message: str, code: ExitCode) -> int:
    click.echo(message, err=True)
    return code


def _set_up_log(given: Sequence[str]) -> None:
    level = logging.DEBUG if "--debug" in given else logging.ERROR if "--quiet" in given else logging.WARNING
    log = logging.getLogger("wideberth")
    if not log.handlers:
        log.addHandler(logging.StreamHandler())
    log.setLevel(level)
