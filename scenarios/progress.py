"""How far is a campaign? Told on standard error, and only to a terminal."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from scenarios.foreman import Progress, Tally


@contextmanager
def progress_bar(is_quiet: bool, part: str = "") -> Iterator[Progress]:
    """Give a campaign's ``progress``: its part, cases done, time left, times real time, failures.

    Silent with ``is_quiet`` and where standard error is no terminal.
    """
    from tqdm import tqdm
    from tqdm.contrib.logging import logging_redirect_tqdm

    with (
        tqdm(desc=part or None, unit="case", disable=True if is_quiet else None, dynamic_ncols=True) as bar,
        nullcontext() if bar.disable else logging_redirect_tqdm([logging.getLogger("wideberth")]),
    ):
        shown = (-1, -1)

        def show(tally: Tally) -> None:
            nonlocal shown
            if bar.disable:
                return
            bar.total, bar.initial = tally.total, tally.from_store  # what was there took no time
            bar.n = tally.computed + tally.from_store + len(tally.failed)
            elapsed = bar.format_dict["elapsed"]
            if (now := (bar.n, int(elapsed))) == shown:
                return  # nothing new within the second
            shown = now
            if elapsed > 0.0 and tally.simulated_s > 0.0:
                bar.set_postfix_str(
                    f"{tally.simulated_s / elapsed:.0f} x real time, {len(tally.failed)} failed",
                    refresh=False,
                )
            bar.refresh()

        yield show
