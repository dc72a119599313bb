"""Time series from elsewhere: read with their units, judged like a march, refused in plain words."""

from __future__ import annotations

import csv
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
import xarray
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.cli import main
from scenarios.simulate import watch
from sim.errors import InputError
from sim.foreign import Recording, read_recording
from sim.kernels import layout as at
from sim.measures.found import find_passes, vertex
from tests import short_campaign as short

STEP, SPEED = 0.04, 1.3
"""Time between samples [s], and rotor speed [rad/s]."""


def series(seconds: float, depth: float = 4.0) -> dict[str, np.ndarray]:
    """A rotor that turns evenly: each tip distance is least straight down, 10 less ``depth``."""
    time = np.arange(round(seconds / STEP)) * STEP
    columns = {"time_s": time, "azimuth_deg": np.degrees(SPEED * time) % 360.0}
    for blade in range(3):
        angle = SPEED * time + 2.0 * np.pi * blade / 3.0 - np.pi
        columns[f"tip_distance_{blade + 1}_m"] = 10.0 - depth * np.cos(angle)
        columns[f"root_flap_moment_{blade + 1}_kNm"] = 900.0 * np.sin(2.0 * np.pi * 0.5 * time)
    return columns


def write_csv(path: Path, columns: dict[str, np.ndarray], cells=lambda value: repr(float(value))) -> Path:
    with path.open("w") as handle:
        writer = csv.writer(handle)
        writer.writerow(columns)
        writer.writerows([[cells(value) for value in row] for row in zip(*columns.values(), strict=True)])
    return path


def judged(capsys, out: Path, *arguments: str) -> tuple[int, dict]:
    code = main(["record", *arguments, "--blades", "3", "--out", str(out), "--json"])
    said = capsys.readouterr()
    return code, json.loads(said.out)


@settings(deadline=None, derandomize=True)
@given(st.floats(-0.45, 0.45), st.floats(0.1, 50.0), st.floats(-5.0, 20.0), st.floats(0.5, 2.0))
def test_the_vertex_of_a_parabola_is_exact_on_uneven_samples(
    place: float, bend: float, low: float, after: float
) -> None:
    time = np.array([-1.0, 0.0, after])
    value = low + bend * (time - place) ** 2
    if value[1] <= value.min():
        found = vertex(time, value)
        assert found[0] == pytest.approx(place, abs=1e-6)
        assert found[1] == pytest.approx(low, abs=1e-6 * bend + 1e-9)


def test_a_tip_that_goes_straight_by_is_met_within_the_bound_that_is_stated() -> None:
    """d(t) = (d^2 + v^2 t^2)^(1/2): high by up to 9 v^4 h^4 / (128 d^3), for every place of the samples."""
    speed, step, distance = 80.0, 0.04, 10.0
    bound = 9.0 * (speed * step) ** 4 / (128.0 * distance**3)
    errors = []
    for shift in np.linspace(-0.5, 0.5, 41):
        time = (np.arange(-1.0, 2.0) + shift) * step
        errors.append(vertex(time, np.hypot(distance, speed * time))[1] - distance)
    assert min(errors) > -0.1 * bound
    assert 0.7 * bound < max(errors) < 1.1 * bound


def test_every_pass_of_an_even_rotor_is_found_where_the_closed_form_has_it(tmp_path: Path) -> None:
    passes = find_passes(read_recording(write_csv(tmp_path / "x.csv", series(60.0)), 3))
    turns = [
        (math.pi + 2.0 * math.pi * (turn - blade / 3.0)) / SPEED for turn in range(20) for blade in range(3)
    ]
    expected = sorted(time for time in turns if 0.0 < time < 59.96)
    assert passes["time_s"] == pytest.approx(expected, abs=1e-5)
    assert passes["clearance_m"] == pytest.approx(6.0, abs=1e-5)
    assert passes["azimuth_rad"] == pytest.approx(math.pi, abs=1e-5)
    # Seen from upwind the rotor turns clockwise: after blade 1 comes the one that stands behind it.
    assert passes["blade"][:4].tolist() == [1, 0, 2, 1]


def test_a_distance_that_is_seen_only_near_the_tower_is_enough(tmp_path: Path) -> None:
    columns = series(30.0)
    for blade in (1, 2, 3):
        distance = columns[f"tip_distance_{blade}_m"]
        distance[distance > 7.0] = np.nan
    path = write_csv(tmp_path / "x.csv", columns, lambda value: "" if np.isnan(value) else repr(float(value)))
    passes = find_passes(read_recording(path, 3))
    assert passes["clearance_m"] == pytest.approx(6.0, abs=1e-5)


