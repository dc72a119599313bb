"""Which commands look at what is at hand: layers of logic, shipped files, stores, recordings?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from scenarios.answer import CAUTION, ExitCode
from scenarios.commands.group import aside, commands, show
from scenarios.commands.options import out_option, output_options


@commands.command(epilog=CAUTION)
@click.argument("layer")
@output_options
def vet(layer: str, as_json: bool, **_: Any) -> ExitCode:
    """The contract check of LAYER, clause by clause; ends with 1 where one is broken.

    LAYER is the name of one at hand (see `wideberth list`) or path/to/logic.py:Class.
    """
    from scenarios.studies.vet import run

    with aside():
        answer = run(layer)
    return show(answer, as_json)


@commands.command("list", epilog=CAUTION)
@click.option("--keys", is_flag=True, help="List every key of a scenario file instead.")
@click.option("--layer", metavar="NAME", help="List the parameters of one layer instead.")
@click.option("--faults", is_flag=True, help="List every kind of fault instead.")
@output_options
def list_(keys: bool, layer: str | None, faults: bool, as_json: bool, **_: Any) -> ExitCode:
    """Turbines, scenarios and layers of logic at hand."""
    from scenarios.studies import listing

    if faults:
        return show(listing.fault_kinds(), as_json)
    if keys:
        return show(listing.scenario_keys(), as_json)
    return show(listing.run_layer(layer) if layer else listing.run(), as_json)


@commands.command(epilog=CAUTION)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--prune", "is_pruning", is_flag=True, help="Name the results that no scenario refers to.")
@click.option("--all-versions", "with_versions", is_flag=True, help="And those of every other code version.")
@click.option("--yes", "is_sure", is_flag=True, help="Remove what --prune names.")
@output_options
def store(folder: Path | None, as_json: bool, is_quiet: bool, **given: bool) -> ExitCode:
    """What the result store FOLDER holds; the per-user store if none is given.

    What is there, missing or failed of each scenario, and how large it is. Nothing is removed without --yes.
    """
    from scenarios.studies.holdings import run

    return show(run(folder, **given), as_json)


@commands.command(epilog=CAUTION)
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--blades", type=click.IntRange(2, 3), required=True, help="Blades of the rotor: 2 or 3.")
@click.option("--required", type=float, metavar="M", help="Clearance that must remain [m]; none: not judged.")
@click.option(
    "--block-s",
    type=float,
    default=600.0,
    show_default=True,
    metavar="S",
    help="Length of the blocks that stand for seeds [s].",
)
@out_option
@output_options
def record(
    files: tuple[Path, ...], blades: int, required: float | None, block_s: float, out: Path, **given: bool
) -> ExitCode:
    """Judge measured or foreign time series FILES as a march is judged: passes, fatigue, extremes.

    CSV or NetCDF with time_s, azimuth_deg and any of root_flap_moment_1_kNm, root_edge_moment_1_kNm,
    pitch_1_deg, tip_distance_1_m (1 to 3 for the blades), tower_base_fore_aft_kNm, wind_speed_m_s; also in
    rad, Nm and MNm. In NetCDF units may stand in attributes, and time may be a clock's. All files count as
    one condition.
    """
    from scenarios.studies.record import Asked, run

    return show(run(files, Asked(blades, block_s, required, out)), given["as_json"])
