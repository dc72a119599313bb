"""Which commands answer from the drawing board: the turbine, its site, its linear models?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from scenarios.answer import CAUTION, ExitCode
from scenarios.commands.group import commands, show
from scenarios.commands.options import out_option, output_options, set_option


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

        return show(turbine_keys(), as_json)
    if turbine is None:
        raise click.UsageError("Missing argument 'TURBINE'; `wideberth list` names those at hand.")
    from scenarios.studies.card import run
    from sim.turbine import load_turbine

    return show(run(load_turbine(turbine, overrides)), as_json)


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
def winds(speed: float, out: Path, as_json: bool, is_quiet: bool, **site: Any) -> ExitCode:
    """A site's standard wind conditions (IEC 61400-1), as a table and a picture of each event in time."""
    from scenarios.studies.winds import make_site, run

    return show(run(make_site(site), speed, out), as_json)


@commands.command(epilog=CAUTION)
@click.argument("turbine")
@click.option(
    "--need",
    type=click.FloatRange(0.0, 100.0),
    metavar="M",
    help="Find the cheapest mix of levers that keeps this clearance in the governing wind [m].",
)
@click.option(
    "--weights",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="TOML file: [weights] of the prices, [bounds] of the levers; with --need.",
)
@click.option(
    "--class", "turbine_class", default="II", show_default=True, metavar="I|II|III", help="Of the site."
)
@click.option("--category", default="A", show_default=True, metavar="A+|A|B|C", help="Of its turbulence.")
@click.option(
    "--gust",
    type=click.FloatRange(0.0, 30.0),
    metavar="M/S",
    help="Sudden rise of the governing wind; one standard deviation of the site's turbulence by default.",
)
@click.option(
    "--spar-share",
    type=click.FloatRange(0.0, 1.0),
    default=0.4,
    show_default=True,
    help="Of the blade's mass, that changes with its flap stiffness.",
)
@click.option(
    "--bearing-share",
    type=click.FloatRange(0.0, 1.0),
    default=0.5,
    show_default=True,
    help="Of the overhang, from the hub centre to the main bearing.",
)
@set_option
@out_option
@output_options
def levers(
    turbine: str,
    overrides: list[tuple[str, str]],
    out: Path,
    as_json: bool,
    is_quiet: bool,
    **asked: Any,
) -> ExitCode:
    """What geometry, stiffness and control of TURBINE buy in clearance, and what each costs.

    TURBINE is a shipped name (see `wideberth list`) or a TOML file.
    """
    from scenarios.studies.levers import run_asked

    return show(run_asked(turbine, overrides, asked, out), as_json)


@commands.command(epilog=CAUTION)
@click.argument("turbine")
@click.option(
    "--speed",
    "speeds",
    type=float,
    required=True,
    multiple=True,
    metavar="M/S",
    help="Steady wind at the hub [m/s]; may be repeated.",
)
@click.option(
    "--stack",
    "stacks",
    multiple=True,
    default=["power"],
    show_default=True,
    metavar="A+B",
    help="Layers from the lowest up, like power+cyclic; may be repeated.",
)
@click.option(
    "--shear",
    "shear_exponent",
    type=click.FloatRange(-0.5, 1.0),
    default=0.2,
    show_default=True,
    help="Exponent of the wind's profile.",
)
@click.option(
    "--reading-delay",
    type=click.FloatRange(0.0, 2.0),
    default=0.12,
    show_default=True,
    metavar="S",
    help="Age of every reading [s].",
)
@click.option(
    "--period",
    type=click.FloatRange(0.001, 1.0),
    default=0.04,
    show_default=True,
    metavar="S",
    help="Controller period [s].",
)
@set_option
@out_option
@output_options
def loops(
    turbine: str,
    overrides: list[tuple[str, str]],
    out: Path,
    as_json: bool,
    is_quiet: bool,
    **asked: Any,
) -> ExitCode:
    """Linear models of TURBINE under stacks of logic: poles, margins, step and frequency responses.

    TURBINE is a shipped name (see `wideberth list`) or a TOML file; --set takes its keys, and those of layers
    (power.damping=1).
    """
    from scenarios.studies.loops import Asked, run

    return show(run(turbine, overrides, Asked(**asked), out), as_json)
