"""Would the tests notice? Small faults are put into the rooms that carry the figures, one at a time, and tests run.

``python -m tests.benchmarks.mutation_campaign [--rooms colour,plan] [--count 25] [--seed 1]``. Works in a copy of the
tree. A first run notes which test calls which function, and for how long; a mutant then meets the tests that call the
function it sits in, the quickest first, in a forked process that has the libraries loaded already; what they let
through meets the slower files near to the room.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import resource
import shutil
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
NEAREST = {
    "colour": ("coverage_colour", "cielab", "difference", "uncertainty", "spread"),
    "calibration": ("coverage_calibration", "light_field"),
    "reading": ("coverage_reading", "two_finishes"),
    "process": ("coverage_engine",),
    "plan": ("coverage_engine", "limits"),
    "bench": ("coverage_engine", "coverage_bench"),
    "suggest": ("coverage_engine", "suggest_neighbours"),
}
"""The quick test files that stand nearest to each room, by what they import: of these each test's calls are noted."""

FURTHER = {
    "colour": ("repeatability",),
    "calibration": ("finish", "profile_report", "camera_profile"),
    "reading": ("texture", "finish", "reading_words", "repeatability", "side_by_side", "exposures", "what_helps"),
    "process": ("process_model",),
    "plan": ("planner",),
    "bench": ("bench_path", "bench_work"),
    "suggest": ("suggest", "suggest_any_log", "planner"),
}
"""Slower files near to each room: they are met, whole, by what those let through."""

LIBRARIES = ("numpy", "scipy.stats", "scipy.optimize", "scipy.spatial", "cv2", "PIL.Image", "colour", "sklearn.mixture")
LIBRARIES_OF_TESTS = ("pytest", "hypothesis", "sqlalchemy", "alembic")
SWAPPED_CALLS = {
    "min": "max",
    "minimum": "maximum",
    "any": "all",
    "argmin": "argmax",
    "floor": "ceil",
    "nanmin": "nanmax",
}
SWAPPED_CALLS |= {there: here for here, there in SWAPPED_CALLS.items()}
COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
}
CPU_AT_LEAST_S, CPU_FACTOR, CPU_PER_MUTANT_S, CPU_FURTHER_S = 20, 6, 25.0, 400
HANGS = -9


@dataclass(frozen=True)
class Mutant:
    """One fault. file: from the tree's root; line, function: where; what: in words; source: the file with the fault."""

    file: str
    line: int
    function: tuple[int, int] | None
    what: str
    source: str


