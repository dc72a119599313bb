"""How do all figures look, and how do they become part of a page?

A figure is an inline SVG: text stays text, nothing is fetched, and the same numbers give the same bytes.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

WIDTH_IN = 9.4
INK, SOFT, FAINT = "#23292f", "#6b737b", "#d8d5cc"
RULE = "#8a1c1c"  #: of the line that a clearance may not fall below

OKABE_ITO = ("#000000", "#d55e00", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#f0e442")
CANDIDATE = "#0072b2"
STRATA = {"normal turbulence": "#56b4e9", "extreme turbulence": "#0072b2", "gusts": "#e69f00"}
WORDS = {"saved": "#009e73", "missed": "#d55e00", "needless": "#999999", "harmed": "#cc79a7"}
_DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1, 1.4)), (0, (6, 2, 1.5, 2)), (0, (3, 1.5)), "-", "--")
_MARKERS = ("s", "o", "^", "D", "v", "P", "X")

_SETTINGS: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "sans-serif"],
    "font.size": 8.5,
    "axes.titlesize": 9.0,
    "axes.titlelocation": "left",
    "axes.labelsize": 8.5,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.facecolor": "none",
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.6,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "text.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "figure.facecolor": "none",
    "savefig.facecolor": "none",
    "svg.fonttype": "none",
    "svg.hashsalt": "wideberth",
    "path.simplify": True,
}


@dataclass(frozen=True)
class Pen:
    """How the lines of one entry are drawn in every figure."""

    colour: str
    dash: Any
    marker: str
    width: float

    @property
    def line(self) -> dict[str, Any]:
        """Keywords of a line."""
        return {"color": self.colour, "linestyle": self.dash, "linewidth": self.width}


def pens(names: list[str]) -> dict[str, Pen]:
    """Give each entry its pen: the candidate, which is last, the heaviest."""
    found = {}
    for index, name in enumerate(names):
        place = index % len(OKABE_ITO)
        found[name] = Pen(OKABE_ITO[place], _DASHES[place], _MARKERS[place], 1.3)
    if len(names) > 1:
        found[names[-1]] = Pen(CANDIDATE, "-", "o", 2.1)
    return found


@contextmanager
def sheet(name: str, height: float, rows: int = 1, columns: int = 1, **grid: Any) -> Iterator[Any]:
    """Give an object with ``figure`` and ``axes``; after the block its ``svg`` holds the picture.

    Parameters
    ----------
    name : prefix of every id in the picture; one of its own for each figure of a page
    height : [in]
    rows, columns, **grid : as of matplotlib's ``subplots``
    """
    import matplotlib

    with matplotlib.rc_context(_SETTINGS):
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure

        figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
        FigureCanvasSVG(figure)
        sheet_ = _Sheet(name, figure, figure.subplots(rows, columns, squeeze=False, **grid))
        yield sheet_
        sheet_.svg = _inline(figure, name)


class _Sheet:
    def __init__(self, name: str, figure: Any, axes: Any) -> None:
        self.name, self.figure, self.axes = name, figure, axes
        self.svg = ""


def legend_above(figure: Any, handles: list[Any], labels: list[str]) -> None:
    """Put one legend over a whole figure, clear of every panel."""
    figure.legend(handles, labels, loc="outside upper left", ncols=min(len(labels), 6), handlelength=2.6)


def _inline(figure: Any, name: str) -> str:
    """Return the SVG element alone, its ids prefixed so that several figures share a page."""
    target = io.StringIO()
    figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    text = target.getvalue()
    text = text[text.index("<svg") :].strip()
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)
    text = re.sub(r'(xlink:href|href)="#([^"]+)"', rf'\1="#{name}-\2"', text)
    head, rest = text.split(">", 1)
    head = re.sub(r'\s(width|height)="[^"]*"', "", head)
    return f'{head} role="img">{rest}\n'


def standalone(svg: str) -> str:
    """Return an inline figure as a file of its own, on paper so that it reads on a dark page too."""
    paper = '<rect width="100%" height="100%" fill="#fbfaf6"/>'
    return f'<?xml version="1.0" encoding="utf-8"?>\n{svg.replace(">", ">" + paper, 1)}'
