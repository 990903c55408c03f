"""Mutation testing of the interlocks and the proportioning: is each of their small parts needed?

    nice -n 10 python -m tests.bench.mutation

It changes one thing at a time (a comparison, a sign, a number, a permit, a flag) and runs the tests
of that module in a process of their own. A mutant that no test minds is one nobody would notice.
Those that change nothing anybody can see are listed with the reason, and do not count.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).parents[2]
DECISION = "controller.decision"
TESTS = "tests/controller/decision"
# Each module, and the tests that must mind.
TARGETS = {
    "interlock_rules": ("test_interlocks.py", "test_interlock_edges.py"),
    "interlock_terms": ("test_interlocks.py", "test_interlock_edges.py"),
    "interlocks": ("test_interlocks.py", "test_interlock_edges.py", "test_probe_return.py"),
    "proportioning": ("test_proportioning_edges.py", "test_proportioning.py"),
}
# Changes that make the same program to anybody who looks: the line, what it becomes, and why.
SAME = {
    ("mismatches=0 if applied.agrees else memory.mismatches + 1,", "1.25"): (
        "one is below two and two is not, whichever"
    ),
    ("if not 0.0 < dt_s <= DT_S_MAX:", "0.0 <= dt_s <= DT_S_MAX"): "no time adds nothing",
}
_COMPARED = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_COMPUTED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
_NAMED = {"max": "min", "min": "max"}
_PERMITS = {"OFF": "HOLD", "HOLD": "FREE", "FREE": "OFF"}


@dataclass(frozen=True)
class Mutant:
    """One changed program: where, what it was, what it is."""

    module: str
    line: int
    text: str
    was: str
    now: str
    source: str


def mutants(module: str) -> Iterator[Mutant]:
    """Every single change of a module."""
    text = source_of(module)
    lines, tree = text.splitlines(), ast.parse(text)
    flags = {id(each) for node in ast.walk(tree) for each in _flags(node)}
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in flags:
            continue
        for variant in range(len(_changes(node))):
            changed = copy.deepcopy(tree)
            target = next(each for at, each in enumerate(ast.walk(changed)) if at == number)
            was = ast.unparse(target)
            _changes(target)[variant]()
            now = ast.unparse(target)
            if was != now:
                source = ast.unparse(ast.fix_missing_locations(changed))
                line = node.lineno  # type: ignore[attr-defined]
                yield Mutant(module, line, lines[line - 1].strip(), was, now, source)


def source_of(module: str) -> str:
    """A module as it is."""
    return (ROOT / "controller" / "decision" / f"{module}.py").read_text()


def _flags(node: ast.AST) -> Iterator[ast.AST]:
    """What stands in a decorator says how a class is made, not what it does."""
    if isinstance(node, ast.ClassDef):
        for decorator in node.decorator_list:
            yield from ast.walk(decorator)


def _changes(node: ast.AST) -> list[object]:
    """What can be changed in one node, as calls that do it."""
    if isinstance(node, ast.Compare):
        return [
            _setter(node.ops, place, _COMPARED[type(op)]())
            for place, op in enumerate(node.ops)
            if type(op) in _COMPARED
        ]
    if isinstance(node, ast.BoolOp):
        other = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
        return [lambda: setattr(node, "op", other)]
    if isinstance(node, ast.BinOp) and type(node.op) in _COMPUTED:
        return [lambda: setattr(node, "op", _COMPUTED[type(node.op)]())]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        plus = ast.UAdd() if isinstance(node.op, ast.USub) else None
        return [lambda: _unwrap(node) if plus is None else setattr(node, "op", plus)]
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        return [lambda: setattr(node, "value", not node.value)]
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return [lambda: setattr(node, "value", node.value * 1.25 if node.value else 1)]
    if isinstance(node, ast.Name) and node.id in _NAMED:
        return [lambda: setattr(node, "id", _NAMED[node.id])]
    if isinstance(node, ast.Attribute) and node.attr in _PERMITS:
        return [lambda: setattr(node, "attr", _PERMITS[node.attr])]
    if isinstance(node, ast.IfExp):
        return [lambda: _swap(node)]
    return []


def _setter(items: list[ast.cmpop], place: int, new: ast.cmpop) -> object:
    return lambda: items.__setitem__(place, new)


def _unwrap(node: ast.UnaryOp) -> None:
    """`not x` becomes `bool(x)`: the same node, another meaning."""
    node.op = ast.Not()
    node.operand = ast.UnaryOp(ast.Not(), node.operand)


def _swap(node: ast.IfExp) -> None:
    node.body, node.orelse = node.orelse, node.body


class _Planted(MetaPathFinder, Loader):
    """Gives the mutant where its module is asked for."""

    def __init__(self, mutant: Mutant) -> None:
        self._name, self._source = f"{DECISION}.{mutant.module}", mutant.source

    def find_spec(self, name: str, *_: object) -> ModuleSpec | None:
        return ModuleSpec(name, self) if name == self._name else None

    def create_module(self, spec: ModuleSpec) -> ModuleType | None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self._source, self._name, "exec"), module.__dict__)


def is_minded(mutant: Mutant) -> bool:
    """Whether a test fails on it. Runs in a child, so that nothing of it stays."""
    child = os.fork()
    if child == 0:
        os.nice(5)
        sys.meta_path.insert(0, _Planted(mutant))
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        import pytest

        paths = [f"{TESTS}/{name}" for name in TARGETS[mutant.module]]
        warned = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
        code = pytest.main([*paths, *warned, "-x", "-q", "-p", "no:cacheprovider"])
        os._exit(0 if code == 0 else 1)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) != 0


def score(modules: tuple[str, ...]) -> tuple[int, list[Mutant]]:
    """How many mutants count, and those that nobody minded."""
    count, survivors = 0, []
    for module in modules:
        as_it_is = Mutant(module, 0, "", "", "", source_of(module))
        assert not is_minded(as_it_is), f"{module} fails its tests as it is"
        for mutant in mutants(module):
            if (mutant.text, mutant.now) in SAME:
                continue
            count += 1
            if not is_minded(mutant):
                survivors.append(mutant)
                print(f"survived {module}:{mutant.line}: {mutant.was}  ->  {mutant.now}")
                sys.stdout.flush()
    return count, survivors


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("modules", nargs="*", default=list(TARGETS))
    options = parser.parse_args()
    os.chdir(ROOT)
    import hypothesis  # noqa: F401  Why: loaded once here and not anew in each child.
    import pytest  # noqa: F401

    count, survivors = score(tuple(options.modules))
    minded = count - len(survivors)
    print(f"{minded} of {count} mutants minded: {100.0 * minded / count:.1f} % (at least 90 %)")
    sys.exit(0 if minded >= 0.9 * count else 1)


if __name__ == "__main__":
    main()
