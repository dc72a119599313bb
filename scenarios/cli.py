"""How does a command line end, whatever happens?

The commands stand in `scenarios.commands`. Everything heavy is imported by the command that needs it.
"""

from __future__ import annotations

import logging
import signal
import sys
import threading
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from scenarios.answer import ExitCode
from scenarios.commands import designed, kept, marched
from scenarios.commands.group import commands
from sim.errors import InputError, SimError

__all__ = ["commands", "designed", "kept", "main", "marched"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code (see `scenarios.answer.ExitCode`)."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    _set_up_log(given)
    try:
        with _ended_politely():
            ended = commands.main(args=given, prog_name="wideberth", standalone_mode=False)
        return int(ended or ExitCode.HOLDS)
    except click.exceptions.Exit as left:
        return left.exit_code
    except click.ClickException as error:
        return _tell(_in_one_line(error), ExitCode.INPUT)
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


@contextmanager
def _ended_politely() -> Iterator[None]:
    """Take a request to end like Ctrl-C, so that workers are ended and what they share is given back."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before or signal.SIG_DFL)


def _interrupt(number: int, frame: Any) -> None:
    raise KeyboardInterrupt


def _in_one_line(error: click.ClickException) -> str:
    """Return what is wrong with a command line like every other wrong input: one line, and what to try."""
    context = getattr(error, "ctx", None)
    asked = context.command_path if context else "wideberth"
    message = error.format_message().strip().replace("\n", " ")
    mark = "" if message.endswith("?") else ";"
    return f"{asked}: {message.removesuffix('.')}{mark} `{asked} --help` tells more"


def _tell(message: str, code: ExitCode) -> int:
    click.echo(message, err=True)
    return code


def _set_up_log(given: Sequence[str]) -> None:
    level = logging.DEBUG if "--debug" in given else logging.ERROR if "--quiet" in given else logging.WARNING
    log = logging.getLogger("wideberth")
    if not log.handlers:
        log.addHandler(logging.StreamHandler())
    log.setLevel(level)