def mutants_of(path: Path, name: str) -> Iterator[Callable[[], Mutant]]:
    """Yield every mutant of a file, each made only when asked for."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for place, (node, function) in enumerate(_nodes(tree)):
        for number, _ in enumerate(_changes(node)):
            yield lambda place=place, number=number, function=function: _made(tree, name, place, number, function)


def _made(tree: ast.Module, name: str, place: int, number: int, function: tuple[int, int] | None) -> Mutant:
    own = copy.deepcopy(tree)
    node = [node for node, _ in _nodes(own)][place]
    before = ast.unparse(node)
    change = list(_changes(node))[number]
    line = node.lineno  # type: ignore[attr-defined]
    change()
    return Mutant(name, line, function, f"{before[:70]}  ->  {ast.unparse(node)[:70]}", ast.unparse(own))


def _nodes(tree: ast.AST, function: tuple[int, int] | None = None) -> Iterator[tuple[ast.AST, tuple[int, int] | None]]:
    """Yield expressions that are run, each with first and last line of the function that it stands in."""
    for field, value in ast.iter_fields(tree):
        if field in ("annotation", "returns", "decorator_list", "type_comment") or isinstance(tree, ast.Raise):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or _is_aside(child):
                continue
            inside = function
            if isinstance(child, ast.FunctionDef) and function is None:
                first = min([child.lineno, *(item.lineno for item in child.decorator_list)])
                inside = (first, child.end_lineno or first)
            if isinstance(child, ast.expr):
                yield child, inside
            yield from _nodes(child, inside)


def _is_aside(node: ast.AST) -> bool:
    """Tell what no test should be asked to notice: docstrings, imports for type checkers, words of an error."""
    if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
        return True
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _changes(node: ast.AST) -> Iterator[Callable[[], None]]:
    """Yield what can be done to one expression, in place."""

    def become(other: ast.expr) -> Callable[[], None]:
        def change() -> None:
            kept = copy.deepcopy(other)
            node.__class__ = kept.__class__
            node.__dict__.clear()
            node.__dict__.update(kept.__dict__)

        return change

    def set_to(field: str, value: Any) -> Callable[[], None]:
        return lambda: setattr(node, field, value)

    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        value = node.value
        yield set_to("value", value + 1 if isinstance(value, int) else value * 2 or 1.0)
        if isinstance(value, float) and value:
            yield set_to("value", value / 2)
    elif isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARISONS:
        yield set_to("ops", [COMPARISONS[type(node.ops[0])](), *node.ops[1:]])
    elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        if not isinstance(node.left, ast.Constant) or not isinstance(node.left.value, str):
            yield set_to("op", OPERATORS[type(node.op)]())
            yield become(node.left)
            if isinstance(node.op, ast.Add | ast.Mult):
                yield become(node.right)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield become(node.operand)
    elif isinstance(node, ast.BoolOp):
        yield set_to("op", ast.Or() if isinstance(node.op, ast.And) else ast.And())
    elif isinstance(node, ast.IfExp):
        yield set_to("test", ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.Call):
        called = node.func
        if isinstance(called, ast.Name) and called.id in SWAPPED_CALLS:
            yield set_to("func", ast.Name(SWAPPED_CALLS[called.id], ast.Load()))
        elif isinstance(called, ast.Attribute) and called.attr in SWAPPED_CALLS:
            yield set_to("func", ast.Attribute(called.value, SWAPPED_CALLS[called.attr], ast.Load()))


class _WhoCallsWhat:
    """A pytest plugin: which functions of ``matcher`` each test calls, with those of the fixtures that it shares."""

    def __init__(self, tree: Path, out: Path) -> None:
        self._matcher, self._out = str(tree / "matcher") + os.sep, out
        self._found: dict[str, Any] = {}
        self._by_fixture: dict[str, set[tuple[str, int]]] = defaultdict(set)
        self._called: set[tuple[str, int]] = set()

    def _trace(self, frame: Any, _event: str, _argument: Any) -> None:
        code = frame.f_code
        if code.co_filename.startswith(self._matcher):
            self._called.add((code.co_filename.removeprefix(self._matcher), code.co_firstlineno))

    def pytest_runtest_protocol(self, item: Any) -> None:
        self._called, began = set(), time.process_time()
        self._found[item.nodeid] = [began, self._called, list(item.fixturenames)]
        sys.settrace(self._trace)

    def pytest_fixture_setup(self, fixturedef: Any) -> None:
        if fixturedef.scope != "function":
            self._called = self._by_fixture[fixturedef.argname]

    def pytest_fixture_post_finalizer(self, fixturedef: Any) -> None:
        del fixturedef

    def pytest_runtest_call(self, item: Any) -> None:
        self._called = self._found[item.nodeid][1]

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        sys.settrace(None)
        self._found[nodeid][0] = time.process_time() - self._found[nodeid][0]

    def pytest_sessionfinish(self) -> None:
        told = {
            test: [seconds, sorted(called.union(*(self._by_fixture[name] for name in fixtures)))]
            for test, (seconds, called, fixtures) in self._found.items()
        }
        self._out.write_text(json.dumps(told))


def run_tests(
    tree: Path, tests: Sequence[str], cpu_s: float, plugins: Sequence[object] = (), quiet: bool = True
) -> int:
    """Run tests in a fork of this process and return pytest's exit code, HANGS when they take too long."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            _become(tree, cpu_s, quiet)
            import pytest

            code = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-W", "ignore", *tests], list(plugins)))
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return HANGS if os.WIFSIGNALED(status) else os.waitstatus_to_exitcode(status)


