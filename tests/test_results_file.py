"""One file of everything: what was marched comes back to the bit, with labels, units and provenance."""

from __future__ import annotations

import json
import re
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray

from scenarios.cli import main
from scenarios.dataset import LOST, make_dataset, write_dataset
from scenarios.provenance import code_version
from scenarios.reading import Results, open_results
from sim.errors import InputError
from tests.brisk import FILE, Brisk, brisk

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def small() -> Brisk:
    return brisk()


@pytest.fixture(scope="module")
def file(small: Brisk) -> Path:
    """The file that the command line writes from what the store holds."""
    given = ["--store", str(small.store.root), "--out", str(small.options.out), "--jobs", "0", "--quiet"]
    assert main(["results", str(FILE), *given]) == 0
    return small.options.out / "brisk-study.nc"


@pytest.fixture(scope="module")
def read(file: Path) -> Results:
    return open_results(file)


def test_every_pass_comes_back_to_the_bit_with_the_labels_of_its_case(small: Brisk, read: Results) -> None:
    for entry in ("stiff", "softened", "guarded"):
        for case, raw in small.results(entry):
            rows = read.passes[
                (read.passes.entry == entry)
                & (read.passes.load_case == case.load_case)
                & (read.passes.nominal_wind_speed_m_s == case.wind.speed)
                & (read.passes.number == case.number)
            ]
            for name in ("clearance_m", "time_s", "pitch_rad", "acted", "clearance_without_m", "blade"):
                assert np.array_equal(rows[name].to_numpy(), raw[f"passes.{name}"], equal_nan=name[0] == "c")


def test_every_number_and_cycle_of_a_case_comes_back_to_the_bit(small: Brisk, read: Results) -> None:
    for row, case in enumerate(small.scenario.cases):
        raw = small.judged.campaign.results[case.key]
        assert read.cases.key[row] == case.key
        assert read.cases.energy_J[row] == raw["cases.energy_J"]
        assert read.cases.status[row] == raw["cases.status"]
        blades = [read.cases[f"pitch_travel_rad_{b}"][row] for b in (1, 2, 3)]
        assert blades == raw["cases.pitch_travel_rad"].tolist()
        for channel in ("root_flap_moment_2", "tower_base_fore_aft", "pitch_1"):
            spectrum = read.spectrum(channel, row)
            assert np.array_equal(spectrum.points, raw[f"turning.{channel}"])
            assert np.array_equal(spectrum.cells, raw[f"cycles.{channel}"])
            assert spectrum.points.size


def test_pandas_finds_what_the_study_says(small: Brisk, read: Results) -> None:
    for told in small.answer.data["controllers"]:
        passes = read.passes[read.passes.entry == told["name"]]
        assert len(passes) == told["passes"]
        assert passes.clearance_m.min() == told["smallest_clearance_m"]
        cases = read.cases[read.cases.entry == told["name"]]
        assert cases.required_clearance_m.unique().tolist() == [told["required_clearance_m"]]


def test_every_number_has_its_unit_and_units_agree_with_the_names(read: Results) -> None:
    endings = {"_m": "m", "_rad": "rad", "_s": "s", "_Nm": "N m", "_J": "J", "_m_s": "m/s", "_rad_s": "rad/s"}
    endings |= {"_W": "W", "_N": "N", "_Nm_rad": "N m rad"}
    for name, variable in read.dataset.variables.items():
        ending = max((e for e in endings if str(name).endswith(e)), key=len, default="")
        if ending:
            assert variable.attrs["units"] == endings[ending], name


def test_the_file_says_what_made_it(small: Brisk, read: Results) -> None:
    told = read.provenance
    assert told["configuration_hash"] == small.scenario.configuration_hash
    assert told["code_version"] == code_version()
    assert told["seed"] == 1
    assert {"numpy", "numba", "python"} <= set(told["versions"])
    assert "certification body" in told["comment"]


