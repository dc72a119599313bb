"""Is the batch in this worker's hand still alive? A small file that is touched while it marches tells."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_EVERY_S = 1.0
_mark: Path | None = None
_last = 0.0


@contextmanager
def marked(mark: Path) -> Iterator[None]:
    """Keep a mark on disk while a batch is in hand."""
    global _mark
    mark.write_bytes(b"")
    _mark = mark
    try:
        yield
    finally:
        _mark = None
        mark.unlink(missing_ok=True)


def beat() -> None:
    """Tell the parent that the batch in hand is alive; cheap enough for every tick of a march."""
    global _last
    now = time.monotonic()
    if _mark is not None and now - _last > _EVERY_S:
        _last = now
        with _mark.open("ab") as handle:
            handle.write(b".")
