"""What does each lever of geometry, stiffness and control buy in clearance, and what does it cost?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from scenarios.answer import Answer, to_json
from scenarios.provenance import versions
from scenarios.studies.lever_design import LEVERS, Lever, Mix, bounds_of, mix_of, size_of
from scenarios.studies.lever_keys import ALLOWED
from scenarios.studies.lever_running import power, running, yearly_energy
from scenarios.studies.lever_worth import (
    CLEARANCES,
    PRICES,
    Given,
    Worth,
    governing_clearance,
    gust_of,
    worth_of,
)
from scenarios.studies.levers_text import levers_text
from sim.design import Turbine
from sim.errors import InputError
from sim.turbine import load_turbine
from sim.wind.standard import Site

PAIRS = (
    ("tilt_deg", "cone_deg"),
    ("cone_deg", "prebend_m"),
    ("cone_deg", "stiffness_factor"),
    ("prebend_m", "stiffness_factor"),
    ("stiffness_factor", "thrust_cut"),
    ("stiffness_factor", "pulse_deg"),
    ("thrust_cut", "pulse_deg"),
)
"""Levers that are looked at together."""
_METRE = 4e-3  # [m] to which a metre is met
_ROUNDS = 12


@dataclass(frozen=True)
class Need:
    """What clearance must remain, and the file of weights and bounds."""

    clearance: float  #: [m] in the governing wind
    weights: Path | None = None


def run_asked(
    source: str, overrides: Sequence[tuple[str, Any]], asked: Mapping[str, Any], out: Path
) -> Answer:
    """Answer as `run` does what the command line asks.

    Raises
    ------
    InputError
        A number is none, weights are given without a need, class or category are unknown, or as `run`.
    """
    if asked["weights"] is not None and asked["need"] is None:
        raise InputError(f"--weights {asked['weights']}: weights are of a need; add --need M")
    for name in ("need", "gust", "spar_share", "bearing_share"):
        if asked[name] is not None and not math.isfinite(asked[name]):
            raise InputError(f"--{name.replace('_', '-')} {asked[name]}: must be a number")
    turbine = load_turbine(source, overrides)
    rotor = turbine.rotor
    site = Site(asked["turbine_class"], asked["category"], rotor.hub_height, 2.0 * turbine.rotor_radius)
    gust = math.nan if asked["gust"] is None else asked["gust"]
    given = Given(site, asked["spar_share"], asked["bearing_share"], gust)
    need = None if asked["need"] is None else Need(asked["need"], asked["weights"])
    return run(source, turbine, given, out, need)


def run(source: str, turbine: Turbine, given: Given, out: Path, need: Need | None = None) -> Answer:
    """Return the table of levers, or the cheapest mix of them that keeps a clearance, and write the page.

    Parameters
    ----------
    source : what the turbine was asked for as
    turbine : Turbine
    given : Given
    out : folder of the page
    need : of the cheapest mix; the table alone without

    Raises
    ------
    InputError
        The turbine never reaches rated power, no mix meets the need, or weights and bounds are wrong.
    """
    from scenarios.report.levers_page import levers_page
    from scenarios.report.page import prepare, render, write

    prepare(out)
    page = out / f"levers-{Path(source).stem}.html"
    told: dict[str, Any] = {"page": str(page)}
    if need is not None:  # first, as it is what may be refused
        from scenarios.studies.lever_mix import mix_data

        told = {"mix": mix_data(turbine, given, need.clearance, need.weights)} | told
    data = levers_data(turbine, given) | told
    write(page, render(levers_page(data)))
    write(page.with_suffix(".json"), to_json(data) + "\n")
    return Answer(data, levers_text(data))


def levers_data(turbine: Turbine, given: Given) -> dict[str, Any]:
    """Return gains, prices, ranges and interactions of every lever, units in the names."""
    mix = mix_of(turbine)
    base = worth_of(turbine, mix, given)
    return {
        "turbine": turbine.name,
        "content_hash": turbine.content_hash(),
        "versions": versions(),
        "site": {
            "wind_class": given.site.turbine_class,
            "turbulence_category": given.site.category,
            "mean_wind_m_s": given.site.vave,
        },
        "assumed": {
            "gust_m_s": gust_of(given, base.governing_wind_m_s),
            "gust": "rise" if turbine.rotor.side < 0.0 else "fall",
            "spar_share": given.spar_share,
            "bearing_share": given.bearing_share,
        },
        "as_it_is": base.told(),
        "levers": [_lever_row(turbine, mix, base, given, lever) for lever in LEVERS],
        "interactions": _interactions(turbine, mix, base, given),
        "straightened": straightened(turbine, mix, given),
        "cosine_exponents": cosine_exponents(turbine, mix, given),
    }


def _lever_row(turbine: Turbine, mix: Mix, base: Worth, given: Given, lever: Lever) -> dict[str, Any]:
    ends = [
        base if way == 0.0 else worth_of(turbine, mix.moved(lever.name, way * lever.step), given)
        for way in lever.ways
    ]
    per = size_of(lever) / ((lever.ways[1] - lever.ways[0]) * lever.step)
    low, high = ends[0].told(), ends[1].told()
    slope = {name: per * (high[name] - low[name]) for name in (*CLEARANCES, *PRICES)}
    gain = slope["governing_m"]
    reach = bounds_of(mix)[lever.name]
    at = getattr(mix, lever.name)
    by = one_metre(turbine, mix, given, lever, base.governing_m, _slopes(base, ends, lever))
    there = {} if math.isnan(by) else worth_of(turbine, mix.moved(lever.name, by), given).told()
    return {
        "lever": lever.name,
        "title": lever.title,
        "unit": lever.unit,
        "stands_at": at,
        "gain_unloaded_m": slope["unloaded_m"],
        "gain_governing_m": gain,
        "prices": {name: slope[name] for name in PRICES},
        "units_for_one_metre": by / size_of(lever),
        "price_of_one_metre": {name: there.get(name, math.nan) - getattr(base, name) for name in PRICES},
        "range": list(reach),
        "governing_over_range_m": [
            governing_clearance(turbine, mix.moved(lever.name, end - at), given) for end in reach
        ],
    }


def _slopes(base: Worth, ends: Sequence[Worth], lever: Lever) -> tuple[float, float]:
    """First and second derivative of the governing clearance; a lever of one way has the first alone."""
    low, high = (end.governing_m - base.governing_m for end in ends)
    if lever.ways[0] == 0.0:
        return high / lever.step, 0.0
    return 0.5 * (high - low) / lever.step, (high + low) / lever.step**2


def one_metre(
    turbine: Turbine, mix: Mix, given: Given, lever: Lever, base: float, slopes: tuple[float, float]
) -> float:
    """Return how far one lever must go to gain a metre in the governing wind; nan if that is out of reach.

    Parameters
    ----------
    turbine, mix, given : as of `worth_of`
    lever : Lever
    base : float [m]
        What remains in the governing wind as the mix stands.
    slopes : (m per one, m per one squared)
        First and second derivative of the gain where the lever stands: where the search begins.

    Notes
    -----
    The root of the parabola, then false position with halved ends (Illinois), within what a bound may be
    (`lever_keys.ALLOWED`). A lever moved so far does not gain, nor cost, in proportion: thrust that is shaved
    by 18 % costs nine times the energy of 5 %.
    """
    slope, bend = slopes
    low, high = (end - getattr(mix, lever.name) for end in ALLOWED[lever.name])
    end = high if slope > 0.0 else low if lever.ways[0] < 0.0 else 0.0
    if not slope * end > 0.0:
        return math.nan

    def spare(by: float) -> float:
        return governing_clearance(turbine, mix.moved(lever.name, by), given) - base - 1.0

    root = slope**2 + 2.0 * bend
    by = 2.0 / (slope + math.copysign(math.sqrt(root), slope)) if root > 0.0 else end
    by = end if abs(by) > abs(end) else by
    short, long = (0.0, -1.0), (by, spare(by))
    if long[1] < -_METRE and by != end:
        short, long = long, (end, spare(end))
    if long[1] < -_METRE:
        return math.nan
    for _ in range(_ROUNDS):
        if abs(long[1]) < _METRE:
            break
        by = long[0] - long[1] * (long[0] - short[0]) / (long[1] - short[1])
        left = spare(by)
        if left < -_METRE:
            short = (by, left)
        else:
            # Halved, the end that stays pulls the next guess across the root.
            short, long = (short[0], 0.5 * short[1]), (by, left)
    return long[0]


def _interactions(turbine: Turbine, mix: Mix, base: Worth, given: Given) -> list[dict[str, Any]]:
    """Return what pairs of levers, each moved by a unit, gain together beyond what they gain apart [m]."""
    by = {lever.name: lever for lever in LEVERS}

    def gain(*names: str) -> float:
        moved = mix
        for name in names:
            moved = moved.moved(name, size_of(by[name]))
        return governing_clearance(turbine, moved, given) - base.governing_m

    alone = {name: gain(name) for name in dict.fromkeys(name for pair in PAIRS for name in pair)}
    return [
        {
            "levers": [by[name].title for name in pair],
            "apart_m": alone[pair[0]] + alone[pair[1]],
            "together_m": gain(*pair),
        }
        for pair in PAIRS
    ]


def straightened(turbine: Turbine, mix: Mix, given: Given) -> dict[str, float]:
    """Return what is left of a metre of prebend, and of a degree of cone, turning in no wind [m].

    Notes
    -----
    The full beam under rotation alone, at rated speed and fine pitch.
    """
    from scenarios.studies.waterfall import bent_clearance, turned_bend
    from sim.plant.tower import tower_modes

    def turning(moved: Mix) -> float:
        run = running(turbine, moved, given.spar_share)
        mode = tower_modes(run.turbine).fore_aft
        return bent_clearance(
            run.turbine, turbine.pitch.fine, turned_bend(run.turbine, run.rotor.modes), 0.0, mode
        )

    return {
        "prebend_m_per_m": turning(mix.moved("prebend_m", 0.5)) - turning(mix.moved("prebend_m", -0.5)),
        "cone_m_per_deg": turning(mix.moved("cone_deg", 0.5)) - turning(mix.moved("cone_deg", -0.5)),
    }


def cosine_exponents(turbine: Turbine, mix: Mix, given: Given) -> dict[str, float]:
    """Return which power of the cosine the power falls with, below rated and over the year [-].

    Notes
    -----
    ln(P(angle)/P(0)) / ln(cos(angle)) at 0.8 of rated wind, or less where the rotor already turns at its
    highest speed, angles of 5 (tilt) and 2.5 degrees (cone). Wind along the shaft falls with cos(tilt), and
    power with its cube. Of a coned rotor the swept area falls with
    cos^2(cone); balancing the momentum along each blade's own normal, as here, takes one cosine more. What is
    above three comes from the bent and prebent blade: cone moves it across the shaft in proportion to
    sin(cone), not by a cosine.
    """
    found = {}
    for name, angle in (("tilt_deg", 5.0), ("cone_deg", 2.5)):
        flat, leaning = (
            running(turbine, mix.moved(name, at - getattr(mix, name)), given.spar_share)
            for at in (0.0, angle)
        )
        full = turbine.machine.rated_rotor_speed * turbine.rotor_radius / flat.air.ratio
        wind = min(0.8 * flat.rated, 0.95 * full * math.cos(flat.turbine.rotor.cone))
        below = [
            float(power(one, np.array([wind * math.cos(one.turbine.rotor.tilt)]))[0])
            for one in (flat, leaning)
        ]
        year = [yearly_energy(one, given.site.vave) for one in (flat, leaning)]
        fall = math.log(math.cos(math.radians(angle)))
        found[f"{name.removesuffix('_deg')}_below_rated"] = math.log(below[1] / below[0]) / fall
        found[f"{name.removesuffix('_deg')}_over_year"] = math.log(year[1] / year[0]) / fall
        found[f"{name.removesuffix('_deg')}_year_loss_percent"] = 100.0 * (1.0 - year[1] / year[0])
    return found
