"""What do measured or foreign time series say, judged as a march is: passes, fatigue, extremes?"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.answer import Answer, ExitCode, counted
from scenarios.case import hash_file
from scenarios.provenance import code_version, versions
from scenarios.studies.assess import COMPOSITE, REFERENCE_FREQUENCY_HZ, STEEL
from scenarios.studies.record_telling import page_name, record_text
from scenarios.studies.telling import interval_data
from sim.errors import InputError
from sim.foreign import Recording, read_recording
from sim.measures.clearance import NEEDED, broken_passes, characteristic_value, strikes
from sim.measures.equivalent import cycle_rates
from sim.measures.extremes import return_level
from sim.measures.fatigue import turning_points
from sim.measures.found import find_passes
from sim.measures.levels import ReturnLevel
from sim.measures.spectrum import NOTHING, Spectrum
from sim.measures.statistics import Interval, cluster_bootstrap

Floats = NDArray[np.float64]

CHANNELS: Mapping[str, float] = {
    "root_flap_moment": COMPOSITE,
    "root_edge_moment": COMPOSITE,
    "tower_base_fore_aft": STEEL,
}
"""Channels whose fatigue is counted, and the exponent."""
COLUMNS = ("file", "block", "blade", "time_s", "azimuth_deg", "clearance_m", "pitch_deg", "wind_speed_m_s")
WORST = 8


@dataclass(frozen=True)
class Asked:
    """What the command line says of a recording."""

    blade_count: int
    block_s: float  #: length of the blocks that stand for seeds
    required: float | None  #: clearance that must remain [m]
    out: Path


@dataclass(frozen=True)
class Judged:
    """What all blocks of all files amount to."""

    blocks: Sequence[Recording]
    passes: Mapping[str, NDArray]  #: columns of `find_passes`, and ``block``
    smallest: Floats  #: (block,) smallest clearance [m], infinite where none was seen

    @property
    def seen(self) -> Floats:
        """The smallest clearances of the blocks that saw one [m]."""
        return self.smallest[np.isfinite(self.smallest)]


def run(files: Sequence[Path], asked: Asked) -> Answer:
    """Judge recordings; all files count as one condition, and a block as a seed.

    Returns
    -------
    Answer
        With exit code 1 where a required clearance was given and is not held, else 0.

    Raises
    ------
    InputError
        A recording is wrong, there is nothing to judge, or a file cannot be written.
    """
    from scenarios.report.page import prepare, render, write
    from scenarios.report.record import record_page

    _check(files, asked)
    prepare(asked.out)
    recordings = [read_recording(file, asked.blade_count) for file in files]
    blocks = [block for recording in recordings for block in recording.blocks(asked.block_s)]
    judged = _judge(blocks)
    page = asked.out / f"{page_name(files)}.html"
    listing = page.with_suffix(".csv")
    data = _data(recordings, judged, asked) | {"page": str(page), "listing": str(listing)}
    write(page, render(record_page(data, judged.passes)))
    write(listing, _csv(judged))
    code = ExitCode.DOES_NOT_HOLD if data["holds"] is False else ExitCode.HOLDS
    return Answer(data, record_text(data), code)


def _check(files: Sequence[Path], asked: Asked) -> None:
    given = {"--block-s": asked.block_s, "--required": asked.required}
    problems = [
        f"{option} {value:g}; must be > 0"
        for option, value in given.items()
        if value is not None and not 0.0 < value < math.inf
    ]
    first: dict[str, Path] = {}
    for file in files:
        other = first.setdefault(hash_file(file), file)
        if other is not file:
            problems.append(f"{file}: the same as {other}; a block that counts twice proves nothing")
    if problems:
        raise InputError(problems)


def _judge(blocks: Sequence[Recording]) -> Judged:
    each = [find_passes(block) for block in blocks]
    passes = {name: np.concatenate([found[name] for found in each]) for name in each[0]}
    sizes = [found["time_s"].size for found in each]
    passes["block"] = np.repeat(np.arange(len(blocks)), sizes)
    smallest = [
        np.min(found["clearance_m"], initial=np.inf, where=~np.isnan(found["clearance_m"])) for found in each
    ]
    return Judged(blocks, passes, np.array(smallest))


def _data(recordings: Sequence[Recording], judged: Judged, asked: Asked) -> dict[str, Any]:
    clearance = judged.passes["clearance_m"]
    seen = clearance[np.isfinite(clearance)]
    characteristic, holds, problems = _room(judged, asked)
    order = np.argsort(clearance, kind="stable")[: min(WORST, seen.size)]
    return {
        "files": [_file_data(recording) for recording in recordings],
        "versions": versions() | {"code": code_version()},
        "blade_count": asked.blade_count,
        "block_s": asked.block_s,
        "blocks": len(judged.blocks),
        "passes": int(clearance.size),
        "passes_seen": int(seen.size),
        "required_clearance_m": asked.required,
        "broken_passes": None if asked.required is None else broken_passes(seen, asked.required),
        "strikes": strikes(seen),
        "smallest_clearance_m": float(np.min(seen)) if seen.size else math.nan,
        "characteristic_clearance_m": characteristic.value,
        "characteristic_interval_m": interval_data(characteristic),
        "holds": holds,
        "problems": problems,
        "worst": [_row(judged, int(row)) for row in order],
        "equivalent_range": {
            name: _fatigue(judged.blocks, name, exponent)
            for name, exponent in CHANNELS.items()
            if _parts(judged.blocks, name)
        },
        "extremes": _extremes(judged.blocks),
        "fifty_year_clearance": _level(judged, asked),
    }


def _file_data(recording: Recording) -> dict[str, Any]:
    return {
        "file": str(recording.path),
        "duration_s": recording.duration,
        "step_s": recording.step,
        "revolutions": float(recording.azimuth[-1] - recording.azimuth[0]) / (2.0 * math.pi),
        "channels": sorted(recording.channels),
    }


def _room(judged: Judged, asked: Asked) -> tuple[Interval, bool | None, list[str]]:
    """Return the characteristic clearance [m], whether it is enough, and why it cannot be said."""
    seen = judged.seen
    if not seen.size:
        nothing = Interval(math.nan, math.nan, math.nan, 0, "no tip distance was seen")
        return nothing, None if asked.required is None else False, ["no pass with a tip distance was seen"]
    sums = np.stack([seen, np.ones(seen.size)], axis=1)
    mean = cluster_bootstrap(lambda drawn: drawn[:, 0] / drawn[:, 1], sums, np.zeros(seen.size))
    value = characteristic_value("turbulence", seen)
    interval = Interval(value, mean.low, mean.high, mean.units, _over_blocks(mean.method))
    problems = []
    if seen.size < NEEDED["turbulence"]:
        problems.append(
            f"{counted(seen.size, 'block')} with a tip distance; the rule needs {NEEDED['turbulence']}"
        )
    if asked.required is None:
        return interval, None, problems
    return interval, value >= asked.required and not problems, problems


def _over_blocks(method: str) -> str:
    return method.replace("seeds", "blocks").replace("one seed per wind", "one block")


def _parts(blocks: Sequence[Recording], name: str) -> list[str]:
    """Return the channels of one name that every block has: one for each blade, or one alone."""
    first = blocks[0]
    names = [f"{name}_{blade}" for blade in first.blades_of(name)] or [name]
    return [part for part in names if all(part in block.channels for block in blocks)]


def _fatigue(blocks: Sequence[Recording], name: str, exponent: float) -> list[dict[str, Any]]:
    """Return the equivalent range of each part, each block weighing by its length."""
    seconds = np.array([block.duration for block in blocks])
    parts = _parts(blocks, name)
    spectra = [[_counted(block.channels[part]) for block in blocks] for part in parts]
    rates = cycle_rates(spectra, seconds, exponent) / REFERENCE_FREQUENCY_HZ
    found = []
    for column, part in enumerate(parts):
        sums = np.stack([rates[:, column] * seconds, seconds], axis=1)
        scale = float(np.max(sums[:, 0])) or 1.0

        def level(drawn: Floats, scale: float = scale) -> Floats:
            return (drawn[:, 0] / drawn[:, 1] * scale) ** (1.0 / exponent) / 1e3

        interval = cluster_bootstrap(level, sums / [scale, 1.0], np.zeros(len(blocks)))
        interval = Interval(
            interval.value, interval.low, interval.high, interval.units, _over_blocks(interval.method)
        )
        found.append(
            {"channel": part, "value_kNm": interval.value, "interval_kNm": interval_data(interval)}
            | {"exponent": exponent, "reference_frequency_Hz": REFERENCE_FREQUENCY_HZ}
        )
    return found


def _counted(series: Floats) -> Spectrum:
    """Return the cycles of a series, each as it is: all of its turning points are left to be counted."""
    return Spectrum(NOTHING.cells, turning_points(series))


def _extremes(blocks: Sequence[Recording]) -> list[dict[str, Any]]:
    """Return the smallest and largest value of every channel and where it stands, in the units of files."""
    rows = []
    for name in sorted({name for block in blocks for name in block.channels}):
        unit, factor = _unit(name)
        found = {}
        for word, pick in (("smallest", np.argmin), ("largest", np.argmax)):
            fill = math.inf if word == "smallest" else -math.inf
            ends = [_end(block, name, pick, fill) for block in blocks if name in block.channels]
            value, time, path = (min if word == "smallest" else max)(ends, key=lambda end: end[0])
            found[word] = value * factor if math.isfinite(value) else math.nan
            found |= {f"{word}_time_s": time, f"{word}_file": path}
        rows.append({"channel": name, "unit": unit} | found)
    return rows


def _end(block: Recording, name: str, pick: Any, fill: float) -> tuple[float, float, str]:
    values = np.where(np.isfinite(block.channels[name]), block.channels[name], fill)
    place = int(pick(values))
    return float(values[place]), float(block.time[place]), str(block.path)


def _unit(name: str) -> tuple[str, float]:
    if name.startswith("pitch"):
        return "deg", 180.0 / math.pi
    if "moment" in name or name.startswith("tower"):
        return "kN m", 1e-3
    return ("m/s", 1.0) if name == "wind_speed" else ("m", 1.0)


def _level(judged: Judged, asked: Asked) -> dict[str, Any] | None:
    """Return the clearance that is undercut once in fifty years of just this condition, from block minima."""
    lengths = {round(block.duration, 3) for block in judged.blocks}
    if len(judged.seen) < 3 or len(lengths) > 1 or np.ptp(judged.seen) == 0.0:
        return None
    level: ReturnLevel = return_level(-judged.seen, asked.block_s)
    return {
        "value_m": -level.level,
        "low_m": -level.high,
        "high_m": -level.low,
        "blocks": level.samples,
        "method": level.method,
        "warning": level.warning.replace("samples", "blocks"),
    }


def _row(judged: Judged, row: int) -> dict[str, Any]:
    passes, block = judged.passes, int(judged.passes["block"][row])
    return {
        "file": str(judged.blocks[block].path),
        "block": block + 1,
        "blade": int(passes["blade"][row]) + 1,
        "time_s": float(passes["time_s"][row]),
        "azimuth_deg": math.degrees(float(passes["azimuth_rad"][row])),
        "clearance_m": float(passes["clearance_m"][row]),
        "pitch_deg": math.degrees(float(passes["pitch_rad"][row])),
        "wind_speed_m_s": float(passes["wind_speed_m_s"][row]),
    }


def _csv(judged: Judged) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in range(judged.passes["time_s"].size):
        cells = [f"{cell:.7g}" if isinstance(cell, float) else cell for cell in _row(judged, row).values()]
        writer.writerow("" if cell == "nan" else cell for cell in cells)
    return text.getvalue()