def test_units_and_file_formats_change_nothing(tmp_path: Path, capsys) -> None:
    columns = series(60.0)
    other = {"time_s": columns["time_s"], "azimuth_rad": np.radians(columns["azimuth_deg"])}
    dataset = xarray.Dataset({"azimuth": ("time", columns["azimuth_deg"], {"units": "degrees"})})
    dataset["time"] = ("time", columns["time_s"], {"units": "s"})
    for blade in (1, 2, 3):
        flap, tip = f"root_flap_moment_{blade}", f"tip_distance_{blade}"
        other |= {f"{flap}_MNm": columns[f"{flap}_kNm"] / 1e3, f"{tip}_m": columns[f"{tip}_m"]}
        dataset[flap] = ("time", columns[f"{flap}_kNm"] * 1e3, {"units": "N m"})
        dataset[f"{tip}_m"] = ("time", columns[f"{tip}_m"])
    dataset.to_netcdf(tmp_path / "c.nc", engine="h5netcdf")
    paths = [write_csv(tmp_path / "a.csv", columns), write_csv(tmp_path / "b.csv", other), tmp_path / "c.nc"]
    answers = [judged(capsys, tmp_path / "out", str(path), "--block-s", "20")[1] for path in paths]
    for name in ("passes", "passes_seen", "blocks", "strikes"):
        assert len({answer[name] for answer in answers}) == 1
    for answer in answers[1:]:
        assert answer["characteristic_clearance_m"] == pytest.approx(answers[0]["characteristic_clearance_m"])
        ours, first = (
            a["equivalent_range"]["root_flap_moment"][0]["value_kNm"] for a in (answer, answers[0])
        )
        assert ours == pytest.approx(first)


def test_a_sine_has_the_equivalent_range_of_the_closed_form(tmp_path: Path, capsys) -> None:
    """Range 2 A, f cycles a second: 2 A f^(1/m) at 1 Hz, and the samples beside a peak lie 0.02 s from it."""
    path = write_csv(tmp_path / "x.csv", series(600.0))
    _, told = judged(capsys, tmp_path / "out", str(path), "--block-s", "200")
    (first, *_) = told["equivalent_range"]["root_flap_moment"]
    assert first["exponent"] == 10.0
    assert first["value_kNm"] == pytest.approx(1800.0 * math.cos(math.pi * 0.02) * 0.5**0.1, rel=1e-3)
    assert first["interval_kNm"]["low"] <= first["value_kNm"] <= first["interval_kNm"]["high"]
    row = next(row for row in told["extremes"] if row["channel"] == "root_flap_moment_2")
    assert (row["smallest"], row["largest"]) == pytest.approx((-900.0, 900.0), rel=1e-2)


def test_the_verdict_is_that_of_the_rule_for_turbulence(tmp_path: Path, capsys) -> None:
    """The mean of the smallest of each block, of six at least; the code is that of a study."""
    depths = [4.0, 4.2, 4.4, 3.6, 3.8, 4.1]
    files = [str(write_csv(tmp_path / f"{n}.csv", series(30.0, depth))) for n, depth in enumerate(depths)]
    mean = 10.0 - sum(depths) / 6.0
    for required, code, holds in ((mean - 0.01, 0, True), (mean + 0.01, 1, False)):
        ended, told = judged(capsys, tmp_path / "out", *files, "--required", str(required))
        assert (ended, told["holds"]) == (code, holds)
        assert told["characteristic_clearance_m"] == pytest.approx(mean, abs=1e-4)
    assert told["smallest_clearance_m"] == pytest.approx(5.6, abs=1e-4)
    assert told["fifty_year_clearance"]["value_m"] < 5.6
    ended, told = judged(capsys, tmp_path / "out", *files[:5], "--required", "1.0")
    assert (ended, told["holds"]) == (1, False)
    assert told["problems"] == ["5 blocks with a tip distance; the rule needs 6"]
    ended, told = judged(capsys, tmp_path / "out", *files)
    assert (ended, told["holds"]) == (0, None)
    lines = Path(told["listing"]).read_text().splitlines()
    assert len(lines) == 1 + told["passes"]
    assert "certification body" in Path(told["page"]).read_text(encoding="utf-8")


