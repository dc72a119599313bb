"""How do sections of words, tables and figures become one self-contained page?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from scenarios.answer import CAUTION
from sim.errors import InputError

HOLDS, BREAKS, UNKNOWN = "#00694e", "#a33b00", "#5d666e"
"""Colours of the verdict."""


@dataclass(frozen=True)
class Text:
    """A paragraph."""

    text: str
    kind: str = "text"


@dataclass(frozen=True)
class Lines:
    """A list of short sentences."""

    lines: Sequence[str]
    kind: str = "list"


@dataclass(frozen=True)
class Row:
    """One row of a table; ``colour`` is that of the entry's lines."""

    cells: Sequence[str]
    colour: str = ""
    is_candidate: bool = False


@dataclass(frozen=True)
class Table:
    """A table; the first ``left`` columns hold words."""

    head: Sequence[str]
    rows: Sequence[Row]
    left: int = 1
    kind: str = "table"


@dataclass(frozen=True)
class Figure:
    """An inline SVG and what it shows."""

    svg: str
    caption: str
    kind: str = "figure"


@dataclass(frozen=True)
class Section:
    """A titled part of the page."""

    title: str
    parts: Sequence[Any] = field(default_factory=tuple)


@dataclass(frozen=True)
class Page:
    """Everything that a page says."""

    name: str
    title: str
    where: str
    headline: str
    verdict: str
    mark: str  #: colour of the verdict
    sections: Sequence[Section]
    remarks: Sequence[str] = ()


def render(page: Page) -> str:
    """Return the page as HTML: no script, nothing fetched, the same bytes for the same content."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("scenarios", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    values: Mapping[str, Any] = vars(page) | {
        "caution": CAUTION,
        "sections": [
            {"title": section.title, "parts": [_safe(part, Markup) for part in section.parts]}
            for section in page.sections
        ],
    }
    return environment.get_template("page.html.j2").render(values)


def prepare(folder: Path) -> None:
    """Make the folder that a page will go to, before anything is computed for it.

    Raises
    ------
    InputError
        It cannot be made, or is no folder.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = "is not a folder" if folder.exists() else f"cannot be made ({error.strerror})"
        raise InputError(f"{folder}: {reason}; choose another with --out DIR") from error


def write(path: Path, text: str) -> None:
    """Write a file, making its folder.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror}); choose another with --out DIR"
        ) from error


def _safe(part: Any, mark: Any) -> Any:
    """Let through the one thing that is markup already: a figure that we drew."""
    if isinstance(part, Figure):
        return {"kind": part.kind, "svg": mark(part.svg), "caption": part.caption}
    return part
