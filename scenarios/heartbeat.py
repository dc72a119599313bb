"""Is the batch in this worker's hand still alive? A mark that is renewed while it marches tells."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

_EVERY_S = 1.0


class Mark(Protocol):
    """How a worker tells the parent of the batch in its hand."""

    def begin(self) -> None:
        """Tell that the batch is in hand."""

    def beat(self) -> None:
        """Tell that it is alive."""

    def end(self) -> None:
        """Tell that it is out of hand, done or not."""


class FileMark:
    """A small file, for workers on the parent's own machine."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def begin(self) -> None:
        """Make the file."""
        self.path.write_bytes(b"")

    def beat(self) -> None:
        """Add a byte to it."""
        with self.path.open("ab") as handle:
            handle.write(b".")

    def end(self) -> None:
        """Remove it."""
        self.path.unlink(missing_ok=True)


_mark: Mark | None = None
_last = 0.0


@contextmanager
def marked(mark: Mark) -> Iterator[None]:
    """Keep a mark while a batch is in hand; its first beat is told at once."""
    global _mark, _last
    mark.begin()
    _mark, _last = mark, time.monotonic() - 2.0 * _EVERY_S
    try:
        yield
    finally:
        _mark = None
        mark.end()


def beat() -> None:
    """Tell the parent that the batch in hand is alive; cheap enough for every tick of a march."""
    global _last
    now = time.monotonic()
    if _mark is not None and now - _last > _EVERY_S:
        _last = now
        _mark.beat()