def _become(tree: Path, cpu_s: float, quiet: bool) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s) + 1))
    os.chdir(tree)
    sys.dont_write_bytecode = True
    sys.path[:] = [str(tree), *(place for place in sys.path if place not in ("", str(ROOT)))]
    for name in [name for name in sys.modules if name.split(".")[0] in ("tests", "matcher", "ui")]:
        del sys.modules[name]
    if quiet:
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)


def calls_of(tree: Path, room: str) -> dict[str, tuple[float, set[tuple[str, int]]]]:
    """Return seconds and called functions, (file, first line), of every test near to a room; all pass."""
    out = tree / f"calls_{room}.json"
    code = run_tests(tree, _files(NEAREST[room]), 3600, [_WhoCallsWhat(tree, out)], quiet=False)
    if code != 0:
        raise SystemExit(f"The tests near to {room} do not pass as they are: mend them first.")
    return {
        test: (seconds, {(file, line) for file, line in called})
        for test, (seconds, called) in json.loads(out.read_text()).items()
    }


def _files(names: Sequence[str]) -> list[str]:
    return [f"tests/test_{name}.py" for name in names]


def nearest_tests(mutant: Mutant, calls: dict[str, tuple[float, set[tuple[str, int]]]]) -> tuple[list[str], float]:
    """Return the tests that call a mutant's function (for a constant, any of its file), quickest first, and seconds."""
    own, (first, last) = mutant.file.removeprefix("matcher/"), mutant.function or (0, 10**9)
    touching = {
        test: seconds
        for test, (seconds, called) in calls.items()
        if any(file == own and first <= line <= last for file, line in called)
    }
    chosen, spent = [], 0.0
    for test, seconds in sorted(touching.items(), key=lambda item: item[1]):
        if spent + seconds > CPU_PER_MUTANT_S and chosen:
            break
        chosen.append(test)
        spent += seconds
    return chosen, spent


def campaign(room: str, count: int, seed: int, tree: Path, quick: bool) -> tuple[int, list[Mutant]]:
    """Return how many mutants of a room were tried, and those that survived; each is told as it goes."""
    calls, further = calls_of(tree, room), () if quick else FURTHER[room]
    if further and run_tests(tree, _files(further), CPU_FURTHER_S) != 0:
        raise SystemExit(f"The further tests of {room} do not pass as they are: mend them first.")
    files = sorted((tree / "matcher" / room).glob("*.py"))
    every = [make for file in files for make in mutants_of(file, str(file.relative_to(tree)))]
    chosen = [make() for make in random.Random(f"{seed} {room}").sample(every, min(count, len(every)))]
    survived = []
    for mutant in chosen:
        file = tree / mutant.file
        sound = file.read_text(encoding="utf-8")
        tests, seconds = nearest_tests(mutant, calls)
        try:
            file.write_text(mutant.source, encoding="utf-8")
            code = run_tests(tree, tests, CPU_AT_LEAST_S + CPU_FACTOR * seconds) if tests else 0
            by = f"{len(tests)} tests"
            if code == 0 and further:
                code, by = run_tests(tree, _files(further), CPU_FURTHER_S), ", ".join(further)
        finally:
            file.write_text(sound, encoding="utf-8")
        if code == 0:
            survived.append(mutant)
        end = {0: "SURVIVED", HANGS: "killed (hangs)"}.get(code, "killed")
        print(f"{end:14} {mutant.file}:{mutant.line}: {mutant.what}  [{by}]", flush=True)
    return len(chosen), survived


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rooms", default=",".join(NEAREST))
    asked.add_argument("--count", type=int, default=25, help="mutants of each room")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--quick", action="store_true", help="leave out the slower files")
    options = asked.parse_args()
    os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "PYTHONDONTWRITEBYTECODE"), "1")
    for library in (*LIBRARIES, *LIBRARIES_OF_TESTS):
        __import__(library)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache"))
        rows = []
        for room in options.rooms.split(","):
            tried, survived = campaign(room, options.count, options.seed, tree, options.quick)
            rows.append(
                f"{room:12} {tried:4} tried {len(survived):4} survived  {1 - len(survived) / tried:4.0%} killed"
            )
            print(rows[-1], flush=True)
        print("\n".join(rows))


if __name__ == "__main__":
    main()
