"""Would the tests notice? Small faults are put into the rooms that carry the figures, one at a time, and tests run.

``python -m tests.benchmarks.mutation_campaign [--rooms colour,plan] [--count 25] [--seed 1]``. Works in a copy of the
tree. A first run notes which test calls which function, and for how long; a mutant then meets the tests that call the
function it sits in, the quickest first, in a forked process that has the libraries loaded already. What they let
through meets the whole of those tests' files, because a test may find ready what another of its file has worked out.
``--survivors FILE`` keeps what survived, ``--again FILE`` tries just those anew, on whatever line of their file they
stand by now: neither count nor seed matters then.
"""

from __future__ import annotations

import argparse
import ast
import builtins
import compileall
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
NEAR = {
    "colour": (
        *("cielab", "coverage_colour", "difference", "spread", "uncertainty", "verdicts", "words_for_colours"),
        *("coverage_calibration", "finding", "outside_checks", "references", "repeatability", "two_finishes"),
    ),
    "calibration": (
        *("camera_profile", "coverage_calibration", "light_field", "profile_report", "references", "trials_profiles"),
        *("chart_faults", "finish", "glare", "reading_words", "what_helps"),
    ),
    "reading": (
        *("coverage_reading", "exposures", "finish", "glare", "outline", "reading_words", "references"),
        *("repeatability", "side_by_side", "texture", "two_finishes", "uncertainty", "verdicts", "what_helps"),
    ),
    "process": (
        *("coverage_engine", "mistakes", "names", "not_noted", "process_model", "shared_errors", "suggest_any_log"),
    ),
    "plan": (
        *("bench_path", "coverage_engine", "limits", "names", "not_noted", "planner", "ranked_kinds"),
        *("suggest_any_log", "verdicts"),
    ),
    "bench": (
        *("bench_comes_over", "bench_path", "bench_taps", "bench_work", "coverage_bench", "coverage_engine", "mixing"),
        *("bottle_labels", "not_noted", "verdicts"),
    ),
    "suggest": (
        *("coverage_engine", "cross_validation", "limits", "mistakes", "not_noted", "planner", "prediction"),
        *("ranked_kinds", "shared_errors", "suggest", "suggest_any_log", "suggest_mixed_coats", "suggest_neighbours"),
    ),
}
"""The test files that stand near to each room, by what they import: of these each test's calls are noted."""
OF_EVERY_ROOM = "doctests"

LIBRARIES = ("numpy", "scipy.stats", "scipy.optimize", "scipy.spatial", "cv2", "PIL.Image", "colour", "sklearn.mixture")
LIBRARIES_OF_TESTS = ("pytest", "hypothesis", "sqlalchemy", "alembic")
PROFILE = "--hypothesis-profile=ci"
"""The same random cases for every mutant, and no more of them than CI draws."""
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
CPU_AT_LEAST_S, CPU_FACTOR, CPU_PER_MUTANT_S, CPU_WHOLE_FILES_S = 20, 6, 25.0, 30.0
HANGS = -9
CALLED = "_called_in_mutation_campaign"


@dataclass(frozen=True)
class Mutant:
    """One fault. file: from the tree's root; line, function: where; text: that line without the fault; what: in words;
    source: the file with the fault."""

    file: str
    line: int
    function: tuple[int, int] | None
    text: str
    what: str
    source: str

    @property
    def told(self) -> str:
        return f"{self.file}:{self.line}: {self.what}"

    def as_dict(self) -> dict[str, Any]:
        """Return what is kept of one that survived, plain JSON types: enough to find it again."""
        return {"file": self.file, "line": self.line, "text": self.text, "what": self.what}


def mutants_of(path: Path, name: str) -> Iterator[Callable[[], Mutant]]:
    """Yield every mutant of a file, each made only when asked for."""
    source = path.read_text(encoding="utf-8")
    tree, lines = ast.parse(source), [line.strip() for line in source.splitlines()]
    for place, (node, function) in enumerate(_nodes(tree)):
        for number, _ in enumerate(_changes(node)):
            yield lambda place=place, number=number, function=function: _made(
                tree, lines, name, place, number, function
            )


