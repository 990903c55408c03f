"""The house rules that no linter knows. A rule nobody checks is a wish."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CODE = sorted(p for package in ("controller", "dashboard") for p in (ROOT / package).rglob("*.py"))
TESTS = sorted((ROOT / "tests").rglob("*.py"))
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "controller",
    "dashboard",
    "tests",
    "hardware",
    "systemd",
}
FUNCTION_LINES_MAX = 50
MODULE_LINES_MAX = 300
TEST_LINES_MAX = 400
PARAMETERS_MAX = 6
VAGUE = {"manager", "handler", "helper", "helpers", "utils", "util", "common", "base", "process"}
TIME_ALLOWED = {"controller/edge/clock.py", "dashboard/__main__.py"}


def relative(path: Path) -> str:
    return str(path.relative_to(ROOT))


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def test_the_top_level_is_as_agreed() -> None:
    names = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    names -= {"LICENSE", "uv.lock", "build", "dist"}
    assert {n for n in names if not n.endswith(".egg-info")} == TOP_LEVEL


@pytest.mark.parametrize("path", CODE + TESTS, ids=relative)
def test_modules_are_short(path: Path) -> None:
    limit = TEST_LINES_MAX if path in TESTS else MODULE_LINES_MAX
    assert len(path.read_text().splitlines()) <= limit


@pytest.mark.parametrize("path", CODE, ids=relative)
def test_functions_are_short_and_take_few_parameters(path: Path) -> None:
    for function in functions(path):
        assert function.end_lineno is not None
        lines = function.end_lineno - function.lineno + 1
        assert lines <= FUNCTION_LINES_MAX, f"{function.name} has {lines} lines"
        given = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
        count = len([each for each in given if each.arg not in ("self", "cls")])
        assert count <= PARAMETERS_MAX, f"{function.name} takes {count}"


@pytest.mark.parametrize("path", CODE, ids=relative)
def test_every_module_says_what_it_is(path: Path) -> None:
    text = path.read_text()
    if text.strip():
        assert ast.get_docstring(ast.parse(text))


@pytest.mark.parametrize("path", CODE, ids=relative)
def test_a_number_says_why(path: Path) -> None:
    """Each module-level number has a `Source:` or `Why:` on its line or in the comment above."""
    lines = path.read_text().splitlines()
    for node in ast.parse("\n".join(lines)).body:
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        if not isinstance(_plain(node.value), int | float) or isinstance(_plain(node.value), bool):
            continue
        above = node.lineno - 2
        said = lines[node.lineno - 1]
        while above >= 0 and (lines[above].startswith("#") or _is_number(lines[above])):
            said += lines[above]
            above -= 1
        assert re.search(r"(Source|Why):", said), f"{relative(path)}:{node.lineno}"


def _plain(value: ast.expr) -> object:
    try:
        return ast.literal_eval(value)
    except ValueError:
        if isinstance(value, ast.BinOp):
            return _plain(value.left)
        return None


def _is_number(line: str) -> bool:
    return bool(re.match(r"_?[A-Z][A-Z0-9_]* = [-0-9]", line))


@pytest.mark.parametrize("path", CODE, ids=relative)
def test_names_are_not_vague(path: Path) -> None:
    tree = ast.parse(path.read_text())
    names = {path.stem} | {
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
    }
    vague = {n for n in names if VAGUE & set(re.sub(r"([A-Z])", r"_\1", n).lower().split("_"))}
    assert not vague - {"ProbeProcess"}  # Why: there it is the operating system's word.


@pytest.mark.parametrize("path", CODE, ids=relative)
def test_only_the_clocks_ask_the_time(path: Path) -> None:
    if relative(path) in TIME_ALLOWED:
        return
    text = path.read_text()
    assert not re.search(r"^\s*(import time\b|from time import)", text, re.MULTILINE)
    assert "datetime.now(" not in text
    assert "utcnow(" not in text


@pytest.mark.parametrize("path", CODE + TESTS, ids=relative)
def test_no_leftovers(path: Path) -> None:
    if path == Path(__file__):
        return
    assert not re.search(r"\b(TODO|FIXME|XXX|HACK|breakpoint\(\))", path.read_text())


def test_every_dependency_is_used() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    text = "\n".join(p.read_text() for p in CODE)
    module = {
        "argon2-cffi": "argon2",
        "paho-mqtt": "paho",
        "simple-pid": "simple_pid",
        "python-multipart": None,
    }
    for line in project["dependencies"]:
        name = re.split(r"[>=<\[]", line)[0]
        imported = module.get(name, name)
        assert imported is None or re.search(rf"^\s*(from|import) {imported}\b", text, re.MULTILINE)
