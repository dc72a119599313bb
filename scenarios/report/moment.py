"""What does one pass look like: over azimuth, in time, and from the side?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.report.bent import (
    BentBlade,
    bend_blade,
    hub_centre,
    interpolate_state,
    tower_outline,
    unloaded_blade,
)
from scenarios.report.drawing import INK, RULE, SOFT, Pen, legend_above, sheet
from scenarios.studies.featured import Featured, Features
from sim.design import Turbine
from sim.kernels import layout as at

Floats = NDArray[np.float64]
STEEL, FADED = "#c9c6bc", "#a9b0b6"
OUTER = 0.8
"""Share of the radius beyond which clearance is looked for, as in `sim.kernels.passing`."""


def path_of(pass_: Featured, span: float = 0.36) -> tuple[Floats, Floats]:
    """Return the azimuth from straight down [rad] and the clearance [m] along one pass.

    Notes
    -----
    A cubic spline through the ticks of the march and the least distance that the march found between them.
    """
    from scipy.interpolate import CubicSpline

    trace, blade = pass_.trace, pass_.blade
    azimuth, clearance = trace.azimuth(blade), trace.clearance(blade)
    near = (np.abs(trace.time_s - pass_.time_s) < 1.0) & np.isfinite(clearance) & (np.abs(azimuth) < span)
    least = (pass_.azimuth - np.pi, pass_.clearance)
    knots = sorted({*zip(azimuth[near].tolist(), clearance[near].tolist(), strict=True), least})
    where, value = np.array(knots).T
    apart = np.concatenate([[True], np.diff(where) > 1e-6])
    dense = np.linspace(where[0], where[-1], 121)
    if np.count_nonzero(apart) < 4:
        return where, value
    return dense, np.asarray(CubicSpline(where[apart], value[apart])(dense))


def azimuth_figure(features: Features, pen: Mapping[str, Pen]) -> str:
    """Draw the clearance against azimuth of every entry's pass in the same wind."""
    from matplotlib.lines import Line2D

    with sheet("azimuth", 3.9) as page:
        axis = page.axes[0][0]
        for item in features.beside:
            where, value = path_of(item)
            line = pen[item.entry.name].line
            axis.plot(np.degrees(where), value, **line)
            axis.plot(
                np.degrees(item.azimuth - np.pi), item.clearance, "o", color=line["color"], markersize=4
            )
        for required in sorted({item.entry.verdict.governing.required for item in features.beside}):
            axis.axhline(required, color=RULE, linewidth=1.2)
        axis.axhline(0.0, color=SOFT, linewidth=0.8)
        axis.set_xlabel("azimuth from straight down, positive after the tower [deg]")
        axis.set_ylabel("clearance, outline to wall [m]")
        axis.set_xlim(-20.0, 20.0)
        handles = [Line2D([], [], **pen[item.entry.name].line) for item in features.beside]
        handles.append(Line2D([], [], color=RULE, linewidth=1.2))
        legend_above(page.figure, handles, [*(item.entry.name for item in features.beside), "required"])
    return page.svg


def pass_figure(features: Features, pen: Mapping[str, Pen], name: str = "moment") -> str:
    """Draw wind, clearance, pitch and deflection around the candidate's pass, and the twin's.

    ``name`` is the prefix of the picture's ids, one of its own for each figure of a page.
    """
    from matplotlib.lines import Line2D

    worst = features.worst
    if worst is None:
        return ""
    shown = [item for item in (features.twin, worst) if item is not None]
    with sheet(name, 7.0, 4, 1, sharex=True, height_ratios=[0.7, 1.3, 1.0, 1.0]) as page:
        wind, clearance, pitch, tip = (row[0] for row in page.axes)
        wind.plot(worst.trace.time_s - worst.time_s, worst.trace.wind, color=SOFT, linewidth=1.2)
        for item in shown:
            line, trace = pen[item.entry.name].line, item.trace
            time = trace.time_s - worst.time_s
            _draw_passes(clearance, item, worst.time_s, line)
            pitch.plot(time, np.degrees(trace.pitch(worst.blade)), **line)
            tip.plot(time, trace.tip(worst.blade), **line)
        clearance.axhline(worst.entry.verdict.governing.required, color=RULE, linewidth=1.2)
        clearance.axhline(0.0, color=SOFT, linewidth=0.8)
        wind.set_ylabel("wind at the\nhub [m/s]")
        clearance.set_ylabel("clearance of the\nblades passing [m]")
        pitch.set_ylabel(f"pitch of\nblade {worst.blade + 1} [deg]")
        tip.set_ylabel(f"tip deflection of\nblade {worst.blade + 1} [m]")
        tip.set_xlabel("time from the pass [s]")
        for axis in (wind, clearance, pitch, tip):
            axis.axvline(0.0, color=SOFT, linewidth=0.7, linestyle=(0, (2, 2)))
        page.figure.align_ylabels()
        handles = [Line2D([], [], **pen[item.entry.name].line) for item in shown]
        handles.append(Line2D([], [], color=RULE, linewidth=1.2))
        legend_above(page.figure, handles, [*(item.entry.name for item in shown), "required"])
    return page.svg