def test_a_case_without_a_result_keeps_its_row(small: Brisk, tmp_path: Path) -> None:
    results = dict(small.judged.campaign.results)
    lost = small.scenario.cases[3]
    del results[lost.key]
    write_dataset(make_dataset(small.scenario, results, {lost.key: "its worker died"}), tmp_path / "x.nc")
    read = open_results(tmp_path / "x.nc")
    assert len(read.cases) == len(small.scenario.cases)
    assert read.cases.status[3] == LOST
    assert np.isnan(read.cases.energy_J[3])
    assert read.cases.trouble[3] == "its worker died"
    assert read.cases.trouble[2] == ""
    assert read.spectrum("pitch_1", 3).is_empty
    assert not (read.passes.number[read.dataset.pass_case.values == 3]).size


def test_a_case_without_a_pass_has_no_smallest_clearance_and_says_why(small: Brisk, tmp_path: Path) -> None:
    """Rather than an infinite one, which a mean or a plot would take for a number."""
    results = dict(small.judged.campaign.results)
    still = small.scenario.cases[3]
    none = {n: v[:0] if n.startswith("passes.") else v for n, v in results[still.key].items()}
    results[still.key] = none | {"cases.smallest_clearance_m": np.array(np.inf)}
    write_dataset(make_dataset(small.scenario, results, {}), tmp_path / "x.nc")
    read = open_results(tmp_path / "x.nc")
    assert np.flatnonzero(np.isnan(read.cases.smallest_clearance_m)).tolist() == [3]
    assert np.isfinite(read.cases.energy_J[3])
    assert "nan where no blade passed" in read.dataset.smallest_clearance_m.attrs["long_name"]


def test_other_tools_read_it(file: Path, read: Results) -> None:
    """HDF5 alone, and xarray alone, without a line of ours."""
    with h5py.File(file) as plain:
        assert np.array_equal(plain["pass_clearance_m"][:], read.passes.clearance_m)
        assert plain["pass_clearance_m"].attrs["units"] == "m"
    with xarray.open_dataset(file) as opened:
        assert opened.sizes["case"] == len(read.cases)


def test_the_readme_shows_how_it_is_read(file: Path, monkeypatch) -> None:
    (code,) = re.findall(r"```python\n(.*?open_results.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
    monkeypatch.chdir(file.parent.parent)
    told: dict = {}
    exec(code.replace("wideberth-out/hollin-fell.nc", str(file)), told)
    assert isinstance(told["results"], Results)


def test_wrong_files_are_named(tmp_path: Path, read: Results) -> None:
    with pytest.raises(InputError, match=r"no such file"):
        open_results(tmp_path / "missing.nc")
    with pytest.raises(InputError, match=r"no such file; `wideberth results SCENARIO --store DIR`"):
        open_results(tmp_path)
    (tmp_path / "text.nc").write_text("hello")
    with pytest.raises(InputError, match=r"text\.nc: cannot be read as NetCDF"):
        open_results(tmp_path / "text.nc")
    xarray.Dataset({"x": ("t", np.arange(3))}).to_netcdf(tmp_path / "other.nc", engine="h5netcdf")
    with pytest.raises(InputError, match=r"other\.nc: holds no results of wideberth"):
        open_results(tmp_path / "other.nc")
    write_dataset(read.dataset.assign_attrs(schema=99), tmp_path / "new.nc")
    with pytest.raises(InputError, match="schema 99; this code reads schema 1"):
        open_results(tmp_path / "new.nc")
    with pytest.raises(InputError, match=r"channel 'root_flap_moment_9': unknown; did you mean"):
        read.spectrum("root_flap_moment_9", 0)
    with pytest.raises(InputError, match="case 500: there are"):
        read.spectrum("pitch_1", 500)
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        write_dataset(read.dataset, tmp_path / "file" / "x.nc")


def test_the_command_tells_sizes_and_units(small: Brisk, file: Path, capsys) -> None:
    given = ["--store", str(small.store.root), "--out", str(small.options.out), "--jobs", "0", "--json"]
    assert main(["results", str(FILE), *given]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["cases"]["computed"] == 0
    assert told["dimensions"]["case"] == len(small.scenario.cases)
    assert told["variables"]["pass_clearance_m"] == "m"
    assert told["size_bytes"] == Path(told["file"]).stat().st_size
