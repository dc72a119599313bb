"""What do the linear models look like: loops, answers in frequency and time, poles?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.report.drawing import SOFT, Pen, legend_above, pens, sheet

if TYPE_CHECKING:
    from scenarios.studies.loops import Look

Array = NDArray[Any]

_RPM = 60.0 / (2.0 * math.pi)
GUST = 1.0
"""Step of the wind in the figures [m/s]."""
SHOWN_S = 40.0
"""How much of an answer is drawn [s]."""
_SHOWN = {
    "rotor_speed": ("rotor speed", "rpm", _RPM),
    "fore_aft_displacement": ("tower fore-aft", "m", 1.0),
    "tip_deflection_collective": ("tip deflection", "m", 1.0),
    "root_flap_moment_collective": ("flap moment", "MN m", 1e-6),
}
"""Outputs that are drawn: title, unit, and the factor into it; of blades their mean."""
_CAUSES = {
    "pitch_demand_collective": ("collective pitch", "deg", math.radians(1.0)),
    "wind_speed": ("wind", "m/s", 1.0),
}
"""Inputs of the frequency responses: title, unit, and its size in SI units."""
_HELD = {"color": SOFT, "linestyle": (0, (4, 2)), "linewidth": 1.1}
"""The line of the plant whose commands are held."""


def _pens(looks: Sequence[Look]) -> dict[str, Pen]:
    return pens([look.name for look in looks])


def _legend(page: Any, looks: Sequence[Look], *, held: bool) -> None:
    from matplotlib.lines import Line2D

    pen = _pens(looks)
    handles = [Line2D([], [], **pen[look.name].line) for look in looks]
    names = [look.name for look in looks]
    if held:
        handles.append(Line2D([], [], **_HELD))
        names.append("commands held")
    legend_above(page.figure, handles, names)


def loop_figure(looks: Sequence[Look], name: str) -> str:
    """Draw gain and phase of every loop, cut at its command with the others closed.

    Returns
    -------
    str
        An SVG element.
    """
    loops = list(dict.fromkeys(loop for look in looks for loop in look.loop.active))
    pen = _pens(looks)
    with sheet(f"{name}-loops", 4.6, 2, len(loops), sharex=True, sharey="row") as page:
        for column, loop in enumerate(loops):
            gain, phase = page.axes[0][column], page.axes[1][column]
            for look in looks:
                if loop in look.loop.active:
                    band = look.loop.band
                    response = look.loop.loop_response(loop, band)
                    shown = np.unwrap(np.angle(response))
                    shown -= 2.0 * np.pi * np.round((shown[0] + 0.5 * np.pi) / (2.0 * np.pi))
                    gain.semilogx(
                        band / (2.0 * np.pi), 20.0 * np.log10(np.abs(response)), **pen[look.name].line
                    )
                    phase.semilogx(band / (2.0 * np.pi), np.degrees(shown), **pen[look.name].line)
            gain.axhline(0.0, color=SOFT, linewidth=0.9)
            phase.axhline(-180.0, color=SOFT, linewidth=0.9)
            gain.set_title(loop)
            gain.set_ylim(-60.0, 60.0)
            phase.set_ylim(-540.0, 90.0)
            phase.set_yticks(range(-540, 91, 90))
            phase.set_xlabel("frequency [Hz]")
        page.axes[0][0].set_ylabel("gain [dB]")
        page.axes[1][0].set_ylabel("phase [deg]")
        _legend(page, looks, held=False)
    return page.svg


def answer_figure(looks: Sequence[Look], name: str) -> str:
    """Draw how strongly rotor, tower and blades answer pitch and wind over frequency."""
    pen = _pens(looks)
    with sheet(f"{name}-answers", 4.4, len(_CAUSES), len(_SHOWN), sharex=True) as page:
        for row, (cause, (title, cause_unit, size)) in zip(page.axes, _CAUSES.items(), strict=True):
            for axis, (output, (what, unit, factor)) in zip(row, _SHOWN.items(), strict=True):
                for look in looks:
                    _draw_answer(axis, look, (cause, output), factor * size, pen[look.name].line)
                _draw_answer(axis, looks[0], (cause, output), factor * size, _HELD, closed=False)
                axis.set_title(f"{title} to {what}", fontsize=8)
                axis.set_ylabel(f"{unit} per {cause_unit}", fontsize=7.5)
        for axis in page.axes[-1]:
            axis.set_xlabel("frequency [Hz]")
        _legend(page, looks, held=True)
    return page.svg


def _draw_answer(
    axis: Any, look: Look, way: tuple[str, str], factor: float, line: dict[str, Any], *, closed: bool = True
) -> None:
    band = look.loop.band[look.loop.band < 2.0 * np.pi * 4.0]
    answer = look.loop.answer(way[0], band, closed=closed)[:, look.loop.plant.output(way[1])[0]]
    axis.loglog(band / (2.0 * np.pi), factor * np.abs(answer), **line)


def step_figure(looks: Sequence[Look], name: str) -> str:
    """Draw what a step of the wind does, with the loops closed and with commands held."""
    pen = _pens(looks)
    demands = {"demanded_pitch_demand_collective": ("demanded pitch", "deg", math.degrees(1.0)),
               "demanded_torque_demand": ("demanded torque", "kN m", 1e-3)}  # fmt: skip
    shown = _SHOWN | demands
    with sheet(f"{name}-steps", 4.4, 2, 3, sharex=True) as page:
        for look in looks:
            time, told = look.closed.step_response("wind_speed", GUST, SHOWN_S, list(shown))
            for axis, (_, _, factor), values in zip(page.axes.flat, shown.values(), told.T, strict=True):
                axis.plot(time[1:], factor * values[1:], **pen[look.name].line)
        time, told = _held_step(looks[0], list(_SHOWN))
        for axis, (_, _, factor), values in zip(page.axes.flat, _SHOWN.values(), told.T, strict=False):
            axis.plot(time[1:], factor * values[1:], **_HELD)
        for axis, (title, unit, _) in zip(page.axes.flat, shown.values(), strict=True):
            axis.set_title(title)
            axis.set_ylabel(f"[{unit}]")
        for axis in page.axes[-1]:
            axis.set_xlabel(f"time after the wind rose by {GUST:g} m/s [s]")
        _legend(page, looks, held=True)
    return page.svg


def _held_step(look: Look, outputs: Sequence[str]) -> tuple[Array, Array]:
    """Return the plant's answer to the step with all commands held."""
    transition, input_ = look.loop.sampled
    plant, period = look.loop.plant, look.loop.logic.period
    rows, (entry,) = plant.output(*outputs), plant.input("wind_speed")
    count = round(SHOWN_S / period) + 1
    told, x = np.empty((count, len(rows))), np.zeros(len(transition))
    for k in range(count):
        told[k] = plant.C[rows] @ x + plant.D[rows, entry] * GUST
        x = transition @ x + input_[:, entry] * GUST
    return period * np.arange(count), told