def _draw_passes(axis: Any, item: Featured, origin: float, line: Mapping[str, Any]) -> None:
    """Draw the clearances of all blades while they are near the tower, and the least of each pass."""
    trace = item.trace
    for blade in range(trace.blade_count):
        axis.plot(
            trace.time_s - origin, trace.clearance(blade), color=line["color"], linewidth=1.0, alpha=0.6
        )
    passes = item.entry.gathered.passes
    mine = passes["case"] == item.entry.gathered.cases.index(item.case)
    seen = mine & (passes["time_s"] >= trace.time_s[0]) & (passes["time_s"] <= trace.time_s[-1])
    order = np.argsort(passes["time_s"][seen])
    time, least = passes["time_s"][seen][order] - origin, passes["clearance_m"][seen][order]
    axis.plot(time, least, **{**line, "linewidth": 0.8}, marker="o", markersize=3.5)


def side_figure(features: Features, pen: Mapping[str, Pen], name: str = "side") -> str:
    """Draw tower and blade from the side at the pass, to scale, whole and near the tip; ``name`` as above."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    worst = features.worst
    if worst is None:
        return ""
    turbine = worst.entry.gathered.entry.design
    state = interpolate_state(worst.trace.time_s, worst.trace.state, worst.time_s)
    bent = bend_blade(turbine, state, worst.blade)
    twin = None
    if features.twin is not None:
        other = features.twin
        then = interpolate_state(other.trace.time_s, other.trace.state, other.time_s)
        twin = bend_blade(other.entry.gathered.entry.design, then, other.blade)
    with sheet(name, 6.4, 1, 2, width_ratios=[1.0, 1.25]) as page:
        whole, close = page.axes[0]
        for axis in (whole, close):
            _draw_tower(axis, turbine, float(state[at.TOWER]))
            _draw_blade(axis, unloaded_blade(turbine), FADED, dashed=True)
            if features.twin is not None and twin is not None:
                _draw_blade(axis, twin, pen[features.twin.entry.name].colour, alpha=0.35)
            _draw_blade(axis, bent, pen[worst.entry.name].colour, alpha=0.8)
            axis.set_aspect("equal", adjustable="box")
            axis.set_xlabel("downwind of the tower axis [m]")
        _frame(whole, close, turbine, bent)
        _tell_gap(close, turbine, bent, worst, float(state[at.TOWER]))
        whole.set_ylabel("height above ground [m]")
        whole.set_title("to scale")
        close.set_title("the same near the tip, to scale")
        handles: list[Any] = [Patch(color=pen[worst.entry.name].colour, alpha=0.8)]
        labels = [worst.entry.name]
        if features.twin is not None:
            handles.append(Patch(color=pen[features.twin.entry.name].colour, alpha=0.35))
            labels.append(f"{features.twin.entry.name}, its own pass in the same wind")
        handles.append(Line2D([], [], color=FADED, linestyle="--", linewidth=1.0))
        legend_above(page.figure, handles, [*labels, "unloaded"])
    return page.svg


def _draw_tower(axis: Any, turbine: Turbine, sway: float) -> None:
    heights, centre, radius = tower_outline(turbine, sway)
    axis.fill_betweenx(heights, centre - radius, centre + radius, color=STEEL, linewidth=0.0)
    top, hub = turbine.tower.height, hub_centre(turbine, sway)
    deep = 2.0 * turbine.nacelle.centre_z if turbine.nacelle.centre_z > 0.5 else 4.0
    back = centre[-1] - turbine.rotor.side * (1.4 * abs(turbine.nacelle.centre_x) + 2.0)
    front = hub[0] - turbine.rotor.side * turbine.rotor.hub_radius
    x = [front, back, back, front]
    axis.fill(x, [top, top, top + deep, top + deep], color=STEEL, linewidth=0.0)
    axis.plot(hub[0], hub[2], "o", color=SOFT, markersize=4)


def _draw_blade(axis: Any, blade: BentBlade, colour: str, alpha: float = 1.0, dashed: bool = False) -> None:
    z = blade.axis[:, 2]
    x = np.concatenate([blade.upwind, blade.downwind[::-1]])
    outline = np.concatenate([z, z[::-1]])
    if dashed:
        axis.plot(x, outline, color=colour, linewidth=0.9, linestyle="--")
    else:
        axis.fill(x, outline, color=colour, alpha=alpha, linewidth=0.0)


def _frame(whole: Any, close: Any, turbine: Turbine, bent: BentBlade) -> None:
    side, hub = turbine.rotor.side, turbine.rotor.hub_height
    tip = bent.axis[-1]
    reach = max(float(np.max(np.abs(unloaded_blade(turbine).axis[:, 0]))), abs(float(tip[0]))) + 6.0
    whole.set_xlim(sorted((side * reach, -side * 16.0)))
    whole.set_ylim(0.0, hub + 10.0)
    close.set_ylim(tip[2] - 4.0, tip[2] + 26.0)
    close.set_xlim(sorted((side * reach, -side * 5.0)))


def _tell_gap(axis: Any, turbine: Turbine, bent: BentBlade, worst: Featured, sway: float) -> None:
    """Draw the clearance as a dimension line between outline and wall."""
    outer = turbine.blade.r > OUTER * turbine.rotor_radius
    row = int(np.argmin(np.where(outer, bent.clearance, np.inf)))
    height, side = float(bent.axis[row, 2]), turbine.rotor.side
    heights, centre, radius = tower_outline(turbine, sway)
    wall = float(np.interp(height, heights, centre + side * radius))
    edge = float(bent.downwind[row] if side < 0.0 else bent.upwind[row])
    axis.annotate(
        "", (edge, height), (wall, height), arrowprops={"arrowstyle": "<->", "color": INK, "linewidth": 0.9}
    )
    axis.annotate(
        f"{worst.clearance:.2f} m", (0.5 * (edge + wall), height), (0, -4),
        textcoords="offset points", ha="center", va="top",
    )  # fmt: skip
