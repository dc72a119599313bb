"""Turbine files: what is read, what is refused, and how that is told."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.table import Column, read_table
from sim.turbine import key_table, library_turbines, load_turbine
from sim.turbine_file import TurbineKeys
from sim.units import UNITS, bare, si, unit_of

LIBRARY = library_turbines()["skerry"].parent
TOML = (LIBRARY / "skerry.toml").read_text(encoding="utf-8")
CSV = (LIBRARY / "skerry-blade.csv").read_text(encoding="utf-8")
DATA = tomllib.loads(TOML)


def turbine_file(folder: Path, toml: str = TOML, csv: str = CSV) -> Path:
    (folder / "skerry-blade.csv").write_text(csv, encoding="utf-8")
    path = folder / "mine.toml"
    path.write_text(toml, encoding="utf-8")
    return path


def problems_of(path: Path | str, *overrides: tuple[str, Any]) -> list[str]:
    with pytest.raises(InputError, match=r"\S") as caught:
        load_turbine(path, overrides)
    return [re.sub(r"^.*/", "", problem) for problem in caught.value.problems]


def cell(row: int, column: str, value: str) -> str:
    """The blade table with one cell changed; rows counted from 0."""
    lines = CSV.rstrip("\n").split("\n")
    header = next(i for i, line in enumerate(lines) if line.startswith("r_m"))
    cells = lines[header + 1 + row].split(",")
    cells[lines[header].split(",").index(column)] = value
    lines[header + 1 + row] = ",".join(cells)
    return "\n".join(lines)


def test_demo_turbine_is_read_in_si_units() -> None:
    turbine = load_turbine("skerry")
    assert turbine.rotor.side == -1.0
    assert turbine.rotor.tilt == pytest.approx(5.0 * math.pi / 180.0)
    assert turbine.machine.rated_rotor_speed == pytest.approx(1.151917, abs=1e-6)  # 11 rpm
    assert turbine.machine.rated_power == 4.4e6
    assert turbine.pitch.natural_frequency == pytest.approx(2.0 * math.pi * 1.6)
    assert turbine.tower.base_wall == pytest.approx(0.052)
    assert turbine.nacelle.mass == 122e3
    ratios = [section.thickness_ratio for section in turbine.sections]
    assert ratios == sorted(ratios)
    assert turbine.blade.prebend[-1] == 2.0
    row = CSV.split("\n")[4].split(",")  # the third station of the table
    assert turbine.blade.structural_twist[2] == pytest.approx(math.radians(float(row[5])))
    assert turbine.blade.twist[2] == pytest.approx(math.radians(float(row[6])))
    with pytest.raises(ValueError, match="read-only"):
        turbine.blade.mass[0] = 1.0


def test_demo_turbine_is_the_one_that_was_planned() -> None:
    # The project's own plan for its invented turbine: blade 14 t, first moment about 3.4e5 kg m, rotor 139 m.
    blade = load_turbine("skerry").blade
    mass = np.trapezoid(blade.mass, blade.r)
    assert mass == pytest.approx(14e3, rel=0.005)
    assert np.trapezoid(blade.mass * blade.r, blade.r) == pytest.approx(3.4e5, rel=0.01)
    assert 2.0 * blade.r[-1] == 139.0


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "overhang_m = 4.0",
            "overhng_m = 4.0",
            "rotor.overhng_m = 4.0; unknown key; did you mean 'overhang_m'",
        ),
        ("overhang_m = 4.0", "", "rotor.overhang_m is missing; must be a number > 0"),
        (
            "cut_in_m_s = 3.0",
            "cut_in_m_s = 30.0",
            "machine.cut_in_m_s = 30.0; must be below machine.cut_out_m_s",
        ),
        (
            "minimum_rotor_speed_rpm = 6.0",
            "minimum_rotor_speed_rpm = 12",
            "must not be above machine.rated_rotor",
        ),
        ("height_m = 93.9", "height_m = 97", "tower.height_m = 97; must be below the hub centre"),
        ("hub_height_m = 96.0", "hub_height_m = 68", "tower.height_m = 93.9; must be below the hub centre"),
        ("top_diameter_m = 3.3", "top_diameter_m = 12.0", "the tower is wider than the blade's path"),
        ("overhang_m = 4.0", "overhang_m = 1.5", "the tower is wider than the blade's path"),
        ("base_wall_mm = 52.0", "base_wall_mm = 400\n", None),
        (
            "top_diameter_m = 3.3",
            "top_diameter_m = 0.05",
            "tower.top_wall_mm = 28.0; must be below the radius",
        ),
        ("fine_deg = 0.0", "fine_deg = -11.0", "pitch.fine_deg = -11.0; must be a number >= -10"),
        ("hub_radius_m = 1.75", "hub_radius_m = 1.5", "r_m = 1.75; must equal rotor.hub_radius_m = 1.5"),
        ("thickness_ratio = 0.18", "thickness_ratio = 0.19", "thickness_ratio = 0.18; must lie within"),
        ("thickness_ratio = 0.18", "thickness_ratio = 0.21", "must differ from that of every other section"),
        ('"skerry-blade.csv"', '"other.csv"', 'blade.table = "other.csv"; no such file beside mine.toml'),
        ("blade_count = 3", "blade_count = 4", "rotor.blade_count = 4; must be a whole number >= 2 and <= 3"),
        ('side = "upwind"', 'side = "up"', 'rotor.side = "up"; must be one of "upwind", "downwind"'),
        ("[tower]", "[tower", "not TOML"),
    ],
)
def test_bad_turbine_file_is_told_with_its_line(
    tmp_path: Path, old: str, new: str, message: str | None
) -> None:
    path = turbine_file(tmp_path, TOML.replace(old, new, 1))
    if message is None:
        assert load_turbine(path).tower.base_wall == pytest.approx(0.4)
        return
    problems = problems_of(path)
    assert any(message in problem for problem in problems), problems
    assert all(re.match(r"(mine\.toml|skerry-blade\.csv):\d+: ", problem) for problem in problems)


@pytest.mark.parametrize(
    ("row", "column", "value", "message"),
    [
        (4, "mass_kg_per_m", "-2.1", "skerry-blade.csv:7: mass_kg_per_m = -2.1; must be a number > 0"),
        (4, "chord_m", "wide", 'skerry-blade.csv:7: chord_m = "wide"; must be a number > 0'),
        (4, "chord_m", "", 'skerry-blade.csv:7: chord_m = ""; must be a number > 0'),
        (4, "twist_deg", "nan", 'skerry-blade.csv:7: twist_deg = "nan"; must be a number'),
        (4, "flap_stiffness_N_m2", "0", "skerry-blade.csv:7: flap_stiffness_N_m2 = 0; must be a number > 0"),
        (4, "r_m", "4.0", "skerry-blade.csv:7: r_m = 4; must be above 5, the row before"),
        (4, "chord_m", "1,2", "skerry-blade.csv:7: 12 cells; the header names 11 columns"),
        (0, "prebend_m", "0.5", "skerry-blade.csv:3: prebend_m = 0.5; must be 0 at the blade root"),
    ],
)
def test_bad_cell_of_the_blade_table_is_told_with_its_line(
    tmp_path: Path, row: int, column: str, value: str, message: str
) -> None:
    path = turbine_file(tmp_path, csv=cell(row, column, value))
    assert any(problem.startswith(message) for problem in problems_of(path)), problems_of(path)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("chord_m", "cord_m", "unknown column 'cord_m'; did you mean 'chord_m'"),
        ("chord_m", "cord_m", "column 'chord_m' (chord) is missing"),
        ("chord_m", "r_m", "column 'r_m' stands twice"),
    ],
)
def test_bad_header_of_the_blade_table_is_told(tmp_path: Path, old: str, new: str, message: str) -> None:
    problems = problems_of(turbine_file(tmp_path, csv=CSV.replace(old, new, 1)))
    assert any(problem.startswith(f"skerry-blade.csv:2: {message}") for problem in problems), problems


def test_short_or_empty_table_is_told(tmp_path: Path) -> None:
    short = "\n".join(CSV.split("\n")[:5])
    assert problems_of(turbine_file(tmp_path, csv=short)) == [
        "skerry-blade.csv:2: 3 rows; must be at least 5"
    ]
    (problem,) = problems_of(turbine_file(tmp_path, csv="# nothing\n"))
    assert "empty; the first line must name the columns" in problem


def test_optional_columns_may_be_left_out(tmp_path: Path) -> None:
    lines = [line.split(",") for line in CSV.rstrip("\n").split("\n")[1:]]
    drop = [lines[0].index(name) for name in ("torsion_stiffness_N_m2", "structural_twist_deg")]
    csv = "\n".join(",".join(c for i, c in enumerate(cells) if i not in drop) for cells in lines)
    blade = load_turbine(turbine_file(tmp_path, csv=csv)).blade
    assert blade.torsion_stiffness is None
    assert np.array_equal(blade.structural_twist, blade.twist)


def test_rotor_that_would_hit_the_ground_is_told(tmp_path: Path) -> None:
    toml = TOML.replace("hub_height_m = 96.0", "hub_height_m = 68.0").replace(
        "height_m = 93.9", "height_m = 66"
    )
    (problem,) = problems_of(turbine_file(tmp_path, toml))
    assert re.search(
        r"rotor\.hub_height_m = 68\.0; must be larger: the lowest tip would be at -0\.6\d m", problem
    )


def test_rotor_swept_through_its_tower_is_told_even_beyond_its_axis() -> None:
    for cone in (-8.0, -15.0):
        (problem,) = problems_of("skerry", ("rotor.cone_deg", cone), ("rotor.tilt_deg", -5.0))
        assert "the tower is wider than the blade's path: unloaded clearance -" in problem


def test_offsets_need_one_number_for_each_blade() -> None:
    (problem,) = problems_of("skerry", ("blade.offsets.pitch_deg", "[0.3, 0.0]"))
    assert problem == (
        "--set: blade.offsets.pitch_deg = [0.3, 0.0]; must have one number for each of 3 blades"
    )
    turbine = load_turbine("skerry", [("blade.offsets.pitch_deg", "[0.3, 0.0, -0.3]")])
    assert turbine.blade.pitch_offset == pytest.approx(np.radians([0.3, 0.0, -0.3]))
    assert turbine.blade.stiffness_factor.tolist() == [1.0, 1.0, 1.0]


def test_unknown_turbine_is_told_with_the_nearest() -> None:
    with pytest.raises(
        InputError, match="turbine 'skery' is neither a file nor shipped; did you mean 'skerry'"
    ):
        load_turbine("skery")
    with pytest.raises(InputError, match=r"nowhere\.toml: cannot be read: No such file"):
        load_turbine("nowhere.toml")


def value_at(data: Any, key: str, default: Any) -> Any:
    for part in key.replace("[n]", ".0").split("."):
        if not isinstance(data, list) and part not in data:
            return default
        data = data[int(part)] if isinstance(data, list) else data[part]
    return data


PLAIN_KEYS = [row for row, _ in key_table() if "[n]" not in row.key and row.key != "blade.table"]


@pytest.mark.parametrize("row", PLAIN_KEYS, ids=lambda row: row.key)
def test_every_documented_key_exists_and_can_be_set(row: Any) -> None:
    value = value_at(DATA, row.key, row.default)
    again = load_turbine("skerry", [(row.key, value)])
    assert again.content_hash() == load_turbine("skerry").content_hash()
    assert row.meaning
    with pytest.raises(InputError, match=rf"^--set: {re.escape(row.key)} = .*; must be"):
        load_turbine("skerry", [(row.key, {"a": 1})])


def test_key_table_covers_the_model_and_every_section_kind() -> None:
    keys = {row.key for row, _ in key_table()}
    assert {"sections[n].drag", "sections[n].max_lift", "sections[n].table"} <= keys
    assert {key.split(".")[0].split("[")[0] for key in keys} == set(TurbineKeys.model_fields)
    units = {row.key: unit for row, unit in key_table()}
    assert units["rotor.tilt_deg"] == "deg"
    assert units["machine.rated_power_kW"] == "kW"
    assert units["machine.efficiency"] == "-"


KEY_NAMES = [row.key for row in PLAIN_KEYS]


@settings(deadline=None, derandomize=True, max_examples=60)
@given(key=st.sampled_from(KEY_NAMES), where=st.integers(0, 40), letter=st.sampled_from("qxz"))
def test_every_misspelt_key_is_refused(key: str, where: int, letter: str) -> None:
    cut = where % len(key)
    wrong = key[:cut] + letter + key[cut + 1 :]
    if wrong in KEY_NAMES:
        return
    with pytest.raises(InputError, match=r"^--set: "):
        load_turbine("skerry", [(wrong, 1.0)])


def test_content_hash_is_that_of_the_values_not_of_their_writing(tmp_path: Path) -> None:
    one = load_turbine("skerry").content_hash()
    renamed = TOML.replace('"Skerry 4.4"', '"Another"').replace("overhang_m = 4.0", "overhang_m = 4")
    assert load_turbine(turbine_file(tmp_path, renamed)).content_hash() == one
    doubled = load_turbine("skerry", [("blade.mass_factor", 2), ("blade.mass_factor", 1)])
    assert doubled.content_hash() == one
    negative_zero = load_turbine("skerry", [("pitch.fine_deg", -0.0)])
    assert negative_zero.content_hash() == one


@pytest.mark.parametrize(
    "override",
    [("rotor.tilt_deg", 5.001), ("blade.flap_stiffness_factor", 0.8), ("air_density_kg_m3", 1.2),
     ("sections[2].max_lift", 1.44), ("blade.offsets.mass_factor", [1.0, 1.0, 1.01])],
    ids=lambda override: override[0],
)  # fmt: skip
def test_content_hash_changes_with_any_value(override: tuple[str, Any]) -> None:
    assert load_turbine("skerry", [override]).content_hash() != load_turbine("skerry").content_hash()


def test_factors_multiply_the_table() -> None:
    plain = load_turbine("skerry").blade
    soft = load_turbine("skerry", [("blade.flap_stiffness_factor", 0.8), ("blade.mass_factor", "0.95")]).blade
    assert soft.flap_stiffness == pytest.approx(0.8 * plain.flap_stiffness)
    assert soft.mass == pytest.approx(0.95 * plain.mass)
    assert np.array_equal(soft.edge_stiffness, plain.edge_stiffness)


def test_polar_table_is_read_and_must_span_the_angles(tmp_path: Path) -> None:
    head, tail = TOML.split('[[sections]]\nkind = "lifting"\nname = "tip"')
    section = (
        '[[sections]]\nkind = "table"\nname = "tip"\nthickness_ratio = 0.18\ntable = "polar.csv"\n\n[tower]'
    )
    path = turbine_file(tmp_path, head + section + tail.split("[tower]")[1])
    angles = np.linspace(-180.0, 180.0, 37)

    def write(chosen: Any) -> None:
        rows = [f"{a},{math.sin(2 * math.radians(a)):.4f},{0.01},{0.0}" for a in chosen]
        (tmp_path / "polar.csv").write_text(
            "angle_deg,lift,drag,moment\n" + "\n".join(rows), encoding="utf-8"
        )

    write(angles)
    thin = load_turbine(path).sections[0]
    assert thin.polar is not None
    assert thin.polar[-1] == pytest.approx([math.pi, 0.0, 0.01, 0.0], abs=1e-12)
    write(np.linspace(-120.0, 60.0, 37))
    assert problems_of(path) == [
        "polar.csv:2: angle_deg = -120; must be -180, or from -5 to -90 (the polar is then extended)"
    ]


def test_every_unit_converts_as_its_definition_says() -> None:
    # Definitions of the SI brochure, exact: 1 rpm = 2 pi / 60 rad/s, 180 deg = pi rad, 1 t = 1000 kg.
    checks = {"a_deg": 180.0 / math.pi, "a_rpm": 30.0 / math.pi, "a_t": 1e-3, "a_mm": 1e3, "a_GPa": 1e-9}
    for key, one in checks.items():
        assert si(key, one) == pytest.approx(1.0)
    assert bare("rated_power_kW") == "rated_power"
    assert bare("efficiency") == "efficiency"
    for ending, (unit, factor) in UNITS.items():
        assert unit_of("a" + ending) == (unit, factor)


def test_column_tells_open_and_closed_ends(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("x,y\n0,1\n1,2\n", encoding="utf-8")
    columns = (Column("x", "place", low=0.0), Column("y", "value", high=2.0))
    assert read_table(path, columns, "x", 2)["y"].tolist() == [1.0, 2.0]
    with pytest.raises(InputError, match=r"t\.csv:2: x = 0; must be a number > 0"):
        read_table(path, (Column("x", "place", low=0.0, low_is_open=True), columns[1]), "x", 2)
