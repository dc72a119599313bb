"""The few exceptions of wideberth; each message says what, where, what is allowed, what to try."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence


class SimError(Exception):
    """Base of every exception that wideberth raises on purpose."""


class InputError(SimError):
    """A file, key, option or value of the user's is wrong (exit code 2).

    Parameters
    ----------
    problems : one message, or several that were found together
        Each a whole line: ``skerry.toml:12: blade.mass_factor = -2.1; must be > 0``.
    """

    def __init__(self, problems: str | Sequence[str]) -> None:
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        super().__init__("\n".join(self.problems))


class LayerError(SimError):
    """A controller layer broke its contract: raised, stalled, or returned nonsense."""

    def __init__(self, layer: str, what: str) -> None:
        self.layer, self.what = layer, what
        super().__init__(f"layer {layer}: {what}")


class RunError(SimError):
    """A run failed for a reason that is neither the user's input nor a controller."""


def closest(word: str, known: Iterable[str]) -> str:
    """Return ``; did you mean 'a' or 'b'?`` for the nearest known words, or all of them if none is near."""
    names = sorted(known)
    near = difflib.get_close_matches(word, names, n=3, cutoff=0.5)
    if near:
        return "; did you mean " + " or ".join(f"'{name}'" for name in near) + "?"
    return "; known: " + ", ".join(names) if names else ""