def pole_figure(looks: Sequence[Look], name: str) -> str:
    """Draw every motion by frequency and damping: crosses with commands held, rings with the loops closed."""
    from sim.linear.poles import AIR

    pen = _pens(looks)
    with sheet(f"{name}-poles", 3.6) as page:
        axis = page.axes[0][0]
        held = [pole for pole in looks[0].open_poles if pole.family not in AIR]
        axis.plot([p.frequency for p in held], [p.damping for p in held], "x", color=SOFT, markersize=6)
        for n, pole in enumerate(held):
            place, beside = (pole.frequency, pole.damping), (5, 4 if n % 2 else -9)
            axis.annotate(pole.name, place, beside, textcoords="offset points", fontsize=6.5)
        for look in looks:
            own = [pole for pole in look.closed_poles if pole.family not in (*AIR, "delay")]
            axis.plot(
                [p.frequency for p in own], [p.damping for p in own], "o", color=pen[look.name].colour,
                markersize=6, fillstyle="none", markeredgewidth=1.2,
            )  # fmt: skip
        axis.set_xscale("log")
        axis.axhline(0.0, color=SOFT, linewidth=0.9)
        axis.set_xlabel("frequency |p| / 2 pi [Hz]")
        axis.set_ylabel("damping ratio [-]")
    return page.svg
