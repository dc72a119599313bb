"""What do the winds look like that a turbine is marched in?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from scenarios.report.drawing import CANDIDATE, INK, SOFT, legend_above, sheet

if TYPE_CHECKING:
    from scenarios.studies.winds import Event

_POINTS = {
    "hub": (INK, "-", 1.8),
    "top": ("#e69f00", (0, (5, 2)), 1.3),
    "bottom": ("#d55e00", "-", 1.3),
    "left": ("#009e73", (0, (5, 2)), 1.3),
    "right": ("#cc79a7", "-", 1.3),
}
"""Colour, dash and width of the lines of a point of the rotor."""


def events_figure(events: Sequence[Event]) -> str:
    """Draw each event in time at hub, top and bottom of the rotor, and at its sides where they differ.

    Returns
    -------
    str
        An SVG element.
    """
    from matplotlib.lines import Line2D

    rows = -(-len(events) // 2)
    with sheet("winds", 2.1 * rows + 0.5, rows, 2) as page:
        for axis, event in zip(page.axes.flat, events, strict=False):
            _draw_event(axis, event)
        for axis in page.axes.flat[len(events) :]:
            axis.set_visible(False)
        handles = [
            Line2D([], [], color=colour, linestyle=dash, linewidth=width)
            for colour, dash, width in _POINTS.values()
        ]
        handles.append(Line2D([], [], color=CANDIDATE, linestyle=":", linewidth=1.6))
        legend_above(page.figure, handles, [*_POINTS, "direction [deg]"])
    return page.svg


def _draw_event(axis: Any, event: Event) -> None:
    is_sideways = bool(np.any(event.left != event.hub))
    for name in _POINTS if is_sideways else ("top", "bottom", "hub"):
        colour, dash, width = _POINTS[name]
        axis.plot(event.time, getattr(event, name), color=colour, linestyle=dash, linewidth=width)
    axis.set_title(event.title)
    axis.set_xlabel("time from the start [s]")
    axis.set_ylabel("wind [m/s]")
    if event.lowest < 0.0:
        axis.axhline(0.0, color=SOFT, linewidth=0.8)
    if event.direction.any():
        other = axis.twinx()
        other.plot(event.time, np.degrees(event.direction), color=CANDIDATE, linestyle=":", linewidth=1.6)
        other.set_ylabel("direction [deg]")
        other.grid(visible=False)
        other.spines["right"].set_visible(True)