def test_recordings_of_one_stem_leave_each_other_s_page_alone(tmp_path: Path, capsys) -> None:
    """Loggers call their files alike; judged again, a page is written anew and none is added."""
    files = []
    for mast, depth in (("north", 4.0), ("south", 5.0)):
        (tmp_path / mast).mkdir()
        files.append(str(write_csv(tmp_path / mast / "tower.csv", series(30.0, depth))))
    for asked in ([files[0]], [files[1]], files, files):
        _, told = judged(capsys, tmp_path / "out", *asked)
    pages = sorted((tmp_path / "out").glob("*.html"))
    assert len(pages) == len(list((tmp_path / "out").glob("*.csv"))) == 3
    assert all(page.name.startswith("tower-record") for page in pages)
    assert Path(told["page"]) in pages


def test_a_march_of_ours_judged_as_a_record_has_its_own_passes() -> None:
    """What the march finds between its steps, from no more than what an instrument would have stored."""
    case = next(case for case in short.cases() if case.entry == "softened")
    rows: list[np.ndarray] = []

    def observe(flock, seen, commands, reference) -> None:
        out = flock.lanes.out[0]
        rows.append(np.array([flock.lanes.y[0, at.AZIMUTH], *out[at.OUT_DISTANCE : at.OUT_DISTANCE + 3]]))

    result = watch(case, observe)
    table = np.array(rows)
    time = np.arange(len(table)) * case.run.period - case.run.settle
    tips = {f"tip_distance_{blade + 1}": table[:, 1 + blade] for blade in range(3)}
    passes = find_passes(Recording(Path("x"), time, table[:, 0], tips, 3))
    kept = (passes["time_s"] > 0.3) & (passes["time_s"] < time[-1] - 0.3)
    own = (result["passes.time_s"] > 0.3) & (result["passes.time_s"] < time[-1] - 0.3)
    assert own.sum() >= 3
    assert passes["blade"][kept].tolist() == result["passes.blade"][own].tolist()
    assert passes["time_s"][kept] == pytest.approx(result["passes.time_s"][own], abs=0.01)
    assert passes["clearance_m"][kept] == pytest.approx(result["passes.clearance_m"][own], abs=0.03)


def spoilt(name: str) -> dict[str, np.ndarray]:
    columns = series(10.0)
    if name == "no azimuth":
        del columns["azimuth_deg"]
    elif name == "no unit":
        columns["pitch_1"] = columns["time_s"]
    elif name == "misspelt":
        columns["root_flap_momment_1_kNm"] = columns.pop("root_flap_moment_1_kNm")
    elif name == "twice":
        columns["azimuth_rad"] = columns["azimuth_deg"]
    elif name == "gap":
        columns = {key: np.delete(values, [40, 41, 42]) for key, values in columns.items()}
    elif name == "coarse":
        columns = {key: values[::40] for key, values in series(40.0).items()}
    elif name == "back":
        columns["time_s"][7] = 0.0
    elif name == "hole":
        columns["root_flap_moment_2_kNm"][4] = np.nan
    elif name == "backward":
        columns["azimuth_deg"] = -columns["azimuth_deg"] % 360.0
    elif name == "alone":
        columns = {key: columns[key] for key in ("time_s", "azimuth_deg")}
    return columns


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("no azimuth", r"x\.csv:1: column 'azimuth_deg' or 'azimuth_rad' .* is missing"),
        ("no unit", r"x\.csv:1: unknown column 'pitch_1'; did you mean .*'pitch_1_\w+'"),
        ("misspelt", r"unknown column 'root_flap_momment_1_kNm'; did you mean 'root_flap_moment_1_kNm'"),
        ("twice", r"'azimuth_deg' and 'azimuth_rad' say the same in two units"),
        ("gap", r"x\.csv:42: time_s = 1\.72; 0\.16 s after the row before, where 0\.04 s is usual"),
        ("coarse", r"x\.csv:3: azimuth_deg = 119\.175; 119 degrees from the row before"),
        ("back", r"x\.csv:9: time_s = 0; must be above 0\.24, the row before"),
        ("hole", r"x\.csv:6: root_flap_moment_2_kNm = \"nan\"; must be a number"),
        ("backward", r"x\.csv: the azimuth falls by 2\.1 turns; it must grow as the rotor turns"),
        ("alone", r"nothing to judge; known columns: time_s, azimuth_deg"),
    ],
)
def test_a_wrong_record_is_named_with_file_and_line(tmp_path: Path, name: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_recording(write_csv(tmp_path / "x.csv", spoilt(name)), 3)


def test_a_blade_that_the_rotor_has_not_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"column 'tip_distance_3_m'; the rotor has 2 blades"):
        read_recording(write_csv(tmp_path / "x.csv", series(10.0)), 2)


