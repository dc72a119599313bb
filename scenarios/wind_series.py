"""May a measured series stand in a scenario, and what must be said of it?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from scenarios.wind_keys import WindKeys
from sim.errors import InputError
from sim.wind.measured import Series, read_series

SHORTEST_S, LONGEST_S = 5.0, 3600.0
"""What a series may cover, as the judged time of any other case."""

COARSE_S = 1.0
"""Rows further apart than this hide much of what a blade feels: the tip goes round in about five seconds."""

SHAPES = ("shear_exponent", "roughness_m", "jet_speed_m_s", "profile_file")
"""Keys that tell the mean wind over height."""


def read_whole(path: Path) -> Series:
    """Read a series of a length that can be marched.

    Raises
    ------
    InputError
        As `sim.wind.measured.read_series`, or the series is too short or too long.
    """
    series = read_series(path)
    if not SHORTEST_S <= series.duration <= LONGEST_S:
        hint = "; cut it into several files" if series.duration > LONGEST_S else ""
        told = (
            f"{path.name}: covers {series.duration:g} s; must cover {SHORTEST_S:g} to {LONGEST_S:g} s{hint}"
        )
        raise InputError(told)
    return series


def rival_key(wind: WindKeys, series: Series) -> str:
    """Return the key that tells the mean wind over height though the series does; empty for none."""
    if not len(series.heights):
        return ""
    return next((key for key in SHAPES if getattr(wind, key) is not None), "")


def doubts(wind: WindKeys, series: Series) -> Iterator[str]:
    """Yield what a reader must know of a series that is marched nevertheless."""
    step = float(np.median(np.diff(series.time)))
    if step > COARSE_S:
        yield (
            f"{wind.label}: the rows of {wind.series_file} lie {step:g} s apart; the wind runs straight from "
            "row to row, without the turbulence between them"
        )
