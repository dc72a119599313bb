"""How far is a campaign? Told on standard error, and only to a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from scenarios.foreman import Progress, Tally


@contextmanager
def progress_bar(is_quiet: bool) -> Iterator[Progress]:
    """Give a campaign's ``progress``: cases done, time left, times real time, failures.

    Silent with ``is_quiet`` and where standard error is no terminal.
    """
    from tqdm import tqdm

    with tqdm(unit="case", disable=True if is_quiet else None, dynamic_ncols=True) as bar:

        def show(tally: Tally) -> None:
            if bar.disable:
                return
            bar.total = tally.total
            bar.n = tally.computed + tally.from_store + len(tally.failed)
            elapsed = bar.format_dict["elapsed"]
            if elapsed > 0.0 and tally.simulated_s > 0.0:
                bar.set_postfix_str(
                    f"{tally.simulated_s / elapsed:.0f} x real time, {len(tally.failed)} failed",
                    refresh=False,
                )
            bar.refresh()

        yield show
