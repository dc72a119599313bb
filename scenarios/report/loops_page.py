"""What does the page of poles and margins say?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from scenarios.report.loop_figures import answer_figure, loop_figure, pole_figure, step_figure
from scenarios.report.page import BREAKS, HOLDS, Figure, Page, Row, Section, Table, Text
from scenarios.studies.loops_text import MARGIN_HEAD, POLE_HEAD, margin_rows, pole_rows, resting_text
from sim.design import Turbine

if TYPE_CHECKING:
    from scenarios.studies.loops import Look

HOW = (
    "The compiled plant's own rates are differentiated about its periodic motion in that wind, in "
    "multi-blade "
    "coordinates, and averaged over a turn; the stack's step is differentiated about what it sees and "
    "remembers there. Sampling, the age of readings and the servos' delay are exact. Limits of pitch rate "
    "and "
    "acceleration, stops, play, and what turns three times as fast as the rotor are no part of a linear "
    "model."
)
LOOPS = "Gain and phase of each loop, cut at its command with all others closed, for negative feedback."
STEPS = "What follows a small lasting rise of the wind, in the linear model; of blades the mean of the three."
ANSWERS = "How strongly rotor, tower and blades answer a swing of the pitch demand or of the wind."
POLES = (
    "Every motion but the lags of the air: crosses with commands held, rings with the loops closed. What "
    "only "
    "decays has damping 1."
)


def loops_page(turbine: Turbine, looks: Sequence[Look], data: Mapping[str, Any]) -> Page:
    """Compose the page.

    Parameters
    ----------
    turbine : Turbine
    looks : sequence of Look
    data : what the study prints with ``--json``
    """
    unstable = [row for row in data["operation"] if not row["stable"]]
    sections = [_margin_section(data)]
    for speed in dict.fromkeys(row["wind_speed_m_s"] for row in data["operation"]):
        at = [n for n, row in enumerate(data["operation"]) if row["wind_speed_m_s"] == speed]
        sections += _speed_sections([looks[n] for n in at], [data["operation"][n] for n in at], speed)
    return Page(
        name="loops",
        title=f"Poles and margins of {turbine.name}",
        where=f"Steady wind, shear exponent {data['shear_exponent']:g}; period {data['period_s']:g} s, "
        f"readings {data['reading_delay_s']:g} s old, pitch demands {data['pitch_delay_s']:g} s late.",
        headline="Unstable:" if unstable else "Stable",
        verdict=_verdict(data, unstable),
        mark=BREAKS if unstable else HOLDS,
        sections=sections,
        remarks=[HOW],
    )


def _verdict(data: Mapping[str, Any], unstable: Sequence[Mapping[str, Any]]) -> str:
    if unstable:
        return "; ".join(f"{row['stack']} at {row['wind_speed_m_s']:g} m/s" for row in unstable) + "."
    loops = [(loop, row) for row in data["operation"] for loop in row["loops"]]
    if not loops:
        return "under small disturbances; no stack closes a loop in these winds."
    loop, row = min(loops, key=lambda pair: pair[0]["disc_margin"])
    return (
        f"under small disturbances. Least disc margin {loop['disc_margin']:.2f}: {loop['loop']} of "
        f"{row['stack']} at {row['wind_speed_m_s']:g} m/s stands {loop['disc_gain_dB']:.1f} dB and "
        f"{loop['disc_phase_deg']:.0f} degrees at once."
    )


def _margin_section(data: Mapping[str, Any]) -> Section:
    rows = [
        Row([row["stack"], f"{row['wind_speed_m_s']:g}", *cells])
        for row in data["operation"]
        for cells in margin_rows(row["loops"])
    ]
    note = (
        "Each loop is cut at its command, all others closed. The disc margin counts gain and phase together: "
        "the loop stands any change within the gain and phase given beside it, both at once. None: nothing "
        "in "
        f"the band from {data['band_Hz'][0]:g} to {data['band_Hz'][1]:g} Hz limits it. An unstable closed "
        "loop has no margins."
    )
    return Section("What each loop stands", [Text(note), Table(["stack", "wind m/s", *MARGIN_HEAD], rows)])


def _speed_sections(looks: Sequence[Look], rows: Sequence[Mapping[str, Any]], speed: float) -> list[Section]:
    name = f"v{speed:g}".replace(".", "_")
    answers = [Figure(step_figure(looks, name), STEPS), Figure(answer_figure(looks, name), ANSWERS)]
    if any(look.loop.active for look in looks):
        answers.insert(0, Figure(loop_figure(looks, name), LOOPS))
    motions: list[Any] = [Figure(pole_figure(looks, name), POLES)]
    for row in rows:
        where = (
            f"{row['stack']}: {row['rotor_speed_rpm']:.2f} rpm, pitch {row['pitch_deg']:.2f} deg, "
            f"torque {row['torque_kNm']:.0f} kN m."
        )
        if row["resting_layers"]:
            where += f" {resting_text(row).capitalize()}."
        motions += [Text(where), Table(POLE_HEAD, [Row(cells) for cells in pole_rows(row)])]
    return [
        Section(f"Loops and answers at {speed:g} m/s", answers),
        Section(f"Motions at {speed:g} m/s", motions),
    ]
