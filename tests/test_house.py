"""The rules of the house that no linter knows."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
STOREYS = ("sim", "controllers", "scenarios")
SOURCES = [path for storey in STOREYS for path in sorted((ROOT / storey).rglob("*.py"))]
PROSE = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


def test_top_level_holds_what_the_card_names_and_nothing_else() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    if not listed:
        pytest.skip("not a git checkout")
    names = {line.split("/")[0] for line in listed if not line.startswith(".")}
    assert names <= {"README.md", "DEVELOPERS.md", "pyproject.toml", *STOREYS, "tests"}


@pytest.mark.parametrize("path", SOURCES, ids=named)
def test_module_answers_one_question_in_at_most_300_lines(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 300
    docstring = ast.get_docstring(ast.parse(text)) or ""
    assert docstring, "a module's docstring states its question"
    assert path.stem != "utils"
    if path.name == "__init__.py":
        assert len(text.splitlines()) <= 20


@pytest.mark.parametrize("path", sorted((ROOT / "sim" / "kernels").glob("*.py")), ids=named)
def test_kernels_import_numpy_and_numba_only(path: Path) -> None:
    allowed = ("numpy", "numba", "math", "__future__", "typing", "sim.kernels", "collections.abc")
    assert {name for name in imported(path) if not name.startswith(allowed)} == set()


@pytest.mark.parametrize("path", [path for path in SOURCES if path.parts[-2] == "controllers"], ids=named)
def test_controllers_see_only_the_interface_and_the_errors(path: Path) -> None:
    ours = {name for name in imported(path) if name.split(".")[0] in ("sim", "scenarios")}
    assert ours <= {"sim.interface", "sim.errors"}


@pytest.mark.parametrize("path", SOURCES, ids=named)
def test_nothing_asserts_or_excepts_bare_outside_tests(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        assert not isinstance(node, ast.Assert), f"assert in line {node.lineno}"
        assert not (isinstance(node, ast.ExceptHandler) and node.type is None), f"line {node.lineno}"


def test_readme_gives_its_two_commands_and_its_caution() -> None:
    readme = PROSE[0].read_text(encoding="utf-8")
    commands = re.findall(r"^python3 -m venv \.venv && .*$", readme, re.MULTILINE)
    assert commands == [
        "python3 -m venv .venv && .venv/bin/python -m pip install -q -e . "
        "&& .venv/bin/wideberth study hollin-fell",
        'python3 -m venv .venv && .venv/bin/python -m pip install -q -e ".[test]" '
        "&& .venv/bin/python -m pytest -q",
    ]
    for word in ("certification body", "licensed engineers", "local codes"):
        assert word in readme


@pytest.mark.parametrize("path", PROSE, ids=named)
def test_every_file_that_the_prose_names_is_there(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for name in re.findall(r"`((?:sim|controllers|scenarios|tests)/[\w./-]+)`", text):
        assert (ROOT / name).exists() or name == "controllers/my_logic.py", name
