"""What do the winds look like that a turbine is marched in?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scenarios.report.drawing import CANDIDATE, INK, SOFT, legend_above, sheet
from scenarios.report.page import Figure, Section, Text

if TYPE_CHECKING:
    from scenarios.scenario import Scenario
    from scenarios.studies.winds import Event
    from sim.wind.spec import WindSpec

Array = NDArray[Any]
COMPONENTS = (("along", INK), ("across", "#d55e00"), ("up", "#0072b2"))
SHOWN_S = 120.0
"""How much of a field is drawn over time [s]."""

BANDS = 10
"""Bands in a decade of frequency over which a spectrum is averaged."""

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
    if event.lowest[0] < 0.0:
        axis.axhline(0.0, color=SOFT, linewidth=0.8)
    if event.direction.any():
        other = axis.twinx()
        other.plot(event.time, np.degrees(event.direction), color=CANDIDATE, linestyle=":", linewidth=1.6)
        other.set_ylabel("direction [deg]")
        other.grid(visible=False)
        other.spines["right"].set_visible(True)


@dataclass(frozen=True)
class Spectra:
    """Spectra of one field, averaged over its points and over bands of frequency, against their targets.

    Parameters
    ----------
    frequency : (band,) float64 [Hz]
    found, target : (component, band) float64 [m2/s]
    """

    frequency: Array
    found: Array
    target: Array


def field_section(scenario: Scenario) -> list[Section]:
    """Show one field of the scenario's strongest turbulence; nothing where no wind is turbulent."""
    turbulent = [case for case in scenario.cases_of(scenario.candidate) if case.wind.sigma > 0.0]
    if not turbulent:
        return []
    case = max(turbulent, key=lambda case: (case.wind.sigma, -case.number))
    rotor = scenario.candidate.design.rotor
    figure = field_figure(case.wind, rotor.hub_height, 2.0 * scenario.candidate.design.rotor_radius)
    caption = (
        f"{case.load_case}, {case.wind.speed:g} m/s, seed {case.number}: the wind along at one instant "
        "across the disc (circle) and over two minutes at hub height, looking downwind; and the spectra of "
        "its components, averaged over all points (dots), against their targets (lines). Between the grid's "
        "points interpolation takes some of the fastest motion away."
    )
    words = {
        "kaimal": "The standard's spectra for three independent components; its coherence for the wind "
        "along, and the same form with each component's own length for the others.",
        "tensor": "The standard's sheared spectral tensor: anisotropic, along and up correlated.",
        "longitudinal": "The standard's spectrum and coherence for the wind along; the others are left out.",
    }
    parts = [Text(words[case.wind.model]), Figure(figure, caption)]
    return [Section("Appendix: one field of turbulence", parts)]


def field_figure(spec: WindSpec, hub_height: float, rotor_diameter: float) -> str:
    """Draw one field: across the disc, over time at hub height, and its spectra against their targets.

    Returns
    -------
    str
        An SVG element.
    """
    from sim.wind.field import pack_winds

    pack = pack_winds([spec], hub_height, rotor_diameter, 600.0)
    field = spec.sigma * pack.boxes[0]
    with sheet("field", 3.1, 1, 3, width_ratios=(1.0, 1.35, 1.35)) as page:
        left, middle, right = page.axes[0]
        reach = abs(pack.box_y0)
        size = 2.5 * spec.sigma
        look: dict[str, Any] = {"cmap": "RdBu_r", "vmin": -size, "vmax": size, "origin": "lower"}
        look |= {"interpolation": "nearest", "aspect": "auto"}
        # Looking downwind, y points to the left.
        image = left.imshow(field[0, 0, :, ::-1], extent=(-reach, reach, -reach, reach), **look)
        turn = np.linspace(0.0, 2.0 * np.pi, 100)
        left.plot(0.5 * rotor_diameter * np.cos(turn), 0.5 * rotor_diameter * np.sin(turn), color=INK, lw=1.0)
        left.set_box_aspect(1.0)
        left.set_xlabel("to the right [m]")
        left.set_ylabel("above the hub [m]")
        left.set_title("across the disc")
        rows = round(SHOWN_S / pack.box_step)
        hub_row = field[:rows, 0, field.shape[2] // 2, ::-1]
        middle.imshow(hub_row.T, extent=(0.0, SHOWN_S, -reach, reach), **look)
        middle.set_xlabel("time [s]")
        middle.set_ylabel("to the right [m]")
        middle.set_title("at hub height")
        page.figure.colorbar(image, ax=middle, label="deviation along [m/s]")
        for axis in (left, middle):
            axis.grid(visible=False)
        _draw_spectra(right, spectra_of(spec, field, pack.box_step))
    return page.svg


def _draw_spectra(axis: Any, spectra: Spectra) -> None:
    for part, (name, colour) in enumerate(COMPONENTS):
        if spectra.found[part].any():
            axis.plot(spectra.frequency, spectra.target[part], color=colour, linewidth=1.2, label=name)
            axis.plot(spectra.frequency, spectra.found[part], "o", color=colour, markersize=2.8)
    axis.set_xscale("log")
    axis.set_yscale("log")
    axis.set_xlabel("frequency [Hz]")
    axis.set_ylabel("spectral density [m2/s]")
    axis.set_title("spectra: target and found")
    axis.legend()


def spectra_of(spec: WindSpec, field: Array, step: float) -> Spectra:
    """Return the spectra of a field (step, component, z, y) [m/s] and what they should be.

    Notes
    -----
    Mean of the periodograms of all points, averaged over bands of a tenth of a decade; targets are averaged
    over the same frequencies. The field must be a whole period; its lowest frequency, which carries all that
    is slower too, is left out.
    """
    steps = len(field)
    frequency = np.fft.rfftfreq(steps, step)[2:-1]
    waves = np.fft.rfft(field, axis=0)[2:-1]
    power = 2.0 * step / steps * (abs(waves) ** 2).mean(axis=(2, 3)).T
    targets = _targets(spec, frequency)
    band = np.floor(BANDS * np.log10(frequency / frequency[0])).astype(int)
    kept = np.unique(band)

    def averaged(values: Array) -> Array:
        return np.stack([values[..., band == number].mean(axis=-1) for number in kept], axis=-1)

    return Spectra(averaged(frequency), averaged(power), averaged(targets))


def _targets(spec: WindSpec, frequency: Array) -> Array:
    from sim.wind.spectra import kaimal_density

    scale, speed = spec.turbulence_scale, spec.speed
    if spec.model != "tensor":
        return np.stack([kaimal_density(frequency, speed, spec.sigma, scale, part) for part in range(3)])
    from sim.wind.tensor import ISOTROPIC_SIGMA_FACTOR, LENGTH_FACTOR, point_spectrum

    length = LENGTH_FACTOR * scale
    waves = point_spectrum(2.0 * np.pi * length * frequency / speed)[:3]
    return (ISOTROPIC_SIGMA_FACTOR * spec.sigma) ** 2 * 4.0 * np.pi * length / speed * waves
