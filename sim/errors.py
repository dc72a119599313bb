"""The few exceptions of wideberth; each message says what, where, what is allowed, what to try."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

CUTOFF = 0.55
"""Likeness below which a known word is not offered for an unknown one."""
_TOO_FAR = 0.2
MANY = 16
"""Known words that a message lists at most."""


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
    """Return ``; did you mean 'a' or 'b'?`` for the nearest known words, or the known ones if none is near.

    A word that is much less like it than the nearest one is not offered, and no wall of known words is built.
    """
    names = sorted(known)
    near = difflib.get_close_matches(word, names, n=3, cutoff=CUTOFF)
    if near:
        best = likeness(word, near[0])
        near = [name for name in near if likeness(word, name) > best - _TOO_FAR]
        return "; did you mean " + " or ".join(f"'{name}'" for name in near) + "?"
    if len(names) > MANY:
        return f"; none of the {len(names)} known ones is near"
    return "; known: " + ", ".join(names) if names else ""


def likeness(word: str, other: str) -> float:
    """Return how much two words are alike, 0 to 1: twice the matching letters over all letters."""
    return difflib.SequenceMatcher(None, other, word).ratio()
