"""The house style that no tool checks: sizes of files and functions, the floors picture, one door for each library."""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "seqcheck").rglob("*.py"))
MOST_LINES, MOST_BODY, MEDIAN_BODY = 400, 40, 8


def functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                yield f"{path.relative_to(ROOT)}:{node.name}", node


def body_lines(function: ast.FunctionDef) -> int:
    """Return how many lines a function takes below its signature and docstring."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_files_are_short() -> None:
    sizes = {str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in FILES}
    assert {name: size for name, size in sizes.items() if size > MOST_LINES} == {}


HOT = {"seqcheck/search/packed/arithmetic.py:run"}
"""The one kernel that may be longer: the inner loop that runs the bytecode."""


def test_functions_are_short() -> None:
    sizes = {name: body_lines(function) for name, function in functions()}
    assert {name: size for name, size in sizes.items() if size > MOST_BODY and name not in HOT} == {}
    assert sizes.keys() >= HOT
    assert median(sizes.values()) <= MEDIAN_BODY


def test_every_module_says_what_it_does() -> None:
    silent = [
        path for path in FILES if path.name != "__init__.py" and not ast.get_docstring(ast.parse(path.read_text("utf-8")))
    ]
    assert silent == []


def test_no_drawer_for_odds_and_ends() -> None:
    names = {part for path in FILES for part in path.relative_to(ROOT).with_suffix("").parts}
    assert names & {"utils", "util", "helpers", "helper", "common", "misc", "manager"} == set()


def test_the_floors_picture_shows_the_contracts() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = settings["tool"]["importlinter"]["contracts"]
    layers = [name.strip() for layer in contracts[0]["layers"] for name in layer.split("|")]
    drawn = re.findall(r"^  (\w+) \[label=\"", (ROOT / "diagrams" / "floors.dot").read_text(encoding="utf-8"), re.MULTILINE)
    assert drawn == layers


def test_nothing_names_a_place_outside_the_project() -> None:
    """Neither paths of a machine nor hosts of package registries are committed."""
    told = re.compile("/" + "(home|root|work|farm)/|py" + "pi\\.org|python" + "hosted|regis" + "try\\.npm")
    kinds = {".py", ".md", ".yaml", ".toml", ".dot", ".out", ".json", ".svg"}
    places = [path for path in ROOT.rglob("*") if path.suffix in kinds and not set(path.parts) & {".venv", ".git", "build"}]
    assert [path for path in places if told.search(path.read_text(encoding="utf-8", errors="replace"))] == []
