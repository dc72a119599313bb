"""Which options do several commands share?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from sim.errors import InputError

Function = TypeVar("Function", bound=Callable[..., Any])


def _pairs(context: click.Context, option: click.Parameter, given: Sequence[str]) -> list[tuple[str, str]]:
    """Part each ``key=value``."""
    pairs = [text.partition("=") for text in given]
    for key, mark, value in pairs:
        if not key or not mark or not value:
            raise InputError(f"--set {key}{mark}{value}; must be KEY=VALUE, like rotor.tilt_deg=6")
    return [(key.strip(), value.strip()) for key, _, value in pairs]


class Whole(click.IntRange):
    """A whole number within bounds; another one is told like every other wrong input."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter as error:
            name = param.opts[0] if param else "value"
            raise InputError(
                f"{name} {value}; must be a whole number from {self.min} to {self.max}"
            ) from error


def stacked(*decorators: Callable[[Any], Any]) -> Callable[[Function], Function]:
    def decorate(function: Function) -> Function:
        for decorator in reversed(decorators):
            function = decorator(function)
        return function

    return decorate


output_options = stacked(
    click.option("--json", "as_json", is_flag=True, help="Print one JSON object."),
    click.option("--quiet", "is_quiet", is_flag=True, help="No progress, no warnings."),
    # Heeded in `scenarios.cli`, whatever the command.
    click.option("--debug", is_flag=True, expose_value=False, help="Show where a fault of ours arose."),
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
run_options = stacked(
    set_option,
    click.option("--seed", type=Whole(0, 2**31), help="Instead of the scenario's."),
    out_option,
    click.option(
        "--store",
        type=click.Path(path_type=Path),
        metavar="DIR",
        help="Where results are kept; a cache by default.",
    ),
    click.option("--jobs", type=Whole(0, 1024), help="Worker processes; 0 runs in this process."),
    click.option("--cluster", metavar="ADDRESS", help="Scheduler that hands the work out: tcp://HOST:PORT."),
    click.option("--fresh", "is_fresh", is_flag=True, help="Forget what the store holds of these cases."),
    output_options,
)