@pytest.mark.parametrize(
    ("name", "values", "units", "message"),
    [
        ("azimuth", "good", "furlong", r"variable 'azimuth': units 'furlong' are unknown"),
        ("azimuth", "good", "", r"variable 'azimuth': has no unit; name it like 'azimuth_deg'"),
        ("azimuth_deg", "good", "rad", r"its name says deg, its units say rad"),
        ("pitch_7_deg", "good", "", r"variable 'pitch_7_deg': unknown; did you mean"),
        ("azimuth_deg", "flat", "", r"must be numbers along time, one dimension"),
    ],
)
def test_a_wrong_netcdf_file_is_named(
    tmp_path: Path, name: str, values: str, units: str, message: str
) -> None:
    time = np.arange(20) * 0.04
    column = time if values == "good" else np.zeros((20, 2))
    dims = ("time",) if values == "good" else ("time", "x")
    dataset = xarray.Dataset(
        {"time_s": ("time", time), name: (dims, column, {"units": units} if units else {})}
    )
    dataset.to_netcdf(tmp_path / "x.nc", engine="h5netcdf")
    with pytest.raises(InputError, match=message):
        read_recording(tmp_path / "x.nc", 3)


def test_files_that_are_none_end_with_two(tmp_path: Path, capsys) -> None:
    (tmp_path / "x.nc").write_text("hello")
    for path, message in ((tmp_path / "x.nc", "cannot be read as NetCDF"), (tmp_path / "no.csv", "no.csv")):
        assert main(["record", str(path), "--blades", "3"]) == 2
        said = capsys.readouterr()
        assert message in said.err and "Traceback" not in said.err
    good = str(write_csv(tmp_path / "x.csv", series(10.0)))
    assert main(["record", good, "--blades", "3", "--block-s", "-1"]) == 2
    assert "--block-s -1; must be > 0" in capsys.readouterr().err
    for wrong in ("-1", "0", "nan", "inf"):
        assert main(["record", good, "--blades", "3", "--required", wrong]) == 2
        assert f"--required {wrong}; must be > 0" in capsys.readouterr().err


def test_a_record_that_counts_twice_is_refused(tmp_path: Path, capsys) -> None:
    first = write_csv(tmp_path / "x.csv", series(10.0))
    copy = Path(shutil.copy(first, tmp_path / "y.csv"))
    for second in (first, copy):
        assert main(["record", str(first), str(second), "--blades", "3"]) == 2
        assert f"{second}: the same as {first}" in capsys.readouterr().err


@pytest.mark.parametrize("lack", ["tip distance", "turning"])
def test_what_was_required_and_never_seen_does_not_hold(lack: str, tmp_path: Path, capsys) -> None:
    columns = series(10.0)
    if lack == "turning":
        columns["azimuth_deg"] *= 0.0
    else:
        columns = {name: values for name, values in columns.items() if "tip" not in name}
    file = str(write_csv(tmp_path / "x.csv", columns))
    code, data = judged(capsys, tmp_path, file, "--required", "3.9")
    assert code == 1
    assert data["holds"] is False
    assert "no pass with a tip distance was seen" in data["problems"]
    assert main(["record", file, "--blades", "3", "--required", "3.9", "--out", str(tmp_path)]) == 1
    assert "is not shown to be held" in capsys.readouterr().out
    code, data = judged(capsys, tmp_path, file)
    assert (code, data["holds"]) == (0, None)


@pytest.mark.parametrize("unit", ["nanoseconds", "milliseconds", "seconds", "hours", "days"])
def test_a_clocks_time_is_counted_from_its_start(unit: str, tmp_path: Path) -> None:
    columns = series(10.0)
    begun = np.datetime64("2026-03-01T12:00:00", "ns")
    clock = begun + np.round(columns["time_s"] * 1e9).astype("timedelta64[ns]")
    data = {"azimuth": ("time", columns["azimuth_deg"], {"units": "degrees"})}
    data["tip_distance_1"] = ("time", columns["tip_distance_1_m"], {"units": "metres"})
    dtype = "int64" if unit in ("nanoseconds", "milliseconds") else "float64"
    encoding = {"time": {"units": f"{unit} since 2026-01-01", "dtype": dtype}}
    dataset = xarray.Dataset(data, coords={"time": clock})
    dataset.to_netcdf(tmp_path / "x.nc", engine="h5netcdf", encoding=encoding)
    found = read_recording(tmp_path / "x.nc", 3)
    # Days as 64-bit numbers resolve a nanosecond here.
    assert found.time == pytest.approx(columns["time_s"], abs=1e-6)
    assert found.channels["tip_distance_1"].tolist() == columns["tip_distance_1_m"].tolist()