def _made(
    tree: ast.Module, lines: Sequence[str], name: str, place: int, number: int, function: tuple[int, int] | None
) -> Mutant:
    own = copy.deepcopy(tree)
    node = [node for node, _ in _nodes(own)][place]
    before = ast.unparse(node)
    change = list(_changes(node))[number]
    line = node.lineno  # type: ignore[attr-defined]
    change()
    what = f"{before[:70]}  ->  {ast.unparse(node)[:70]}"
    return Mutant(name, line, function, lines[line - 1], what, ast.unparse(own))


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
    """A pytest plugin: which functions of ``matcher`` each test calls, with those of the fixtures that it shares.

    Each function says so itself, in a tree that ``say_when_called`` has changed.
    """

    def __init__(self, out: Path) -> None:
        self._out = out
        self._found: dict[str, Any] = {}
        self._by_fixture: dict[str, set[tuple[str, int]]] = defaultdict(set)
        self._called: set[tuple[str, int]] = set()
        setattr(builtins, CALLED, lambda *function: self._called.add(function))

    def pytest_runtest_protocol(self, item: Any) -> None:
        self._called, began = set(), time.process_time()
        self._found[item.nodeid] = [began, self._called, list(item.fixturenames)]

    def pytest_fixture_setup(self, fixturedef: Any) -> None:
        if fixturedef.scope != "function":
            self._called = self._by_fixture[fixturedef.argname]

    def pytest_fixture_post_finalizer(self, fixturedef: Any) -> None:
        del fixturedef

    def pytest_runtest_call(self, item: Any) -> None:
        self._called = self._found[item.nodeid][1]

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        self._found[nodeid][0] = time.process_time() - self._found[nodeid][0]

    def pytest_sessionfinish(self) -> None:
        told = {
            test: [seconds, sorted(called.union(*(self._by_fixture[name] for name in fixtures)))]
            for test, (seconds, called, fixtures) in self._found.items()
        }
        self._out.write_text(json.dumps(told))


def say_when_called(tree: Path) -> None:
    """Change every function of ``matcher`` in a tree so that it begins by telling its file and line."""
    for path in (tree / "matcher").rglob("*.py"):
        module = ast.parse(path.read_text(encoding="utf-8"))
        name = str(path.relative_to(tree / "matcher"))
        for node in ast.walk(module):
            if isinstance(node, ast.FunctionDef):
                tell = ast.parse(f"{CALLED}({name!r}, {node.lineno})").body
                after = 1 if ast.get_docstring(node) is not None else 0
                node.body[after:after] = tell
        path.write_text(ast.unparse(module), encoding="utf-8")


def run_tests(
    tree: Path, tests: Sequence[str], cpu_s: float, plugins: Sequence[object] = (), sound: bool = False
) -> int:
    """Run tests in a fork of this process and return pytest's exit code, HANGS when they take too long.

    sound: whether the tree has no fault in it: what pytest says is shown then.
    """
    child = os.fork()
    if child == 0:
        code = 99
        try:
            _become(tree, cpu_s, sound)
            import pytest

            code = int(
                pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-W", "ignore", PROFILE, *tests], list(plugins))
            )
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return HANGS if os.WIFSIGNALED(status) else os.waitstatus_to_exitcode(status)


def _become(tree: Path, cpu_s: float, sound: bool) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s) + 1))
    os.chdir(tree)
    sys.dont_write_bytecode = True
    sys.path[:] = [str(tree), *(place for place in sys.path if place not in ("", str(ROOT)))]
    for name in [name for name in sys.modules if name.split(".")[0] in ("tests", "matcher", "ui")]:
        del sys.modules[name]
    if not sound:
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)


Calls = dict[str, tuple[float, set[tuple[str, int]]]]
"""Seconds and called functions, (file, first line), by test."""


class WhoCalls:
    """Which function each test calls: asked of every test file once, by itself, so that none finds ready what another
    file has worked out."""

    def __init__(self, tree: Path, folder: Path) -> None:
        self._tree = folder / "told"
        shutil.copytree(tree, self._tree)
        say_when_called(self._tree)
        self._known: dict[str, Calls] = {}

    def near(self, room: str) -> Calls:
        """Return the calls of all tests near to a room; all pass."""
        return {
            test: told
            for name in (*NEAR[room], OF_EVERY_ROOM)
            for test, told in self._of(f"tests/test_{name}.py").items()
        }

    def _of(self, file: str) -> Calls:
        if file not in self._known:
            out = self._tree / "calls.json"
            if run_tests(self._tree, [file], 3600, [_WhoCallsWhat(out)], sound=True) != 0:
                raise SystemExit(f"The tests in {file} do not pass as they are: mend them first.")
            self._known[file] = {
                test: (seconds, {(called, line) for called, line in calls})
                for test, (seconds, calls) in json.loads(out.read_text()).items()
            }
            print(f"{file}: {sum(seconds for seconds, _ in self._known[file].values()):.0f} s", flush=True)
        return self._known[file]


def tests_that_call(mutant: Mutant, calls: Calls) -> list[str]:
    """Return the tests that call a mutant's function (for a constant, any of its file), quickest first."""
    own, (first, last) = mutant.file.removeprefix("matcher/"), mutant.function or (0, 10**9)
    touching = [
        test
        for test, (_, called) in calls.items()
        if any(file == own and first <= line <= last for file, line in called)
    ]
    return sorted(touching, key=lambda test: calls[test][0])


def within(tests: Sequence[str], seconds: Callable[[str], float], most_s: float) -> tuple[list[str], float]:
    """Return as many of the tests, from the first, as take that long, and how long; at least one."""
    chosen: list[str] = []
    spent = 0.0
    for test in tests:
        if spent + seconds(test) > most_s and chosen:
            break
        chosen.append(test)
        spent += seconds(test)
    return chosen, spent


