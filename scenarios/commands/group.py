"""What do all commands belong to, and how do they run a study and print its answer?"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stdout
from typing import Any

import click

from scenarios.answer import CAUTION, Answer, ExitCode, Options, to_json
from sim.errors import closest


class _Commands(click.Group):
    """A group that suggests the nearest command."""

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        if args and self.get_command(ctx, args[0]) is None and not args[0].startswith("-"):
            raise click.UsageError(f"no command '{args[0]}'{closest(args[0], self.commands)}", ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=_Commands, epilog=CAUTION, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="wideberth", prog_name="wideberth")
def commands() -> None:
    """Will a rotor blade ever come too close to its tower? Can pitch logic prevent it, what does it cost, and
    can it be trusted?"""


def run_study(
    name: str, given: dict[str, Any], scenario: Any = None, how: Mapping[str, Any] | None = None
) -> ExitCode:
    """Load the scenario where none is given, run one study of it, and print its answer.

    ``how`` holds the study's own options.
    """
    with aside():
        answer = _study_answer(name, given, scenario, how or {})
    return show(answer, given["as_json"])


def _study_answer(name: str, given: dict[str, Any], scenario: Any, how: Mapping[str, Any]) -> Answer:
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
        is_fresh=given["is_fresh"],
        cluster=given["cluster"],
    )
    answer: Answer = import_module(f"scenarios.studies.{name}").run(scenario, options, **how)
    return answer


@contextmanager
def aside() -> Iterator[None]:
    """Send what anybody prints to standard error: standard output is for the answer alone."""
    with redirect_stdout(sys.stderr):
        yield


def show(answer: Answer, as_json: bool) -> ExitCode:
    try:
        click.echo(to_json(answer.data) if as_json else f"{answer.text}\n\n{CAUTION}")
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader left early; its code is not ours to change, and Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return answer.code
