"""What a user's TOML file says, and how its faults are told."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import Field

from sim.errors import InputError
from sim.keyfaults import nearest_key
from sim.keyfile import FileModel, apply_overrides, read_toml, validate
from sim.keylines import key_lines
from sim.keytable import key_rows


class Round(FileModel):
    kind: Literal["round"]
    drag: float = Field(ge=0.0)


class Lifting(FileModel):
    kind: Literal["lifting"]
    lift: float
    zero_deg: float


class Inner(FileModel):
    tilt_deg: float = Field(ge=0.0, le=20.0, description="tilt")
    side: Literal["upwind", "downwind"]
    count: int = 3


class Whole(FileModel):
    name: str
    rotor: Inner
    parts: list[Annotated[Round | Lifting, Field(discriminator="kind")]] = Field(min_length=1)


GOOD = """name = "a"

[rotor]
tilt_deg = 5
side = "upwind"

[[parts]]
kind = "round"
drag = 0.5
[[parts]]
kind = "lifting"
lift = 0.1
zero_deg = -2
"""


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    return path


def told(tmp_path: Path, text: str, *overrides: tuple[str, Any]) -> list[str]:
    """The problems of a text, file names cut to their last part."""
    path = written(tmp_path, text)
    with pytest.raises(InputError, match=r"\S") as caught:
        data, lines = apply_overrides(*read_toml(path), overrides)
        validate(Whole, data, lines, path)
    return [problem.replace(str(path), "a.toml") for problem in caught.value.problems]


def test_good_file_is_read_and_whole_numbers_are_numbers(tmp_path: Path) -> None:
    path = written(tmp_path, GOOD)
    read = validate(Whole, *read_toml(path), path)
    assert read.rotor.tilt_deg == 5.0
    assert [part.kind for part in read.parts] == ["round", "lifting"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("tilt_deg = 5", "tilt_deg = 25", "a.toml:4: rotor.tilt_deg = 25; must be a number >= 0 and <= 20"),
        ("tilt_deg = 5", "tilt_deg = inf", "a.toml:4: rotor.tilt_deg = Infinity; must be a number"),
        ("tilt_deg = 5", "tilt_deg = true", "a.toml:4: rotor.tilt_deg = true; must be a number"),
        (
            "tilt_deg = 5",
            "tlit_deg = 5",
            "a.toml:4: rotor.tlit_deg = 5; unknown key; did you mean 'tilt_deg'",
        ),
        ("tilt_deg = 5", "", "a.toml:3: rotor.tilt_deg is missing; must be a number >= 0 and <= 20"),
        (
            '"upwind"',
            '"upwnd"',
            'a.toml:5: rotor.side = "upwnd"; must be one of "upwind", "downwind"; did you',
        ),
        ("lift = 0.1", 'lift = "much"', 'a.toml:12: parts[1].lift = "much"; must be a number'),
        (
            "lift = 0.1",
            "lift = nan",
            "a.toml:12: parts[1].lift = NaN; must be a number, and neither infinite nor nan",
        ),
        ("lift = 0.1", "", "a.toml:10: parts[1].lift is missing; must be a number"),
        (
            "drag = 0.5",
            "drag = 0.5\ndarg = 1",
            "a.toml:10: parts[0].darg = 1; unknown key; did you mean 'drag'?",
        ),
        ('"lifting"', '"liftng"', 'a.toml:10: parts[1].kind = "liftng"; must be one of "round", "lifting"'),
        ('kind = "round"', "", "a.toml:7: parts[0].kind is missing"),
    ],
)
def test_each_fault_is_told_with_line_key_value_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    problems = told(tmp_path, GOOD.replace(old, new))
    assert any(problem.startswith(message) for problem in problems), problems


def test_a_misspelt_required_key_is_told_once(tmp_path: Path) -> None:
    assert told(tmp_path, GOOD.replace("tilt_deg = 5", "tlit_deg = 5")) == [
        "a.toml:4: rotor.tlit_deg = 5; unknown key; did you mean 'tilt_deg'?"
    ]
    strange = told(tmp_path, GOOD.replace("tilt_deg = 5", "wholly_else = 5"))
    assert [words.split(": ", 1)[1].split(";")[0] for words in strange] == [
        "rotor.tilt_deg is missing",
        "rotor.wholly_else = 5",
    ]


def test_an_unknown_key_among_many_names_where_they_are_listed_instead_of_all() -> None:
    known = [f"key_{number}" for number in range(40)]
    assert nearest_key("zzz", known) == (
        "; none of the 40 known ones is near; `wideberth list --keys` and `wideberth card --keys` list those "
        "of scenarios and turbines"
    )
    assert nearest_key("zzz", ["rule", "share"]) == "; known: rule, share"


def test_a_list_and_a_large_bound_are_told_in_plain_words() -> None:
    class Listed(FileModel):
        many: list[Annotated[float, Field(gt=0.0)]] = Field(min_length=2)
        free: list[str]
        seed: int = Field(le=2**31)

    rows = {row.key: row.allowed for row in key_rows(Listed)}
    assert rows == {
        "many": "a list of at least 2, each a number > 0",
        "free": "a list, each text",
        "seed": "a whole number <= 2147483648",
    }


def test_all_faults_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    problems = told(tmp_path, GOOD.replace("tilt_deg = 5", "tilt_deg = -1").replace("0.5", "-1"))
    assert [problem.split(":")[1] for problem in problems] == ["4", "9"]


@pytest.mark.parametrize(
    ("text", "start"),
    [
        ('name = "a"\n\n[rotor\n', "a.toml:3: not TOML: Expected"),
        ("name = \n", "a.toml:1: not TOML: Invalid value"),
        ("name = 'a'\nname = 'b'\n", "a.toml:2: not TOML: Cannot overwrite a value"),
    ],
)
def test_what_is_not_toml_is_told_with_line_and_reason(tmp_path: Path, text: str, start: str) -> None:
    (problem,) = told(tmp_path, text)
    assert problem.startswith(start)


def test_file_that_is_not_text_or_not_there_is_told(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_bytes(b'name = "a"\nx = "\xff"\n')
    with pytest.raises(InputError, match=r"b\.toml:2: not UTF-8"):
        read_toml(path)
    with pytest.raises(InputError, match=r"none\.toml: cannot be read: No such file"):
        read_toml(tmp_path / "none.toml")


def test_overrides_set_keys_from_words_and_from_values(tmp_path: Path) -> None:
    path = written(tmp_path, GOOD)
    data, lines = read_toml(path)
    given_overrides = [("rotor.tilt_deg", "7.5"), ("parts[1].lift", 0.3), ("name", "plain words")]
    changed, places = apply_overrides(data, lines, given_overrides)
    read = validate(Whole, changed, places, path)
    assert (read.rotor.tilt_deg, read.name, read.parts[1].model_dump()["lift"]) == (7.5, "plain words", 0.3)
    assert data == tomllib.loads(GOOD)


@pytest.mark.parametrize(
    ("override", "message"),
    [
        (("rotor.tilt_deg", "-3"), "--set: rotor.tilt_deg = -3; must be a number >= 0 and <= 20"),
        (("rotor.tlit_deg", "3"), "--set: rotor.tlit_deg = 3; unknown key; did you mean 'rotor.tilt_deg'"),
        (("roter.tilt_deg", "3"), "--set: roter.tilt_deg = 3; unknown key; did you mean 'rotor.tilt_deg'"),
        (("name.first", "3"), "--set: name.first = 3; 'first' asks for a key of what is not a table"),
        (("parts[5].drag", "3"), "--set: parts[5].drag = 3; [5] is not there; the list has 2 elements"),
        (("rotor[0]", "3"), "--set: rotor[0] = 3; [0] asks for an element of what is not a list"),
        (("rotor..tilt_deg", "3"), "--set: rotor..tilt_deg = 3; not a dotted key"),
        (("parts[0]", "{kind = 'round', drag = -1}"), "--set: parts[0].drag = -1; must be a number >= 0"),
        (("rotor.count", "2.5"), "--set: rotor.count = 2.5; must be a whole number"),
    ],
)
def test_wrong_override_names_the_option_as_its_place(
    tmp_path: Path, override: tuple[str, Any], message: str
) -> None:
    (problem,) = told(tmp_path, GOOD, override)
    assert problem.startswith(message)


def test_lines_are_found_through_every_kind_of_toml() -> None:
    text = '''# heading [not.a.table]
a = 1
"b c".d = "x # not a comment"
e = """
[not.a.table]
f = 1
""" # after
g = [
  1, # one
  { h = 2, i = [3,
  4] },
]
[t.u]
v = { w = { x = 'a]b' }, y = 2 }
[[t.list]]
k = 1
[[t.list]]
k = 2
[t.list.sub]
m = 2020-01-01 00:00:00
[[t.list.deep]]
n = \'\'\'
x\'\'\'
'''
    tomllib.loads(text)
    assert key_lines(text) == {
        "a": 2, "b c": 3, "b c.d": 3, "e": 4, "g": 8, "g[0]": 9, "g[1]": 10, "g[1].h": 10, "g[1].i": 10,
        "g[1].i[0]": 10, "g[1].i[1]": 11, "t": 13, "t.u": 13, "t.u.v": 14, "t.u.v.w": 14, "t.u.v.w.x": 14,
        "t.u.v.y": 14, "t.list": 15, "t.list[0]": 15, "t.list[0].k": 16, "t.list[1]": 17, "t.list[1].k": 18,
        "t.list[1].sub": 19, "t.list[1].sub.m": 20, "t.list[1].deep": 21, "t.list[1].deep[0]": 21,
        "t.list[1].deep[0].n": 22,
    }  # fmt: skip


KEYS = st.text(alphabet="ab_-1", min_size=1, max_size=4)
LEAVES = st.one_of(st.integers(0, 9), st.booleans(), st.text(alphabet="a.=[]{}#,'", max_size=6))
TREES = st.recursive(
    LEAVES, lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3))
)


def as_toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {as_toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[ # begins\n" + "".join(f"{as_toml(inner)},\n" for inner in value) + "]"
    return str(value).lower() if isinstance(value, bool | int) else f'"{value}"'


@settings(deadline=None, derandomize=True, max_examples=200)
@given(data=st.dictionaries(KEYS, st.dictionaries(KEYS, TREES, max_size=4), max_size=4))
def test_every_key_of_any_file_has_a_line_that_shows_it(data: dict[str, Any]) -> None:
    text = ""
    for table, keys in data.items():
        text += f"[{table}] # [no.table]\n"
        text += "".join(f"{key} = {as_toml(value)}\n\n" for key, value in keys.items())
    assert tomllib.loads(text) == data
    lines, shown = key_lines(text), text.split("\n")
    assert set(lines) >= set(dotted(data))
    for path in dotted(data):
        assert path.split(".")[-1].split("[")[0] in shown[lines[path] - 1] or path.endswith("]")


def dotted(data: Any, prefix: str = "") -> list[str]:
    if isinstance(data, dict):
        found = []
        for key, value in data.items():
            path = f"{prefix}.{key}" if prefix else key
            found += [path, *dotted(value, path)]
        return found
    if isinstance(data, list):
        items = [(f"{prefix}[{i}]", value) for i, value in enumerate(data)]
        return [name for path, value in items for name in (path, *dotted(value, path))]
    return []


def test_key_table_is_made_from_the_model() -> None:
    rows = {row.key: row for row in key_rows(Whole)}
    assert rows["rotor.tilt_deg"].allowed == "a number >= 0 and <= 20"
    assert rows["rotor.tilt_deg"].required
    assert rows["rotor.count"].default == 3
    assert {"parts[n].drag", "parts[n].lift"} <= set(rows)