def outcome(mutant: Mutant, calls: Calls, tree: Path) -> tuple[int, str]:
    """Return pytest's exit code with a mutant in the tree, and which tests it met last, in words."""
    touching = tests_that_call(mutant, calls)
    if not touching:
        return 0, "no test calls it"
    tests, seconds = within(touching, lambda test: calls[test][0], CPU_PER_MUTANT_S)
    file = tree / mutant.file
    sound = file.read_text(encoding="utf-8")
    try:
        file.write_text(mutant.source, encoding="utf-8")
        code = run_tests(tree, tests, CPU_AT_LEAST_S + CPU_FACTOR * seconds)
        if code != 0:
            return code, f"{len(tests)} tests"
        takes: dict[str, float] = defaultdict(float)
        for test, (took, _) in calls.items():
            takes[test.split("::")[0]] += took
        called = {test.split("::")[0] for test in touching}
        whole, seconds = within(
            sorted(called, key=lambda name: takes[name]), lambda name: takes[name], CPU_WHOLE_FILES_S
        )
        return run_tests(tree, whole, CPU_AT_LEAST_S + CPU_FACTOR * seconds), f"{len(whole)} of {len(called)} files"
    finally:
        file.write_text(sound, encoding="utf-8")


def sample(room: str, count: int, seed: int, tree: Path) -> list[Mutant]:
    """Return mutants of a room, its sub-packages too, drawn without preference."""
    files = sorted((tree / "matcher" / room).rglob("*.py"))
    every = [make for file in files for make in mutants_of(file, str(file.relative_to(tree)))]
    return [make() for make in random.Random(f"{seed} {room}").sample(every, min(count, len(every)))]


def found_again(kept: Sequence[dict[str, Any]], tree: Path) -> list[Mutant]:
    """Return the mutants that ``Mutant.as_dict`` kept, on whatever line of their file they stand by now; all of those
    that read alike. One whose line reads otherwise by now is told.
    """
    found: list[Mutant] = []
    for file in sorted({one["file"] for one in kept}):
        path = tree / file
        every = [make() for make in mutants_of(path, file)] if path.is_file() else []
        for one in [one for one in kept if one["file"] == file]:
            alike = [mutant for mutant in every if (mutant.text, mutant.what) == (one["text"], one["what"])]
            found += [mutant for mutant in alike if mutant not in found]
            if not alike:
                print(f"{'gone':14} {file}:{one['line']}: {one['what']}", flush=True)
    return found


def rooms_asked(typed: str) -> list[str]:
    """Return rooms from a list with commas. Raises ArgumentTypeError for one that the campaign does not know."""
    rooms = [room.strip() for room in typed.split(",") if room.strip()]
    unknown = [room for room in rooms if room not in NEAR]
    if unknown or not rooms:
        raise argparse.ArgumentTypeError(f"{typed!r} does not name rooms: choose from {', '.join(NEAR)}.")
    return rooms


def campaign(mutants: Sequence[Mutant], calls: Calls, tree: Path) -> list[Mutant]:
    """Return those that survived; each is told as it goes."""
    survived = []
    for mutant in mutants:
        code, by = outcome(mutant, calls, tree)
        if code == 0:
            survived.append(mutant)
        end = {0: "SURVIVED", HANGS: "killed (hangs)"}.get(code, "killed")
        print(f"{end:14} {mutant.told}  [{by}]", flush=True)
    return survived


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rooms", type=rooms_asked, default=list(NEAR), help=f"of {', '.join(NEAR)}, with commas")
    asked.add_argument("--count", type=int, default=25, help="mutants of each room")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--survivors", type=Path, help="a file to keep those that survived in")
    asked.add_argument("--again", type=Path, help="such a file: try those of it, in the tree as it is now")
    options = asked.parse_args()
    os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    for library in (*LIBRARIES, *LIBRARIES_OF_TESTS):
        __import__(library)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache"))
        compileall.compile_dir(tree, quiet=2)  # once, for every run
        who_calls, rows, kept = WhoCalls(tree, Path(folder)), [], {}
        again = json.loads(options.again.read_text()) if options.again else None
        for room in options.rooms:
            if again is None:
                mutants = sample(room, options.count, options.seed, tree)
            else:
                mutants = found_again(again.get(room, []), tree)
            survived = campaign(mutants, who_calls.near(room), tree) if mutants else []
            kept[room] = [mutant.as_dict() for mutant in survived]
            share = f"{1 - len(survived) / len(mutants):4.0%} killed" if mutants else "nothing to try"
            rows.append(f"{room:12} {len(mutants):4} tried {len(survived):4} survived  {share}")
            print(rows[-1], flush=True)
            if options.survivors:
                options.survivors.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        print("\n".join(rows))


if __name__ == "__main__":
    main()
